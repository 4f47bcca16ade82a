"""Smooth yearly courses: harmonics through daily data, daily courses from monthly values, trends. Pure functions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import MONTH_DAYS, YEAR_DAYS
from orchardsim.weather.records import MONTH_OF_DAY, Floats

HARMONICS: Final = 3
"""Order of the yearly courses of mean and variance (as in the validation of the methods on the bundled record)."""


def harmonic_basis(day: NDArray[np.int64] | Floats, order: int = HARMONICS) -> Floats:
    """Constant, cosines and sines of the yearly cycle at the middle of each day, shape (day, 2 x order + 1)."""
    angle = 2 * np.pi * (np.asarray(day, dtype=np.float64) + 0.5) / YEAR_DAYS
    columns = [np.ones_like(angle)]
    for k in range(1, order + 1):
        columns += [np.cos(k * angle), np.sin(k * angle)]
    return np.stack(columns, axis=-1)


def yearly_course(values: Floats, order: int = HARMONICS) -> Floats:
    """Smooth yearly course through one value per day of the year.

    Returns, (365, ...): least-squares fit. The days are evenly spaced, so each coefficient is a plain mean (sums in a
    fixed order, no linear-algebra library whose rounding depends on threads).

    Parameters
    ----------
    values : float array, (365, ...)
    order : int
        Number of harmonics.
    """
    basis = harmonic_basis(np.arange(YEAR_DAYS), order)
    flat = values.reshape(YEAR_DAYS, -1)
    fitted = np.zeros_like(flat)
    for k in range(basis.shape[1]):
        weight = (1.0 if k == 0 else 2.0) / YEAR_DAYS
        coefficient = (basis[:, k, None] * flat).sum(axis=0) * weight
        fitted += basis[:, k, None] * coefficient
    return fitted.reshape(values.shape)


def mean_and_sd_course(values: Floats) -> tuple[Floats, Floats]:
    """Smooth yearly courses of mean and standard deviation.

    ``values``, (year, 365): missing values as NaN.

    Returns
    -------
    mean, sd : float array, (365,)
        Harmonics of order 3 of the daily mean and of the logarithm of the daily variance; the log variance is
        corrected by 1/(n-1), the bias of the logarithm of a variance of n values (derived, normal values).
    """
    present = np.isfinite(values)
    number = np.maximum(present.sum(axis=0), 1)
    mean = yearly_course(np.where(present, values, 0.0).sum(axis=0) / number)
    squares = np.where(present, (values - mean) ** 2, 0.0).sum(axis=0) / number
    log_variance = yearly_course(np.log(np.maximum(squares, 1e-6)))
    return mean, np.exp(0.5 * (log_variance + 1.0 / max(float(number.mean()) - 1.0, 1.0)))


def daily_from_monthly(monthly: Floats | tuple[float, ...]) -> Floats:
    """Daily course with the given monthly means, linear between knots at the middle of the months.

    ``monthly``, (12,): January first.

    Returns, (365,): from 1 January. Its mean over each month is the given one (to rounding); the knots are solved for.

    Examples
    --------
    >>> course = daily_from_monthly((2.0,) * 12)
    >>> bool(np.allclose(course, 2.0))
    True
    """
    starts = np.concatenate([[0], np.cumsum(MONTH_DAYS)])
    middles = (starts[:-1] + starts[1:]) / 2.0
    day = np.arange(YEAR_DAYS) + 0.5
    left = np.searchsorted(middles, day, side="right") - 1
    right = (left + 1) % 12
    left_place = np.where(left < 0, middles[11] - YEAR_DAYS, middles[left])
    right_place = np.where(left == 11, middles[0] + YEAR_DAYS, middles[right])
    share = (day - left_place) / (right_place - left_place)
    weights = np.zeros((YEAR_DAYS, 12))
    rows = np.arange(YEAR_DAYS)
    weights[rows, left % 12] += 1.0 - share
    weights[rows, right] += share
    means = np.stack([weights[month == MONTH_OF_DAY].mean(axis=0) for month in range(12)])
    knots = np.linalg.solve(means, np.asarray(monthly, dtype=np.float64))
    return (weights * knots).sum(axis=1)


def monthly_means(daily: Floats) -> Floats:
    """Mean of each month of a course of 365 days from 1 January; shape (..., 365) to (..., 12)."""
    return np.stack([daily[..., month == MONTH_OF_DAY].mean(axis=-1) for month in range(12)], axis=-1)


@dataclass(frozen=True)
class Trend:
    """Straight line through yearly values.

    Attributes
    ----------
    slope, standard_error : float
        Change per year and its standard error for independent years.
    middle_year : float
        Mean of the years; the line passes through the mean value there.
    """

    slope: float
    standard_error: float
    middle_year: float

    @property
    def is_clear(self) -> bool:
        """True where the slope is more than twice its standard error."""
        return abs(self.slope) > 2.0 * self.standard_error


def linear_trend(year: Floats | NDArray[np.int64], value: Floats) -> Trend:
    """Ordinary least-squares line through yearly values.

    Examples
    --------
    >>> trend = linear_trend(np.arange(10), 0.05 * np.arange(10))
    >>> round(trend.slope, 6), round(trend.standard_error, 6)
    (0.05, 0.0)
    """
    good = np.isfinite(value)
    x, y = np.asarray(year, dtype=np.float64)[good], np.asarray(value, dtype=np.float64)[good]
    if x.size < 3:
        return Trend(0.0, np.inf, float(x.mean()) if x.size else 0.0)
    middle = float(x.mean())
    spread = float(((x - middle) ** 2).sum())
    slope = float(((x - middle) * (y - y.mean())).sum()) / spread
    residual = y - y.mean() - slope * (x - middle)
    return Trend(slope, float(np.sqrt((residual**2).sum() / (x.size - 2) / spread)), middle)


def yearly_trends(
    harvest_year: NDArray[np.int64], temperature_min: Floats, temperature_max: Floats
) -> tuple[Trend, Trend]:
    """Trends through the means of biological years of minimum and maximum temperature, (season, day) [degC]."""
    low, high = (
        linear_trend(harvest_year, values[:, :YEAR_DAYS].mean(axis=1)) for values in (temperature_min, temperature_max)
    )
    return low, high
