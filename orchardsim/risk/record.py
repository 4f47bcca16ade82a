"""How far a finite weather record makes the results uncertain: an error that no number of trials removes.

Kept apart from the Monte Carlo error on purpose: the two are never added into one interval.
"""

from __future__ import annotations

import functools
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


class SeasonsMet:
    """Seasons that trials drew from a record, made ready for any number of values of the same trials.

    Parameters
    ----------
    season_rows : (trial, year)
        Season of each trial and year, drawn from the record with equal chance, one year independent of the next.
    seasons : int
        Seasons in the record.
    controls : (trial, control), optional
        Anything known of a trial that does not hang on its seasons (the luck of its prices): what it explains is no
        weather, and without it weather stands out more clearly. Left out where trials are fewer than three for each.
    """

    def __init__(self, season_rows: NDArray[np.int64], seasons: int, controls: Array | None = None) -> None:
        self.trials, years = season_rows.shape
        self.counts = season_counts(season_rows, seasons) - years / seasons
        """Times that each season stands in each trial, less what is expected: (trial, season)."""
        self._along = np.empty((self.trials, 0))
        if controls is not None and controls.shape[1]:
            known = controls - controls.mean(axis=0)
            known = known[:, known.std(axis=0) > 0]
            if known.shape[1] and self.trials >= 3 * known.shape[1]:
                across, square = np.linalg.qr(known)
                turned, sizes, _ = np.linalg.svd(square)
                self._along = across @ turned[:, sizes > np.finfo(np.float64).eps * self.trials * sizes.max()]
        self.degrees = float(self.trials - 1 - self._along.shape[1])
        """Degrees of freedom that are left."""

    @functools.cached_property
    def squares(self) -> Array:
        """:attr:`counts` squared."""
        return self.counts**2

    def without_controls(self, values: Array) -> Array:
        """Columns of values, centred, less what is linear in the controls: (trial, column)."""
        centred: Array = values - values.mean(axis=0)
        return centred - self._along @ (self._along.T @ centred)


def record_errors(values: ArrayLike, met: SeasonsMet) -> RecordErrors:
    """Standard error of the mean over trials that comes from the record's finite number of seasons.

    ``values``, (trial, column): nan in both results of a column that is not finite.

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
    centred = met.without_controls(safe)
    total = met.counts.T @ centred
    spread = (met.squares.T @ centred**2 - total**2 / trials) / (trials - 1)
    noise = spread * trials / met.degrees**2
    error = np.sqrt(np.maximum(((total / met.degrees) ** 2 - noise).sum(axis=0), 0.0))
    seen_from = np.sqrt(NOISE_POINT * np.sqrt(2.0 * (noise**2).sum(axis=0)))
    return RecordErrors(np.where(defined, error, np.nan), np.where(defined, seen_from, np.nan))


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
    met: SeasonsMet,
    shares: tuple[float, ...],
    *,
    worst: Side = "low",
    tail: float = 0.10,
    whole: bool = False,
) -> list[TwoErrors]:
    """Both errors of the quantiles, of the mean, and of the expected shortfall, in this order.

    Parameters
    ----------
    values : (trial,)
    met : SeasonsMet
        The Monte Carlo error does not use its controls.
    shares : tuple of float
        Quantiles wanted.
    worst, tail
        Of the expected shortfall.
    whole : bool
        As in :func:`orchardsim.risk.bands.quantile`.
    """
    values = np.asarray(values, dtype=float)
    names = (*(f"p{100 * share:g}" for share in shares), "mean", "expected_shortfall")
    estimates = [
        *(quantile(values, share, whole=whole) for share in shares),
        mean(values),
        expected_shortfall(values, worst, tail),
    ]
    record_error = record_errors(influences(values, shares, worst, tail, whole=whole), met)
    return [
        TwoErrors(name, float(estimate.value), float(estimate.standard_error), float(error), float(seen))
        for name, estimate, error, seen in zip(
            names, estimates, record_error.error, record_error.seen_from, strict=True
        )
    ]
