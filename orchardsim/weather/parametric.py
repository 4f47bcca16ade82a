"""Parametric daily temperatures: red noise with normal scores and a slow component.

Minimum and maximum are turned into standard normal scores by the season's own distribution. The scores are the sum of a
fast vector autoregression of order 1 whose matrices change by month, and a slow red-noise pair that lasts for weeks to
months and gives the years their own character. The generator makes values that the record does not hold and works with
short records; it is the second opinion beside resampled years.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.core.streams import Streams
from orchardsim.weather.climate import mean_and_sd_course, yearly_course
from orchardsim.weather.rain import red_noise
from orchardsim.weather.records import MONTH_OF_DAY, Floats
from orchardsim.weather.windows import RESET_RANGE, SMALLEST_RANGE

HALF_WINDOW: Final = 20
"""Days on either side that are pooled for the distribution of a calendar day."""
STEP: Final = 5
KNOTS: Final = np.linspace(-2.75, 2.75, 45)
"""Normal scores at which the distributions are tabulated; beyond them they run on straight."""
TAIL: Final = 5
"""Knots over which the slope of the tails is taken."""
LAGS: Final = np.arange(10, 61)
"""Lags [day] at which the fast part is gone and only the slow part is seen."""
MEMORIES: Final = np.arange(10.0, 121.0, 5.0)
"""Decay times of the slow part that are tried [day]."""
LARGEST_SLOW_SHARE: Final = 0.5
SMALLEST_EIGENVALUE: Final = 1e-8
NORMALS_PER_DAY: Final = 4


@dataclass(frozen=True)
class ParametricModel:
    """A fitted generator. Days run over the biological year from its first day.

    Attributes
    ----------
    mean, sd : float array, (2, 365) [degC], [K]
        Of minimum and maximum temperature.
    quantiles : float array, (2, 365, knot)
        Standardised value at each of :data:`KNOTS`.
    transition, innovation : float array, (365, 2, 2)
        Matrices of the fast part.
    start : float array, (2, 2)
        Square root of the fast part's covariance on the first day.
    slow_amplitude : float array, (2, 365)
    slow_memory : float [day]
    slow_correlation : float
        Between the slow parts of minimum and maximum.
    """

    mean: Floats
    sd: Floats
    quantiles: Floats
    transition: Floats
    innovation: Floats
    start: Floats
    slow_amplitude: Floats
    slow_memory: float
    slow_correlation: float


def fit_parametric(temperature_min: Floats, temperature_max: Floats, start_day: int) -> ParametricModel:
    """Fit the generator to complete biological years.

    The fast part is the form of Richardson, C. W. 1981, Water Resour. Res. 17:182-190 (memory): s(t) = A s(t-1) + B
    e(t) with A = M1 M0^-1 and B B' = M0 - M1 M0^-1 M1'. The slow part is fitted first, to the lag covariances at 10 to
    60 days; its variance and lag covariance are taken from M0 and M1 of each month (pooled over three months).

    Parameters
    ----------
    temperature_min, temperature_max : float array, (season, 365) [degC]
    start_day : int
        Day of the calendar year, from 0, on which the seasons start.
    """
    values = np.stack([temperature_min, temperature_max])
    courses = [mean_and_sd_course(values[row]) for row in range(2)]
    mean = np.stack([course[0] for course in courses])
    sd = np.stack([course[1] for course in courses])
    anomaly = (values - mean[:, None]) / sd[:, None]
    quantiles = np.stack([_quantile_table(anomaly[row]) for row in range(2)])
    score = np.stack([to_score(anomaly[row], quantiles[row]) for row in range(2)])
    month = MONTH_OF_DAY[(start_day + np.arange(YEAR_DAYS)) % YEAR_DAYS]
    memory, amplitude, correlation = _fit_slow(score, month)
    transition, innovation = np.empty((YEAR_DAYS, 2, 2)), np.empty((YEAR_DAYS, 2, 2))
    start = np.eye(2)
    for current in range(12):
        days = np.flatnonzero(month == current)
        center = int(days[len(days) // 2])
        slow_covariance = _slow_covariance(amplitude[:, center], correlation)
        zero, one = _lag_moments(score, month, current)
        fast_zero = _positive(zero - slow_covariance)
        fast_one = one - float(np.exp(-1.0 / memory)) * slow_covariance
        matrix = _stable(_product(fast_one, np.asarray(np.linalg.inv(fast_zero), dtype=np.float64)))
        rest = fast_zero - _product(_product(matrix, fast_zero), matrix.T)
        transition[days] = matrix
        innovation[days] = _root(rest)
        if 0 in days:
            start = _root(fast_zero)
    return ParametricModel(mean, sd, quantiles, transition, innovation, start, amplitude, memory, correlation)


def _quantile_table(anomaly: Floats) -> Floats:
    """Standardised values at the knots for each day of the season, pooled over neighbouring days, (365, knot)."""
    centers = np.arange(0, YEAR_DAYS, STEP)
    probability = ndtr(KNOTS)
    table = np.empty((centers.size + 1, KNOTS.size))
    for row, center in enumerate(centers):
        days = np.arange(center - HALF_WINDOW, center + HALF_WINDOW + 1) % YEAR_DAYS
        # Hazen plotting positions: sample i of n stands at (i - 1/2)/n.
        table[row] = np.quantile(anomaly[:, days], probability, method="hazen")
    table[-1] = table[0]
    # Equal values in the record would make the table flat, and flat pieces cannot be turned back.
    table = np.maximum.accumulate(table + np.arange(KNOTS.size) * 1e-6, axis=1)
    place = np.arange(YEAR_DAYS) / STEP
    left = place.astype(np.int64)
    share = (place - left)[:, None]
    return np.asarray((1.0 - share) * table[left] + share * table[left + 1])


def _tail_slopes(table: Floats) -> tuple[Floats, Floats]:
    """Slope of score against value beyond the first and the last knot, by least squares through the origin of each."""
    width = KNOTS[TAIL - 1] - KNOTS[0]
    return (table[:, TAIL - 1] - table[:, 0]) / width, (table[:, -1] - table[:, -TAIL]) / width


def from_score(score: Floats, table: Floats) -> Floats:
    """Standardised values of normal scores, (series, 365); ``table`` as in :class:`ParametricModel`, (365, knot)."""
    width = KNOTS[1] - KNOTS[0]
    place = np.clip((score - KNOTS[0]) / width, 0.0, KNOTS.size - 1.000001)
    left = place.astype(np.int64)
    share = place - left
    left += np.arange(YEAR_DAYS) * KNOTS.size
    flat = table.ravel()
    inner = (1.0 - share) * flat[left] + share * flat[left + 1]
    low_slope, high_slope = _tail_slopes(table)
    return np.asarray(
        inner + np.minimum(score - KNOTS[0], 0.0) * low_slope + np.maximum(score - KNOTS[-1], 0.0) * high_slope
    )


def to_score(value: Floats, table: Floats) -> Floats:
    """Normal scores of standardised values, (season, 365); inverse of :func:`from_score`."""
    result = np.empty_like(value)
    low_slope, high_slope = _tail_slopes(table)
    for day in range(YEAR_DAYS):
        known = table[day]
        result[:, day] = np.interp(value[:, day], known, KNOTS)
        result[:, day] += np.minimum(value[:, day] - known[0], 0.0) / low_slope[day]
        result[:, day] += np.maximum(value[:, day] - known[-1], 0.0) / high_slope[day]
    return result


def _lag_moments(score: Floats, month: NDArray[np.int64], current: int) -> tuple[Floats, Floats]:
    """Covariances at lag 0 and 1 over a month and its two neighbours; rows: later variable, columns: earlier."""
    near = np.isin(month, [(current - 1) % 12, current, (current + 1) % 12])
    near[0] = False  # the day before belongs to another season
    days = np.flatnonzero(near)
    now, before = score[:, :, days], score[:, :, days - 1]
    zero = np.array([[float((now[i] * now[j]).mean()) for j in range(2)] for i in range(2)])
    one = np.array([[float((now[i] * before[j]).mean()) for j in range(2)] for i in range(2)])
    return zero, one


def _fit_slow(score: Floats, month: NDArray[np.int64]) -> tuple[float, Floats, float]:
    """Decay time, seasonal amplitude and correlation of the slow component."""
    by_lag = []
    by_month = np.zeros((LAGS.size, 2, 12))
    for row, lag in enumerate(LAGS):
        products = {(i, j): (score[i][:, lag:] * score[j][:, : YEAR_DAYS - lag]) for i in range(2) for j in range(2)}
        cross = 0.5 * (products[0, 1].mean() + products[1, 0].mean())
        by_lag.append([products[0, 0].mean(), products[1, 1].mean(), cross])
        start_month = month[: YEAR_DAYS - lag]
        for current in range(12):
            days = start_month == current
            for i in range(2):
                by_month[row, i, current] = products[i, i][:, days].mean() if days.any() else np.nan
    covariance = np.array(by_lag)
    best_error, memory, level = np.inf, float(MEMORIES[0]), np.zeros(3)
    for candidate in MEMORIES:
        decay = np.exp(-LAGS / candidate)
        sigma = (decay[:, None] * covariance).sum(axis=0) / (decay**2).sum()
        error = float(((covariance - decay[:, None] * sigma) ** 2).sum())
        if error < best_error:
            best_error, memory, level = error, float(candidate), sigma
    level[:2] = np.clip(level[:2], 0.0, LARGEST_SLOW_SHARE)
    size = np.sqrt(level[0] * level[1])
    correlation = float(np.clip(level[2] / size, -0.95, 0.95)) if size > 0 else 0.0
    decay = np.exp(-LAGS / memory)
    amplitude = np.empty((2, YEAR_DAYS))
    for i in range(2):
        usable = np.isfinite(by_month[:, i])
        weight = np.where(usable, decay[:, None], 0.0)
        monthly = (weight * np.nan_to_num(by_month[:, i])).sum(axis=0) / np.maximum((weight**2).sum(axis=0), 1e-9)
        seen = usable.any(axis=0)
        daily = np.where(seen, monthly, level[i])[month]
        smooth = yearly_course(daily, order=1)
        smooth *= level[i] / smooth.mean() if smooth.mean() > 1e-6 else 0.0
        amplitude[i] = np.sqrt(np.clip(smooth, 0.0, LARGEST_SLOW_SHARE))
    return memory, amplitude, correlation


def _slow_covariance(amplitude: Floats, correlation: float) -> Floats:
    cross = float(amplitude[0] * amplitude[1] * correlation)
    return np.array([[amplitude[0] ** 2, cross], [cross, amplitude[1] ** 2]])


def _product(left: Floats, right: Floats) -> Floats:
    """Product of 2 x 2 matrices written out, so that it does not hang on a linear-algebra library."""
    return (left[:, :, None] * right[None, :, :]).sum(axis=1)


def _root(matrix: Floats) -> Floats:
    """Symmetric square root; eigenvalues below the floor are raised to it."""
    value, vector = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return _product(vector * np.sqrt(np.maximum(value, SMALLEST_EIGENVALUE)), vector.T)


def _positive(matrix: Floats) -> Floats:
    value, vector = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return _product(vector * np.maximum(value, 0.05), vector.T)


def _stable(matrix: Floats) -> Floats:
    """The matrix, shrunk where its spectral radius would let the series run away."""
    radius = float(np.abs(np.linalg.eigvals(matrix)).max())
    return matrix * (0.98 / radius) if radius > 0.98 else matrix


def simulate_scores(model: ParametricModel, normal: Floats) -> Floats:
    """Normal scores of minimum and maximum from independent normals, (2, day, series).

    ``normal``, (day, 4, series): days from the first day of a biological year.
    """
    days, _, series = normal.shape
    place = np.arange(days) % YEAR_DAYS
    first, second = normal[0, 0], normal[0, 1]
    kick = model.innovation[place]
    # Day first, so that a day's step works on few, connected pieces of memory.
    walk = np.empty((days, 2, series))
    for i in range(2):
        walk[:, i] = kick[:, i, 0, None] * normal[:, 0] + kick[:, i, 1, None] * normal[:, 1]
        walk[0, i] = model.start[i, 0] * first + model.start[i, 1] * second
    # (day of year, effect of the minimum or the maximum before, on minimum and maximum, 1)
    effect = np.ascontiguousarray(model.transition.swapaxes(1, 2))[place[1:], :, :, None]
    step, other = np.empty((2, series)), np.empty((2, series))
    for now, before, (of_low, of_high) in zip(walk[1:], walk[:-1], effect, strict=True):
        np.multiply(of_low, before[0], out=step)
        np.multiply(of_high, before[1], out=other)
        step += other
        now += step
    result = np.ascontiguousarray(walk.swapaxes(0, 1))
    if model.slow_amplitude.any():
        rest = np.sqrt(1.0 - model.slow_correlation**2)
        slow_low, own = np.moveaxis(red_noise(np.moveaxis(normal[:, 2:4], 0, -1), model.slow_memory), -1, 1)
        slow_high = model.slow_correlation * slow_low + rest * own
        result[0] += model.slow_amplitude[0, place, None] * slow_low
        result[1] += model.slow_amplitude[1, place, None] * slow_high
    return result


def simulate_temperatures(
    model: ParametricModel, streams: Streams, trials: range, days: int, place: str = ""
) -> tuple[Floats, Floats]:
    """Daily minimum and maximum temperature of trials [degC].

    Parameters
    ----------
    trials : range
        A trial's series depends on its number alone; a longer series starts with the shorter one.
    days : int
        Length, from the first day of a biological year.
    place : str
        Part of the address of the random numbers.

    Returns
    -------
    temperature_min, temperature_max : float array, (trial, day)
    """
    normal = np.empty((days, NORMALS_PER_DAY, len(trials)))
    for row, trial in enumerate(trials):
        normal[:, :, row] = streams.at("weather_temperature", place, trial=trial).standard_normal(
            (days, NORMALS_PER_DAY)
        )
    score = simulate_scores(model, normal)
    years = -(-days // YEAR_DAYS)
    values = []
    for row in range(2):
        padded = np.zeros((years * YEAR_DAYS, len(trials)))
        padded[:days] = score[row]
        by_year = padded.reshape(years, YEAR_DAYS, len(trials)).transpose(2, 0, 1).reshape(-1, YEAR_DAYS)
        value = from_score(by_year, model.quantiles[row]) * model.sd[row] + model.mean[row]
        values.append(value.reshape(len(trials), -1)[:, :days])
    low, high = values
    middle = 0.5 * (low + high)
    crossed = low > high - SMALLEST_RANGE
    low = np.where(crossed, middle - 0.5 * RESET_RANGE, low)
    high = np.where(crossed, middle + 0.5 * RESET_RANGE, high)
    return low, high
