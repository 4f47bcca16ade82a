"""Regression over the cells of a sampled experiment, against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.risk.regression import Regression


def test_slopes_misfit_and_cells_left_out_are_those_of_least_squares() -> None:
    # statsmodels OLS: slopes, mean square error, residuals left out (PRESS).
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(4)
    columns = np.column_stack([rng.random(20), rng.random(20), rng.integers(0, 2, 20)])
    values = columns @ [3.0, -1.0, 0.5] + rng.normal(size=20)
    fitted = sm.OLS(values, sm.add_constant(columns)).fit()
    left_out = fitted.get_influence().resid_press
    around = [value - np.delete(values, place).mean() for place, value in enumerate(values)]
    regression = Regression(columns)
    np.testing.assert_allclose(regression.slope_weights @ values, fitted.params[1:])
    assert regression.residual_spread(values) == pytest.approx(np.sqrt(fitted.mse_resid))
    assert regression.foretold_share(values) == pytest.approx(1 - (left_out**2).sum() / np.square(around).sum())


def test_a_straight_line_is_foretold_whole_and_noise_is_not() -> None:
    columns = np.linspace(0, 1, 9)[:, None]
    line = Regression(columns)
    assert line.foretold_share(2 + 3 * columns[:, 0]) == pytest.approx(1)
    assert line.foretold_share(np.array([1.0, -1] * 4 + [1.0])) < 0
    assert np.isnan(line.foretold_share(np.ones(9)))
    assert np.isnan(Regression(np.eye(3)[:, :2]).residual_spread(np.array([1.0, 2, 4])))
