"""Sun, radiation and reference evapotranspiration after FAO-56.

Reference for all: Allen, Pereira, Raes & Smith 1998, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56,
Rome. Equation numbers are given where they are certain.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]

SOLAR_CONSTANT: Final = 0.0820
"""MJ m-2 min-1."""
STEFAN_BOLTZMANN: Final = 4.903e-9
"""MJ K-4 m-2 day-1."""
MM_PER_MJ: Final = 0.408
"""mm of water evaporated by 1 MJ/m2."""
ALMANAC_DAY: Final = 7670.0
"""day; noon of 31 December 2020 counted from noon of 1 January 2000."""
PAR_SHARE: Final = 0.5
"""Share of global radiation that is photosynthetically active: about half (memory; common in crop models)."""
HARGREAVES_INLAND: Final = 0.16
"""K-0.5; coefficient of the radiation formula inland (0.19 at the coast)."""
DEFAULT_WIND: Final = 2.0
"""m/s; world mean at 2 m that FAO-56 gives for sites without wind data."""


def _almanac_angles(day_of_year: ArrayLike) -> tuple[Floats, Floats]:
    """Mean anomaly and ecliptic longitude of the sun at noon [rad]."""
    days = ALMANAC_DAY + np.asarray(day_of_year)
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = np.radians(280.460 + 0.9856474 * days)
    return anomaly, longitude + np.radians(1.915) * np.sin(anomaly) + np.radians(0.020) * np.sin(2 * anomaly)


def almanac_distance(day_of_year: ArrayLike) -> Floats:
    """Inverse squared relative distance from Earth to Sun [1]; see :func:`almanac_declination`."""
    anomaly, _ = _almanac_angles(day_of_year)
    return 1 / (1.00014 - 0.01671 * np.cos(anomaly) - 0.00014 * np.cos(2 * anomaly)) ** 2


def almanac_declination(day_of_year: ArrayLike) -> Floats:
    """Solar declination at noon [rad] by the almanac's low-precision formula, calendar of a common year (2021).

    ``day_of_year``, int or array [1 to 365].

    The formula holds within 0.01 degree from 1950 to 2050; the calendar's leap days move a date by half a day (0.2
    degree). The single sine of FAO-56 eq. 24 is up to 1.2 degrees off in spring and autumn, which makes Ra wrong by 4 %
    at 50 degrees of latitude; seasons are therefore worked out with this one.

    References
    ----------
    The Astronomical Almanac, page C5, low precision formulas for the Sun (from memory; tested against a full solar
    position algorithm).
    """
    _, longitude = _almanac_angles(day_of_year)
    return np.arcsin(np.sin(np.radians(23.439)) * np.sin(longitude))


def sunset_hour_angle(latitude: ArrayLike, declination: ArrayLike) -> Floats:
    """Hour angle of sunset [rad] (eq. 25); 0 in polar night, pi in polar day.

    Parameters
    ----------
    latitude : float or array [degrees north]
    declination : array [rad]
    """
    return np.arccos(np.clip(-np.tan(np.radians(latitude)) * np.tan(declination), -1, 1))


def day_length(latitude: ArrayLike, declination: ArrayLike) -> Floats:
    """Day length from sunrise to sunset of the sun's centre without refraction [h] (eq. 34).

    Refraction and the sun's disc add 7 to 22 minutes below 60 degrees of latitude.

    Parameters
    ----------
    latitude : float or array [degrees north]
    declination : array [rad]

    Examples
    --------
    >>> round(float(day_length(-20.0, 0.120)), 1)
    11.7
    """
    return 24 / np.pi * sunset_hour_angle(latitude, declination)


def extraterrestrial_radiation(latitude: ArrayLike, declination: ArrayLike, distance: ArrayLike) -> Floats:
    """Daily radiation at the top of the atmosphere on a level plane [MJ m-2 day-1] (eq. 21).

    With the almanac's declination within 1.5 % of a full solar position algorithm below 60 degrees of latitude.

    Parameters
    ----------
    latitude : float or array [degrees north]
    declination : array [rad]
    distance : array [1]
        Inverse (squared) relative distance to the sun.

    Examples
    --------
    >>> round(float(extraterrestrial_radiation(-20.0, 0.120, 0.985)), 1)
    32.2
    """
    phi, delta = np.radians(latitude), np.asarray(declination)
    omega = sunset_hour_angle(latitude, delta)
    geometry = omega * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(omega)
    return 24 * 60 / np.pi * SOLAR_CONSTANT * np.asarray(distance) * geometry


def radiation_from_temperature(
    extraterrestrial: Floats,
    temperature_min: Floats,
    temperature_max: Floats,
    coefficient: float = HARGREAVES_INLAND,
    elevation: float = 0.0,
) -> Floats:
    """Global radiation from the day's temperature range [MJ m-2 day-1], at most the clear-sky value (eq. 50).

    Parameters
    ----------
    extraterrestrial : array [MJ m-2 day-1]
    temperature_min, temperature_max : array [degC]
    coefficient : float [K-0.5]
        0.16 inland, 0.19 at the coast.
    elevation : float [m]

    References
    ----------
    Hargreaves & Samani, in FAO-56 eq. 50. For daily values rough (tens of per cent); sums over weeks are better.
    """
    spread = np.maximum(np.asarray(temperature_max) - np.asarray(temperature_min), 0)
    share = np.minimum(coefficient * np.sqrt(spread), clear_sky_share(elevation))
    return share * extraterrestrial


def clear_sky_share(elevation: float) -> float:
    """Share of extraterrestrial radiation that reaches the ground under a clear sky [1] (eq. 37)."""
    return 0.75 + 2e-5 * elevation


def saturation_vapour_pressure(temperature: ArrayLike) -> Floats:
    """Saturation vapour pressure [kPa] (eq. 11), temperature in degC."""
    values = np.asarray(temperature)
    return 0.6108 * np.exp(17.27 * values / (values + 237.3))


def vapour_pressure_slope(temperature: ArrayLike) -> Floats:
    """Slope of the saturation vapour pressure curve [kPa/K] (eq. 13), temperature in degC."""
    values = np.asarray(temperature)
    return 4098 * saturation_vapour_pressure(values) / (values + 237.3) ** 2


def vapour_pressure_from_mean_humidity(
    temperature_min: ArrayLike, temperature_max: ArrayLike, humidity: ArrayLike
) -> Floats:
    """Vapour pressure [kPa] from the mean relative humidity, as a fraction (eq. 19)."""
    low, high = saturation_vapour_pressure(temperature_min), saturation_vapour_pressure(temperature_max)
    return np.asarray(humidity) * (low + high) / 2


def humidity_from_minimum(temperature_min: ArrayLike, temperature_max: ArrayLike, dew_point_offset: float) -> Floats:
    """Estimate of the day's mean relative humidity [1] where none was measured (eq. 48 with eq. 19 turned round).

    The air is taken to be saturated at the dew point, and the dew point to be the minimum less the offset. Rough for
    single days, and wrong where nights stay dry or windy.

    Parameters
    ----------
    temperature_min, temperature_max : array [degC]
    dew_point_offset : float [K]
        How far the dew point stands below the minimum: 0 in humid climates, 2 to 3 in arid ones (FAO-56, memory).

    Examples
    --------
    >>> humidity_from_minimum(np.array([14.8, 14.8]), np.array([14.8, 26.6]), 0.0).round(2).tolist()
    [1.0, 0.65]
    """
    low, high = np.asarray(temperature_min), np.asarray(temperature_max)
    saturated = (saturation_vapour_pressure(low) + saturation_vapour_pressure(high)) / 2
    return saturation_vapour_pressure(low - dew_point_offset) / saturated


def air_pressure(elevation: ArrayLike) -> Floats:
    """Air pressure [kPa] at a height above the sea [m] (eq. 7)."""
    return 101.3 * ((293 - 0.0065 * np.asarray(elevation)) / 293) ** 5.26


def psychrometric_constant(pressure: ArrayLike) -> Floats:
    """Psychrometric constant [kPa/K] (eq. 8)."""
    return 0.665e-3 * np.asarray(pressure)


def net_longwave_radiation(
    temperature_min: ArrayLike, temperature_max: ArrayLike, vapour_pressure: ArrayLike, clear_share: ArrayLike
) -> Floats:
    """Net outgoing long-wave radiation [MJ m-2 day-1] (eq. 39).

    Parameters
    ----------
    temperature_min, temperature_max : array [degC]
    vapour_pressure : array [kPa]
    clear_share : array [1]
        Global radiation over clear-sky radiation, at most 1.
    """
    fourth = ((np.asarray(temperature_max) + 273.16) ** 4 + (np.asarray(temperature_min) + 273.16) ** 4) / 2
    return STEFAN_BOLTZMANN * fourth * (0.34 - 0.14 * np.sqrt(vapour_pressure)) * cloudiness_factor(clear_share)


def cloudiness_factor(clear_share: ArrayLike) -> Floats:
    """Share of clear-sky long-wave loss that clouds leave [1]: 1.35 Rs/Rso - 0.35, kept in 0.05 to 1."""
    return np.clip(1.35 * np.asarray(clear_share) - 0.35, 0.05, 1.0)


def net_radiation(global_radiation: ArrayLike, net_longwave: ArrayLike, albedo: float = 0.23) -> Floats:
    """Net radiation of the reference surface [MJ m-2 day-1] (eqs. 38, 40)."""
    return (1 - albedo) * np.asarray(global_radiation) - np.asarray(net_longwave)


def penman_monteith(
    temperature: ArrayLike,
    net: ArrayLike,
    wind_speed: ArrayLike,
    vapour_pressure_deficit: ArrayLike,
    slope: ArrayLike,
    psychrometric: ArrayLike,
    soil_heat: ArrayLike = 0.0,
) -> Floats:
    """Reference evapotranspiration by Penman-Monteith [mm/day] (eq. 6).

    Parameters
    ----------
    temperature : array [degC]
    net, soil_heat : array [MJ m-2 day-1]
    wind_speed : array [m/s at 2 m]
    vapour_pressure_deficit : array [kPa]
    slope, psychrometric : array [kPa/K]
    """
    delta, gamma, wind = np.asarray(slope), np.asarray(psychrometric), np.asarray(wind_speed)
    energy = MM_PER_MJ * delta * (np.asarray(net) - soil_heat)
    air = gamma * 900 / (np.asarray(temperature) + 273) * wind * np.asarray(vapour_pressure_deficit)
    return (energy + air) / (delta + gamma * (1 + 0.34 * wind))


def reference_evapotranspiration(
    temperature_min: Floats,
    temperature_max: Floats,
    extraterrestrial: Floats,
    elevation: float,
    wind_speed: Floats,
    relative_humidity: Floats,
) -> Floats:
    """Daily Penman-Monteith reference evapotranspiration where wind and mean humidity are known [mm/day].

    Global radiation is estimated from the temperature range; never below 0. Shapes as broadcast.
    """
    mean = (np.asarray(temperature_min) + np.asarray(temperature_max)) / 2
    radiation = radiation_from_temperature(extraterrestrial, temperature_min, temperature_max, elevation=elevation)
    clear = np.maximum(clear_sky_share(elevation) * extraterrestrial, 1e-9)
    actual = vapour_pressure_from_mean_humidity(temperature_min, temperature_max, relative_humidity)
    saturated = (saturation_vapour_pressure(temperature_min) + saturation_vapour_pressure(temperature_max)) / 2
    longwave = net_longwave_radiation(temperature_min, temperature_max, actual, radiation / clear)
    return np.maximum(
        penman_monteith(
            mean,
            net_radiation(radiation, longwave),
            wind_speed,
            np.maximum(saturated - actual, 0),
            vapour_pressure_slope(mean),
            psychrometric_constant(air_pressure(elevation)),
        ),
        0,
    )


def hargreaves(
    temperature_min: ArrayLike,
    temperature_max: ArrayLike,
    extraterrestrial: ArrayLike,
    temperature_mean: ArrayLike | None = None,
) -> Floats:
    """Reference evapotranspiration from temperature alone [mm/day], never below 0 (eq. 52).

    Parameters
    ----------
    temperature_min, temperature_max : array [degC]
    extraterrestrial : array [MJ m-2 day-1]
        Converted to mm/day inside (x 0.408); leaving that out makes the result 2.45 times too large.
    temperature_mean : array, optional [degC]
        Half-way between the extremes where not given.

    Examples
    --------
    >>> round(float(hargreaves(28.0, 38.0, 38.93715, temperature_mean=35.0)), 1)
    6.1
    """
    low, high = np.asarray(temperature_min), np.asarray(temperature_max)
    mean = (low + high) / 2 if temperature_mean is None else np.asarray(temperature_mean)
    spread = np.sqrt(np.maximum(high - low, 0))
    return np.maximum(0.0023 * (mean + 17.8) * spread * MM_PER_MJ * np.asarray(extraterrestrial), 0)
