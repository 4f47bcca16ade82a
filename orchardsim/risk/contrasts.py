"""Many plans in the same futures: differences with limits that hold together, places, and what an answer hangs on.

The unit of replication is the trial, one future of the whole orchard, never the tree: trees of one future share its
seasons, prices and ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.comparison import simultaneous_limit

Array = NDArray[np.float64]

RESAMPLES = 2_000
"""Bootstrap resamples; the error of a 95 % point from so many is about 0.5 points (binomial)."""


@dataclass(frozen=True)
class SimultaneousLimits:
    """Means of several contrasts with limits that hold together, each (contrast,).

    Attributes
    ----------
    mean, standard_error, low, high : array, (contrast,)
    critical : float
        Multiple of the standard error that the limits lie apart.
    level : float
        Chance that all limits hold together.
    trials : int
    """

    mean: Array
    standard_error: Array
    low: Array
    high: Array
    critical: float
    level: float
    trials: int

    @property
    def told_apart(self) -> NDArray[np.bool_]:
        """Contrasts whose limits leave out zero, (contrast,)."""
        return (self.low > 0) | (self.high < 0)


def bootstrap_weights(trials: int, resamples: int, rng: np.random.Generator) -> Array:
    """How often each trial stands in each resample of all trials, (resample, trial)."""
    return rng.multinomial(trials, np.full(trials, 1 / trials), size=resamples).astype(np.float64)


def simultaneous_limits(
    contrasts: ArrayLike, rng: np.random.Generator, *, level: float = 0.95, resamples: int = RESAMPLES
) -> SimultaneousLimits:
    """Means of contrasts with limits that hold for all of them together.

    Parameters
    ----------
    contrasts : (trial, contrast)
        Differences within each trial, finite.
    rng : Generator
        For the resamples of :func:`orchardsim.risk.comparison.simultaneous_limit`.
    level : float
    resamples : int

    Raises
    ------
    ValueError
        If there are fewer than three trials or a contrast is not finite.
    """
    values = np.asarray(contrasts, dtype=float)
    if values.ndim != 2 or values.shape[0] < 3:
        raise ValueError("simultaneous limits need three trials or more, (trial, contrast)")
    if not np.isfinite(values).all():
        raise ValueError("simultaneous limits need finite contrasts")
    trials = values.shape[0]
    mean = values.mean(axis=0)
    error = np.where(np.ptp(values, axis=0) > 0, values.std(axis=0, ddof=1) / np.sqrt(trials), 0.0)
    critical = simultaneous_limit(values, rng, level, resamples)
    # a contrast that is the same in every trial is known, however wide the limits of the others
    half = np.where(error > 0, critical * np.where(error > 0, error, 1.0), 0.0)
    return SimultaneousLimits(mean, error, mean - half, mean + half, critical, level, trials)


def pairwise(values: ArrayLike) -> tuple[list[tuple[int, int]], Array]:
    """Differences of all pairs of plans within each trial.

    Parameters
    ----------
    values : (trial, plan)

    Returns
    -------
    pairs : list of (first, second)
    differences : array, (trial, pair)
        First less second.
    """
    each = np.asarray(values, dtype=float)
    pairs = [(a, b) for a in range(each.shape[1]) for b in range(a + 1, each.shape[1])]
    return pairs, np.stack([each[:, a] - each[:, b] for a, b in pairs], axis=1)


def places(values: ArrayLike, *, high_is_better: bool = True) -> Array:
    """Share of futures in which each plan takes each place, (plan, place); those that tie share their places.

    Parameters
    ----------
    values : (trial, plan)

    Examples
    --------
    >>> places([[1.0, 2.0], [3.0, 2.0], [5.0, 5.0], [0.0, 4.0]]).tolist()
    [[0.375, 0.625], [0.625, 0.375]]
    """
    each = np.asarray(values, dtype=float) * (1 if high_is_better else -1)
    trials, plans = each.shape
    shares = np.zeros((plans, plans))
    for plan in range(plans):
        ahead = (each > each[:, plan : plan + 1]).sum(axis=1)
        equal = (each == each[:, plan : plan + 1]).sum(axis=1)
        for place in range(plans):
            shares[plan, place] = (((ahead <= place) & (place < ahead + equal)) / equal).sum() / trials
    return shares


def places_of_means(
    values: ArrayLike, rng: np.random.Generator, *, high_is_better: bool = True, resamples: int = RESAMPLES
) -> Array:
    """Share of resamples of trials in which each plan's mean takes each place, (plan, place)."""
    each = np.asarray(values, dtype=float)
    weights = bootstrap_weights(each.shape[0], resamples, rng)
    means = np.stack([(weights * column).sum(axis=1) for column in each.T], axis=1)
    return places(means, high_is_better=high_is_better)


def effects(values: ArrayLike, factors: dict[str, list[int]]) -> dict[tuple[str, ...], Array]:
    """Main effects and interactions of two factors within each trial, of a full factorial.

    Parameters
    ----------
    values : (trial, cell)
    factors : dict
        Factor -> level number of each cell.

    Returns
    -------
    dict
        (factor,) or (factor, factor) -> effects (trial, level) or (trial, level, level), which sum to zero over each
        level axis: what a level adds to the mean over all cells, and what a pair adds beyond its two levels.
    """
    each = np.asarray(values, dtype=float)
    grand = each.mean(axis=1)
    found: dict[tuple[str, ...], Array] = {}
    for name, levels in factors.items():
        number = np.asarray(levels)
        found[(name,)] = np.stack(
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
            found[(first, second)] = (
                cells - grand[:, None, None] - found[(first,)][:, :, None] - found[(second,)][:, None, :]
            )
    return found


@dataclass(frozen=True)
class Dependence:
    """How a contrast hangs on one thing that nobody knows.

    Attributes
    ----------
    slope : float
        Change of the contrast with one standard deviation of the level.
    standard_error : float
    share : float
        Share of the contrast's variance over trials that goes with the level alone [1]; not below 0.
    """

    slope: float
    standard_error: float
    share: float


def dependence(contrast: ArrayLike, levels: dict[str, ArrayLike]) -> dict[str, Dependence]:
    """Linear regression of a contrast on all drawn levels together.

    Parameters
    ----------
    contrast : (trial,)
    levels : dict
        Name -> drawn level of each trial; those that do not vary are left out.

    Notes
    -----
    Levels are drawn independently, so slope squared over the variance of the contrast is the first-order index of a
    linear model (Saltelli et al. 2008, Global Sensitivity Analysis: The Primer, section 1.2.5); the error of the
    slope, squared, is taken off, so that a level without effect has a share of nothing on average.
    """
    y = np.asarray(contrast, dtype=float)
    known = {name: np.asarray(values, dtype=float) for name, values in levels.items()}
    known = {name: values for name, values in known.items() if np.ptp(values) > 0}
    if not known or np.ptp(y) == 0 or y.size <= len(known) + 2:
        return {}
    design = np.column_stack([np.ones(y.size), *((v - v.mean()) / v.std(ddof=1) for v in known.values())])
    solution, *_ = np.linalg.lstsq(design, y, rcond=None)
    residual = y - design @ solution
    variance = float(residual @ residual) / (y.size - design.shape[1])
    covariance = variance * np.linalg.pinv(design.T @ design)
    total = float(y.var(ddof=1))
    found = {}
    for place, name in enumerate(known, start=1):
        slope, error = float(solution[place]), float(np.sqrt(covariance[place, place]))
        found[name] = Dependence(slope, error, max(0.0, (slope**2 - error**2) / total))
    return found
