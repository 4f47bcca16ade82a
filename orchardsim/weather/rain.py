"""Daily rain where a record has none: wet and dry days that go with the daily temperature range, from monthly values.

A day is wet where a standard normal series lies above the threshold of its month's share of wet days. The series is
the sum of the (negative) score of the day's temperature range, so that cloudy days with a small range are wet more
often, a fast and a slow red-noise part. Amounts are mixed exponential about the month's mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from orchardsim.core.calendar import MONTH_DAYS, YEAR_DAYS
from orchardsim.core.streams import Streams
from orchardsim.weather.records import MONTH_OF_DAY, Floats

WET_DAY: Final = 0.2
"""mm; a day with at least this much is wet (the resolution of many gauges; assumption)."""
FAST_MEMORY: Final = 1.9
SLOW_MEMORY: Final = 8.0
SLOW_SHARE: Final = 0.26
"""Decay times [day] and slow share of the wet/dry series' own part; computed: fitted to the autocorrelation of wet days
at lags 1 to 90 in the 48 years of daily rain of the data set texmex/rain (south-west England)."""
SMALL_SHARE: Final = 0.29
SMALL_MEAN: Final = 0.42
"""Share and mean (relative to the month's mean) of the small amounts of the mixed exponential; computed on
texmex/rain."""
RANGE_COUPLING: Final = 0.5
"""Correlation of the wet/dry series with the temperature range's score, where it cannot be fitted; computed at five
places: Seattle 0.61, Beijing 0.61, San Diego 0.50, Chicago 0.36, Mumbai 0.34 (vega seattle-weather, mosaicData
Weather). Assumed for other sites."""
MEAN_WET_DAY: Final = 8.0
"""mm on a wet day where the plan gives rain but no number of wet days (assumption)."""
LARGEST_COUPLING: Final = 0.85
RANGE_STEPS: Final = 10
"""Steps per K at which ranges are told apart."""
LARGEST_RANGE: Final = 60
"""K; wider ranges count as this one."""
DRIFT_YEARS: Final = 11
"""Seasons over which the drift of the temperature range is averaged (assumption)."""
CLEAR_DAYS: Final = 0.85
"""1; place among a year's daily temperature ranges of a clear day's: the middle of the clearest three in ten, for about
90 (Great Lakes) to 120 (Southeast) days of a year are clear (climate normals of the United States, memory)."""


@dataclass(frozen=True)
class RainClimate:
    """Monthly rain, January first.

    Attributes
    ----------
    wet_share : float array, (12,) [1]
        Share of days with rain.
    wet_mean : float array, (12,) [mm]
        Mean rain of a wet day.
    coupling : float
        Correlation with the (negative) score of the temperature range.
    """

    wet_share: Floats
    wet_mean: Floats
    coupling: float = RANGE_COUPLING


def rain_climate_of_normals(rain: tuple[float, ...], wet_days: tuple[float, ...]) -> RainClimate:
    """Rain climate of monthly totals [mm] and numbers of wet days; the latter may be left out.

    Examples
    --------
    >>> climate = rain_climate_of_normals((93.0,) * 12, (9.3,) * 12)
    >>> round(float(climate.wet_share[0]), 3), round(float(climate.wet_mean[0]), 3)
    (0.3, 10.0)
    """
    total = np.asarray(rain, dtype=np.float64)
    days = np.asarray(MONTH_DAYS, dtype=np.float64)
    wet = np.asarray(wet_days, dtype=np.float64) if wet_days else np.maximum(total / MEAN_WET_DAY, 0.3)
    wet = np.where(total > 0, np.clip(wet, 0.1, days - 0.5), 0.0)
    return RainClimate(wet / days, np.divide(total, wet, out=np.zeros(12), where=wet > 0))


def rain_climate_of_record(rain: Floats, range_score: Floats, day_of_year: NDArray[np.int64]) -> RainClimate:
    """Rain climate and coupling to the temperature range of measured days.

    Parameters
    ----------
    rain, range_score : float array, (season, day) [mm], [1]
    day_of_year : int array, (day,)
        Day of the calendar year, from 0.
    """
    wet_share, wet_mean, couplings, weights = np.zeros(12), np.zeros(12), [], []
    for month in range(12):
        days = MONTH_OF_DAY[day_of_year] == month
        amount, score = rain[:, days], range_score[:, days]
        wet = amount >= WET_DAY
        wet_share[month] = wet.mean()
        wet_mean[month] = amount[wet].mean() if wet.any() else 0.0
        if 0.03 < wet_share[month] < 0.97:
            threshold = ndtri(1.0 - wet_share[month])
            density = np.exp(-0.5 * threshold**2) / np.sqrt(2 * np.pi)
            couplings.append(-float(score[wet].mean()) * wet_share[month] / density)
            weights.append(float(wet.sum()))
    coupling = float(np.average(couplings, weights=weights)) if couplings else 0.0
    return RainClimate(wet_share, wet_mean, float(np.clip(coupling, 0.0, LARGEST_COUPLING)))


@dataclass(frozen=True)
class RangeScale:
    """Normal score of a daily temperature range among those of its month.

    Attributes
    ----------
    table : float array, (12, step)
        Score at ranges of 0, 0.1, 0.2, ... K, the resolution of records.
    clear : float [K]
        Range of a clear day, whatever the month.
    """

    table: Floats
    clear: float

    def score(self, daily_range: Floats, day_of_year: NDArray[np.int64]) -> Floats:
        """Standard normal score of the range among those of its month, shape as given."""
        place = np.clip(np.rint(daily_range * RANGE_STEPS), 0, self.table.shape[1] - 1).astype(np.int64)
        return np.asarray(self.table[MONTH_OF_DAY[day_of_year], place])


def steady_range(temperature_min: Floats, temperature_max: Floats) -> Floats:
    """Daily temperature range of seasons in order, (season, day) [K], its slow drift taken out.

    The range of a long record drifts with observing time, site and climate; left in, the drift would pass for a change
    of rain. Each season is moved by the mean range of the 11 seasons about it to the mean of all.
    """
    daily_range = temperature_max - temperature_min
    yearly = daily_range[:, :YEAR_DAYS].mean(axis=1)
    half = DRIFT_YEARS // 2
    local = np.array([yearly[max(row - half, 0) : row + half + 1].mean() for row in range(yearly.size)])
    return daily_range - (local - yearly.mean())[:, None] if yearly.size else daily_range


def range_scale(daily_range: Floats, day_of_year: NDArray[np.int64]) -> RangeScale:
    """Range scale of daily ranges, (season, day)."""
    grid = np.arange(LARGEST_RANGE * RANGE_STEPS + 1)
    table = np.empty((12, grid.size))
    steps = np.rint(daily_range * RANGE_STEPS)
    for month in range(12):
        known = np.sort(steps[:, MONTH_OF_DAY[day_of_year] == month].ravel())
        below = np.searchsorted(known, grid, side="left")
        within = np.searchsorted(known, grid, side="right") - below
        # Equal ranges share their middle rank; beyond the record's own, half a rank is left.
        share = (below + 0.5 * within) / known.size
        table[month] = ndtri(np.clip(share, 0.5 / known.size, 1.0 - 0.5 / known.size))
    return RangeScale(table, clear_range(daily_range))


def clear_range(daily_range: Floats) -> float:
    """Temperature range of clear days [K], from the daily ranges of a climate."""
    return float(np.quantile(daily_range, CLEAR_DAYS))


def red_noise(normal: Floats, memory: float | Floats) -> Floats:
    """Standard normal series with autocorrelation exp(-h/memory) along the last axis, from independent normals.

    Parameters
    ----------
    normal : float array, (..., day)
    memory : float or array that broadcasts to (...) [day]
    """
    # Day by day over all series at once: as fast as a filter routine, whose module alone takes half a second to import.
    series = np.array(np.moveaxis(normal, -1, 0), order="C")
    phi = np.broadcast_to(np.exp(-1.0 / np.asarray(memory, dtype=np.float64)), series.shape[1:]).copy()
    series[1:] *= np.sqrt(1.0 - phi**2)
    carried = np.empty_like(phi)
    for now, before in zip(series[1:], series[:-1], strict=True):
        np.multiply(before, phi, out=carried)
        np.add(now, carried, out=now)
    return np.moveaxis(series, 0, -1)


def rain_series(
    climate: RainClimate, range_score: Floats, day_of_year: NDArray[np.int64], normal: Floats, uniform: Floats
) -> Floats:
    """Daily rain [mm] from random numbers.

    Returns, (series, day): 0 on dry days, rounded to 0.1 mm.

    Parameters
    ----------
    range_score : float array, (series, day)
        Standard normal score of the day's temperature range.
    day_of_year : int array, (day,)
    normal : float array, (series, 2, day)
        Independent standard normal numbers.
    uniform : float array, (series, 2, day)
        Independent uniform numbers.
    """
    month = MONTH_OF_DAY[day_of_year]
    noise = red_noise(normal, np.array([FAST_MEMORY, SLOW_MEMORY]))
    own = np.sqrt(1.0 - SLOW_SHARE) * noise[:, 0]
    own += np.sqrt(SLOW_SHARE) * noise[:, 1]
    wetness = np.sqrt(1.0 - climate.coupling**2) * own - climate.coupling * range_score
    with np.errstate(divide="ignore"):
        threshold = ndtri(1.0 - climate.wet_share)
    wet = wetness > threshold[month]
    large_mean = (1.0 - SMALL_SHARE * SMALL_MEAN) / (1.0 - SMALL_SHARE)
    relative = np.where(uniform[:, 0] < SMALL_SHARE, SMALL_MEAN, large_mean) * -np.log1p(-uniform[:, 1])
    # A wet day has at least WET_DAY; the exponential part carries the rest, so that the mean stays.
    least = np.minimum(WET_DAY, climate.wet_mean)
    amount = least[month] + (climate.wet_mean - least)[month] * relative
    return np.where(wet, np.round(amount, 1), 0.0)


def rain_of_record_years(
    climate: RainClimate,
    range_score: Floats,
    harvest_year: NDArray[np.int64],
    day_of_year: NDArray[np.int64],
    streams: Streams,
) -> Floats:
    """Rain for seasons of a record that has none: one series per season, addressed by its harvest year.

    Parameters
    ----------
    range_score : float array, (season, day)
    harvest_year : int array, (season,)
    day_of_year : int array, (day,)

    Returns
    -------
    float array, (season, day) [mm]
    """
    seasons, days = range_score.shape
    normal, uniform = np.empty((seasons, 2, days)), np.empty((seasons, 2, days))
    for row, year in enumerate(harvest_year):
        rng = streams.at("weather_rain", "record", year=int(year))
        normal[row] = rng.standard_normal((2, days))
        uniform[row] = rng.random((2, days))
    return rain_series(climate, range_score, day_of_year, normal, uniform)


def season_day_of_year(start_day: int, days: int) -> NDArray[np.int64]:
    """Day of the calendar year, from 0, of each day of a season window."""
    return (start_day + np.arange(days)) % YEAR_DAYS
