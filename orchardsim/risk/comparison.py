"""Two plans in the same seasons: paired differences, chance that one beats the other, stochastic dominance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from orchardsim.risk.bands import Chance, Estimate, Side, expected_shortfall, mean, quantile, wilson_interval

Array = NDArray[np.float64]

DOMINANCE_SHARE = 0.95
"""Share of bootstrap resamples in which dominance must hold before it is claimed."""


def bootstrap_rows(trials: int, resamples: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Trial numbers of each bootstrap resample, drawn with replacement: (resample, trial)."""
    return rng.integers(0, trials, size=(resamples, trials))


@dataclass(frozen=True)
class PairedDifference:
    """How much better plan A is than plan B, over trials with the same seasons and prices.

    Attributes
    ----------
    mean : Estimate
        Mean of A - B; nan where a trial is infinite.
    mean_low, mean_high : float
        Confidence limits of the mean (normal).
    median : Estimate
        Of the differences A - B, not the difference of medians.
    chance_better : Chance
        That A is better than B; a tie counts for neither.
    ties : int
    """

    mean: Estimate
    mean_low: float
    mean_high: float
    median: Estimate
    chance_better: Chance
    ties: int
    level: float

    @property
    def told_apart(self) -> bool:
        """Whether the confidence limits of the mean leave out zero."""
        return bool(self.mean_low > 0 or self.mean_high < 0)


def paired_difference(a: ArrayLike, b: ArrayLike, *, better: Side = "high", level: float = 0.95) -> PairedDifference:
    """Compare two plans trial by trial.

    Parameters
    ----------
    a, b : (trial,)
        The same trial numbers in the same order.
    better : {"low", "high"}
        Which side is better: "low" for payback years and debts.
    level : float
    """
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if first.shape != second.shape or first.ndim != 1:
        raise ValueError("paired trials need two arrays of one length")
    same = first == second
    with np.errstate(invalid="ignore"):
        difference = np.where(same, 0.0, first - second)
    average = mean(difference)
    half = float(ndtri(0.5 + level / 2)) * average.standard_error
    won = first > second if better == "high" else first < second
    return PairedDifference(
        mean=average,
        mean_low=float(average.value - half),
        mean_high=float(average.value + half),
        median=quantile(difference, 0.5),
        chance_better=wilson_interval(int(won.sum()), first.size, level),
        ties=int(same.sum()),
        level=level,
    )


def first_order_dominates(a: ArrayLike, b: ArrayLike) -> NDArray[np.bool_]:
    """Whether A is at least as good as B at every level of chance, and better at one: F_A <= F_B everywhere.

    Parameters
    ----------
    a, b : (..., trial)
        High values are good. With equally many trials this is: every order statistic of A at least that of B.
    """
    first, second = np.sort(a, axis=-1), np.sort(b, axis=-1)
    return np.asarray((first >= second).all(axis=-1) & (first > second).any(axis=-1))


def second_order_dominates(a: ArrayLike, b: ArrayLike) -> NDArray[np.bool_]:
    """Whether everyone averse to risk would take A: the running integral of F_A nowhere above that of F_B.

    Parameters
    ----------
    a, b : (..., trial)
        High values are good; finite. With equally many trials this is: every running sum of the order statistics of
        A at least that of B (generalised Lorenz curves, Shorrocks 1983, Economica 50:3: from memory).
    """
    first, second = np.sort(a, axis=-1), np.sort(b, axis=-1)
    gap = np.cumsum(first - second, axis=-1)
    slack = 1e-12 * np.cumsum(np.abs(first) + np.abs(second), axis=-1)
    return np.asarray((gap >= -slack).all(axis=-1) & (gap > slack).any(axis=-1))


@dataclass(frozen=True)
class Dominance:
    """Whether A dominates B, and in what share of bootstrap resamples of pairs it does."""

    first_order: bool
    first_order_share: float
    second_order: bool
    second_order_share: float
    resamples: int

    @property
    def first_order_claimed(self) -> bool:
        """It holds in the trials and in enough resamples."""
        return self.first_order and self.first_order_share >= DOMINANCE_SHARE

    @property
    def second_order_claimed(self) -> bool:
        """It holds in the trials and in enough resamples."""
        return self.second_order and self.second_order_share >= DOMINANCE_SHARE


def dominance(a: ArrayLike, b: ArrayLike, rng: np.random.Generator, resamples: int = 500) -> Dominance:
    """Stochastic dominance of A over B with its stability under resampling of pairs.

    Parameters
    ----------
    a, b : (trial,)
        High values are good; negate a payback or a debt first.
    rng : Generator
        For the bootstrap.
    resamples : int
    """
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    rows = bootstrap_rows(first.size, resamples, rng)
    finite = bool(np.isfinite(first).all() and np.isfinite(second).all())
    drawn_a, drawn_b = first[rows], second[rows]
    return Dominance(
        first_order=bool(first_order_dominates(first, second)),
        first_order_share=float(first_order_dominates(drawn_a, drawn_b).mean()),
        second_order=finite and bool(second_order_dominates(first, second)),
        second_order_share=float(second_order_dominates(drawn_a, drawn_b).mean()) if finite else 0.0,
        resamples=resamples,
    )


def shortfall_difference(
    a: ArrayLike, b: ArrayLike, rng: np.random.Generator, worst: Side = "low", tail: float = 0.10, resamples: int = 500
) -> Estimate:
    """Expected shortfall of A less that of B, its standard error from a bootstrap of pairs."""
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    rows = bootstrap_rows(first.size, resamples, rng).T
    drawn = expected_shortfall(first[rows], worst, tail).value - expected_shortfall(second[rows], worst, tail).value
    value = expected_shortfall(first, worst, tail).value - expected_shortfall(second, worst, tail).value
    return Estimate(value, np.asarray(drawn.std(axis=0, ddof=1)))


def quantile_difference(
    a: ArrayLike, b: ArrayLike, share: float, rng: np.random.Generator, resamples: int = 500
) -> Estimate:
    """Quantile of A less that of B, its standard error from a bootstrap of pairs."""
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    rows = bootstrap_rows(first.size, resamples, rng).T
    drawn = quantile(first[rows], share).value - quantile(second[rows], share).value
    value = quantile(first, share).value - quantile(second, share).value
    return Estimate(value, np.asarray(drawn.std(axis=0, ddof=1)))
