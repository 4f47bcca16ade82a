"""What the trees of a tile see of a season: the drivers of each trial and row group in one year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import SeasonDrivers
from orchardsim.trees.grading import USUAL_NIGHT

Array = NDArray[np.float64]
DRIVERS = (
    "chill_fraction",
    "frost_kill",
    "pollination_hours",
    "early_heat",
    "sunburn_fraction",
    "spray_balance",
    "rot_fraction",
    "ripening_night",
    "radiation",
    "degree_days",
    "temperature_factor",
    "water_factor",
)
"""Fields of :class:`~orchardsim.core.handover.SeasonDrivers` that growth and bearing read."""


@dataclass(frozen=True)
class SeasonForTrees:
    """Season drivers over (trial, group), with the phases and cover levels of the handover behind.

    Attributes
    ----------
    chill_fraction, frost_kill, sunburn_fraction, rot_fraction, spray_balance : (trial, group) [1]
    ripening_night : (trial, group) [degC]
    pollination_hours : (trial, group) [h]
    early_heat : (trial, group) [K day]
    radiation : (trial, group, phase) [MJ/m2]
    degree_days : (trial, group, phase) [K day]
    temperature_factor : (trial, group, phase) [1]
    water_factor : (trial, group, phase, cover) [1]
    set_level, size_level : (trial, group) [1]
        Fruit set and size over the model's, of the ground and of the year.
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

    @classmethod
    def of(cls, drivers: Sequence[SeasonDrivers], pick: NDArray[np.int64]) -> SeasonForTrees:
        """Drivers of the seasons that the trials meet in one year.

        Parameters
        ----------
        drivers : sequence of SeasonDrivers, one per row group
        pick : int array, (trial,)
            Row of the drivers' season axis for each trial.
        """
        return cls(**{name: np.stack([getattr(one, name)[pick] for one in drivers], axis=1) for name in DRIVERS})
