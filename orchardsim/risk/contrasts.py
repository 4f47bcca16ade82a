"""Many plans in the same futures: differences with limits that hold together, places, and what an answer hangs on.

The unit of replication is the trial, one future of the whole orchard, never the tree: trees of one future share its
seasons, prices and ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.comparison import MOST_DRAWS, simultaneous_limit

Array = NDArray[np.float64]

RESAMPLES = 2_000
"""Bootstrap resamples; the error of a 95 % point from so many is about 0.5 points (binomial)."""
CHANCE = 0.05
"""Chance at most that an open level is named where none has an effect (our own choice)."""
TRIALS_PER_TERM = 3
"""Fewest trials for each term of a regression (our own choice)."""


@dataclass(frozen=True)
class SimultaneousLimits:
    """Means of several contrasts with limits that hold together, each (contrast,).

    Attributes
    ----------
    mean, standard_error, low, high : array, (contrast,)
    critical : float
        Multiple of the standard error that the limits lie apart.
    """

    mean: Array
    standard_error: Array
    low: Array
    high: Array
    critical: float


def bootstrap_means(values: ArrayLike, resamples: int, rng: np.random.Generator) -> Array:
    """Means over trials drawn with replacement, all columns together, (resample, column).

    ``values``, (trial, column).
    """
    each = np.asarray(values, dtype=float)
    trials = each.shape[0]
    means = np.empty((resamples, each.shape[1]))
    step = max(1, MOST_DRAWS // trials)  # some resamples at a time, so that memory does not grow with trials
    for start in range(0, resamples, step):
        size = min(step, resamples - start)
        often = rng.multinomial(trials, np.full(trials, 1 / trials), size=size).astype(np.float64)
        for place, column in enumerate(each.T):
            means[start : start + size, place] = (often * column).sum(axis=1) / trials
    return means


def simultaneous_limits(
    contrasts: ArrayLike, rng: np.random.Generator, resamples: int = RESAMPLES
) -> SimultaneousLimits:
    """Means of contrasts with limits that hold for all of them together in 95 of 100 samples of trials.

    Raises ValueError if there are fewer than three trials or a contrast is not finite.

    Parameters
    ----------
    contrasts : (trial, contrast)
        Differences within each trial, finite.
    rng : Generator
        For the resamples of :func:`orchardsim.risk.comparison.simultaneous_limit`.
    """
    values = np.asarray(contrasts, dtype=float)
    if values.ndim != 2 or values.shape[0] < 3:
        raise ValueError("simultaneous limits need three trials or more, (trial, contrast)")
    if not np.isfinite(values).all():
        raise ValueError("simultaneous limits need finite contrasts")
    trials = values.shape[0]
    mean = values.mean(axis=0)
    error = np.where(np.ptp(values, axis=0) > 0, values.std(axis=0, ddof=1) / np.sqrt(trials), 0.0)
    critical = simultaneous_limit(values, rng, resamples=resamples)
    # a contrast that is the same in every trial is known, however wide the limits of the others
    half = np.where(error > 0, critical * np.where(error > 0, error, 1.0), 0.0)
    return SimultaneousLimits(mean, error, mean - half, mean + half, critical)


def places(values: ArrayLike, *, high_is_better: bool = True) -> Array:
    """Share of futures in which each plan takes each place, (plan, place); those that tie share their places.

    ``values``, (trial, plan).

    Examples
    --------
    >>> places([[1.0, 2.0], [3.0, 2.0], [5.0, 5.0], [0.0, 4.0]]).tolist()
    [[0.375, 0.625], [0.625, 0.375]]
    """
    each = np.asarray(values, dtype=float) * (1 if high_is_better else -1)
    trials, plans = each.shape
    taken = np.zeros((plans, plans + 1))
    for plan in range(plans):
        ahead = (each > each[:, plan : plan + 1]).sum(axis=1)
        equal = (each == each[:, plan : plan + 1]).sum(axis=1)
        # a share of 1 / equal of each place from "ahead" to "ahead + equal": steps up and down, summed below
        np.add.at(taken[plan], ahead, 1 / equal)
        np.add.at(taken[plan], ahead + equal, -1 / equal)
    shares: Array = np.cumsum(taken, axis=1)[:, :plans].clip(0) / trials
    return shares


def effects(values: ArrayLike, factors: dict[str, list[int]]) -> dict[tuple[str, ...], Array]:
    """Main effects and interactions of two factors within each trial, of a full factorial.

    Returns dict: (factor,) or (factor, factor) -> effects (trial, level) or (trial, level, level), which sum to zero
    over each level axis: what a level adds to the mean over all cells, and what a pair adds beyond its two levels.

    Parameters
    ----------
    values : (trial, cell)
    factors : dict
        Factor -> level number of each cell.
    """
    each = np.asarray(values, dtype=float)
    grand = each.mean(axis=1)
    by_factors: dict[tuple[str, ...], Array] = {}
    for name, levels in factors.items():
        number = np.asarray(levels)
        by_factors[(name,)] = np.stack(
            [each[:, number == level].mean(axis=1) - grand for level in range(number.max() + 1)], axis=1
        )
    names = list(factors)
    for place, first in enumerate(names):
        for second in names[place + 1 :]:
            a, b = np.asarray(factors[first]), np.asarray(factors[second])
            cells = np.stack(
                [
                    np.stack([each[:, (a == i) & (b == j)].mean(axis=1) for j in range(b.max() + 1)], axis=1)
                    for i in range(a.max() + 1)
                ],
                axis=1,
            )
            by_factors[(first, second)] = (
                cells - grand[:, None, None] - by_factors[(first,)][:, :, None] - by_factors[(second,)][:, None, :]
            )
    return by_factors


@dataclass(frozen=True)
class Dependence:
    """How a contrast hangs on one thing that nobody knows.

    Attributes
    ----------
    slope : float
        Change of the contrast with one standard deviation of the level.
    share : float
        Share of the contrast's variance over trials that goes with the level alone [1]; not below 0.
    """

    slope: float
    standard_error: float
    share: float


def dependence(contrast: ArrayLike, levels: dict[str, ArrayLike]) -> dict[str, Dependence]:
    """Open levels that a contrast hangs on, told from chance: linear regression by forward selection.

    Returns dict: levels that were taken in, the strongest first; what is not there cannot be told from nothing.

    Parameters
    ----------
    contrast : (trial,)
    levels : dict
        Name -> drawn level of each trial; those that do not vary are left out.

    Notes
    -----
    Each step takes in the level whose t test is surest, as long as its chance times the number of levels (Bonferroni)
    is below :data:`CHANCE` and three trials or more stand for each term. A level's share is the product of its
    standardised slope and its correlation with the contrast, so that shares sum to the share that the regression
    explains (Pratt 1987, from memory); for independent levels it is the first-order index of a linear model (Saltelli
    et al. 2008, Global Sensitivity Analysis: The Primer, section 1.2.5, from memory). What noise alone would give is
    taken off.
    """
    from scipy.stats import t as student_t  # late: it takes a second to open

    y = np.asarray(contrast, dtype=float)
    known = {name: np.asarray(values, dtype=float) for name, values in levels.items()}
    known = {
        name: (values - values.mean()) / values.std(ddof=1) for name, values in known.items() if np.ptp(values) > 0
    }
    taken: list[str] = []
    if np.ptp(y) == 0:
        return {}
    while y.size >= TRIALS_PER_TERM * (len(taken) + 2):
        tried = {
            name: _fitted(y, [*(known[name_] for name_ in taken), known[name]]) for name in known if name not in taken
        }
        chances = {
            name: 2 * float(student_t.sf(abs(slopes[-1] / errors[-1]), y.size - len(taken) - 2))
            for name, (slopes, errors) in tried.items()
            if errors[-1] > 0
        }
        if not chances or min(chances.values()) * len(known) > CHANCE:
            break
        taken.append(min(chances, key=lambda name: chances[name]))
    if not taken:
        return {}
    slopes, errors = _fitted(y, [known[name] for name in taken])
    total = float(y.var(ddof=1))
    told = {}
    for name, slope, error in zip(taken, slopes.tolist(), errors.tolist(), strict=True):
        covariance = float(known[name] @ (y - y.mean())) / (y.size - 1)
        told[name] = Dependence(slope, error, max(0.0, (slope * covariance - error**2) / total))
    return told


def _fitted(y: Array, columns: list[Array]) -> tuple[Array, Array]:
    """Slopes of centred columns and their standard errors, (column,) each; errors of 0 where columns repeat others."""
    design = np.column_stack([np.ones(y.size), *columns])
    fitted = np.linalg.lstsq(design, y, rcond=None)
    solution: Array = fitted[0].astype(np.float64)
    if fitted[2] < design.shape[1]:
        return solution[1:], np.zeros(len(columns))
    residual = y - design @ solution
    variance = float(residual @ residual) / (y.size - design.shape[1])
    errors: Array = np.sqrt(variance * np.diag(np.linalg.inv(design.T @ design)))[1:]
    return solution[1:], errors
