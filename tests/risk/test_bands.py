"""Quantiles, shortfalls and chances against closed forms, a reference library and cases worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, norm, t
from scipy.stats.mstats import mjci

from orchardsim.risk.bands import (
    expected_shortfall,
    mean,
    quantile,
    quantile_interval,
    trials_needed,
    wilson_interval,
)


def test_quantile_is_definition_seven() -> None:
    """numpy's default method is definition 7 of Hyndman & Fan 1996."""
    values = np.random.default_rng(3).normal(size=(57, 4))
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        np.testing.assert_allclose(quantile(values, share).value, np.quantile(values, share, axis=0), rtol=1e-12)


def test_quantile_error_agrees_with_the_reference_library() -> None:
    """scipy.stats.mstats.mjci uses beta parameters one lower; the two converge as n grows.

    Ours guards against trials that lie in clusters and may be larger, by up to a quarter in this smooth sample.
    """
    values = np.random.default_rng(4).gumbel(size=2000)
    for share in (0.1, 0.5, 0.9):
        ours = float(quantile(values, share).standard_error)
        reference = float(mjci(values, [share])[0])
        assert 0.95 * reference <= ours <= 1.25 * reference


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_quantile_error_is_the_spread_of_quantiles(share: float) -> None:
    """Asymptotic standard error sqrt(p(1-p)/n)/f(q) (Mosteller 1946), normal samples of 400, 300 repeats.

    The mean of 300 estimates has a relative error below 3 %; 12 % leaves more than four of those.
    """
    samples = np.random.default_rng(5).normal(size=(400, 300))
    expected = np.sqrt(share * (1 - share) / 400) / norm.pdf(norm.ppf(share))
    estimate = quantile(samples, share)
    assert estimate.standard_error.mean() == pytest.approx(expected, rel=0.12)
    assert estimate.value.std() == pytest.approx(expected, rel=0.2)


def test_infinite_trials_take_part_in_the_order() -> None:
    """A plan that never pays back is later than any year."""
    values = np.array([9.0, 11.0, 12.0, np.inf, np.inf, 10.0, 13.0, np.inf, 8.0, 14.0])
    assert quantile(values, 0.0).value == 8.0
    assert quantile(values, 0.5).value == 12.5
    assert quantile(values, 0.95).value == np.inf
    assert quantile(-values, 0.05).value == -np.inf
    assert np.isnan(mean(values).value)
    assert expected_shortfall(values, "high").value == np.inf
    assert expected_shortfall(values, "low").value == 8.0


def test_errors_next_to_infinite_trials() -> None:
    values = np.concatenate([np.arange(90.0), np.full(10, np.inf)])
    assert np.isfinite(quantile(values, 0.25).standard_error)
    assert quantile(values, 0.9).standard_error == np.inf
    assert np.isnan(quantile(np.full(50, -np.inf), 0.5).standard_error)


def test_nan_is_refused() -> None:
    with pytest.raises(ValueError, match="nan"):
        quantile([1.0, np.nan], 0.5)
    with pytest.raises(ValueError, match="no trials"):
        quantile([], 0.5)


def test_order_statistic_interval_against_the_table() -> None:
    """Ranks for the median at 95 %: n = 10 -> 2 and 9, n = 20 -> 6 and 15, n = 5 -> none.

    Conover 1999, Practical Nonparametric Statistics, table of the binomial for p = 1/2 (worked by hand from it:
    P(B <= 1 | n = 10) = 0.0107, P(B <= 2) = 0.0547; P(B <= 5 | n = 20) = 0.0207, P(B <= 6) = 0.0577).
    """
    for n, low, high in ((10, 2.0, 9.0), (20, 6.0, 15.0)):
        found = quantile_interval(np.arange(1.0, n + 1), 0.5)
        assert (float(found[0]), float(found[1])) == (low, high)
    found = quantile_interval(np.arange(5.0), 0.5)
    assert (float(found[0]), float(found[1])) == (-np.inf, np.inf)


def test_order_statistic_interval_covers() -> None:
    """4,000 samples of 60 from a uniform: coverage at least 95 % less 4 standard errors (0.0034 each)."""
    samples = np.random.default_rng(6).random((60, 4000))
    low, high = quantile_interval(samples, 0.25)
    covered = ((low < 0.25) & (high > 0.25)).mean()
    assert 0.95 - 0.014 < covered < 0.99


def test_shortfall_on_discrete_cases() -> None:
    """Worked by hand from the definition -(1/a) times the integral of the quantile function."""
    assert expected_shortfall([-50.0, *[10.0] * 19], tail=0.10).value == pytest.approx((-50 + 10) / 2)
    # 15 trials, worst 10 % = 1.5 trials: the worst whole, half of the next.
    assert expected_shortfall(np.arange(15.0), tail=0.10).value == pytest.approx((0 + 0.5 * 1) / 1.5)
    # Ties: 3 of 10 trials lose 7; the worst 20 % are within the tie.
    assert expected_shortfall([-7.0] * 3 + [1.0] * 7, tail=0.20).value == pytest.approx(-7.0)
    # 4 trials, worst 10 % is a part of the worst one.
    assert expected_shortfall([3.0, 1.0, 2.0, 4.0], worst="high").value == 4.0


