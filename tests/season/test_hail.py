"""Hail as a marked Poisson process, against scipy's distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from orchardsim.season.hail import DRAWS, MOST_STORMS, NET_SHARE, hail_damage, storm_number
from orchardsim.trees.grading import after_hail

N = 200_000


def test_storm_numbers_are_poisson():
    """Inverse of the Poisson distribution function (scipy.stats.poisson.ppf), cut at the most storms counted."""
    uniform = np.linspace(0.0005, 0.9995, 1000)
    for rate in (0.05, 0.3, 1.0):
        expected = np.minimum(stats.poisson.ppf(uniform, rate), MOST_STORMS)
        np.testing.assert_array_equal(storm_number(uniform, rate), expected)


@pytest.mark.parametrize(("rate", "mean"), [(0.1, 0.4), (0.8, 0.2)])
def test_mean_damage_is_that_of_the_compound_process(rate, mean):
    """E[1 - (1 - m)^N] with N Poisson is 1 - exp(-rate m): independent marks thin the fruit.

    n = 200,000; the bound is 4.5 standard errors of the sample mean (false alarm 7 in a million), plus the share of
    seasons with more storms than are counted.
    """
    uniforms = np.random.default_rng(5).random((N, DRAWS))
    found = hail_damage(uniforms, rate, mean)
    expected = 1 - np.exp(-rate * mean)
    error = found.std(ddof=1) / np.sqrt(N)
    assert abs(found.mean() - expected) < 4.5 * error + stats.poisson.sf(MOST_STORMS, rate)
    np.testing.assert_allclose(hail_damage(uniforms, rate, mean, net=True), NET_SHARE * found)


def test_one_storms_mark_is_beta():
    """Kolmogorov-Smirnov distance to Beta(1, 1/mean - 1) below its 1e-5 critical value."""
    uniforms = np.random.default_rng(6).random((N, DRAWS))
    uniforms[:, 0] = stats.poisson.cdf(0, 0.3) + 1e-6
    found = hail_damage(uniforms, 0.3, 0.25)
    assert stats.kstest(found, stats.beta(1, 3).cdf).statistic < np.sqrt(-np.log(1e-5 / 2) / (2 * N))


def test_marked_fruit_changes_grade_and_no_mass_is_lost():
    packed = np.array([[60.0, 20.0, 15.0, 5.0]])
    np.testing.assert_allclose(after_hail(packed, np.array([0.25])), [[45.0, 15.0, 35.0, 5.0]])
    np.testing.assert_allclose(after_hail(packed, np.array([0.0])), packed)
