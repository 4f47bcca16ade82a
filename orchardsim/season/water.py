"""Daily soil-water balance of the root zone at several levels of canopy cover.

After FAO-56 chapter 8 (Allen et al. 1998): total and readily available water, stress coefficient Ks. The balance runs
for all cover levels at once; the trees stage interpolates by each block's own cover.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.core.compiled import Number, compiled

Floats = NDArray[Any]

FULL_COVER_BASAL: Final = 0.90
"""Basal crop coefficient of apple in mid season, no ground cover (FAO-56 Table 17, read)."""
END_SHARE: Final = 0.65 / 0.90
"""The same at leaf fall over mid season (FAO-56 Table 17, read)."""
COVER_MULTIPLIER: Final = 1.5
"""Largest transpiration per cover over that of full cover (FAO-56 eq. 98, memory: 1.5 to 2)."""
CANOPY_HEIGHT: Final = 3.0
"""m; in the same equation (assumption: one height for all blocks)."""
GROUND_COEFFICIENT: Final = 0.30
"""Evaporation of alley grass and bare soil over ETo where no canopy stands (FAO 66: 0.25 to 0.35, sparse; read)."""
WINTER_COEFFICIENT: Final = 0.20
"""The same after leaf fall (FAO-56 footnote: 0.20 bare dry soil, read)."""
DEPLETION_SHARE: Final = 0.5
"""Share of available water taken up without stress, apple (FAO-56 Table 22, read)."""
SHARE_SLOPE: Final = 0.04
SHARE_DEMAND: Final = 5.0
SHARE_BOUNDS: Final = (0.1, 0.8)
"""1 per mm/day, mm/day, 1; how that share falls with demand (FAO-56 Table 22, footnote)."""
DRAIN_SHARE: Final = 0.5
"""1/day; assumption: share of the water above field capacity that drains in a day."""
EXCESS_SHARE: Final = 0.3
"""Assumption: water above field capacity that the root zone holds at most, over available water."""
START_DEPLETION: Final = 0.5
"""Assumption: share of available water used up on the first day of the season window."""
TRIGGER_SHARE: Final = 0.8
REFILL_SHARE: Final = 0.4
"""Assumption: irrigation starts when depletion passes 0.8 of the readily available water and fills to 0.4 of it."""


def transpiration_coefficient(cover: ArrayLike) -> Floats:
    """Basal crop coefficient in mid season at a share of ground covered [1].

    0.90 x min(1, 1.5 f, f^(1/(1 + h))): density coefficient of FAO-56 eq. 98 (form from memory) on Table 17.
    """
    fraction = np.asarray(cover, dtype=np.float64)
    density = np.minimum(COVER_MULTIPLIER * fraction, fraction ** (1 / (1 + CANOPY_HEIGHT)))
    return FULL_COVER_BASAL * np.minimum(density, 1)


@compiled
def depletion_fraction(crop_evapotranspiration: Number) -> Number:
    """Share p of available water that is readily available [1]: p + 0.04 (5 - ETc), kept in 0.1 to 0.8."""
    share = crop_evapotranspiration * -SHARE_SLOPE + (DEPLETION_SHARE + SHARE_SLOPE * SHARE_DEMAND)
    return np.maximum(np.minimum(share, SHARE_BOUNDS[1]), SHARE_BOUNDS[0])


@compiled
def stress_coefficient(depletion: Number, available_water: Number, readily_share: Number) -> Number:
    """Water-stress coefficient Ks [1] (FAO-56 eq. 84).

    Parameters
    ----------
    depletion : float [mm]
        Water below field capacity; negative above it.
    available_water : float [mm]
    readily_share : float [1]
    """
    return np.maximum(np.minimum((available_water - depletion) / ((1 - readily_share) * available_water), 1), 0)


def canopy_stage(
    days: NDArray[np.int64], bud_break: Floats, closed: Floats, harvest: Floats, leaf_fall: Floats
) -> Floats:
    """Canopy of the season as a share of its full size for transpiration [1].

    Returns, (day, season): 0 at bud break, 1 from closed canopy to harvest, END_SHARE at leaf fall, straight lines
    between; 0 outside.

    Parameters
    ----------
    days : int array, (day,)
    bud_break, closed, harvest, leaf_fall : array, (season,) [day of season]
    """
    day = np.asarray(days)[:, None]
    rise = (day - bud_break) / np.maximum(closed - bud_break, 1)
    fall = 1 - (1 - END_SHARE) * (day - harvest) / np.maximum(leaf_fall - harvest, 1)
    return np.where((day >= bud_break) & (day < leaf_fall), np.clip(np.minimum(rise, fall), 0, 1), 0.0)


class WaterBalance(NamedTuple):
    """Result of :func:`soil_water_balance`; arrays (day, cover, season) [1] or (cover, season) [mm]."""

    stress: Floats
    wet: NDArray[np.bool_]
    irrigation: Floats
    evapotranspiration: Floats
    drainage: Floats
    depletion_start: Floats
    depletion_end: Floats


def soil_water_balance(
    rain: Floats,
    reference: Floats,
    stage: Floats,
    cover: tuple[float, ...],
    available_water: float,
    daily_limit: float,
    season_limit: Floats,
) -> WaterBalance:
    """Soil-water balance of a season, day by day.

    Parameters
    ----------
    rain, reference : array, (day, season) [mm/day]
        Rain (with water from frost protection) and reference evapotranspiration.
    stage : array, (day, season) [1]
        From :func:`canopy_stage`; irrigation runs while it is above 0.
    cover : tuple of float [1]
    available_water : float [mm]
        Between field capacity and wilting point.
    daily_limit : float [mm/day]
        0 = not irrigated.
    season_limit : array, (season,) [mm]
        What is left for irrigation after frost protection.

    Notes
    -----
    Each day: rain enters; what exceeds field capacity by more than 0.3 of the available water runs off; irrigation
    fills up; stress and evapotranspiration; half of the water above field capacity drains. Kc = stage x basal(cover) +
    0.30 (1 - cover) in leaf, 0.20 otherwise. ``drainage`` holds run-off too. The sums close: rain + irrigation -
    evapotranspiration - drainage = depletion_start - depletion_end.
    """
    fraction = np.asarray(cover, dtype=np.float64)
    shape = (len(fraction), rain.shape[1])
    start = np.full(shape, START_DEPLETION * available_water)
    balance = WaterBalance(
        stress=np.empty((len(rain), *shape), np.float32),
        wet=np.empty((len(rain), *shape), np.bool_),
        irrigation=np.zeros(shape),
        evapotranspiration=np.zeros(shape),
        drainage=np.zeros(shape),
        depletion_start=start,
        depletion_end=start.copy(),
    )
    left = np.broadcast_to(np.asarray(season_limit, dtype=np.float64), shape).copy()
    _walk_days(
        rain, reference, stage, transpiration_coefficient(fraction), GROUND_COEFFICIENT * (1 - fraction),
        float(available_water), float(daily_limit), left, balance,
    )  # fmt: skip
    return balance


@compiled
def _walk_days(
    rain: Number,
    reference: Number,
    stage: Number,
    basal: Number,
    ground: Number,
    available: Number,
    daily_limit: Number,
    left: Number,
    balance: Number,
) -> None:
    depletion, covers, seasons = balance.depletion_end, left.shape[0], left.shape[1]
    for day in range(rain.shape[0]):
        for c in range(covers):
            for s in range(seasons):
                in_leaf = stage[day, s] > 0
                coefficient = stage[day, s] * basal[c] + ground[c] if in_leaf else WINTER_COEFFICIENT
                demand = coefficient * reference[day, s]
                readily = depletion_fraction(demand)
                dry = depletion[c, s] - rain[day, s]
                run_off = np.maximum(-EXCESS_SHARE * available - dry, 0)
                dry += run_off
                if in_leaf and daily_limit > 0 and dry > readily * (TRIGGER_SHARE * available):
                    refill = readily * (-REFILL_SHARE * available) + dry
                    watered = np.minimum(np.minimum(refill, daily_limit), left[c, s])
                    dry -= watered
                    left[c, s] -= watered
                    balance.irrigation[c, s] += watered
                stress = stress_coefficient(dry, available, readily)
                used = np.minimum(stress * demand, available - dry)
                dry += used
                drained = np.minimum(dry, 0) * DRAIN_SHARE
                balance.stress[day, c, s] = stress
                balance.wet[day, c, s] = dry <= 0
                balance.evapotranspiration[c, s] += used
                balance.drainage[c, s] += run_off
                balance.drainage[c, s] -= drained
                depletion[c, s] = dry - drained