def test_shortfall_of_a_sample_by_the_cvar_formula() -> None:
    """[(k/n - a) L(k) + sum of L above / n] / (1 - a), k = ceil(n a), Rockafellar & Uryasev 2002 (from memory)."""
    losses = np.sort(np.random.default_rng(8).exponential(size=37))
    a, n = 0.9, 37
    k = int(np.ceil(n * a))
    expected = ((k / n - a) * losses[k - 1] + losses[k:].sum() / n) / (1 - a)
    assert expected_shortfall(losses, worst="high", tail=0.1).value == pytest.approx(expected, rel=1e-12)


def test_shortfall_of_the_normal_and_its_error() -> None:
    """ES of a standard normal's lower tail is -phi(z)/a (McNeil, Frey & Embrechts 2005, example 2.18: from memory).

    500 samples of 500: the spread of the estimates must agree with the stated error within 15 % (relative error of
    a standard deviation from 500 values 3 %, small-sample bias of the tail the rest).
    """
    samples = np.random.default_rng(9).normal(size=(500, 500))
    estimate = expected_shortfall(samples)
    exact = -norm.pdf(norm.ppf(0.1)) / 0.1
    assert estimate.value.mean() == pytest.approx(exact, abs=0.02)
    assert estimate.standard_error.mean() == pytest.approx(estimate.value.std(), rel=0.15)


@pytest.mark.parametrize(("trials", "least"), [(50, 0.91), (200, 0.93)])
def test_the_shortfalls_error_covers_in_small_samples(trials: int, least: float) -> None:
    """Value plus and minus 1.96 errors around the closed form -phi(z)/tail of the normal, over 1,000 samples.

    The binomial error of a coverage of 95 % over 1,000 samples is 0.7 points. In samples of 50 the tail holds five
    trials; a plain influence function covers about 81 % there.
    """
    samples = np.random.default_rng(31).normal(size=(trials, 1000))
    true = -norm.pdf(norm.ppf(0.10)) / 0.10
    for side, wanted in (("low", true), ("high", -true)):
        found = expected_shortfall(samples, side)
        covered = np.mean(np.abs(found.value - wanted) <= 1.959964 * found.standard_error)
        assert least <= covered <= 0.985


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=60))
def test_shortfall_is_no_better_than_the_quantile(values: list[float]) -> None:
    """The mean beyond a quantile is never better than it, nor than the mean of all."""
    shortfall = float(expected_shortfall(values).value)
    tolerance = 1e-9 * (1 + max(abs(value) for value in values))
    assert shortfall <= np.mean(values) + tolerance
    assert shortfall <= float(quantile(values, 0.10).value) + tolerance
    assert shortfall >= min(values) - tolerance


def test_shortfall_sides_mirror() -> None:
    values = np.random.default_rng(10).normal(size=83)
    low, high = expected_shortfall(values), expected_shortfall(-values, worst="high")
    assert low.value == pytest.approx(-float(high.value))
    assert low.standard_error == pytest.approx(float(high.standard_error))


@pytest.mark.parametrize(("count", "trials"), [(81, 263), (15, 148), (0, 20), (1, 29), (7, 7)])
def test_wilson_interval_agrees_with_the_reference_library(count: int, trials: int) -> None:
    """scipy.stats.binomtest, Wilson's method without continuity correction (counts of Newcombe 1998, from memory)."""
    found = wilson_interval(count, trials)
    expected = binomtest(count, trials).proportion_ci(0.95, method="wilson")
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_wilson_interval_refuses_more_than_all() -> None:
    with pytest.raises(ValueError, match="5 of 4"):
        wilson_interval(5, 4)


def test_mean_error_gives_student_intervals() -> None:
    """scipy's t interval of a sample is mean -/+ t times the standard error."""
    values = np.random.default_rng(11).normal(size=25)
    estimate = mean(values)
    low, high = t.interval(0.95, 24, loc=estimate.value, scale=estimate.standard_error)
    expected = np.array([low, high])
    spread = t.ppf(0.975, 24) * values.std(ddof=1) / 5
    np.testing.assert_allclose(expected, [values.mean() - spread, values.mean() + spread])


def test_trials_needed() -> None:
    """Half the error takes four times the trials."""
    assert trials_needed(10.0, 500, 5.0) == 2000
    with pytest.raises(ValueError, match="above 0"):
        trials_needed(1.0, 10, 0.0)


def test_a_quantile_on_a_step_has_an_error_that_reaches_the_next_step() -> None:
    """Binomial(3, 0.5) counts: the median of 200 trials is 1 or 2; its error must not be next to nothing.

    Repeated samples are drawn independently of the code under test; with 400 of them the root mean square error of the
    stated errors against the medians' spread is held to a factor of two.
    """
    rng = np.random.default_rng(8)
    samples = rng.binomial(3, 0.5, (200, 400)).astype(float)
    found = quantile(samples, 0.5)
    spread = float(np.std(found.value))
    assert spread > 0.3
    assert spread / 2 < float(np.sqrt(np.mean(found.standard_error**2))) < 2 * spread
