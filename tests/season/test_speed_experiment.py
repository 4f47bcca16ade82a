"""The range of trials that the speed benchmark measures does what a run does, under both weather methods."""

from __future__ import annotations

import dataclasses
import importlib.util
from pathlib import Path

SCRIPT = Path(__file__).parents[2] / "experiments" / "season_speed" / "run.py"
SPEC = importlib.util.spec_from_file_location("season_speed", SCRIPT)
assert SPEC is not None and SPEC.loader is not None
benchmark = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(benchmark)


def test_both_methods_are_measured():
    parametric = benchmark.drive(dataclasses.replace(benchmark.SETTINGS, method="parametric"), 3, range(6))
    resampled = benchmark.drive(benchmark.SETTINGS, 3, range(6))
    # Generated: a season of its own for every trial and year, and the thirty of the site's past.
    assert parametric["seasons"] == 6 * 3 + 30
    # Whole years: the thirty of the baseline, once, whatever the number of trials.
    assert resampled["seasons"] == 30
    # Bloom of the two methods agrees to a week: 18 seasons with a spread of about 6 days have a standard error of 1.4.
    assert abs(parametric["mean_bloom"] - resampled["mean_bloom"]) < 7
    assert min(parametric["cpu"], resampled["cpu"]) > 0
