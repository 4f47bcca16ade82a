"""Studies: the same numbers as a comparison, the same bytes however the work was done, and refusals."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray

from orchardsim.analysis.compare import compare
from orchardsim.analysis.study import run_study, study, study_differs, study_identity
from orchardsim.core.errors import InputError
from orchardsim.plan.study import load_study
from orchardsim.report.study.page import write_study
from orchardsim.report.study.words import methods_paragraph, study_table
from orchardsim.results.folder import OutputFolder
from orchardsim.results.study import KIND
from tests.plan.examples import changed


def declared(**changes: Any) -> dict[str, Any]:
    return {
        "title": "spacing by training",
        "plan": changed(("block.net_area", "0.05 ha"), ("block.row_length", "20 m")),
        "trials": 5,
        "years": 7,
        "factor": [
            {"name": "training", "key": "block.training", "levels": ["tall_spindle", "vertical_axis"]},
            {"name": "spacing", "key": "block.tree_spacing", "levels": ["0.9 m", "1.4 m"]},
        ],
        **changes,
    }


STUDY_TOML = """
title = "spacing"
plan = "plan.toml"
trials = 120
years = 6
[[factor]]
name = "spacing"
key = "block.tree_spacing"
levels = ["0.9 m", "1.4 m"]
"""
PLAN_TOML = """
title = "test plan"
units = "metric"
currency = "USD"
[site]
latitude = "34.68 degree"
irrigated = true
[weather]
record = "bundled"
normals = { rain = { value = [100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100], unit = "mm" } }
[[block]]
name = "north"
cultivar = "Gala"
rootstock = "M.9"
training = "tall_spindle"
row_spacing = "3.5 m"
tree_spacing = "1 m"
net_area = "0.05 ha"
row_length = "20 m"
"""


def test_two_cells_say_what_a_comparison_says() -> None:
    two = load_study(declared(factor=declared()["factor"][1:]))
    found = run_study(two)
    wanted = compare([cell.plan for cell in two.cells], trials=5, years=7, seed=1)
    for key in ("npv", "npv_per_area", "picked_per_area", "peak_borrowing", "trees_lost_share"):
        np.testing.assert_array_equal(found.values[key], wanted.measures[key].values)


def test_a_dataset_has_a_dim_for_each_factor_and_opens_in_plain_xarray(tmp_path: Path) -> None:
    one = load_study(declared())
    results = run_study(one)
    dataset = results.dataset()
    assert dataset["npv_per_area"].dims == ("training", "spacing", "trial")
    cell = one.cells[1]
    np.testing.assert_array_equal(dataset["npv"].sel(one.names(cell)).values, results.values["npv"][cell.number])
    write_study(tmp_path / "out", results.findings(), dataset)
    with xarray.open_dataset(tmp_path / "out" / "trials.nc") as stored:
        np.testing.assert_array_equal(stored["npv"].values, dataset["npv"].values)
        assert stored.attrs["Conventions"].startswith("CF-")
        assert stored["picked_per_area"].attrs["units"] == "kg/ha"
        assert len(stored["npv"].to_dataframe()) == 4 * 5


def test_words_tables_and_methods_name_the_design() -> None:
    found = run_study(load_study(declared())).findings()
    text = study_table(found, everything=True)
    for word in ("tall_spindle", "1.4 m", "n = 5 trials", "told apart"):
        assert word in text
    assert "full factorial of training (tall_spindle, vertical_axis)" in methods_paragraph(found)
    assert "n = 5" in methods_paragraph(found)


def test_a_latin_hypercube_runs(tmp_path: Path) -> None:
    rows = {"name": "row", "key": "block.row_spacing", "low": 3.0, "high": 5.0, "unit": "m"}
    dataset = study(declared(design="latin_hypercube", samples=4, trials=3, factor=[rows]))
    assert dataset["npv"].dims == ("cell", "trial")
    assert dataset["row"].dims == ("cell",)


def test_a_kept_study_goes_on_and_another_is_refused(tmp_path: Path) -> None:
    one = load_study(declared())
    place = tmp_path / "out"
    identity = study_identity(one)
    with OutputFolder(place, KIND, identity=identity, differs=study_differs) as folder:
        whole = run_study(one, out=folder)
    seen: list[int] = []
    with OutputFolder(place, KIND, identity=identity, differs=study_differs, resume=True) as folder:
        again = run_study(one, out=folder, progress=seen.append)
    assert seen == [20]
    for key, values in whole.values.items():
        np.testing.assert_array_equal(values, again.values[key])
    other = load_study(declared(seed=2))
    with (
        pytest.raises(InputError, match="seed"),
        OutputFolder(place, KIND, identity=study_identity(other), differs=study_differs, resume=True),
    ):
        pass


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"decide_by": "npv_per_tree"}, "unknown measure"), ({"decide_by": "picked_early"}, "not every cell")],
)
def test_a_measure_that_cannot_decide_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        run_study(load_study(declared(**changes)))


def test_a_scheduler_that_does_not_answer_is_told() -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="--dask"):
        run_study(load_study(declared()), dask="nonsense://1")


@pytest.mark.slow
def test_a_dask_cluster_whose_workers_are_killed_gives_the_same_numbers() -> None:
    distributed = pytest.importorskip("distributed")
    one = load_study(declared(trials=250))
    wanted = run_study(one, jobs=2)
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        killed: list[int] = []

        def kill(trials: int) -> None:
            if trials and len(killed) < 2:
                process = next(iter(cluster.workers.values())).process
                killed.append(process.pid)
                os.kill(process.pid, signal.SIGKILL)

        found = run_study(one, dask=cluster.scheduler_address, progress=kill)
    assert killed
    for key, values in wanted.values.items():
        np.testing.assert_array_equal(values, found.values[key])


def _digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".orchardsim" not in path.parts
    }


@pytest.mark.slow
def test_a_study_killed_at_twenty_points_ends_with_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(PLAN_TOML)
    file = tmp_path / "study.toml"
    file.write_text(STUDY_TOML)

    def command(place: Path, *more: str) -> list[str]:
        words = ["study", str(file), "--jobs", "2", "--out", str(place), *more]
        return [sys.executable, "-c", f"import sys; from orchardsim.cli.main import main; sys.exit(main({words!r}))"]

    begun = time.monotonic()
    subprocess.run(command(tmp_path / "whole"), check=True, capture_output=True)
    length = time.monotonic() - begun
    wanted = _digests(tmp_path / "whole")
    assert {"trials.nc", "cells.csv", "contrasts.csv", "methods.txt", "study.html"} <= set(wanted)
    place = tmp_path / "killed"
    moments = np.random.default_rng(4).uniform(0.1, 0.9, size=20) * length
    done = False
    for number, moment in enumerate(moments):
        more = ("--resume",) if number and (place / ".orchardsim").exists() else ()
        running = subprocess.Popen(command(place, *more), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            running.wait(timeout=float(moment))
            done = done or running.returncode == 0
        except subprocess.TimeoutExpired:
            running.kill()
            running.wait()
        if done:
            break
    if not done:
        more = ("--resume",) if (place / ".orchardsim").exists() else ()
        subprocess.run(command(place, *more), check=True, capture_output=True)
    assert _digests(place) == wanted
