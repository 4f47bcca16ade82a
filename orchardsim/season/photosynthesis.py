"""Response of canopy photosynthesis to daytime temperature."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.season.hourly import MAXIMUM_LAG

Floats = NDArray[Any]

COLD_LIMIT: Final = 0.0
OPTIMUM: Final = (18.0, 28.0)
HEAT_LIMIT: Final = 40.0
"""degC; assumption: no net gain of the canopy at or below the first and at or above the last, full gain in between the
two of the optimum. Field work on apple finds a flat optimum near 20 to 30 degC (memory)."""


def daytime_temperature(temperature_min: ArrayLike, temperature_max: ArrayLike, day_length: ArrayLike) -> Floats:
    """Temperature of the day weighted by light [degC].

    Temperature by the sine of ``hourly.parton_logan`` with the minimum at sunrise, Tn + (Tx - Tn) sin(pi t/(D + 2 a)),
    light as sin(pi t/D): the weight of the range is the integral of their product over that of the light, sin(u pi)/(2
    (1 - u^2)) with u = D/(D + 2 a).

    Parameters
    ----------
    temperature_min, temperature_max : array [degC]
    day_length : array [h]
    """
    length = np.asarray(day_length)
    ratio = length / (length + 2 * MAXIMUM_LAG)
    weight = np.sin(np.pi * ratio) / (2 * (1 - ratio**2))
    low = np.asarray(temperature_min)
    return low + (np.asarray(temperature_max) - low) * weight


def temperature_response(temperature: ArrayLike) -> Floats:
    """Canopy photosynthesis at a daytime temperature over that at the optimum [1].

    ``temperature``, array [degC].

    Assumption: 1 from 18 to 28 degC, half a cosine wave down to 0 at 0 and 40 degC.

    Examples
    --------
    >>> temperature_response(np.array([-5.0, 9.0, 20.0, 34.0, 45.0])).round(3).tolist()
    [0.0, 0.5, 1.0, 0.5, 0.0]
    """
    values = np.asarray(temperature)
    rise = np.clip((values - COLD_LIMIT) / (OPTIMUM[0] - COLD_LIMIT), 0, 1)
    fall = np.clip((HEAT_LIMIT - values) / (HEAT_LIMIT - OPTIMUM[1]), 0, 1)
    return (0.5 - 0.5 * np.cos(np.pi * rise)) * (0.5 - 0.5 * np.cos(np.pi * fall))
