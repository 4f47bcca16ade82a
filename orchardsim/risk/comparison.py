"""Plans in the same seasons: intervals of paired differences that hold together, order at every level of luck."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]

STABLE_SHARE = 0.95
"""Share of bootstrap resamples in which an order must hold before it is spoken of."""
MOST_DRAWS = 4_000_000
"""Draws of a bootstrap held in memory at once."""


def bootstrap_rows(trials: int, resamples: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Trial numbers of each bootstrap resample, drawn with replacement: (resample, trial)."""
    return rng.integers(0, trials, size=(resamples, trials))


def simultaneous_limit(
    differences: ArrayLike, rng: np.random.Generator, level: float = 0.95, resamples: int = 1000
) -> float:
    """Half width, in standard errors, at which the intervals of several paired mean differences hold together.

    Parameters
    ----------
    differences : (trial, pair)
        A pair that is the same in every trial counts for nothing.
    level : float
        Chance that all intervals hold their true means.

    Notes
    -----
    Bootstrap of the largest studentised difference (max-t, Romano & Wolf 2005, Econometrica 73:1237: from memory):
    trials are drawn with replacement, all pairs together. Never below Student's t for one pair, since a bootstrap of
    few trials is too narrow.
    """
    data = np.asarray(differences, dtype=float)
    trials = data.shape[0]
    least = float(stdtrit(trials - 1, 0.5 + level / 2))
    moving = np.ptp(data, axis=0) > 0
    if not moving.any():
        return least
    centred = data[:, moving] - data[:, moving].mean(axis=0)
    centred /= centred.std(axis=0)
    largest = np.empty(resamples)
    step = max(1, MOST_DRAWS // trials)
    for start in range(0, resamples, step):
        count = min(step, resamples - start)
        rows = bootstrap_rows(trials, count, rng) + trials * np.arange(count)[:, None]
        share = np.bincount(rows.ravel(), minlength=count * trials).reshape(count, trials) / trials
        average = share @ centred
        variance = np.maximum(share @ centred**2 - average**2, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            score = np.abs(average) * np.sqrt((trials - 1) / variance)
        largest[start : start + count] = np.nan_to_num(score, nan=np.inf, posinf=np.inf).max(axis=1)
    limit = float(np.quantile(largest, level, method="higher"))
    return max(least, limit)


def first_order_dominates(a: ArrayLike, b: ArrayLike) -> NDArray[np.bool_]:
    """Whether A is at least as good as B at every level of chance, and better at one: F_A <= F_B everywhere.

    ``a`` and ``b``, (..., trial): high values are good. With equally many trials this is: every order statistic of A at
    least that of B.
    """
    first, second = np.sort(a, axis=-1), np.sort(b, axis=-1)
    return np.asarray((first >= second).all(axis=-1) & (first > second).any(axis=-1))


def second_order_dominates(a: ArrayLike, b: ArrayLike) -> NDArray[np.bool_]:
    """Whether everyone averse to risk would take A: the running integral of F_A nowhere above that of F_B.

    ``a`` and ``b``, (..., trial): high values are good; finite. With equally many trials this is: every running sum of
    the order statistics of A at least that of B (generalised Lorenz curves, Shorrocks 1983, Economica 50:3: from
    memory).
    """
    first, second = np.sort(a, axis=-1), np.sort(b, axis=-1)
    gap = np.cumsum(first - second, axis=-1)
    slack = 1e-12 * np.cumsum(np.abs(first) + np.abs(second), axis=-1)
    return np.asarray((gap >= -slack).all(axis=-1) & (gap > slack).any(axis=-1))


@dataclass(frozen=True)
class LuckOrder:
    """Whether A was no worse than B from the worst luck to the best, in the trials seen.

    Attributes
    ----------
    first_order : bool
        Every order statistic of A is at least that of B, in the trials and in 95 % of resamples.
    second_order : bool
        So is every mean of the worst so many.
    unseen : float
        Chance up to which an outcome may be missing from the trials: with a higher one, 95 % of samples show it. An
        order in the trials says nothing of disasters rarer than that, so it is never told without it.
    """

    first_order: bool
    second_order: bool
    unseen: float


def unseen_chance(trials: int) -> float:
    """Chance of an outcome at which so many trials miss it with probability 0.05.

    Examples
    --------
    >>> round(unseen_chance(60), 4), round(unseen_chance(300), 4)
    (0.0487, 0.0099)
    """
    return float(1 - (1 - 0.95) ** (1 / trials))


def luck_order(a: ArrayLike, b: ArrayLike, rng: np.random.Generator, resamples: int = 500) -> LuckOrder:
    """Order of A and B at every level of luck in the trials, and its stability under resampling of pairs.

    Parameters
    ----------
    a, b : (trial,)
        High values are good; negate a payback or a debt first.
    rng : Generator
        For the bootstrap.

    Notes
    -----
    It is no test of stochastic dominance: the bootstrap cannot draw what the trials do not hold, and a true disaster
    of 1 % leaves 60 trials untouched in 55 % of samples.
    """
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    rows = bootstrap_rows(first.size, resamples, rng)
    finite = bool(np.isfinite(first).all() and np.isfinite(second).all())
    drawn_a, drawn_b = first[rows], second[rows]

    def stable(order: Callable[[ArrayLike, ArrayLike], NDArray[np.bool_]]) -> bool:
        return bool(order(first, second)) and float(order(drawn_a, drawn_b).mean()) >= STABLE_SHARE

    return LuckOrder(
        first_order=stable(first_order_dominates),
        second_order=finite and stable(second_order_dominates),
        unseen=unseen_chance(first.size),
    )
