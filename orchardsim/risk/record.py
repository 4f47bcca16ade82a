"""How far a finite weather record makes the results uncertain: an error that no number of trials removes.

Kept apart from the Monte Carlo error on purpose: the two are never added into one interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.bands import mean, quantile

Array = NDArray[np.float64]


def season_counts(pick: NDArray[np.int64], seasons: int) -> Array:
    """How often each season of the record stands in each trial: (trial, season).

    Parameters
    ----------
    pick : (trial, year)
        Season that each trial meets in each year.
    seasons : int
        Seasons in the record.
    """
    trials = pick.shape[0]
    flat = np.arange(trials)[:, None] * seasons + pick
    return np.bincount(flat.ravel(), minlength=trials * seasons).reshape(trials, seasons).astype(float)


def record_error_of_mean(values: ArrayLike, pick: NDArray[np.int64], seasons: int) -> float:
    """Standard error of the mean over trials that comes from the record's finite number of seasons.

    Parameters
    ----------
    values : (trial,)
        Finite.
    pick : (trial, year)
        Season of each trial and year, drawn from the record with equal chance, one year independent of the next.
    seasons : int
        Seasons in the record.

    Notes
    -----
    The trials are resamples of the record, so the infinitesimal jackknife applies: the squared error is the sum over
    seasons of cov(times the season occurs in a trial, value of the trial)^2 (Efron 2014, JASA 109:991). Each squared
    covariance is biased upwards by its own sampling variance, which is taken off (Wager, Hastie & Efron 2014, JMLR
    15:1625); both from memory, the estimator is checked against repeated records in the tests. Zero where the
    covariances do not rise above that noise. Where years are drawn in runs the error is understated.
    """
    values = np.asarray(values, dtype=float)
    trials = values.shape[0]
    if not np.isfinite(values).all() or trials < 3:
        return float("nan")
    counts = season_counts(pick, seasons)
    product = (counts - pick.shape[1] / seasons) * (values - values.mean())[:, None]
    covariance = product.sum(axis=0) / (trials - 1)
    noise = product.var(axis=0, ddof=1) / trials
    return float(np.sqrt(max((covariance**2 - noise).sum(), 0.0)))


def record_error_of_chance(happens: ArrayLike, pick: NDArray[np.int64], seasons: int) -> float:
    """Standard error of a chance from the finite record; ``happens`` is a flag per trial."""
    return record_error_of_mean(np.asarray(happens, dtype=float), pick, seasons)


def record_error_of_quantile(values: ArrayLike, share: float, pick: NDArray[np.int64], seasons: int) -> float:
    """Standard error of a quantile from the finite record.

    The error of the chance of falling below the quantile, turned into the quantile's unit by the density that its
    Monte Carlo error implies: SE_record(q) = SE_record(P) SE_MonteCarlo(q) / sqrt(p (1 - p) / n).
    """
    values = np.asarray(values, dtype=float)
    estimate = quantile(values, share)
    chance = record_error_of_chance(values <= estimate.value, pick, seasons)
    return float(chance * estimate.standard_error / np.sqrt(share * (1 - share) / values.size))


@dataclass(frozen=True)
class TwoErrors:
    """Monte Carlo error and record error of one statistic, side by side."""

    statistic: str
    value: float
    monte_carlo: float
    record: float

    @property
    def dominates(self) -> str:
        """Which error is the larger: "trials" or "weather record"."""
        return "trials" if self.monte_carlo >= self.record else "weather record"


def two_errors(values: ArrayLike, pick: NDArray[np.int64], seasons: int, shares: tuple[float, ...]) -> list[TwoErrors]:
    """Both errors of the mean, where it exists, and of quantiles.

    Parameters
    ----------
    values : (trial,)
    pick : (trial, year)
    seasons : int
    shares : tuple of float
        Quantiles wanted.
    """
    values = np.asarray(values, dtype=float)
    found = []
    average = mean(values)
    if np.isfinite(average.value):
        record = record_error_of_mean(values, pick, seasons)
        found.append(TwoErrors("mean", float(average.value), float(average.standard_error), record))
    for share in shares:
        point = quantile(values, share)
        record = record_error_of_quantile(values, share, pick, seasons)
        found.append(TwoErrors(f"p{100 * share:g}", float(point.value), float(point.standard_error), record))
    return found
