"""Regression over the cells of a sampled experiment, against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.risk.regression import foretold_share, residual_spread, slope_weights


def test_slopes_misfit_and_cells_left_out_are_those_of_least_squares() -> None:
    # statsmodels OLS: slopes, mean square error, residuals left out (PRESS).
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(4)
    columns = np.column_stack([rng.random(20), rng.random(20), rng.integers(0, 2, 20)])
    values = columns @ [3.0, -1.0, 0.5] + rng.normal(size=20)
    fitted = sm.OLS(values, sm.add_constant(columns)).fit()
    left_out = fitted.get_influence().resid_press
    around = [value - np.delete(values, place).mean() for place, value in enumerate(values)]
    np.testing.assert_allclose(slope_weights(columns) @ values, fitted.params[1:])
    assert residual_spread(columns, values) == pytest.approx(np.sqrt(fitted.mse_resid))
    assert foretold_share(columns, values) == pytest.approx(1 - (left_out**2).sum() / np.square(around).sum())


def test_a_straight_line_is_foretold_whole_and_noise_is_not() -> None:
    columns = np.linspace(0, 1, 9)[:, None]
    assert foretold_share(columns, 2 + 3 * columns[:, 0]) == pytest.approx(1)
    assert foretold_share(columns, np.array([1.0, -1] * 4 + [1.0])) < 0
    assert np.isnan(foretold_share(columns, np.ones(9)))
    assert np.isnan(residual_spread(np.eye(3)[:, :2], np.array([1.0, 2, 4])))
