"""The range of trials that the speed benchmark measures does what a run does, under both weather methods."""

from __future__ import annotations

import dataclasses

from experiments.season_speed import run as benchmark


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
