"""Season windows from a generator: one distinct season for every trial and year."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import WINDOW_DAYS, YEAR_DAYS
from orchardsim.core.handover import SeasonWeather
from orchardsim.core.streams import Streams
from orchardsim.weather.bundled import range_coefficient
from orchardsim.weather.parameters import WeatherSettings
from orchardsim.weather.parametric import ParametricModel, simulate_temperatures
from orchardsim.weather.rain import RainClimate, RangeScale, rain_series, range_scale, season_day_of_year
from orchardsim.weather.records import DECIMALS, Floats

YEAR_STEP: Final = 1000
"""Generated seasons are numbered -((trial + 1) x 1000 + year + 1) in ``harvest_year``; the past of a site without a
record -30 to -1."""
HISTORY_YEARS: Final = 30
SCALE_TRIALS: Final = 4
SCALE_YEARS: Final = 25


@dataclass(frozen=True)
class Generator:
    """What makes seasons: temperatures by a fitted model, rain by a climate.

    Attributes
    ----------
    model : ParametricModel
    settings : WeatherSettings
    start_day : int
        Day of the calendar year, from 0, on which seasons start.
    climate : RainClimate or None
        None makes a series without rain.
    scale : RangeScale
        Of the daily temperature range, for the dependence of rain on it.
    """

    model: ParametricModel
    settings: WeatherSettings
    start_day: int
    climate: RainClimate | None
    scale: RangeScale

    def seasons(self, streams: Streams, trials: range, years: int, place: str = "") -> SeasonWeather:
        """Seasons of trials, in the order trial by trial, year by year.

        Each trial is one unbroken series of days, so that the autumn at the end of a window is the start of the next
        one. ``place``: part of the address of the random numbers.
        """
        settings, days = self.settings, years * YEAR_DAYS + WINDOW_DAYS - YEAR_DAYS
        low, high = simulate_temperatures(self.model, streams, trials, days, place)
        rain = self._rain(high - low, streams, trials, place)
        number = (np.asarray(trials, dtype=np.int64)[:, None] + 1) * YEAR_STEP + np.arange(years) + 1
        return SeasonWeather(
            harvest_year=-number.ravel(),
            temperature_min=_windows(np.round(low, DECIMALS), years),
            temperature_max=_windows(np.round(high, DECIMALS), years),
            rain=_windows(rain, years),
            rain_is_measured=False,
            latitude=settings.latitude,
            elevation=settings.elevation,
            estimate_missing=settings.estimate_missing,
            dew_point_offset=settings.dew_point_offset,
            range_coefficient=range_coefficient(settings),
            clear_range=self.scale.clear,
            widened=np.zeros(number.size),
        )

    def history(self, streams: Streams) -> SeasonWeather:
        """Past of a site without a record: thirty generated seasons, the same for all trials."""
        seasons = self.seasons(streams, range(1), HISTORY_YEARS, "history")
        return dataclasses.replace(seasons, harvest_year=np.arange(-HISTORY_YEARS, 0))

    def _rain(self, daily_range: Floats, streams: Streams, trials: range, place: str) -> Floats:
        days = daily_range.shape[1]
        if self.climate is None:
            return np.zeros((len(trials), days))
        day_of_year: NDArray[np.int64] = season_day_of_year(self.start_day, days)
        normal, uniform = np.empty((len(trials), 2, days)), np.empty((len(trials), 2, days))
        for row, trial in enumerate(trials):
            # Two streams and day-by-day order, so that a longer series starts with the shorter one.
            normal[row] = streams.at("weather_rain", f"generated {place}", trial=trial).standard_normal((days, 2)).T
            uniform[row] = streams.at("weather_rain_amount", f"generated {place}", trial=trial).random((days, 2)).T
        return rain_series(self.climate, self.scale.score(daily_range, day_of_year), day_of_year, normal, uniform)


def _windows(series: Floats, years: int) -> Floats:
    view = np.lib.stride_tricks.sliding_window_view(series, WINDOW_DAYS, axis=1)[:, ::YEAR_DAYS]
    return np.ascontiguousarray(view[:, :years]).reshape(-1, WINDOW_DAYS)


def range_scale_of_model(model: ParametricModel, start_day: int) -> RangeScale:
    """Range scale of a generator that has no record: of a fixed series of its own, the same for every seed."""
    low, high = simulate_temperatures(model, Streams(0), range(SCALE_TRIALS), SCALE_YEARS * YEAR_DAYS)
    shape = (SCALE_TRIALS * SCALE_YEARS, YEAR_DAYS)
    return range_scale((high - low).reshape(shape), season_day_of_year(start_day, YEAR_DAYS))
