"""What weather does to fruit between set and picking: hunger after a thinning spray, rots, nights that colour."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]

SPRAY_DAYS: Final = (16, 23)
"""day after full bloom; week that decides what a thinning spray takes off: fruitlets of 8 to 12 mm are sprayed about
two weeks after bloom and answer within a week (common practice, no source)."""
USUAL_LIGHT: Final = 10.8
"""MJ m-2 day-1 of photosynthetically active radiation that photosynthesis can use in that week; computed, mean of the
two bundled records (10.4 and 11.1)."""
USUAL_TEMPERATURE: Final = 17.4
"""degC of that week, day and night; computed, mean of the two bundled records (17.2 and 17.6)."""
RESPIRATION_Q10: Final = 2.0
"""Growth of respiration by 10 K: about 2 (general plant physiology, memory)."""

ROT_RAIN: Final = 1.0
"""mm/day from which a day counts as wet for rots (assumption)."""
ROT_TEMPERATURE: Final = 15.0
"""degC of the day's mean from which summer rots infect (assumption; bitter, white and black rot are diseases of warm
wet weather: common knowledge of the trade)."""
ROT_DAYS: Final = 28
"""day before harvest that count (assumption)."""
ROT_RATE: Final = 0.004
"""1/day; share of sound fruit that a warm wet day spoils under a usual spray programme (assumption: about 2 % a year in
a cool humid place, the few per cent of loss that growers call usual)."""

COLOUR_DAYS: Final = 21
"""day before harvest whose nights colour the fruit (assumption)."""


def carbohydrate_balance(useful_light: ArrayLike, temperature_mean: ArrayLike) -> Floats:
    """What fruitlets get in a day over what all of the tree spends, about a usual day's [1].

    Supply over usual supply, less respiration over usual respiration; respiration goes on all night. Cloudy days and
    warm nights after a spray starve fruitlets and make it take more; sunny days and cool nights make it take less
    (Robinson and Lakso 2011, Acta Horticulturae 903, memory). The form is an assumption.

    Parameters
    ----------
    useful_light : array [MJ m-2 day-1]
        Photosynthetically active radiation times the response of photosynthesis to temperature.
    temperature_mean : array [degC]
        Of day and night.

    Examples
    --------
    >>> carbohydrate_balance(np.array([10.8, 5.4, 10.8]), np.array([17.4, 17.4, 27.4])).round(2).tolist()
    [0.0, -0.5, -1.0]
    """
    supply = np.asarray(useful_light) / USUAL_LIGHT
    return supply - RESPIRATION_Q10 ** ((np.asarray(temperature_mean) - USUAL_TEMPERATURE) / 10)


def warm_wet(rain: ArrayLike, temperature_mean: ArrayLike) -> Floats:
    """Whether a day is warm and wet enough for summer rots, 0 or 1, from its rain [mm] and mean temperature [degC]."""
    wet = (np.asarray(rain) >= ROT_RAIN) & (np.asarray(temperature_mean) >= ROT_TEMPERATURE)
    return wet.astype(np.float64)


def rot_share(warm_wet_days: ArrayLike) -> Floats:
    """Share of sound fruit spoilt by rots [1], from the warm wet days of the four weeks before harvest.

    Examples
    --------
    >>> rot_share(np.array([0.0, 10.0])).round(3).tolist()
    [0.0, 0.039]
    """
    return -np.expm1(-ROT_RATE * np.asarray(warm_wet_days))
