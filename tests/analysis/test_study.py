"""Studies: the same numbers as a comparison, the same bytes however the work was done, and refusals."""

from __future__ import annotations

import dataclasses
import hashlib
import itertools
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray
from scipy.stats import binom

import orchardsim
from orchardsim.analysis.compare import compare
from orchardsim.analysis.study import run_study, study, study_differs, study_identity, study_size
from orchardsim.analysis.study_answers import share_unknown, study_findings
from orchardsim.core.errors import InputError
from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.parameters import STATUSES
from orchardsim.plan.study import Study, load_study
from orchardsim.report.study.figures import (
    plot_assumptions,
    plot_cells,
    plot_contrasts,
    plot_interactions,
    plot_shares,
)
from orchardsim.report.study.page import KIND
from orchardsim.report.study.words import (
    methods_paragraph,
    not_knowing_words,
    study_screen,
    study_sentences,
    study_table,
)
from orchardsim.results.folder import OutputFolder
from orchardsim.results.study import CellAnswer, StudyFindings
from orchardsim.results.study_tables import TABLES
from orchardsim.results.study_trials import StudyTrials, write_trials
from orchardsim.risk.contrasts import SimultaneousLimits, simultaneous_limits
from tests.cli.test_run_command import PLAN
from tests.plan.examples import CONFIGS, changed
from tests.screens import fits_a_screen


def declared(**changes: Any) -> dict[str, Any]:
    return {
        "title": "spacing by training",
        "plan": changed(("block.net_area", "0.05 ha"), ("block.row_length", "20 m")),
        "trials": 5,
        "known_trials": 3,
        "years": 7,
        "factor": [
            {"name": "training", "key": "block.training", "levels": ["tall_spindle", "vertical_axis"]},
            {"name": "spacing", "key": "block.tree_spacing", "levels": ["0.9 m", "1.4 m"]},
        ],
        **changes,
    }


@dataclasses.dataclass(frozen=True)
class Ran:
    """One study, run once for all tests that only look at it."""

    study: Study
    trials: StudyTrials
    found: StudyFindings
    folder: Path


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    one = load_study(declared())
    trials = run_study(one)
    found = study_findings(trials)
    folder = tmp_path_factory.mktemp("study")
    with OutputFolder(folder, KIND.name) as out:
        write_trials(out, trials)
        KIND.write(out, found)
    return Ran(one, trials, found, folder)


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


def test_two_cells_say_what_a_comparison_says() -> None:
    two = load_study(declared(factor=declared()["factor"][1:]))
    found = run_study(two)
    wanted = compare([cell.plan for cell in two.cells], trials=5, years=7, seed=1)
    for key in ("npv", "npv_per_area", "picked_per_area", "peak_borrowing", "trees_lost_share"):
        np.testing.assert_array_equal(found.values[key], wanted.measures[key].values)


def test_a_dataset_has_a_dim_for_each_factor_and_opens_in_plain_xarray(ran: Ran) -> None:
    dataset = ran.trials.dataset()
    assert dataset["npv_per_area"].dims == ("training", "spacing", "trial")
    cell = ran.study.cells[1]
    wanted = ran.trials.values["npv"][cell.number]
    np.testing.assert_array_equal(dataset["npv"].sel(ran.study.names(cell)).values, wanted)
    with xarray.open_dataset(ran.folder / "trials.nc") as stored:
        np.testing.assert_array_equal(stored["npv"].values, dataset["npv"].values)
        assert stored.attrs["Conventions"].startswith("CF-")
        assert stored["picked_per_area"].attrs["units"] == "kg/ha"
        assert len(stored["npv"].to_dataframe()) == 4 * 5


