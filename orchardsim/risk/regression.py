"""Regression over the cells of a sampled experiment: slopes within each trial, and what it foretells of other cells.

Slopes are sums of cells with fixed weights, so each trial has its own, and their limits are those of any contrast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def slope_weights(columns: ArrayLike) -> Array:
    """Weights of the cells whose sums are the least-squares slopes beside a constant.

    ``columns``, (cell, term). Returns array, (term, cell).

    Examples
    --------
    >>> (slope_weights([[0.0], [1.0], [2.0]]) @ [5.0, 8.0, 11.0]).round(9).tolist()
    [3.0]
    """
    terms = np.asarray(columns, dtype=float)
    weights: Array = np.linalg.pinv(np.column_stack([np.ones(len(terms)), terms]))[1:]
    return weights


def residual_spread(columns: ArrayLike, values: ArrayLike) -> float:
    """Standard deviation of what a regression with a constant leaves, over its degrees of freedom; nan without any.

    Parameters
    ----------
    columns : (cell, term)
    values : (cell,)
    """
    terms, y = np.asarray(columns, dtype=float), np.asarray(values, dtype=float)
    design = np.column_stack([np.ones(len(terms)), terms])
    left = y - design @ (np.linalg.pinv(design) @ y)
    free = y.size - np.linalg.matrix_rank(design)
    return float(np.sqrt(left @ left / free)) if free > 0 else float("nan")


def foretold_share(columns: ArrayLike, values: ArrayLike) -> float:
    """Share of the variance of values that a regression foretells of those left out of it, one at a time [1].

    Returns float: 1 is all, 0 no better than the mean of the others; nan where a value decides its own fit, or none
    differ.

    Parameters
    ----------
    columns : (cell, term)
    values : (cell,)

    Notes
    -----
    A residual left out is the residual over one less its leverage (Allen 1974, Technometrics 16:125, from memory).
    """
    terms, y = np.asarray(columns, dtype=float), np.asarray(values, dtype=float)
    design = np.column_stack([np.ones(len(terms)), terms])
    hat = design @ np.linalg.pinv(design)
    free = 1 - np.diag(hat)
    around = (y - y.mean()) * y.size / (y.size - 1)
    if (free < 1e-9).any() or not around.any():
        return float("nan")
    return float(1 - (((y - hat @ y) / free) ** 2).sum() / (around**2).sum())
