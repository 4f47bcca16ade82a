"""What the trees of a tile see of a season: the drivers of each trial and row group in one year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.grading import USUAL_NIGHT

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SeasonForTrees:
    """Season drivers over (trial, group), with the phases and cover levels of the handover behind.

    Names and units as in :class:`orchardsim.core.handover.SeasonDrivers`; ``set_level`` and ``size_level``, (trial,
    group) [1], are fruit set and size over the model's, of the ground and of the year.
    """

    chill_fraction: Array
    frost_kill: Array
    pollination_hours: Array
    early_heat: Array
    sunburn_fraction: Array
    radiation: Array
    degree_days: Array
    temperature_factor: Array
    water_factor: Array
    spray_balance: Array | float = 0.0
    rot_fraction: Array | float = 0.0
    ripening_night: Array | float = USUAL_NIGHT
    set_level: Array | float = 1.0
    size_level: Array | float = 1.0
