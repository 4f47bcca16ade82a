"""Fire blight: weather in which open blossoms become infected."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]

HEAT_BASE: Final = (65 - 32) / 1.8
"""degC; 65 degF."""
HEAT_NEEDED: Final = 198 / 1.8
"""K h; 198 degF h above 65 degF."""
FLOWER_BASE: Final = (40 - 32) / 1.8
"""degC; 40 degF."""
FLOWER_LIFE: Final = 80 / 1.8
"""K day; life of an apple flower, 80 degF day above 40 degF."""
RAIN_SAME_DAY: Final = 0.25
RAIN_DAY_BEFORE: Final = 2.5
"""mm/day."""
MEAN_TEMPERATURE: Final = (60 - 32) / 1.8
"""degC; 60 degF."""
MAX_FLOWER_DAYS: Final = 20
"""day; a flower's life is looked back over at most this long (cool bloom; assumption)."""


def degree_hours(temperature: Floats) -> Floats:
    """Degree hours above 18.3 degC of a day from its hourly temperatures (..., hour) [K h]."""
    return np.maximum(np.asarray(temperature) - HEAT_BASE, 0).sum(axis=-1)


def heat_in_flower_life(day_heat: Floats, flower_degree_days: Floats, open_flowers: NDArray[np.bool_]) -> Floats:
    """Degree hours that the oldest flower still open has collected by the end of each day [K h].

    The sum runs back from each day, itself included, over days whose degree days add up to the flower's life.

    Parameters
    ----------
    day_heat : array, (day, ...) [K h above 18.3 degC]
    flower_degree_days : array, (day, ...) [K day above 4.4 degC]
    open_flowers : bool array, (day, ...)
        True from first bloom on; heat before it does not count.
    """
    heat = np.where(open_flowers, day_heat, 0.0)
    total, age = heat.copy(), np.array(flower_degree_days, dtype=np.float64)
    for lag in range(1, min(MAX_FLOWER_DAYS, len(heat))):
        age[lag:] += flower_degree_days[:-lag]
        within = age[lag:] <= FLOWER_LIFE
        if not within.any():
            break
        total[lag:] += np.where(within, heat[:-lag], 0.0)
    return total


def infection_days(
    open_flowers: NDArray[np.bool_], flower_heat: Floats, rain: Floats, temperature_mean: Floats, dew: ArrayLike = False
) -> NDArray[np.bool_]:
    """Whether all four conditions of the blossom infection rule hold on a day.

    Parameters
    ----------
    open_flowers : bool array, (day, ...)
        Open flowers with petals.
    flower_heat : array [K h]
        From :func:`heat_in_flower_life`; at least 110 K h (198 degF h).
    rain : array [mm/day]
        At least 0.25 mm that day (figure from memory) or 2.5 mm the day before.
    temperature_mean : array [degC]
        At least 15.6 degC (60 degF).
    dew : bool array
        Days wetted by dew, where known.

    References
    ----------
    Steiner 1990, Acta Hortic. 273:139-148; Steiner 1996.
    """
    before = np.zeros_like(rain)
    before[1:] = rain[:-1]
    wet = (rain >= RAIN_SAME_DAY) | (before >= RAIN_DAY_BEFORE) | np.asarray(dew)
    return open_flowers & (flower_heat >= HEAT_NEEDED) & wet & (temperature_mean >= MEAN_TEMPERATURE)
