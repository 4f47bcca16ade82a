"""Certainty equivalents, dominance, and the error of a finite record."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.risk.bands import expected_shortfall
from orchardsim.risk.comparison import (
    first_order_dominates,
    luck_order,
    second_order_dominates,
)
from orchardsim.risk.record import SeasonsMet, record_errors, season_counts, two_errors
from orchardsim.risk.utility import certainty_equivalent, certainty_equivalents


@pytest.mark.parametrize(
    ("aversion", "expected"),
    [(0.0, 75.0), (0.5, 72.855), (1.0, 70.711), (2.0, 66.667), (3.0, 63.246), (4.0, 60.571)],
)
def test_certainty_equivalent_of_an_even_chance(aversion: float, expected: float) -> None:
    """Even chance of 50 and 100; by hand: r = 1 is the geometric mean sqrt(5000), r = 2 the harmonic 2/(1/50+1/100)."""
    assert float(certainty_equivalent([50.0, 100.0], aversion).value) == pytest.approx(expected, abs=5e-4)


def test_certainty_equivalent_error_is_its_spread() -> None:
    """300 samples of 400 lognormal wealths: stated and actual spread agree within 15 % (4 % sampling error)."""
    samples = np.random.default_rng(2).lognormal(0.0, 0.4, (400, 300))
    for aversion in (0.0, 1.0, 3.0):
        estimate = certainty_equivalent(samples, aversion)
        assert estimate.standard_error.mean() == pytest.approx(estimate.value.std(), rel=0.15)


@given(st.lists(st.floats(1.0, 1e6), min_size=2, max_size=20), st.floats(0.1, 1e3))
def test_certainty_equivalent_scales_with_the_currency_and_falls_with_aversion(
    wealth: list[float], scale: float
) -> None:
    found = [float(certainty_equivalent(wealth, aversion).value) for aversion in (0.0, 0.5, 1.0, 2.0, 4.0)]
    assert all(later <= earlier * (1 + 1e-9) for earlier, later in itertools.pairwise(found))
    assert found[-1] >= min(wealth) * (1 - 1e-9)
    scaled = float(certainty_equivalent(np.array(wealth) * scale, 2.0).value)
    assert scaled == pytest.approx(found[3] * scale, rel=1e-9)


def test_ruin_has_no_certainty_equivalent() -> None:
    assert np.isnan(certainty_equivalent([100.0, 0.0], 2.0).value)
    found = certainty_equivalents([-50.0, 20.0], own_wealth=100.0)
    assert found[0.0].value == pytest.approx(-15.0)
    assert found[2.0].value == pytest.approx(2 / (1 / 50 + 1 / 120) - 100)
    assert np.isnan(certainty_equivalents([-150.0, 20.0], own_wealth=100.0)[1.0].value)


def test_dominance_on_hand_made_cases() -> None:
    """Always one more: first order. Same mean, less spread: second order only. Crossing with lower mean: neither."""
    base = np.array([1.0, 4.0, 6.0, 9.0])
    assert first_order_dominates(base + 1, base)
    assert second_order_dominates(base + 1, base)
    narrow = np.array([3.0, 4.0, 6.0, 7.0])
    assert not first_order_dominates(narrow, base)
    assert second_order_dominates(narrow, base)
    assert not second_order_dominates(base, narrow)
    worse_floor = np.array([0.0, 9.0, 9.0, 9.0])
    assert not second_order_dominates(worse_floor, base)
    assert not first_order_dominates(base, base)
    assert not second_order_dominates(base, base)


@given(st.lists(st.floats(-100, 100), min_size=3, max_size=12), st.lists(st.floats(-100, 100), min_size=3, max_size=12))
def test_dominance_implies_a_mean_no_lower(a: list[float], b: list[float]) -> None:
    n = min(len(a), len(b))
    first, second = np.array(a[:n]), np.array(b[:n])
    if first_order_dominates(first, second):
        assert first.mean() >= second.mean() - 1e-12  # a difference may drown in rounding
    if second_order_dominates(first, second):
        assert first.mean() >= second.mean() - 1e-9
        assert first.min() >= second.min() - 1e-9


def test_an_order_of_luck_is_told_only_where_it_is_stable() -> None:
    rng = np.random.default_rng(12)
    base = rng.normal(size=300)
    sure = luck_order(base + 1.0, base, np.random.default_rng(1))
    assert sure.first_order
    assert sure.second_order
    lucky = luck_order(rng.normal(size=300), rng.normal(size=300), np.random.default_rng(1))
    assert not lucky.first_order
    endless = luck_order(np.append(base, np.inf), np.append(base, 0.0), np.random.default_rng(1))
    assert not endless.second_order


def test_what_is_said_of_luck_holds_where_a_rare_disaster_breaks_dominance() -> None:
    """A true 1 % disaster of plan A: dominance of the whole future is false, and 60 trials often do not show it.

    What is said holds for outcomes with a chance above ``unseen`` (4.9 % at 60 trials), which the disaster is below:
    in no sample is an outcome ruled out that is as likely as the disaster. In 1 - 0.99^60 = 45 % of samples it is seen,
    and then no order is told at all; 200 samples, false alarm of the bounds below 1e-4.
    """
    rng = np.random.default_rng(31)
    told = 0
    for _ in range(200):
        base = rng.normal(size=60)
        found = luck_order(base + 1.0 - 50.0 * (rng.random(60) < 0.01), base, rng, resamples=100)
        told += found.first_order
        assert found.unseen > 0.01
    assert 0.38 < told / 200 < 0.72


def test_season_counts() -> None:
    np.testing.assert_array_equal(season_counts(np.array([[0, 2, 2], [1, 1, 1]]), 3), [[1, 0, 2], [0, 3, 0]])


def record_error(values: np.ndarray, season_rows: np.ndarray, seasons: int) -> float:
    return float(record_errors(values[:, None], SeasonsMet(season_rows, seasons)).error[0])


def test_record_error_is_the_spread_between_records() -> None:
    """A trial is the sum of 10 seasons drawn from a record of 30; its expectation is 10 times the record's mean.

    By the sampling of a mean, the error from the record is 10 sd / sqrt(30). 40 records, 2,000 trials each: the mean
    of the estimates has a relative error of about 13 %/sqrt(40) = 2 % plus their noise; 10 % is allowed.
    """
    rng = np.random.default_rng(15)
    found = []
    for _ in range(40):
        record = rng.normal(0, 1, 30)
        season_rows = rng.integers(0, 30, (2000, 10))
        found.append(record_error(record[season_rows].sum(axis=1), season_rows, 30))
    assert np.mean(found) == pytest.approx(10 / np.sqrt(30), rel=0.10)


def test_values_without_weather_have_no_record_error() -> None:
    """Pure noise: the noise correction keeps the estimate well below the Monte Carlo error of the uncorrected form.

    Uncorrected, 30 covariances of pure noise would add up to sqrt(30 * 10/30 / 2000) = 0.07.
    """
    rng = np.random.default_rng(16)
    season_rows = rng.integers(0, 30, (2000, 10))
    found = [record_error(rng.normal(size=2000), season_rows, 30) for _ in range(30)]
    assert np.median(found) < 0.03


def test_two_errors_stay_apart() -> None:
    """Many trials of few seasons: the record dominates. Mere noise: nothing is claimed for the record."""
    rng = np.random.default_rng(17)
    record = rng.normal(0, 1, 25)
    season_rows = rng.integers(0, 25, (4000, 8))
    weather = record[season_rows].sum(axis=1)
    found = {each.statistic: each for each in two_errors(weather, SeasonsMet(season_rows, 25), (0.5,))}
    assert list(found) == ["p50", "mean", "expected_shortfall"]
    assert found["mean"].dominates == "weather record"
    # A median moves like the mean here: the sum of eight seasons is nearly normal.
    assert found["p50"].record == pytest.approx(found["mean"].record, rel=0.25)
    # By shares: records without weather claim a record error in about one of twenty; 12 of 60 has a chance below 1e-4.
    few = SeasonsMet(season_rows[:400], 25)
    claimed = [two_errors(rng.normal(0, 50, 400), few, ())[0].seen for _ in range(60)]
    assert sum(claimed) < 12
    assert np.isnan(record_error(np.array([1.0, np.inf, 2.0, 3.0]), season_rows[:4], 25))
    endless = np.where(rng.random(4000) < 0.3, np.inf, weather)
    never = {each.statistic: each for each in two_errors(endless, SeasonsMet(season_rows, 25), (0.25,), worst="high")}
    assert never["p25"].record > 0
    assert np.isnan(never["mean"].record)
    assert never["expected_shortfall"].dominates == "not told"


def test_record_error_of_a_shortfall_is_the_spread_between_records() -> None:
    """Shortfall of the worst tenth of one season drawn from a record: spread over records of its true value.

    With one year per trial the shortfall is that of the record itself, so 400 records give its spread by brute force;
    the mean of 20 estimates at 4,000 trials has to agree within a quarter (its own error is some 10 %).
    """
    rng = np.random.default_rng(23)
    spread = np.std([expected_shortfall(rng.normal(0, 1, 30)).value for _ in range(400)])
    found = []
    for _ in range(20):
        record = rng.normal(0, 1, 30)
        season_rows = rng.integers(0, 30, (4000, 1))
        found.append(
            {one.statistic: one for one in two_errors(record[season_rows[:, 0]], SeasonsMet(season_rows, 30), ())}
        )
    assert np.mean([one["expected_shortfall"].record for one in found]) == pytest.approx(spread, rel=0.25)


def test_controls_take_out_what_is_no_weather_and_leave_the_record_error() -> None:
    """Seasons plus price luck: with the luck as control the record's error is that of the seasons alone.

    A trial sums 8 seasons of a record of 25 (error 8 sd / sqrt(25)) and luck ten times as spread, in 12 columns.
    Without controls the noise of 400 trials hides it; with them it is found, within a third (its own relative error
    is about 8 / 60 here).
    """
    rng = np.random.default_rng(41)
    record = rng.normal(0, 1, 25)
    season_rows = rng.integers(0, 25, (400, 8))
    luck = rng.normal(0, 1, (400, 12))
    values = record[season_rows].sum(axis=1) + luck @ np.full(12, 8.0)
    alone = two_errors(values, SeasonsMet(season_rows, 25), ())[0]
    known = two_errors(values, SeasonsMet(season_rows, 25, luck), ())[0]
    expected = 8 * record.std() / 5
    assert known.record == pytest.approx(expected, rel=0.33)
    assert known.seen_from < alone.seen_from / 2
    assert known.monte_carlo == alone.monte_carlo
    # Controls that explain nothing change nothing but the degrees of freedom.
    none = two_errors(record[season_rows].sum(axis=1), SeasonsMet(season_rows, 25, luck), ())[0]
    assert none.record == pytest.approx(expected, rel=0.33)
