"""Percent points, worst tenth and their Monte Carlo errors, against NumPy, arithmetic and known laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.results.statistics import PERCENT_POINTS, STATISTICS, describe


def test_points_and_mean_agree_with_numpy():
    sample = np.random.default_rng(4).gamma(2.0, size=(150, 3, 2))
    statistics, errors = describe(sample, worst="low")
    for row, point in enumerate(PERCENT_POINTS):
        assert statistics[row] == pytest.approx(np.quantile(sample, point / 100, axis=0), rel=1e-12)
    assert statistics[-2] == pytest.approx(sample.mean(axis=0), rel=1e-12)
    assert errors[-2] == pytest.approx(sample.std(axis=0, ddof=1) / np.sqrt(150), rel=1e-12)


def test_whole_numbers_give_a_value_that_occurred():
    sample = np.array([3.0, 4, 4, 6, 9, 9, 11, 12, 12, 20])
    statistics, _ = describe(sample, worst="high", whole=True)
    expected = [np.quantile(sample, point / 100, method="inverted_cdf") for point in PERCENT_POINTS]
    assert statistics[:5].tolist() == expected


def test_worst_tenth_by_hand():
    # 25 trials 1..25: the worst tenth is 2.5 trials: (1 + 2 + 3/2) / 2.5 = 1.8, or (25 + 24 + 23/2) / 2.5 = 24.2.
    assert describe(np.arange(1.0, 26.0), worst="low")[0][-1] == pytest.approx(1.8, rel=1e-12)
    assert describe(np.arange(1.0, 26.0), worst="high")[0][-1] == pytest.approx(24.2, rel=1e-12)


def test_never_counts_as_later_than_any_year_and_has_no_mean():
    payback = np.array([8.0] * 60 + [12.0] * 30 + [np.inf] * 10)
    statistics, errors = (
        dict(zip(STATISTICS, row, strict=True)) for row in describe(payback, worst="high", whole=True)
    )
    assert (statistics["p5"], statistics["p50"], statistics["p75"]) == (8, 8, 12)
    assert np.isposinf(statistics["p95"])
    assert np.isposinf(statistics["expected_shortfall"])
    assert np.isnan(statistics["mean"])
    assert np.isfinite(errors["p50"])
    rate = np.where(np.isinf(payback), -np.inf, 0.05)
    statistics = dict(zip(STATISTICS, describe(rate, worst="low")[0], strict=True))
    assert np.isneginf(statistics["p5"])
    assert np.isneginf(statistics["expected_shortfall"])
    assert statistics["p50"] == 0.05


def test_missing_trials_are_left_out():
    values = np.array([[1.0, np.nan], [2.0, 5.0], [3.0, np.nan], [4.0, 7.0]])
    statistics, _ = describe(values, worst="low")
    assert statistics[STATISTICS.index("mean")] == pytest.approx([2.5, 6.0])
    assert np.isnan(describe(np.full((4, 1), np.nan), worst="low")[0]).all()


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=40), st.sampled_from(["low", "high"]))
def test_points_are_ordered_and_the_worst_tenth_lies_beyond_them(sample, worst):
    values = np.array(sample)
    statistics, errors = describe(values, worst=worst)
    points = statistics[:5]
    assert (np.diff(points) >= 0).all()
    assert values.min() - 1e-6 <= statistics[-1] <= values.max() + 1e-6
    assert statistics[-1] <= values.mean() + 1e-6 if worst == "low" else statistics[-1] >= values.mean() - 1e-6
    assert (errors >= 0).all()


@pytest.mark.slow
def test_stated_errors_are_the_spread_between_runs():
    # 3,000 runs of 200 trials from a gamma law. The root of the ratio (mean stated variance / variance between runs)
    # has a sampling error of about sqrt(1 / (2 * 3000)) = 1.3 %; the rest is the small-sample bias of the formulas:
    # errors may be understated by 20 % and overstated by 40 % (percent points guard against trials in clusters). A
    # false alarm by chance is beyond 4 of its errors.
    sample = np.random.default_rng(11).gamma(2.0, size=(200, 3000))
    for worst in ("low", "high"):
        statistics, errors = describe(sample, worst=worst)
        ratio = np.sqrt((errors**2).mean(axis=1) / statistics.var(axis=1))
        assert ((ratio > 0.8) & (ratio < 1.4)).all(), dict(zip(STATISTICS, ratio, strict=True))
