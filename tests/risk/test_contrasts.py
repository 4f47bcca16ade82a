"""Statistics of studies against SciPy, statsmodels, hand-worked tables and their own stated levels."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, studentized_range, ttest_rel

from orchardsim.risk.contrasts import (
    bootstrap_means,
    dependence,
    effects,
    places,
    simultaneous_limits,
)


def pairwise(values: np.ndarray) -> np.ndarray:
    return np.stack([one - other for one, other in itertools.combinations(values.T, 2)], axis=1)


def test_one_contrast_has_the_limits_of_a_paired_t_test() -> None:
    # SciPy's paired t test; the bootstrap's 95 % point of |t| from 4,000 resamples has an error of about 2 %.
    rng = np.random.default_rng(3)
    first, second = rng.normal(5, 2, 200), rng.normal(4.6, 2, 200)
    found = simultaneous_limits((first - second)[:, None], np.random.default_rng(1), resamples=4_000)
    wanted = ttest_rel(first, second).confidence_interval(0.95)
    assert found.mean[0] == pytest.approx((first - second).mean())
    assert (found.high[0] - found.low[0]) == pytest.approx(wanted.high - wanted.low, rel=0.06)


def test_all_pairs_of_normal_plans_have_the_width_of_the_studentized_range() -> None:
    # Tukey's limits for all pairs of equally spread plans: the studentized range over the root of 2 (SciPy).
    rng = np.random.default_rng(8)
    found = simultaneous_limits(pairwise(rng.normal(size=(400, 5))), np.random.default_rng(1))
    wanted = studentized_range.ppf(0.95, 5, 1e6) / np.sqrt(2)
    assert found.critical == pytest.approx(wanted, rel=0.05)


def test_paired_trials_agree_with_a_mixed_model_of_trials() -> None:
    # A balanced two-way table without interaction (statsmodels ordinary least squares, trials as blocks).
    statsmodels = pytest.importorskip("statsmodels.formula.api")
    import pandas as pd

    rng = np.random.default_rng(2)
    trials = 30
    values = rng.normal(size=(trials, 1)) * 3 + np.array([0.0, 0.5, 1.5]) + rng.normal(size=(trials, 3))
    frame = pd.DataFrame(
        {
            "y": values.ravel(),
            "trial": np.repeat(np.arange(trials), 3),
            "plan": np.tile(list("abc"), trials),
        }
    )
    fitted = statsmodels.ols("y ~ C(trial) + C(plan)", frame).fit()
    found = simultaneous_limits(pairwise(values), np.random.default_rng(1))
    assert -found.mean[0] == pytest.approx(fitted.params["C(plan)[T.b]"])
    assert -found.mean[1] == pytest.approx(fitted.params["C(plan)[T.c]"])


def test_resampled_means_spread_as_the_standard_error_and_not_with_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    # The spread of bootstrap means is the standard error of the mean (Efron & Tibshirani 1993, from memory); of
    # 4,000 resamples its own error is 1.1 %.
    values = np.random.default_rng(4).gamma(2.0, size=(150, 2))
    found = bootstrap_means(values, 4_000, np.random.default_rng(1))
    np.testing.assert_allclose(found.std(axis=0), values.std(axis=0) / np.sqrt(150), rtol=0.045)
    monkeypatch.setattr("orchardsim.risk.contrasts.MOST_DRAWS", 1_000)
    np.testing.assert_array_equal(found, bootstrap_means(values, 4_000, np.random.default_rng(1)))


@pytest.mark.slow
def test_no_difference_is_named_in_at_most_one_table_of_twenty() -> None:
    # 600 tables of six plans, skewed values, no true difference: with a true rate of 5 % more than 48 tables would be
    # seen once in 1,000 (binomial).
    rng = np.random.default_rng(11)
    named = 0
    for _ in range(600):
        luck = rng.normal(size=(60, 1))
        differences = pairwise(np.exp(0.5 * (luck + rng.normal(size=(60, 6)))))
        found = simultaneous_limits(differences, rng, resamples=500)
        named += bool(((found.low > 0) | (found.high < 0)).any())
    assert named <= binom.ppf(0.999, 600, 0.05)


def test_the_same_plan_twice_is_known_to_be_the_same() -> None:
    values = np.random.default_rng(1).normal(size=(20, 1))
    found = simultaneous_limits(pairwise(np.concatenate([values, values], axis=1)), np.random.default_rng(1))
    assert found.low[0] == found.high[0] == 0


@pytest.mark.parametrize("bad", [np.zeros((2, 1)), np.full((9, 2), np.inf)])
def test_too_few_or_unbounded_trials_are_refused(bad: np.ndarray) -> None:
    with pytest.raises(ValueError, match="simultaneous limits need"):
        simultaneous_limits(bad, np.random.default_rng(1))


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 6), st.integers(3, 12), st.integers(0, 99))
def test_places_are_shared_out_whole(plans: int, trials: int, seed: int) -> None:
    values = np.random.default_rng(seed).integers(0, 4, size=(trials, plans)).astype(float)
    found = places(values)
    np.testing.assert_allclose(found.sum(axis=0), 1)
    np.testing.assert_allclose(found.sum(axis=1), 1)
    np.testing.assert_allclose(places(-values, high_is_better=False), found)


def test_a_plan_far_ahead_takes_the_first_place_of_means() -> None:
    values = np.random.default_rng(1).normal(size=(50, 3)) + np.array([0, 10, 0])
    found = places(bootstrap_means(values, 200, np.random.default_rng(2)))
    assert found[1, 0] == 1


def test_effects_of_a_hand_worked_square() -> None:
    # Cells 1, 3, 5, 11: mean 5; first factor -3, +3; second -2, +2; interaction 1, -1, -1, 1 (worked by hand).
    found = effects(np.array([[1.0, 3.0, 5.0, 11.0]]), {"a": [0, 0, 1, 1], "b": [0, 1, 0, 1]})
    np.testing.assert_allclose(found[("a",)], [[-3, 3]])
    np.testing.assert_allclose(found[("b",)], [[-2, 2]])
    np.testing.assert_allclose(found[("a", "b")], [[[1, -1], [-1, 1]]])


def test_what_a_contrast_hangs_on_is_told_apart_from_noise() -> None:
    # y = 3 a + noise of spread 4: a takes 9 / 25 of the variance, b nothing; n = 4,000, error of the share about 0.013.
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=(2, 4_000))
    found = dependence(3 * a + rng.normal(0, 4, 4_000), {"a": a, "b": b, "fixed": np.ones(4_000)})
    assert found["a"].share == pytest.approx(9 / 25, abs=0.05)
    assert found["a"].slope == pytest.approx(3, abs=4 * found["a"].standard_error)
    assert set(found) == {"a"}


def test_sums_of_squares_of_a_factorial_are_those_of_an_analysis_of_variance() -> None:
    # statsmodels anova_lm of a balanced 3 x 2 table, trials as replicates.
    statsmodels = pytest.importorskip("statsmodels.api")
    import pandas as pd
    from statsmodels.formula.api import ols

    rng = np.random.default_rng(6)
    a, b = np.repeat([0, 1, 2], 2), np.tile([0, 1], 3)
    values = rng.normal(size=(9, 6)) + 2 * a + a * b
    frame = pd.DataFrame({"y": values.ravel(), "a": np.tile(a, 9), "b": np.tile(b, 9)})
    table = statsmodels.stats.anova_lm(ols("y ~ C(a) * C(b)", frame).fit())
    found = effects(values.mean(axis=0, keepdims=True), {"a": a.tolist(), "b": b.tolist()})
    squares = {names: (effect**2).mean() * values.size for names, effect in found.items()}
    assert squares[("a",)] == pytest.approx(table.loc["C(a)", "sum_sq"])
    assert squares[("b",)] == pytest.approx(table.loc["C(b)", "sum_sq"])
    assert squares[("a", "b")] == pytest.approx(table.loc["C(a):C(b)", "sum_sq"])


def test_what_a_contrast_hangs_on_has_the_slopes_of_least_squares() -> None:
    # statsmodels OLS on the two levels that matter, standardised.
    statsmodels = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(7)
    levels = {name: rng.normal(2, 3, size=80) for name in "abc"}
    contrast = 3 * levels["a"] - 2 * levels["b"] + rng.normal(size=80)
    found = dependence(contrast, levels)
    assert set(found) == {"a", "b"}
    columns = np.column_stack([(levels[name] - levels[name].mean()) / levels[name].std(ddof=1) for name in found])
    fitted = statsmodels.OLS(contrast, statsmodels.add_constant(columns)).fit()
    np.testing.assert_allclose([one.slope for one in found.values()], fitted.params[1:])
    np.testing.assert_allclose([one.standard_error for one in found.values()], fitted.bse[1:])
