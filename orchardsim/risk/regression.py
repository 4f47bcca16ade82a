"""Regression over the cells of a sampled experiment: slopes within each trial, and what it foretells of other cells."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


class Regression:
    """Least squares with a constant on columns of the cells, (cell, term), for any values of the cells.

    Slopes are sums of cells with fixed weights, so each trial has its own, and their limits are those of any contrast.

    Examples
    --------
    >>> (Regression([[0.0], [1.0], [2.0]]).slope_weights @ [5.0, 8.0, 11.0]).round(9).tolist()
    [3.0]
    """

    def __init__(self, columns: ArrayLike) -> None:
        terms = np.asarray(columns, dtype=float)
        self.design = np.column_stack([np.ones(len(terms)), terms])
        self.inverse: Array = np.linalg.pinv(self.design)

    @property
    def slope_weights(self) -> Array:
        """Weights of the cells whose sums are the slopes beside the constant, (term, cell)."""
        return self.inverse[1:]

    def residual_spread(self, values: ArrayLike) -> float:
        """Standard deviation of what is left of values, (cell,), over its degrees of freedom; nan without any."""
        y = np.asarray(values, dtype=float)
        left = y - self.design @ (self.inverse @ y)
        free = y.size - np.linalg.matrix_rank(self.design)
        return float(np.sqrt(left @ left / free)) if free > 0 else float("nan")

    def foretold_share(self, values: ArrayLike) -> float:
        """Share of the variance of values, (cell,), foretold of those left out of the regression, one at a time [1].

        Returns float: 1 is all, 0 no better than the mean of the others; nan where a value decides its own fit, or none
        differ.

        Notes
        -----
        A residual left out is the residual over one less its leverage (Allen 1974, Technometrics 16:125, from memory).
        """
        y, hat = np.asarray(values, dtype=float), self.design @ self.inverse
        free = 1 - np.diag(hat)
        around = (y - y.mean()) * y.size / (y.size - 1)
        if (free < 1e-9).any() or not around.any():
            return float("nan")
        return float(1 - (((y - hat @ y) / free) ** 2).sum() / (around**2).sum())
