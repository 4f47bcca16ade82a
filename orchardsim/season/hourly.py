"""Hourly temperature from daily minimum and maximum.

The shape is linear in the temperatures, with weights that depend on the hour and the day length alone. So the weights
are worked out once per day of the year, and a day's hours cost one multiplication and one addition each. On a year of
hourly records of three New York airports (open data, see tests/season) its error was 1.7 to 1.9 K; that of a sine with
a logarithmic night (Linvill 1990) was larger at all three.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]

HOURS: Final = np.arange(24) + 0.5
"""h; middle of each clock hour, at which hourly sums are taken."""

MAXIMUM_LAG: Final = 1.86
"""h; coefficient a of Parton & Logan 1981 for air at 1.5 m, Denver (read): lag of the maximum after noon."""
NIGHT_DECAY: Final = 2.20
"""Coefficient b of the same: decay over the night."""
MINIMUM_LAG: Final = -0.17
"""h; coefficient c of the same: lag of the minimum after sunrise."""


@dataclass(frozen=True)
class HourlyShape:
    """Weights of the day's temperatures by hour.

    Attributes
    ----------
    part : int array, (day, hour)
        0 before dawn (between the last sunset and the day's minimum), 1 by day, 2 after sunset.
    weight : float array, (day, hour) [1]
        How far the hour lies from the low temperature of its part (the day's or the next day's minimum) towards the
        high one (last sunset's temperature, the day's maximum, the day's temperature at sunset).
    sunset_weight : float array, (day,) [1]
        The same for sunset, by the day's curve.
    """

    part: NDArray[np.int8]
    weight: Floats
    sunset_weight: Floats


def parton_logan(day_length: Floats, hours: Floats = HOURS) -> HourlyShape:
    """Sine by day, exponential fall by night.

    Day: Tn + (Tx - Tn) sin(pi m/(Y + 2a)), m hours since the minimum; night: Tn + (Ts - Tn) exp(-b n/Z), n hours since
    sunset, Y day length, Z = 24 - Y. The night curve ends about exp(-b) of the gap above the minimum, a step of some
    0.2 K on average. Valid for day lengths of 1 to 23 h.

    Parameters
    ----------
    day_length : float array, (day,) [h]
    hours : float array, (hour,) [h]
        Solar time of day, 0 to 24.

    References
    ----------
    Parton & Logan 1981, Agric. Meteorol. 23:205-216 (coefficients read, equation from memory).
    """
    length = np.atleast_1d(np.asarray(day_length, dtype=np.float64))[:, None]
    night, sunset = 24 - length, 12.0 + length / 2
    time = np.asarray(hours, dtype=np.float64)[None, :]
    start = 12.0 - length / 2 + MINIMUM_LAG
    part = np.where(time < start, 0, np.where(time <= sunset, 1, 2)).astype(np.int8)
    day = np.sin(np.pi * (time - start) / (length + 2 * MAXIMUM_LAG))
    since = np.where(part == 0, time + 24 - sunset, time - sunset)
    weight = np.where(part == 1, day, np.exp(-NIGHT_DECAY * np.maximum(since, 0) / night))
    at_sunset = np.sin(np.pi * (length - MINIMUM_LAG) / (length + 2 * MAXIMUM_LAG))[:, 0]
    return HourlyShape(part, weight, at_sunset)


def hourly_temperature(shape: HourlyShape, temperature_min: Floats, temperature_max: Floats) -> Floats:
    """Hourly temperature of consecutive days [degC].

    Returns, (day, hour, ...): the first day's early hours use its own minimum and sunset for the day before, the last
    day's evening its own minimum for the day after.

    Parameters
    ----------
    shape : HourlyShape
        With weights for the same days.
    temperature_min, temperature_max : array, (day, ...) [degC]
    """
    low, high = np.asarray(temperature_min), np.asarray(temperature_max)
    dtype = np.result_type(low.dtype, np.float32)
    result = np.empty((low.shape[0], shape.weight.shape[1], *low.shape[1:]), dtype=dtype)
    for day in range(low.shape[0]):
        fill_hours(shape, day, low, high, result[day])
    return result


def fill_hours(shape: HourlyShape, day: int, low: Floats, high: Floats, out: Floats) -> None:
    """Write the hourly temperatures of one day into ``out`` (hour, ...); see :func:`hourly_temperature`."""
    before, after = max(day - 1, 0), min(day + 1, low.shape[0] - 1)
    part = shape.part[day]
    dawn, dusk = int(np.searchsorted(part, 1)), int(np.searchsorted(part, 2))
    weight = shape.weight[day].astype(out.dtype).reshape(-1, *([1] * (low.ndim - 1)))
    last_sunset = low[before] + shape.sunset_weight[before] * (high[before] - low[before])
    sunset = low[day] + shape.sunset_weight[day] * (high[day] - low[day])
    parts = (
        (slice(0, dawn), last_sunset, low[day]),
        (slice(dawn, dusk), high[day], low[day]),
        (slice(dusk, None), sunset, low[after]),
    )
    for hours, top, bottom in parts:
        np.multiply(weight[hours], (top - bottom)[None], out=out[hours], casting="same_kind")
        out[hours] += bottom
