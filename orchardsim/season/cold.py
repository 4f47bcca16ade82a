"""Winter cold: the lowest temperature of deep rest and of the soil, and cold that comes before wood has hardened."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.season.harvest import CUE_TEMPERATURE

Floats = NDArray[Any]

DEEP_REST: Final = (61, 151)
"""Days of season from 1 December to the end of February (1 June to 29 August in the south), hardened wood."""
EARLY_WINTER_END: Final = 92
"""Day of season: 31 December is the last day of early winter (30 June in the south)."""
UNHARDENED: Final = -5.0
"""degC that wood bears in early October without hurt (assumption)."""
HARDENING_RANGE: Final = 20.0
"""K gained by hardening in early winter (assumption)."""
HARDENING_COLD: Final = 120.0
"""K day below 12 degC that give 63 % of it (assumption)."""

SOIL_RESPONSE_BARE: Final = 20.0
"""day; time constant of bare soil among the roots after the air's daily mean (assumption, set so that on bare ground
the eight coldest winters of the bundled cool record come to :data:`SOIL_SHARE` of their lowest night)."""
SOIL_RESPONSE_SNOW: Final = 60.0
"""day; the same under snow (assumption: a few centimetres hold back as much heat as the frozen soil over the roots,
ten centimetres twice that)."""
SOIL_SHARE: Final = 0.29
"""Lowest temperature of bare soil among the roots over the lowest of the air, both below 0 degC: one grower's winter of
-37 degC on bare ground killed M.9 and M.7 but not M.26 (derived, weak)."""
SNOW_MELT: Final = 3.0
"""mm of water per K day above 0 degC: degree-day factors of snow lie between 2 and 6 (hydrology handbooks, memory)."""
COVERING_SNOW: Final = 5.0
"""mm of water in the snow that covers the ground, some 5 cm of it (assumption)."""
SOIL_START: Final = 10.0
"""degC of the soil on the first day of the window; any value is forgotten by midwinter (assumption)."""
SOIL_DAYS: Final = 182
"""Days of season over which the soil is followed, to the end of March (29 September in the south)."""


def winter_minimum(temperature_min: Floats) -> Floats:
    """Lowest temperature in deep rest [degC] from daily minima (day, season)."""
    return temperature_min[DEEP_REST[0] : DEEP_REST[1]].min(axis=0)


def soil_minimum(temperature_mean: Floats, rain: Floats) -> Floats:
    """Lowest temperature of the soil among the roots in a winter, snow counted [degC].

    The soil goes after the air as a first-order response, 20 days on bare ground, 60 under snow. A block's colder clear
    nights do not reach it, as it follows weeks, not hours.

    Parameters
    ----------
    temperature_mean : array, (day, season) [degC]
    rain : array, (day, season) [mm/day]
        Falls as snow where the day's mean is below 0 degC.

    Examples
    --------
    >>> round(float(soil_minimum(np.full((457, 1), -8.0), np.zeros((457, 1)))[0]), 2)
    -8.0
    """
    soil, snow = np.full(temperature_mean.shape[1:], SOIL_START), np.zeros(temperature_mean.shape[1:])
    lowest = soil
    bare, covered = -np.expm1(-1 / SOIL_RESPONSE_BARE), -np.expm1(-1 / SOIL_RESPONSE_SNOW)
    for air, fallen in zip(temperature_mean[:SOIL_DAYS], rain[:SOIL_DAYS], strict=True):
        snow = np.maximum(snow + np.where(air < 0, fallen, 0.0) - SNOW_MELT * np.maximum(air, 0.0), 0.0)
        soil = soil + np.where(snow >= COVERING_SNOW, covered, bare) * (air - soil)
        lowest = np.minimum(lowest, soil)
    return lowest


def hardened_to(cold_sum: Floats) -> Floats:
    """Temperature that the wood bears in early winter [degC].

    ``cold_sum`` [K day]: degree days below 12 degC since 1 October.

    Assumption: -5 - 20 (1 - exp(-cold/120)). Low temperature, not day length, is what hardens apple (Heide & Prestrud
    2005). Injury from 21 to below -7 degC within days in November is on record (Missouri, eXtension, read).
    """
    return UNHARDENED + HARDENING_RANGE * np.expm1(-np.asarray(cold_sum) / HARDENING_COLD)


def acclimation_shortfall(temperature_min: Floats, temperature_mean: Floats) -> Floats:
    """How far early-winter cold went beyond what the wood had hardened to, worst night [K].

    ``temperature_min`` and ``temperature_mean``, (day, season) [degC]: from the first day of the season window.
    """
    before = np.zeros((1, *temperature_mean.shape[1:]))
    daily = np.maximum(CUE_TEMPERATURE - temperature_mean[: EARLY_WINTER_END - 1], 0)
    cold = np.concatenate([before, np.cumsum(daily, axis=0)])
    return np.maximum(hardened_to(cold) - temperature_min[:EARLY_WINTER_END], 0).max(axis=0)