def test_words_tables_and_methods_name_the_design(ran: Ran) -> None:
    text = study_table(ran.found)
    assert fits_a_screen(study_screen(ran.found)) and "; --all shows" not in study_screen(ran.found)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("orchardsim.report.study.words.MOST_CELLS", 3)
        assert "The best 3 of 4 cells; --all shows the rest." in study_screen(ran.found)
    for word in ("tall_spindle", "1.4 m", "n = 5 trials", "told apart"):
        assert word in text
    # what another needs to repeat it: design with keys, version, plan, trials, seed, weather, money, levels, sources
    methods = methods_paragraph(ran.found)
    base = ran.study.base
    for word in (
        "full factorial (4 cells) over training: block.training = tall_spindle, vertical_axis; spacing: "
        "block.tree_spacing = 0.9 m, 1.4 m",
        f"orchardsim {orchardsim.__version__}",
        base.hash[:12],
        "5 trials of each cell over 7 years, seed 1",
        "the record's own years",
        f"discounted at {100 * base.finance.discount_rate:g} %",
        "The first 3 trials were run again",
        "n = 5",
        "sources.csv",
    ):
        assert word in methods
    sources = ran.found.table("sources")
    assert sources["status"].isin(STATUSES).all()
    assert sources["source"].str.len().min() > 0


def test_a_latin_hypercube_runs(tmp_path: Path) -> None:
    rows = {"name": "row", "key": "block.row_spacing", "low": 3.0, "high": 5.0, "unit": "m"}
    dataset = study(declared(design="latin_hypercube", samples=4, trials=3, known_trials=0, factor=[rows]))
    assert dataset["npv"].dims == ("cell", "trial")
    assert dataset["row"].dims == ("cell",)


