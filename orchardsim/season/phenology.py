"""From winter chill and spring heat to bud stages and bloom.

Heat is counted on one scale only: degree days above 43 degF (6.1 degC) by the single sine from 1 January (1 July south
of the equator), as the bud stages of McIntosh are published for the north-eastern United States.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]
Days = NDArray[np.int64]

HEAT_START_DAY: Final = 92
"""Day of season on which heat starts to count: 1 January, or 2 July in the south."""

REFERENCE_BLOOM_HEAT: Final = 380.0
"""degF day; full bloom of McIntosh, middle of 340 to 420 (memory, low confidence: no page retrieved)."""

STAGES: Final = (
    "silver_tip",
    "green_tip",
    "half_inch_green",
    "tight_cluster",
    "first_pink",
    "full_pink",
    "first_bloom",
    "full_bloom",
    "post_bloom",
)

STAGE_HEAT: Final = (75.0, 100.0, 185.0, 231.0, 261.0, 291.0, 335.0, REFERENCE_BLOOM_HEAT, 481.0)
"""degF day at which each stage of McIntosh begins.

Green tip 100; half-inch green, tight cluster, full pink and petal fall (taken as post bloom) are the middles of the
published ranges 150-221, 206-257, 267-316 and 439-523 (UMass "Healthy Fruit" 2018-2020, read). Silver tip is an
assumption: three quarters of green tip (its cell on the page came through empty); first pink and first bloom are
assumptions: half-way between their neighbours.
"""

STAGE_SHARE: Final = tuple(heat / REFERENCE_BLOOM_HEAT for heat in STAGE_HEAT)
"""Heat of each stage over the heat of full bloom [1]; assumed equal for all cultivars."""

RESPONSE_WIDTH: Final = 40.0
"""Chill portions from the requirement to full response to warmth (assumption)."""
RESPONSE_FLOOR: Final = 0.15
"""Response of buds without chill (assumption)."""


def heat_response(chill: Floats, requirement: float) -> Floats:
    """How far buds respond to warmth with the chill received so far [1].

    Parameters
    ----------
    chill : array [chill portions]
    requirement : float [chill portions]

    Notes
    -----
    0.15 up to the requirement, then a straight line to 1 at 40 portions above it. That chilling and
    forcing overlap, and that a strict sequence fits worse, is published (Darbyshire et al. 2017, 14 sites); the line
    is an assumption. Its ends were set so that the published stage heat, counted from 1 January where winters are
    cold, gives the published mean bloom of Wenatchee (27 April) from monthly normals, and does not bring bloom into
    mid March where winters are mild. A bud that never gets its chill blooms late, after up to seven times the heat.

    Examples
    --------
    >>> heat_response(np.array([10.0, 50.0, 65.0, 85.0, 99.0]), 50.0).round(3).tolist()
    [0.15, 0.15, 0.469, 0.894, 1.0]
    """
    share = (np.asarray(chill) - requirement) / RESPONSE_WIDTH
    return RESPONSE_FLOOR + (1 - RESPONSE_FLOOR) * np.clip(share, 0, 1)


def effective_heat(degree_days: Floats, chill: Floats, requirement: float) -> Floats:
    """Heat that buds have responded to, day by day [K day].

    Returns, (day, season): running total from 1 January.

    Parameters
    ----------
    degree_days : array, (day, season) [K day above 6.1 degC, single sine]
        From the first day of the season window on.
    chill : array, (day or more, season) [chill portions]
        Running total at the end of each day.
    requirement : float [chill portions]
    """
    counted = np.asarray(degree_days, dtype=np.float64) * heat_response(chill[: len(degree_days)], requirement)
    counted[:HEAT_START_DAY] = 0
    return np.cumsum(counted, axis=0)


def stage_days(heat: Floats, bloom_heat: float) -> Days:
    """First day of each bud stage [day of season].

    Returns, (stage, season): in the order of :data:`STAGES`. A stage that the heat does not reach is set to the last
    day given.

    With a heat sum alone, published error of apple bloom is 1 to 6 d (Rea & Eccel 2006; Drepper et al. 2020).

    Parameters
    ----------
    heat : array, (day, season) [K day]
        Running total of :func:`effective_heat`.
    bloom_heat : float [K day]
        Heat of full bloom; the other stages keep McIntosh's shares of it.
    """
    last = len(heat) - 1
    return np.stack([np.minimum((heat < share * bloom_heat).sum(axis=0), last) for share in STAGE_SHARE])


def chill_fraction(chill: Floats, requirement: float) -> Floats:
    """Chill received over chill required, at most 1 [1]."""
    return np.minimum(np.asarray(chill, dtype=np.float64) / requirement, 1.0)
