"""Hail as a marked Poisson process: how many storms hit in a season, and what share of the fruit each one marks."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]

MOST_STORMS: Final = 4
"""Storms of one season that are counted; at 1 storm a year 0.4 % of seasons have more."""
DRAWS: Final = MOST_STORMS + 1
"""Uniform numbers that one season needs, whatever happens in it."""
NET_SHARE: Final = 0.1
"""Share of the damage that is left under a hail net (assumption)."""


def storm_number(uniform: Floats, storms_per_year: Floats | float) -> NDArray[np.int64]:
    """Number of damaging storms in a season [1], Poisson by inversion of one uniform number, at most 4.

    Parameters
    ----------
    uniform : array in [0, 1)
    storms_per_year : float or array, (...) [1/year]
        Damaging storms at the place; a user's input. For apple districts of the north-eastern and north-western United
        States about one year in 5 to 15 has one (memory, low confidence).
    """
    steps = np.arange(MOST_STORMS)
    factorial = np.cumprod(np.maximum(steps, 1))
    rate = np.asarray(storms_per_year, dtype=float)[..., None]
    cumulative = np.cumsum(np.exp(-rate) * rate**steps / factorial, axis=-1)
    storms: NDArray[np.int64] = (np.asarray(uniform)[..., None] >= cumulative).sum(axis=-1)
    return storms


def hail_damage(uniforms: Floats, storms_per_year: Floats | float, mean_damage: float, net: bool = False) -> Floats:
    """Share of the season's fruit marked by hail, (...) [1].

    A storm's mark is Beta(1, 1/mean - 1): light hits are common, and few storms make most of the loss, as crop-hail
    records show (Changnon & Changnon 2001, J. Appl. Meteorol. 40:84; the form is an assumption). Storms mark fruit
    independently of one another.

    Parameters
    ----------
    uniforms : array in [0, 1), (..., DRAWS)
        The first for the number of storms, the others for their marks.
    storms_per_year : float or array, (...) [1/year]
    mean_damage : float [1]
        Mean share marked by one storm, above 0 and below 1.
    net : bool
        Whether a hail net is closed over the block.
    """
    values = np.asarray(uniforms)
    storms = storm_number(values[..., 0], storms_per_year)
    clean = (1 - values[..., 1:]) ** (mean_damage / (1 - mean_damage))
    hit = np.arange(MOST_STORMS) < storms[..., None]
    damage = 1 - np.where(hit, clean, 1.0).prod(axis=-1)
    return damage * (NET_SHARE if net else 1.0)
