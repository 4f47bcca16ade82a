"""The hours of bloom: bee weather and blossom infection, on the days in which a cultivar's flowers are open."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import WINDOW_DAYS
from orchardsim.season import blight, degree_days, pollination
from orchardsim.season.evapotranspiration import saturation_vapour_pressure, vapour_pressure_from_mean_humidity
from orchardsim.season.hourly import HOURS
from orchardsim.season.prepare import PreparedSeasons

Floats = NDArray[Any]
Days = NDArray[np.int64]

MEAN_DAYS: Final = 5
"""day; mean temperature after bloom that sets the effective pollination period (assumption)."""
MAX_BLOOM_DAYS: Final = 45
DEW_HUMIDITY: Final = 0.95
DEW_CLEAR: Final = 0.5
"""Assumption: dew wets the flowers where the air, with the day's vapour, comes to this relative humidity at the night's
minimum and the night is at least this clear, so that leaves cool below the air."""


def hours_of_days(prepared: PreparedSeasons, days: Days) -> Floats:
    """Hourly temperature of chosen days, (n, hour, season) [degC].

    ``days``, (n, season): days of the window, each with a day before and after it.
    """
    shape = prepared.shape

    def on(values: Floats, at: Days) -> Floats:
        return np.take_along_axis(values, at, axis=0).astype(np.float32)

    def at_sunset(at: Days) -> Floats:
        low = on(prepared.temperature_min, at)
        return low + shape.sunset_weight[at].astype(np.float32) * (on(prepared.temperature_max, at) - low)

    low, high, next_low = (
        on(prepared.temperature_min, days),
        on(prepared.temperature_max, days),
        on(prepared.temperature_min, days + 1),
    )
    evening, last_evening = at_sunset(days), at_sunset(days - 1)
    result = np.empty((days.shape[0], len(HOURS), days.shape[1]), dtype=np.float32)
    for hour in range(len(HOURS)):
        part, weight = shape.part[:, hour][days], shape.weight[:, hour].astype(np.float32)[days]
        top = np.where(part == 1, high, np.where(part == 0, last_evening, evening))
        bottom = np.where(part == 2, next_low, low)
        result[:, hour] = bottom + weight * (top - bottom)
    return result


def _window(first: Days, last: Days) -> Days:
    length = min(int((last - first).max()) + 1, MAX_BLOOM_DAYS)
    return np.clip(first + np.arange(length)[:, None], 1, WINDOW_DAYS - 2)


def pollination_hours(prepared: PreparedSeasons, first_bloom: Days, bloom: Days) -> Floats:
    """Hours fit for bees from first bloom to the end of the effective pollination period [h].

    ``first_bloom`` and ``bloom``, (season,) [day of season].

    Returns, (season,): full-activity equivalents: each hour counts by temperature, light, the day's rain and, where
    known, wind.
    """
    after = np.clip(bloom + np.arange(MEAN_DAYS)[:, None], 0, WINDOW_DAYS - 1)
    mean = np.take_along_axis(prepared.temperature_mean, after, axis=0).mean(axis=0)
    end = bloom + pollination.effective_pollination_period(mean)
    days = _window(first_bloom, np.ceil(end).astype(np.int64))
    activity = pollination.bee_activity_temperature(hours_of_days(prepared, days))
    length = prepared.sky.day_length[days][:, None]
    sun = np.sin(np.clip(np.pi * (HOURS[None, :, None] - 12 + length / 2) / length, 0, np.pi))
    # The day's radiation spread over daylight as a half sine: peak = total x pi / (2 x length).
    total = np.take_along_axis(prepared.global_radiation, days, axis=0)[:, None] * 1e6 / 3600
    activity = activity * pollination.bee_activity_light(total * np.pi / (2 * length) * sun)
    hours = activity.sum(axis=1)
    hours = hours * pollination.bee_activity_rain(np.take_along_axis(prepared.rain, days, axis=0))
    if prepared.wind_speed is not None:
        hours = hours * pollination.bee_activity_wind(np.take_along_axis(prepared.wind_speed, days, axis=0))
    return (hours * np.clip(end - days, 0, 1)).sum(axis=0)


def infection_day_count(prepared: PreparedSeasons, first_bloom: Days, petal_fall: Days) -> Floats:
    """Days in bloom on which all four conditions of the blossom infection rule hold [day].

    ``first_bloom`` and ``petal_fall``, (season,) [day of season].
    """
    days = _window(first_bloom - 1, petal_fall)

    def on(values: Floats) -> Floats:
        return np.take_along_axis(values, days, axis=0)

    low, high = on(prepared.temperature_min), on(prepared.temperature_max)
    open_flowers = (days >= first_bloom) & (days < petal_fall)
    heat = blight.degree_hours(hours_of_days(prepared, days).swapaxes(1, 2))
    flower_age = degree_days.degree_days_sine(low, high, blight.FLOWER_BASE)
    flower_heat = blight.heat_in_flower_life(heat, flower_age, open_flowers)
    dew: Floats | bool = False
    if prepared.relative_humidity is not None:
        vapour = vapour_pressure_from_mean_humidity(low, high, on(prepared.relative_humidity))
        saturated = saturation_vapour_pressure(low)
        dew = (vapour >= DEW_HUMIDITY * saturated) & (on(prepared.night_clear) >= DEW_CLEAR)
    return blight.infection_days(open_flowers, flower_heat, on(prepared.rain), (low + high) / 2, dew).sum(axis=0) * 1.0