def test_a_kept_study_goes_on_and_another_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = load_study(declared(trials=3, years=3))
    place = tmp_path / "out"
    identity = study_identity(one)
    with OutputFolder(place, KIND.name, identity=identity, differs=study_differs) as folder:
        whole = run_study(one, out=folder)
    seen: list[int] = []
    with OutputFolder(place, KIND.name, identity=identity, differs=study_differs, resume=True) as folder:
        again = run_study(one, out=folder, progress=seen.append)
    assert seen == [study_size(one)] == [4 * (3 + 3)]
    for key, values in whole.values.items():
        np.testing.assert_array_equal(values, again.values[key])
    others = {
        "had seed 1, this one has 2": study_identity(load_study(declared(trials=3, years=3, seed=2))),
        "other cells or plans": study_identity(load_study(declared(trials=3, years=3, plan=changed()))),
    }
    monkeypatch.setattr(orchardsim, "__version__", "0.0.9")
    others["this one has 0.0.9"] = study_identity(one)
    for words, differing in others.items():
        with (
            pytest.raises(InputError, match=words) as told,
            OutputFolder(place, KIND.name, identity=differing, differs=study_differs, resume=True),
        ):
            pass
        assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"decide_by": "npv_per_tree"}, "unknown measure"), ({"decide_by": "picked_early"}, "not every cell")],
)
def test_a_measure_that_cannot_decide_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        run_study(load_study(declared(trials=3, known_trials=0, years=3, **changes)))


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
            processes = [worker.process for worker in cluster.workers.values() if worker.process is not None]
            alive = [one.pid for one in processes if one.pid is not None and one.pid not in killed]
            if trials and len(killed) < 2 and alive:  # one killed before may not stand again yet
                killed.append(alive[0])
                os.kill(alive[0], signal.SIGKILL)

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
    (tmp_path / "plan.toml").write_text(PLAN)
    file = tmp_path / "study.toml"
    file.write_text(STUDY_TOML)

    def command(place: Path, *more: str) -> list[str]:
        words = ["study", str(file), "--jobs", "2", "--out", str(place), *more]
        return [sys.executable, "-c", f"import sys; from orchardsim.cli.main import main; sys.exit(main({words!r}))"]

    subprocess.run(command(tmp_path / "whole"), check=True, capture_output=True)
    wanted = _digests(tmp_path / "whole")
    assert {"trials.nc", "cells.csv", "contrasts.csv", "methods.txt", "study.html"} <= set(wanted)
    draw = np.random.default_rng(4)
    kills, finished, refused, place = 0, 0, False, tmp_path / "killed 0"
    while kills < 20 or finished < 2:
        # Killed some files after it began, wherever that is: at the start, between units, among tables and pictures.
        before = _files(place)
        more = ("--resume",) if (place / ".orchardsim").exists() and not refused else ()
        refused = False
        running = subprocess.Popen(command(place, *more), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        least = before + int(draw.integers(0, 14))
        while kills < 20 and running.poll() is None and _files(place) < least:
            time.sleep(0.005)
        time.sleep(float(draw.uniform(0, 0.2)) if kills < 20 else 0)
        if kills < 20 and running.poll() is None:
            running.kill()
            running.wait()
            kills += 1
            continue
        code = running.wait()
        # killed before anything was noted, there is nothing to resume
        if code == 2 and more:
            refused = True
            continue
        assert code == 0
        assert _digests(place) == wanted
        finished += 1
        place = tmp_path / f"killed {finished}"
    assert kills == 20


def _files(place: Path) -> int:
    return sum(path.is_file() for path in place.rglob("*")) if place.exists() else 0


def _tables(values: np.ndarray, trials: int, number: int) -> Iterator[SimultaneousLimits]:
    """Limits of many small studies, their trials drawn from one large study: differences (trial, contrast)."""
    rng = np.random.default_rng(3)
    for _ in range(number):
        yield simultaneous_limits(values[rng.choice(len(values), size=trials)], rng, resamples=500)


@pytest.mark.slow
def test_a_factor_without_effect_is_rejected_at_its_nominal_rate() -> None:
    # A block's name is the address of its trees' luck and of its ground: two names, no true difference. Its mean over
    # 600 trials lies within 3.3 errors of zero (once in 1,000 outside); of 400 studies of 40 trials drawn from these,
    # set on zero, so many are rejected as a rate of 5 % gives 998 times in 1,000 (binomial).
    names = {"name": "name", "key": "block.name", "levels": ["north", "south"]}
    trials = run_study(load_study(declared(trials=600, years=6, known_trials=0, factor=[names])), jobs=2)
    for key in ("picked_per_area", "npv_per_area"):
        difference = (trials.values[key][0] - trials.values[key][1])[:, None]
        assert abs(difference.mean()) < 3.3 * difference.std() / np.sqrt(600)
        named = sum(bool(one.low[0] > 0 or one.high[0] < 0) for one in _tables(difference - difference.mean(), 40, 400))
        assert binom.ppf(0.001, 400, 0.05) <= named <= binom.ppf(0.999, 400, 0.05)


@pytest.mark.slow
def test_simultaneous_limits_of_the_model_hold_together_at_their_level() -> None:
    # All six differences of four cells within their limits in 95 of 100 studies of 20 trials, drawn from 400 trials of
    # the model, whose means are then the truth.
    values = run_study(load_study(declared(trials=400, years=6, known_trials=0)), jobs=2).values["npv_per_area"].T
    differences = np.stack([one - other for one, other in itertools.combinations(values.T, 2)], axis=1)
    truth = differences.mean(axis=0)
    held = sum(bool(((one.low <= truth) & (truth <= one.high)).all()) for one in _tables(differences, 20, 300))
    assert binom.ppf(0.001, 300, 0.95) <= held


def test_with_known_levels_nothing_is_run_twice_and_nothing_is_unknown() -> None:
    plan = changed(("block.net_area", "0.05 ha"), ("block.row_length", "20 m"))
    plan["futures"] = {name: "known" for name in OPEN_LEVELS}
    known = load_study(declared(plan=plan, trials=3, years=3, factor=declared()["factor"][1:]))
    assert known.known_trials == 0
    trials = run_study(known)
    assert not any(np.ptp(drawn) for drawn in trials.drawn.values())
    assert not trials.known


@pytest.mark.parametrize("trials", [10, 100])
def test_the_share_of_not_knowing_lies_within_its_limits_as_often_as_they_say(trials: int) -> None:
    """Luck of variance 4 and levels of 6: 0.6 is not knowing; limits of 5 and 95 % hold it 9 times of 10."""
    rng = np.random.default_rng(5)
    luck = 2.0 * rng.standard_normal((2000, trials))
    drawn = luck + np.sqrt(6.0) * rng.standard_normal(luck.shape)
    limits = np.array([share_unknown(*pair)[1] for pair in zip(drawn, luck, strict=True)])
    assert np.mean((limits[:, 0] <= 0.6) & (limits[:, 1] >= 0.6)) == pytest.approx(0.90, abs=0.04)


def test_too_few_known_trials_are_no_finding() -> None:
    cell = CellAnswer(0, {}, 1.0, 0.1, {}, (0.0, 1.0), 0.06, share_unknown(np.arange(3.0), np.arange(3.0))[1])
    (said,) = not_knowing_words([cell], 3)
    assert "3 futures with known levels cannot tell: 0 to 100 %" in said
    sure = dataclasses.replace(cell, not_knowing=0.6, not_knowing_limits=(0.5, 0.7))
    assert "60 to 60 % of the variance of a cell would go (50 to 70 %" in not_knowing_words([sure], 200)[0]


def test_levels_are_named_by_what_has_them() -> None:
    stocks = {"name": "stock", "key": "block.rootstock", "levels": ["M.9", "MM.106"]}
    drawn = run_study(load_study(declared(trials=3, years=3, factor=[stocks], decide_by="npv"))).drawn
    assert {"site_growth of north", "stock_by_site of M.9", "stock_by_site of MM.106", "price_level of Gala"} < set(
        drawn
    )
    assert {"hazard_level of fire_blight", "wage_level"} < set(drawn)


def test_answers_of_a_dataset_are_those_of_the_run(ran: Ran) -> None:
    with xarray.open_dataset(ran.folder / "trials.nc") as stored:
        again = study_findings(stored)
    for name in TABLES:
        assert ran.found.table(name).equals(again.table(name))
    with pytest.raises(InputError, match="holds no study"):
        study_findings(xarray.Dataset())
    with pytest.raises(KeyError, match="no measure"):
        ran.found.answer("npv_per_tree")


def test_a_factor_that_does_nothing_under_a_level_of_another_is_named(ran: Ran) -> None:
    key, others = ran.study.decide_by, np.array([1000.0, 1000.0, 4000.0, 7000.0])
    luck = np.random.default_rng(1).normal(0, 100, 5)
    trials = dataclasses.replace(ran.trials, values={key: others[:, None] + luck}, known={})
    said = "\n".join(study_sentences(study_findings(trials)))
    assert "spacing changes nothing where training is tall_spindle: read no average of it over training." in said
    assert "Where training is vertical_axis, 1.4 m is better than 0.9 m by" in said
    assert "No pair of factors" not in said
    assert "changes nothing where" not in "\n".join(study_sentences(ran.found))


def test_each_plot_is_one_call(ran: Ran, tmp_path: Path) -> None:
    for plot in (plot_cells, plot_contrasts, plot_interactions, plot_shares, plot_assumptions):
        plot(ran.found, "picked_per_area").savefig(tmp_path / f"{plot.__name__}.svg")


@pytest.mark.slow
def test_the_example_of_the_handbook_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (Path(orchardsim.__file__).parent / "handbook" / "studies.md").read_text(encoding="utf-8")
    code = text.split("```python\n")[1].split("```")[0]
    assert len(code.splitlines()) <= 20
    monkeypatch.chdir(tmp_path)
    (tmp_path / "configs").symlink_to(CONFIGS)
    exec(compile(code, "studies.md", "exec"), {})
    assert (tmp_path / "contrasts.png").stat().st_size > 5_000
