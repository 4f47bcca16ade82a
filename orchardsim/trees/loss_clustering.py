"""How clustered losses are between trials."""

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
