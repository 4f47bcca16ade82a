"""Yearly courses, monthly means and trends against numpy and SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from orchardsim.weather.climate import (
    daily_from_monthly,
    harmonic_basis,
    linear_trend,
    mean_and_sd_course,
    monthly_means,
    yearly_course,
)
from orchardsim.weather.normals import spread_of_normals, variance_of_mean
from orchardsim.weather.parameters import MonthlyNormals


def test_yearly_course_is_the_least_squares_fit() -> None:
    values = np.random.default_rng(1).normal(size=(365, 2))
    basis = harmonic_basis(np.arange(365))
    coefficient, *_ = np.linalg.lstsq(basis, values, rcond=None)
    np.testing.assert_allclose(yearly_course(values), basis @ coefficient, atol=1e-12)


def test_mean_and_sd_course_of_known_data() -> None:
    """Sampled mean and standard deviation of a known course; 60 years, standard error of the SD below 1 %."""
    rng = np.random.default_rng(2)
    day = np.arange(365)
    sd = 4 + 2 * np.cos(2 * np.pi * day / 365)
    mean, spread = mean_and_sd_course(10 + sd * rng.standard_normal((60, 365)))
    np.testing.assert_allclose(spread, sd, rtol=0.06)
    np.testing.assert_allclose(mean, 10.0, atol=0.35)


@given(st.lists(st.floats(-20, 40), min_size=12, max_size=12))
def test_daily_course_keeps_monthly_means(values: list[float]) -> None:
    np.testing.assert_allclose(monthly_means(daily_from_monthly(tuple(values))), values, atol=1e-8)


def test_trend_agrees_with_scipy() -> None:
    rng = np.random.default_rng(3)
    year = np.arange(1990, 2020)
    value = 0.03 * year + rng.normal(size=30)
    expected = linregress(year, value)
    trend = linear_trend(year, value)
    assert trend.slope == pytest.approx(expected.slope)
    assert trend.standard_error == pytest.approx(expected.stderr)
    assert linear_trend(year[:2], value[:2]).standard_error == np.inf


def test_variance_of_a_mean_of_correlated_days() -> None:
    """By hand: three days with correlation r: (3 + 2(2r + r^2))/9; a single day: 1."""
    assert variance_of_mean(0.5, 3) == pytest.approx((3 + 2 * (2 * 0.5 + 0.25)) / 9)
    assert variance_of_mean(0.7, 1) == pytest.approx(1.0)


@given(st.floats(0.3, 3.0), st.floats(2.0, 6.0))
def test_spread_of_normals_gives_the_stated_spread(year_to_year: float, day_to_day: float) -> None:
    persistence, share = spread_of_normals(MonthlyNormals(year_to_year_sd=year_to_year, day_to_day_sd=(day_to_day,)))
    assert 0 <= persistence < 1 and 0 <= share <= 0.6
    fast, slow = variance_of_mean(persistence), variance_of_mean(float(np.exp(-1 / 50)))
    made = np.sqrt(0.5 * 1.48 * day_to_day**2 * ((1 - share) * fast + share * slow))
    lowest = np.sqrt(0.5 * 1.48 * day_to_day**2 / 30)
    if share < 0.6 and year_to_year > lowest:
        assert made == pytest.approx(year_to_year, rel=1e-6)
