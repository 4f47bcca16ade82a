"""Days from bloom to harvest, and the end of the season."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]

POST_BLOOM_DAYS: Final = 15
"""day; period after full bloom whose night temperature sets earliness (Beaudry et al. 1993)."""
REFERENCE_NIGHT: Final = 10.0
"""degC; 50 degF, the rule's reference for the mean daily minimum."""
DAYS_PER_KELVIN: Final = 1.8
"""day/K; 1 day per degF."""
LARGEST_SHIFT: Final = 15.0
"""day; assumption: how far a season moves ripening at most."""

AUTUMN_START: Final = 335
"""Day of season: 1 September, or 2 March in the south."""
CUE_TEMPERATURE: Final = 12.0
"""degC; below about this, cool weather stops growth and brings on rest in apple (Heide & Prestrud 2005, Tree Physiol.
25:109-114; threshold from memory)."""
LEAF_FALL_COLD: Final = 60.0
"""K day below 12 degC from 1 September to leaf fall; assumption, set so that leaves fall in late October to mid
November where the mean of October is near 10 degC, and later where it is warmer."""


def days_to_harvest(usual_days: float, mean_minimum: ArrayLike) -> Floats:
    """Days from full bloom to mid harvest, moved by the nights after bloom [day].

    Parameters
    ----------
    usual_days : float [day]
        At a mean minimum of 10 degC in the 15 days after bloom.
    mean_minimum : array [degC]

    Notes
    -----
    The rule for Red Delicious for long storage in Michigan, 143 + (50 degF - mean minimum in degF) with 1 day per degF
    (Beaudry et al. 1993, HortTechnology), for every cultivar (assumption), by at most 15 d either way. That warmth in
    the first month after bloom advances maturity is published for others too (Warrington et al. 1999, JASHS
    124:468-477).
    """
    return usual_days + np.clip(
        DAYS_PER_KELVIN * (REFERENCE_NIGHT - np.asarray(mean_minimum)), -LARGEST_SHIFT, LARGEST_SHIFT
    )


def leaf_fall(temperature_mean: Floats) -> NDArray[np.int64]:
    """Day of leaf fall [day of season].

    ``temperature_mean``, (day, season) [degC]: over the whole season window.

    First day on which degree days below 12 degC since 1 September reach 60; the last day of the window where they do
    not. No published leaf-fall model for apple was found.
    """
    cold = np.cumsum(np.maximum(CUE_TEMPERATURE - temperature_mean[AUTUMN_START:], 0), axis=0)
    return AUTUMN_START + np.minimum((cold < LEAF_FALL_COLD).sum(axis=0), len(cold) - 1)
