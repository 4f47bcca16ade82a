"""How clustered losses are: between trials, and between neighbours."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Dispersion(NamedTuple):
    """How losses vary between trials: mean, variance-to-mean ratio, correlation between two trees of a trial."""

    mean: float
    variance_to_mean: float
    correlation: float


def dispersion(lost: NDArray[np.floating], trees: float) -> Dispersion:
    """Clustering of losses over trials.

    Parameters
    ----------
    lost : array, (trial, ...)
        Trees lost; further axes (years, blocks) are taken one by one and averaged.
    trees : float
        Trees at risk.

    Notes
    -----
    For N trees with mean loss p and a correlation rho between any two, Var = N p (1 - p) (1 + (N - 1) rho). Without
    clustering the variance-to-mean ratio is 1 - p and rho is 0.
    """
    counts = np.asarray(lost, dtype=np.float64)
    mean = counts.mean(axis=0)
    variance = counts.var(axis=0, ddof=1)
    share = mean / trees
    some = (mean > 0) & (share < 1)
    if not np.any(some):
        return Dispersion(0.0, math.nan, math.nan)
    expected = np.where(some, mean * (1 - share), 1.0)
    correlation = np.where(some, (variance / expected - 1) / max(trees - 1, 1), 0.0)
    ratio = variance / np.where(some, mean, 1.0)
    return Dispersion(float(np.mean(mean)), float(np.mean(ratio[some])), float(np.mean(correlation[some])))


def neighbour_ratio(lost: NDArray[np.bool_], rows: int, per_row: int) -> float:
    """Pairs of neighbours in the row that are both lost, relative to losses strewn at random within each trial.

    ``lost``, (trial, position).

    Notes
    -----
    A join count: with m of n trees lost at random, a given pair is lost with probability m (m - 1) / (n (n - 1)).
    """
    grid = lost.reshape(-1, rows, per_row)
    pairs = float(np.count_nonzero(grid[:, :, 1:] & grid[:, :, :-1]))
    number = grid.reshape(grid.shape[0], -1).sum(axis=1, dtype=np.float64)
    trees = rows * per_row
    expected = float(np.sum(number * (number - 1))) / (trees * (trees - 1)) * rows * (per_row - 1)
    return pairs / expected if expected > 0 else math.nan
