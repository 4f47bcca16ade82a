"""Second opinion on the weather: the comparison, its table, and the run that makes it."""

from __future__ import annotations

import json
import math
from math import comb
from pathlib import Path

import numpy as np
import pytest

from orchardsim.cli.main import main
from orchardsim.report.run.second_opinion import FALSE_ALARM, quantile_test, second_opinion_document
from tests.cli.test_run_command import PLAN, refused
from tests.results.invented_run import invented_dataset

QUICK = ["--trials", "6", "--years", "7"]


def test_disjoint_samples_have_the_chance_of_the_hypergeometric_law():
    # All ten of one sample below all ten of the other: 1 of C(20, 10) orders, and its mirror image.
    low, high = np.arange(10.0), np.arange(10.0) + 100
    assert quantile_test(low, high, 0.5) == pytest.approx(2 / comb(20, 10), rel=1e-9)


def test_never_takes_part_in_the_order():
    # Five of six never pay back, none of the other six: table (1 5; 6 0), two tails of C(6,1) C(6,6) of C(12,7) each.
    first = np.array([8.0, *[np.inf] * 5])
    second = np.full(6, 9.0)
    assert quantile_test(first, second, 0.5) == pytest.approx(2 * 6 / comb(12, 7), rel=1e-9)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_samples_of_one_law_are_seldom_called_different(share):
    # 1,000 pairs of 60 trials: an exact test at 5 % errs in at most 5 %; allowed is three standard errors (0.69 %)
    # more, a false alarm of this test in less than 1 in 700.
    rng = np.random.default_rng(7)
    chances = [quantile_test(rng.normal(size=60), rng.normal(size=60), share) for _ in range(1000)]
    assert np.mean(np.array(chances) <= 0.05) <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 1000)


def test_a_shift_is_found():
    rng = np.random.default_rng(8)
    first, second = rng.normal(size=200), rng.normal(size=200) + 1
    assert quantile_test(first, second, 0.5) < FALSE_ALARM / 27


@pytest.fixture(scope="module")
def saved(tmp_path_factory) -> Path:
    """A run with its second opinion, made by one process."""
    return _saved(tmp_path_factory.mktemp("second"), 1)


def _saved(folder: Path, jobs: int) -> Path:
    plan = folder / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    out = folder / "out"
    assert main(["run", str(plan), *QUICK, "--jobs", str(jobs), "--second-opinion", "--out", str(out)]) == 0
    return out


@pytest.mark.slow
def test_both_methods_stand_side_by_side(saved, tmp_path, capsys):
    document = json.loads((saved / "summary.json").read_text(encoding="utf-8"))
    second = document["second_opinion"]
    assert second["methods"]["plan"] == document["weather_words"]
    assert "parametric" in second["methods"]["other"]
    by_name = {row["name"]: row for row in second["rows"]}
    assert {"yield_in_leaf_5", "npv", "irr", "peak_borrowing", "payback_year"} <= set(by_name)
    # The plan's column is the headline of the main run; the other column is the headline of a run under that method.
    assert by_name["npv"]["plan"]["p50"] == document["headline"]["npv"]["p50"]
    assert by_name["npv"]["plan"]["standard_error"]["p95"] == document["headline"]["npv"]["standard_error"]["p95"]
    other = tmp_path / "other.toml"
    other.write_text(PLAN.replace('record = "bundled"', 'record = "bundled"\nmethod = "parametric"'), encoding="utf-8")
    assert main(["run", str(other), *QUICK, "--jobs", "1", "--json", "--second-opinion"]) == 0
    swapped = json.loads(capsys.readouterr().out)
    assert by_name["npv"]["other"]["p50"] == swapped["headline"]["npv"]["p50"]
    assert {row["name"]: row["other"] for row in swapped["second_opinion"]["rows"]} == {
        name: row["plan"] for name, row in by_name.items()
    }


@pytest.mark.slow
def test_the_report_shows_it_and_is_rebuilt_with_it(saved):
    page = (saved / "report.html").read_text(encoding="utf-8")
    assert "Second opinion on the seasons" in page
    assert main(["report", str(saved)]) == 0
    assert (saved / "report.html").read_text(encoding="utf-8") == page


@pytest.mark.slow
def test_files_are_the_same_to_the_byte_with_two_processes(saved, tmp_path):
    two = _saved(tmp_path, 2)
    for name in ("summary.json", "report.html"):
        assert (saved / name).read_bytes() == (two / name).read_bytes()
    assert {path.name for path in (two / ".orchardsim").iterdir()} <= {"lock", "manifest.jsonl"}


def test_a_plan_that_invests_nothing_is_compared_in_what_it_has():
    run = invented_dataset(trials=6, planting_years=(-20,))
    for name in ("irr", "payback_year"):
        run[name][:] = np.nan
    document = second_opinion_document(run, run)
    assert [row["name"] for row in document["rows"]][-2:] == ["npv", "peak_borrowing"]
    assert [one["name"] for one in document["shares"]] == ["npv_below_zero"] and document["differing"] == []


def test_it_needs_a_record_and_drawn_futures(tmp_path, capsys):
    plan = tmp_path / "plan.toml"
    normals = 'temperature_min = { value = [0, 1, 4, 8, 13, 17, 19, 19, 15, 9, 4, 1], unit = "degC" }\n'
    normals += 'temperature_max = { value = [11, 13, 18, 23, 27, 30, 32, 31, 28, 23, 17, 12], unit = "degC" }\n'
    plan.write_text(
        PLAN.replace('record = "bundled"\n', "").replace("[weather.normals]\n", "[weather.normals]\n" + normals),
        encoding="utf-8",
    )
    assert "record" in refused(capsys, "run", str(plan), *QUICK, "--second-opinion")
    plan.write_text(PLAN, encoding="utf-8")
    assert "sampled" in refused(capsys, "run", str(plan), *QUICK, "--second-opinion", "--seasons", "record")
