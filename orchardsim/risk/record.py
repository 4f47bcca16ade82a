"""How far a finite weather record makes the results uncertain: an error that no number of trials removes.

Kept apart from the Monte Carlo error on purpose: the two are never added into one interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.bands import Side, expected_shortfall, mean, quantile

Array = NDArray[np.float64]
Dominates = Literal["trials", "weather record", "not told"]

NOISE_POINT: Final = 1.645
"""Standard deviations of the noise below which a record error is not seen (95 % point of a normal)."""


def season_counts(season_rows: NDArray[np.int64], seasons: int) -> Array:
    """How often each season of the record stands in each trial: (trial, season).

    Parameters
    ----------
    season_rows : (trial, year)
        Season that each trial meets in each year.
    seasons : int
        Seasons in the record.
    """
    trials = season_rows.shape[0]
    flat = np.arange(trials)[:, None] * seasons + season_rows
    return np.bincount(flat.ravel(), minlength=trials * seasons).reshape(trials, seasons).astype(float)


@dataclass(frozen=True)
class RecordErrors:
    """Standard errors of means from the record's finite number of seasons, one for each column of values.

    Attributes
    ----------
    error : (column,)
        0 where it does not rise above the trials' noise.
    seen_from : (column,)
        Size from which these trials would show one: the root of the 95 % point of the noise of its square.
    """

    error: Array
    seen_from: Array


def without_controls(values: Array, controls: Array | None) -> tuple[Array, float]:
    """Columns of values less what is linear in the controls, and the degrees of freedom that are left: (trial, column).

    Parameters
    ----------
    values : (trial, column)
    controls : (trial, control), optional
        Anything known of a trial that does not hang on its seasons (the luck of its prices): what it explains is no
        weather, and without it weather stands out more clearly.
    """
    centred = values - values.mean(axis=0)
    trials = values.shape[0]
    if controls is None or controls.shape[1] == 0:
        return centred, trials - 1.0
    known = controls - controls.mean(axis=0)
    known = known[:, known.std(axis=0) > 0]
    if known.shape[1] == 0 or trials < 3 * known.shape[1]:
        return centred, trials - 1.0
    slopes, _, rank, _ = np.linalg.lstsq(known, centred, rcond=None)
    return centred - known @ slopes, float(trials - 1 - rank)


def record_errors(
    values: ArrayLike, season_rows: NDArray[np.int64], seasons: int, controls: Array | None = None
) -> RecordErrors:
    """Standard error of the mean over trials that comes from the record's finite number of seasons.

    Parameters
    ----------
    values : (trial, column)
        nan in both results of a column that is not finite.
    season_rows : (trial, year)
        Season of each trial and year, drawn from the record with equal chance, one year independent of the next.
    seasons : int
        Seasons in the record.
    controls : (trial, control), optional
        As in :func:`without_controls`.

    Notes
    -----
    The trials are resamples of the record, so the infinitesimal jackknife applies: the squared error is the sum over
    seasons of cov(times the season occurs in a trial, value of the trial)^2 (Efron 2014, JASA 109:991). Each squared
    covariance is biased upwards by its own sampling variance, which is taken off (Wager, Hastie & Efron 2014, JMLR
    15:1625); both from memory, the estimator is checked against repeated records in the tests. Zero where the
    covariances do not rise above that noise: the spread of the noise of their sum is sqrt(2 sum of variances^2).
    Where years are drawn in runs the error is understated.
    """
    values = np.asarray(values, dtype=float)
    trials, columns = values.shape
    defined = np.isfinite(values).all(axis=0) & (trials >= 3)
    if trials < 3:
        return RecordErrors(np.full(columns, np.nan), np.full(columns, np.nan))
    safe = np.where(defined, values, 0.0)
    centred, degrees = without_controls(safe, controls)
    counts = season_counts(season_rows, seasons) - season_rows.shape[1] / seasons
    squares, noises, noise_squares = (np.zeros(columns) for _ in range(3))
    for season in range(seasons):
        product = counts[:, season, None] * centred
        noise = product.var(axis=0, ddof=1) * trials / degrees**2
        squares += (product.sum(axis=0) / degrees) ** 2
        noises += noise
        noise_squares += noise**2
    error = np.sqrt(np.maximum(squares - noises, 0.0))
    seen_from = np.sqrt(NOISE_POINT * np.sqrt(2.0 * noise_squares))
    return RecordErrors(np.where(defined, error, np.nan), np.where(defined, seen_from, np.nan))


def record_error_of_mean(values: ArrayLike, season_rows: NDArray[np.int64], seasons: int) -> float:
    """:func:`record_errors` of one number per trial."""
    return float(record_errors(np.asarray(values, dtype=float)[:, None], season_rows, seasons).error[0])


@dataclass(frozen=True)
class TwoErrors:
    """Monte Carlo error and record error of one statistic, side by side; ``seen_from`` as in :class:`RecordErrors`."""

    statistic: str
    value: float
    monte_carlo: float
    record: float
    seen_from: float

    @property
    def seen(self) -> bool:
        """Whether the record error rises above the noise of these trials."""
        return self.record >= self.seen_from

    @property
    def at_most(self) -> float:
        """Size that a record error hidden in the noise hardly exceeds."""
        return float(np.hypot(self.record, self.seen_from))

    @property
    def dominates(self) -> Dominates:
        """Which error is the larger; "not told" where the trials' noise hides a record error above their own."""
        if not (np.isfinite(self.monte_carlo) and np.isfinite(self.record)):
            return "not told"
        if self.seen:
            return "weather record" if self.record > self.monte_carlo else "trials"
        return "trials" if self.at_most <= self.monte_carlo else "not told"


