"""Bee weather in bloom."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]

BEE_TEMPERATURES: Final = (10.0, 10.6, 12.2, 17.2, 18.3, 38.0, 40.6)
BEE_ACTIVITY: Final = (0.0, 0.06, 0.21, 0.62, 1.0, 1.0, 0.0)
"""Foraging on apple against air temperature [degC, 1]: 51, 54, 63 and 65 degF from Washington State University (Honey
bees, read); none below 50 degF in sun (Michigan State University, read) or above 105 degF (University of Illinois,
read); the fall from 38 degC is an assumption."""
WIND_FULL: Final = 10 * 0.44704
WIND_NONE: Final = 25 * 0.44704
"""m/s: full force below 10 mph (Washington State), none at about 25 mph (Illinois); a straight line between."""
FULL_LIGHT: Final = 60_000.0
"""lux below which foraging falls off (Washington State, read)."""
LUX_PER_WATT: Final = 110.0
"""lux per W/m2 of global radiation (memory)."""
DRY_RAIN: Final = 0.25
WASHOUT_RAIN: Final = 10.0
"""mm/day; assumption: rain up to the first costs no flight, from the second on the day is lost, a line between."""


def bee_activity_temperature(temperature: ArrayLike) -> Floats:
    """Share of full foraging that the air temperature allows [1].

    Examples
    --------
    >>> bee_activity_temperature(np.array([5.0, 12.2, 20.0])).tolist()
    [0.0, 0.21, 1.0]
    """
    return np.interp(np.asarray(temperature), BEE_TEMPERATURES, BEE_ACTIVITY)


def bee_activity_wind(wind_speed: ArrayLike) -> Floats:
    """Share of full foraging that the wind allows [1], wind in m/s."""
    return np.clip((WIND_NONE - np.asarray(wind_speed)) / (WIND_NONE - WIND_FULL), 0, 1)


def bee_activity_rain(rain: ArrayLike) -> Floats:
    """Share of the day's flight that the day's rain leaves [1], rain in mm/day (assumption)."""
    return np.clip((WASHOUT_RAIN - np.asarray(rain)) / (WASHOUT_RAIN - DRY_RAIN), 0, 1)


def bee_activity_light(irradiance: ArrayLike) -> Floats:
    """Share of full foraging that the light allows [1], global irradiance in W/m2.

    Proportional to illuminance below 60,000 lux (threshold read; straight line assumed).
    """
    return np.clip(np.asarray(irradiance) * LUX_PER_WATT / FULL_LIGHT, 0, 1)


def effective_pollination_period(temperature: ArrayLike) -> Floats:
    """Days in which a flower can still be pollinated with effect [day].

    ``temperature`` [degC]: mean air temperature after bloom.

    A straight line through 5 d at 13 degC and 3 d at 17 degC, kept in 2 to 6: the middles of 4-6 and 2-4 d measured for
    pear, and the same direction for Golden Delicious (Tromp & Borsboom 1994, Sci. Hortic. 60:23-30, read). Apple's own
    usual range is 2 to 5 d.

    Examples
    --------
    >>> effective_pollination_period(np.array([13.0, 17.0, 30.0])).tolist()
    [5.0, 3.0, 2.0]
    """
    return np.clip(5 - 0.5 * (np.asarray(temperature) - 13), 2, 6)
