"""Two doubts against cases whose shares are known by construction."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.risk.doubts import Regressors, _Fit, outcomes_at_middles, two_doubts

RNG = np.random.default_rng(11)


def _case(count=2000, price=3.0, ground=2.0, luck=1.0):
    drawn = {name: RNG.standard_normal((count, 1)) for name in ("price", "ground", "nothing")}
    values = 10 + price * drawn["price"][:, 0] + ground * drawn["ground"][:, 0] + luck * RNG.standard_normal(count)
    return values, Regressors(drawn, {name: np.zeros(1) for name in drawn})


def test_shares_of_a_sum_of_normals():
    """Variances 9, 4 and 1: 13/14 is not knowing; without the price the band shrinks by 1 - sqrt(5/14)."""
    found = two_doubts(*_case())
    assert found is not None
    assert found.not_knowing == pytest.approx(13 / 14, abs=0.02)
    assert found.by_level["price"] == pytest.approx(1 - np.sqrt(5 / 14), abs=0.03)
    assert found.by_level["nothing"] < 0.01
    assert found.narrowed_by == "price"
    assert found.larger == "not knowing"


def test_luck_alone_has_the_spread_of_luck_about_the_middle():
    """90 % of a standard normal about 10 lies within 1.645; 2,000 trials tell its ends to some 0.1."""
    found = two_doubts(*_case())
    assert found is not None
    low, middle, high = np.percentile(found.known, [5, 50, 95])
    assert (low, middle, high) == pytest.approx((10 - 1.645, 10, 10 + 1.645), abs=0.25)


def test_infinite_outcomes_keep_their_place():
    values, levels = _case()
    never = np.where(values > 14, np.inf, values)
    found = two_doubts(never, levels)
    assert found is not None
    assert np.isfinite(np.percentile(found.known, 95, method="inverted_cdf"))
    assert found.narrowed_by == "price"


def test_nothing_is_told_where_nothing_is_open_or_trials_are_few():
    values, levels = _case(count=11)
    assert two_doubts(values, levels) is None
    values, levels = _case()
    assert two_doubts(values, Regressors({"price": np.zeros((len(values), 1))}, {"price": np.zeros(1)})) is None
    without_effect = two_doubts(RNG.standard_normal(2000), levels)
    assert without_effect is not None and without_effect.larger == "luck"


def test_several_outcomes_at_once_are_moved_as_one_by_one():
    rng = np.random.default_rng(3)
    levels = {"price": rng.normal(size=(60, 1)), "ground": rng.normal(size=(60, 2))}
    middles = {"price": np.zeros(1), "ground": np.zeros(2)}
    values = np.stack([levels["price"][:, 0] + rng.normal(size=60), rng.normal(size=60), np.ones(60)], axis=1)
    together = outcomes_at_middles(values, Regressors(levels, middles))
    for column in (0, 1):
        alone = two_doubts(values[:, column], Regressors(levels, middles))
        np.testing.assert_allclose(together[:, column], alone.known)
    np.testing.assert_array_equal(together[:, 2], 1.0)
    few = Regressors({name: one[:8] for name, one in levels.items()}, middles)
    assert outcomes_at_middles(values[:8], few) is None


def test_the_fit_is_that_of_least_squares_also_where_columns_depend_on_each_other():
    """Against NumPy's own solver, which gives the shortest of equally good weights."""
    rng = np.random.default_rng(5)
    design = rng.normal(size=(50, 3))
    for columns in (design, np.column_stack([design, design[:, 0] - 2 * design[:, 1]])):
        values = rng.normal(size=50)
        fit = _Fit(columns)
        weights, *_ = np.linalg.lstsq(columns, values, rcond=None)
        np.testing.assert_allclose(fit.weights(values), weights, rtol=1e-9)
        assert fit.left(values) == pytest.approx(((values - columns @ weights) ** 2).sum())


def test_a_number_that_stands_twice_counts_once():
    """The level of one stock in two blocks is one number."""
    rng = np.random.default_rng(4)
    stock, ground = rng.normal(size=(80, 1)), rng.normal(size=(80, 1))
    values = stock[:, 0] + ground[:, 0] + rng.normal(size=80)
    middles = {"stock": np.zeros(2), "ground": np.zeros(1)}
    once = two_doubts(values, Regressors({"stock": stock, "ground": ground}, middles))
    found = two_doubts(values, Regressors({"stock": np.repeat(stock, 2, axis=1), "ground": ground}, middles))
    assert once is not None and found is not None
    assert found.by_level == once.by_level and found.not_knowing == once.not_knowing