def influences(values: ArrayLike, shares: Sequence[float], worst: Side, tail: float, *, whole: bool = False) -> Array:
    """What each trial adds to quantiles, mean and expected shortfall: (trial, statistic), centred on nothing.

    Parameters
    ----------
    values : (trial,)
    shares : sequence of float
        Quantiles wanted; the mean and the expected shortfall follow them.
    worst : {"low", "high"}
    tail : float

    Notes
    -----
    The mean of a column moves with the record as the statistic itself does, to first order: 1{X <= q} over minus the
    density for a quantile, the density being that which its Monte Carlo error implies, sqrt(p (1 - p) / n) / SE;
    X for the mean; X beyond q, over the tail's share, for the shortfall (Hampel 1974, JASA 69:383: from memory).
    """
    values = np.asarray(values, dtype=float)
    columns = []
    for share in shares:
        point = quantile(values, share, whole=whole)
        slope = point.standard_error / np.sqrt(share * (1.0 - share) / values.size)
        if not np.isfinite(slope):
            slope = np.nan  # no error is told of the point, so none of what the record does to it
        columns.append(np.where(values <= point.value, -1.0, 0.0) * slope)
    columns.append(values)
    signed = values if worst == "low" else -values
    edge = quantile(signed, tail).value
    beyond = np.minimum(signed - edge, 0.0) / tail if np.isfinite(edge) else np.full(values.size, np.nan)
    columns.append(beyond)
    return np.stack(columns, axis=1)


def two_errors(
    values: ArrayLike,
    season_rows: NDArray[np.int64],
    seasons: int,
    shares: tuple[float, ...],
    *,
    worst: Side = "low",
    tail: float = 0.10,
    whole: bool = False,
    controls: Array | None = None,
) -> list[TwoErrors]:
    """Both errors of the quantiles, of the mean, and of the expected shortfall, in this order.

    Parameters
    ----------
    values : (trial,)
    season_rows : (trial, year)
    seasons : int
    shares : tuple of float
        Quantiles wanted.
    worst, tail
        Of the expected shortfall.
    whole : bool
        As in :func:`orchardsim.risk.quantile`.
    controls : (trial, control), optional
        As in :func:`without_controls`; the Monte Carlo error does not use them.
    """
    values = np.asarray(values, dtype=float)
    names = (*(f"p{100 * share:g}" for share in shares), "mean", "expected_shortfall")
    estimates = [
        *(quantile(values, share, whole=whole) for share in shares),
        mean(values),
        expected_shortfall(values, worst, tail),
    ]
    found = record_errors(influences(values, shares, worst, tail, whole=whole), season_rows, seasons, controls)
    return [
        TwoErrors(name, float(one.value), float(one.standard_error), float(error), float(seen))
        for name, one, error, seen in zip(names, estimates, found.error, found.seen_from, strict=True)
    ]
