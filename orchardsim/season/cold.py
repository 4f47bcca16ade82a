"""Winter cold: the lowest temperature of deep rest, and cold that comes before the wood has hardened."""

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


def winter_minimum(temperature_min: Floats) -> Floats:
    """Lowest temperature in deep rest [degC] from daily minima (day, season)."""
    return temperature_min[DEEP_REST[0] : DEEP_REST[1]].min(axis=0)


def hardened_to(cold_sum: Floats) -> Floats:
    """Temperature that the wood bears in early winter [degC].

    Parameters
    ----------
    cold_sum : array [K day]
        Degree days below 12 degC since 1 October.

    Notes
    -----
    Assumption: -5 - 20 (1 - exp(-cold/120)). Low temperature, not day length, is what hardens apple (Heide & Prestrud
    2005). Injury from 21 to below -7 degC within days in November is on record (Missouri, eXtension, read).
    """
    return UNHARDENED + HARDENING_RANGE * np.expm1(-np.asarray(cold_sum) / HARDENING_COLD)


def acclimation_shortfall(temperature_min: Floats, temperature_mean: Floats) -> Floats:
    """How far early-winter cold went beyond what the wood had hardened to, worst night [K].

    Parameters
    ----------
    temperature_min, temperature_mean : array, (day, season) [degC]
        From the first day of the season window.
    """
    before = np.zeros((1, *temperature_mean.shape[1:]))
    daily = np.maximum(CUE_TEMPERATURE - temperature_mean[: EARLY_WINTER_END - 1], 0)
    cold = np.concatenate([before, np.cumsum(daily, axis=0)])
    return np.maximum(hardened_to(cold) - temperature_min[:EARLY_WINTER_END], 0).max(axis=0)
