"""What all cultivars and blocks share of a set of seasons: hourly work, chill, radiation, daily heat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import WINDOW_DAYS, day_of_year
from orchardsim.core.handover import SeasonWeather
from orchardsim.season import (
    chill,
    cold,
    degree_days,
    evapotranspiration,
    fruit_weather,
    hourly,
    photosynthesis,
    sunburn,
)

Floats = NDArray[Any]

CHILL_DAYS: Final = 243
"""Days of season over which chill is counted: 1 October to 31 May (1 April to 29 November in the south)."""
HUMIDITY_DECIMALS: Final = 4
WORK_RAIN: Final = 5.0
"""mm/day from which a day is lost to field work (common practice, no source)."""


@dataclass(frozen=True)
class Daylight:
    """Sun of the season window at a place: radiation at the top of the atmosphere [MJ m-2 day-1], day length [h]."""

    extraterrestrial: Floats
    day_length: Floats


def daylight(latitude: float) -> Daylight:
    """Daylight of each day of the season window at a latitude [degrees north]."""
    days = np.array([day_of_year(day, latitude) for day in range(WINDOW_DAYS)])
    declination = evapotranspiration.almanac_declination(days)
    distance = evapotranspiration.almanac_distance(days)
    return Daylight(
        evapotranspiration.extraterrestrial_radiation(latitude, declination, distance),
        evapotranspiration.day_length(latitude, declination),
    )


@dataclass(frozen=True)
class PreparedSeasons:
    """Seasons with everything worked out that no cultivar or block changes.

    Arrays are (day, season); those named ``_sum`` are (day + 1, season) running totals that start with 0, so that
    the total over days a to b - 1 is ``x[b] - x[a]``.

    Attributes
    ----------
    temperature_min, temperature_max, temperature_mean [degC], rain [mm/day]
    wind_speed, relative_humidity : array or None [m/s], [1]
        Measured, or estimated where the weather asks for it.
    chill : (CHILL_DAYS, season) [chill portions]
        Running total at the end of each day.
    utah : (CHILL_DAYS, season) [1]
        Running Utah units from their most negative total.
    bud_heat [K day above 6.1 degC]
    growth_heat_sum [K day above 4.5 degC]
    light_sum, useful_light_sum [MJ/m2]
        Photosynthetically active radiation; the same times the response of photosynthesis to temperature.
    global_radiation [MJ m-2 day-1], reference_et [mm/day]
    night_clear [1]
        Cloud factor of the night before each day: Hargreaves' root of the temperature range, over that of the station's
        own clear days, for a shore evens out clear days too.
    soil_minimum : (season,) [degC]
        Lowest of the winter among the roots.
    sunburn_sum [K day], night_sum [degC day], work_sum [day]
    balance_sum, rot_sum [day]
        Carbohydrate balance, and days warm and wet enough for rots.
    shape : HourlyShape
    sky : Daylight
    """

    temperature_min: Floats
    temperature_max: Floats
    temperature_mean: Floats
    rain: Floats
    wind_speed: Floats | None
    relative_humidity: Floats | None
    chill: Floats
    utah: Floats
    bud_heat: Floats
    growth_heat_sum: Floats
    light_sum: Floats
    useful_light_sum: Floats
    global_radiation: Floats
    reference_et: Floats
    night_clear: Floats
    soil_minimum: Floats
    sunburn_sum: Floats
    night_sum: Floats
    balance_sum: Floats
    rot_sum: Floats
    work_sum: Floats
    shape: hourly.HourlyShape
    sky: Daylight


def running_total(values: Floats) -> Floats:
    """Running total along the first axis with a leading 0, in float64: (day, ...) becomes (day + 1, ...)."""
    result = np.zeros((len(values) + 1, *values.shape[1:]))
    np.cumsum(values, axis=0, out=result[1:])
    return result


def chill_by_day(shape: hourly.HourlyShape, low: Floats, high: Floats, days: int) -> tuple[Floats, Floats]:
    """Running chill portions and Utah weights at the end of each day.

    ``low`` and ``high``, (day, season) [degC]: daily minimum and maximum; at least ``days`` days.

    Works day by day in float32, so that the 24 hours of a slice of seasons stay in cache.

    Returns
    -------
    portions, utah : float32 arrays, (days, season)
    """
    low32, high32 = low.astype(np.float32), high.astype(np.float32)
    count = low.shape[1]
    hours = np.empty((shape.weight.shape[1], count), dtype=np.float32)
    intermediate, portions = np.zeros(count, dtype=np.float32), np.zeros(count, dtype=np.float32)
    portions_out, utah_out = np.empty((days, count), dtype=np.float32), np.empty((days, count), dtype=np.float32)
    for day in range(days):
        hourly.fill_hours(shape, day, low32, high32, hours)
        chill.dynamic_step(intermediate, portions, *chill.dynamic_rates(hours))
        portions_out[day] = portions
        utah_out[day] = chill.utah_weight(hours).sum(axis=0)
    return portions_out, np.cumsum(utah_out, axis=0, dtype=np.float32)


def prepare(weather: SeasonWeather) -> PreparedSeasons:
    """Work out once what all cultivars and blocks share.

    ``weather``: a slice of seasons; 500 at a time keep memory below 100 MB.

    Raises
    ------
    ValueError
        If an array has the wrong shape or a value that is not a number.
    """
    _check(weather)
    low, high, rain, wind, humidity = _air(weather)
    sky = daylight(weather.latitude)
    top = sky.extraterrestrial[:, None]
    shape = hourly.parton_logan(sky.day_length)
    portions, utah = chill_by_day(shape, low, high, CHILL_DAYS)

    clear_sky = evapotranspiration.clear_sky_share(weather.elevation)
    by_range = weather.range_coefficient
    # the day's maximum had nights warmed as days did: what tells of clouds
    told = high if weather.widened is None else np.maximum(high - weather.widened, low)
    radiation = evapotranspiration.radiation_from_temperature(top, low, told, by_range, weather.elevation)
    clear_share = radiation / np.maximum(clear_sky * top, 1e-9)
    # A day warmer than the next tells a change of air, which comes with wind, not a clear and still night between.
    evening_high = np.minimum(np.concatenate([told[:1], told[:-1]]), told)
    night_share = np.sqrt(np.clip((evening_high - low) / weather.clear_range, 0, 1))
    if wind is not None and humidity is not None:
        reference = evapotranspiration.reference_evapotranspiration(low, high, top, weather.elevation, wind, humidity)
    else:
        reference = evapotranspiration.hargreaves(low, told, top, (low + high) / 2)
    light = evapotranspiration.PAR_SHARE * radiation
    daytime = photosynthesis.daytime_temperature(low, high, sky.day_length[:, None])
    useful = light * photosynthesis.temperature_response(daytime)
    surface = sunburn.fruit_surface_temperature(high, clear_share)
    return PreparedSeasons(
        temperature_min=low,
        temperature_max=high,
        temperature_mean=(low + high) / 2,
        rain=rain,
        wind_speed=wind,
        relative_humidity=humidity,
        chill=portions,
        utah=chill.utah_units(utah),
        bud_heat=degree_days.degree_days_sine(low, high, degree_days.BUD_BASE),
        growth_heat_sum=running_total(degree_days.degree_days_sine(low, high, degree_days.GROWTH_BASE)),
        light_sum=running_total(light),
        useful_light_sum=running_total(useful),
        global_radiation=radiation,
        reference_et=reference,
        night_clear=evapotranspiration.cloudiness_factor(night_share),
        soil_minimum=cold.soil_minimum((low + high) / 2, rain),
        sunburn_sum=running_total(np.maximum(surface - sunburn.BROWNING, 0)),
        night_sum=running_total(low),
        balance_sum=running_total(fruit_weather.carbohydrate_balance(useful, (low + high) / 2)),
        rot_sum=running_total(fruit_weather.warm_wet(rain, (low + high) / 2)),
        work_sum=running_total((rain < WORK_RAIN).astype(np.float64)),
        shape=shape,
        sky=sky,
    )


def _check(weather: SeasonWeather) -> None:
    """Stop on arrays of another shape, and on values that are no numbers."""
    shape_wanted = (len(weather.harvest_year), WINDOW_DAYS)
    for name in ("temperature_min", "temperature_max", "rain", "wind_speed", "relative_humidity"):
        values = getattr(weather, name)
        if values is None:
            continue
        if values.shape != shape_wanted:
            raise ValueError(f"{name} has shape {values.shape}, expected {shape_wanted} (season, day of window)")
        if not np.isfinite(values).all():
            raise ValueError(f"{name} holds values that are not numbers; fill gaps before the season stage")


def _air(weather: SeasonWeather) -> tuple[Floats, Floats, Floats, Floats | None, Floats | None]:
    """Least and largest temperature, rain, wind and humidity, (day, season); missing ones estimated where asked for."""
    low, high, rain = (
        np.ascontiguousarray(values.T, dtype=np.float64)
        for values in (weather.temperature_min, weather.temperature_max, weather.rain)
    )
    high = np.maximum(high, low)
    wind: Floats | None = None if weather.wind_speed is None else np.ascontiguousarray(weather.wind_speed.T)
    humidity: Floats | None = (
        None if weather.relative_humidity is None else np.ascontiguousarray(weather.relative_humidity.T)
    )
    if weather.estimate_missing:
        if wind is None:
            wind = np.full_like(low, evapotranspiration.DEFAULT_WIND)
        if humidity is None:
            estimate = evapotranspiration.humidity_from_minimum(low, high, weather.dew_point_offset)
            # Rounded, so that the threshold of dew does not hang on the last bits of a computation.
            humidity = np.round(estimate, HUMIDITY_DECIMALS)
    return low, high, rain, wind, humidity
