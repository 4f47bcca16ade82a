"""The open levels of some trials, worked out for a plan: plain arrays for trees, losses, work and money."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.futures import HAZARD_CAUSES, OPEN_LEVELS
from orchardsim.core.labels import CAUSES, FRESH
from orchardsim.core.streams import Streams
from orchardsim.economy.payments import CostLevels
from orchardsim.plan import Plan

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Levels:
    """Open levels of some trials.

    Attributes
    ----------
    values : dict from level to array
        (trial, label) of what a block, a rootstock or a cultivar has of its own, (trial, cause) over
        :data:`orchardsim.core.futures.HAZARD_CAUSES`, (trial, 1) of the farm.
    """

    values: dict[str, Array]

    def at(self, rows: slice) -> Levels:
        """Those of some of the trials."""
        return Levels({name: values[rows] for name, values in self.values.items()})

    def of_farm(self, level: str) -> Array:
        """A level of the whole farm, (trial,)."""
        return self.values[level][:, 0]

    @property
    def growth(self) -> Array:
        """Growth of trees, (trial, label) [1]."""
        levels: Array = self.values["site_growth"] * self.values["stock_by_site"] * self.values["cultivar_by_site"]
        return levels

    def hazard(self, cause: str) -> Array:
        """Level of a cause of loss, (trial,) [1]."""
        return self.values["hazard_level"][:, HAZARD_CAUSES.index(cause)]

    @property
    def costs(self) -> CostLevels:
        """Levels of charges, wages and other costs."""
        of = self.of_farm
        return CostLevels(
            wages=of("wage_level"),
            costs=of("cost_level"),
            packing=of("packing_charge"),
            storage=of("storage_charge"),
            wage_growth=of("wage_growth"),
        )

    def prices(self, years: int) -> Array:
        """Factor on prices, (trial, year, label) [1]."""
        time = np.arange(years)[None, :, None]
        drift = np.maximum(1 + self.values["price_drift"], 0.5)
        factor: Array = self.values["price_level"][:, None] * drift[:, None] ** time
        return factor


def level_keys(plan: Plan, level: str) -> list[str]:
    """Keys of a level's last axis: of each label its block, rootstock or cultivar; the causes; one of the farm."""
    scope = OPEN_LEVELS[level].scope
    if scope == "cause":
        return list(HAZARD_CAUSES)
    if scope == "farm":
        return [""]
    if scope == "block":
        return [block.name for block in plan.blocks for _ in block.groups]
    return [group.stock_name if scope == "rootstock" else group.cultivar_name for group in plan.groups]


def draw_future(plan: Plan, streams: Streams, trials: Sequence[int]) -> Levels:
    """Draw the open levels of trials by address."""
    return Levels({name: plan.futures.drawn(name, level_keys(plan, name), streams, trials) for name in OPEN_LEVELS})


def level_results(levels: Levels) -> dict[str, Array]:
    """The levels as result variables; causes without an open level stand at 1."""
    results = {}
    for name, row in OPEN_LEVELS.items():
        values = levels.values[name]
        if row.scope == "farm":
            values = values[:, 0]
        elif row.scope == "cause":
            every = np.ones((len(values), len(CAUSES)))
            every[:, [CAUSES.index(cause) for cause in HAZARD_CAUSES]] = values
            values = every
        results[f"level_{name}"] = values
    return results


def level_middles(plan: Plan) -> dict[str, list[float]]:
    """Middle of each level, in the order of the result variable's last axis."""
    middles = {}
    for name, row in OPEN_LEVELS.items():
        keys = list(CAUSES) if row.scope == "cause" else level_keys(plan, name)
        known = plan.futures.middle(name, keys)
        middles[name] = [float(value) for value in known]
    return middles


def repacked(packed_mass: Array, log_odds: Array) -> Array:
    """Mass by grade with the odds of being fresh moved; what leaves the fresh grades goes to processing [kg].

    Parameters
    ----------
    packed_mass : array, (trial, label, grade) [kg]
    log_odds : array, (trial, label)

    Examples
    --------
    >>> packed = np.array([[[4.0, 2.0, 3.0, 1.0]]])
    >>> repacked(packed, np.log([[0.5]])).round(3).tolist()
    [[[2.857, 1.429, 4.286, 1.429]]]
    """
    total = packed_mass.sum(axis=-1)
    fresh = packed_mass[..., FRESH].sum(axis=-1)
    rest = total - fresh
    factor = np.exp(log_odds)
    now = np.where(fresh > 0, total * fresh * factor / np.where(fresh > 0, fresh * factor + rest, 1.0), 0.0)
    after = packed_mass * (np.where(rest > 0, total - now, 0.0) / np.where(rest > 0, rest, 1.0))[..., None]
    share = np.where(fresh > 0, now / np.where(fresh > 0, fresh, 1.0), 0.0)
    after[..., FRESH] = packed_mass[..., FRESH] * share[..., None]
    return after
