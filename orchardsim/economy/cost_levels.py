"""Uncertain levels of wages and other costs: one factor for each future, the same in all its years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.streams import Streams
from orchardsim.economy.parameters import Costs

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CostLevels:
    """Factors on the plan's wages and on its other costs, (trial,) [1]."""

    wages: Array
    costs: Array


def draw_cost_levels(rng: Streams, trials: Sequence[int], costs: Costs) -> CostLevels:
    """Draw the levels by address: the same trial meets the same levels under every plan.

    Parameters
    ----------
    rng : Streams
    trials : sequence of int
        Trial numbers.
    costs : Costs
        ``wage_cv`` and ``cost_cv``; at 0 all factors are 1.

    Notes
    -----
    Lognormal with mean 1: exp(s z - s^2/2), s^2 = log(1 + cv^2). Wages and other costs are drawn apart.
    """
    normals = np.stack([rng.at("cost level", trial=trial).standard_normal(2) for trial in trials])
    spread = np.sqrt(np.log1p(np.array([costs.wage_cv, costs.cost_cv]) ** 2))
    factors = np.exp(normals * spread - 0.5 * spread**2)
    return CostLevels(factors[:, 0], factors[:, 1])
