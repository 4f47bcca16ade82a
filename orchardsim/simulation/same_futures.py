"""The same futures again: trials walked once, and their money worked out under other terms."""

from __future__ import annotations

import copy

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.futures import OPEN_LEVELS, Doubt
from orchardsim.core.labels import TASKS
from orchardsim.core.streams import Streams
from orchardsim.economy.finance import npv
from orchardsim.economy.ledger import Ledger
from orchardsim.plan import Plan
from orchardsim.simulation.money import farm_ledger
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.trial_range import tiles

Array = NDArray[np.float64]


class SameFutures:
    """Trials of a plan that can be walked and counted again.

    ``trials``, ``years``, ``seed``: as of a run: the same trials meet the same seasons, prices and luck.
    """

    def __init__(self, plan: Plan, trials: int, years: int, seed: int) -> None:
        self.plan, self.trials, self.years = plan, range(trials), years
        self.streams = Streams(seed)
        self.library: SeasonLibrary = build_library(plan, self.streams, self.trials, years, "sampled")
        self.region: Array = self.library.region[self.library.met(self.trials, years)]

    def walked(self, plan: Plan) -> Totals:
        """Physical results of the trials under a plan with the same blocks and seasons."""
        totals = Totals(len(self.trials), self.years, plan.labels)
        for part in tiles(plan, self.trials):
            Tile(plan, self.library, self.streams, part, self.years, totals, 0).run()
        return totals

    def ledger(self, plan: Plan, totals: Totals, price_factor: float = 1.0) -> Ledger:
        """The ledger of what was walked, under the money terms of a plan, at so many times the prices."""
        return farm_ledger(plan, totals, self.trials, self.streams, self.region, price_factor)

    def values(self, plan: Plan, totals: Totals, price_factor: float = 1.0) -> Array:
        """Net present value with the remaining value, as a run counts it, (trial,) [money]."""
        return present_value(self.ledger(plan, totals, price_factor), plan)


def present_value(ledger: Ledger, plan: Plan) -> Array:
    """Net present value of a ledger, remaining value included, (trial,) [money]."""
    flows = ledger.project_cash_flow()
    flows[:, -1] += ledger.remaining_value
    value: Array = npv(plan.finance.discount_rate, flows)
    return value


def with_level(plan: Plan, level: str, value: float) -> Plan:
    """The plan with all keys of an open level known at a value, other levels as they are."""
    return plan.with_futures(stated={**plan.futures.stated, level: {"": Doubt(value, 0.0)}})


def middle_of(plan: Plan, level: str) -> Doubt:
    """What a plan knows of a level: that of its first key where it states several, else of all."""
    own = plan.futures.stated.get(level, {})
    if "" not in own and own:
        return next(iter(own.values()))
    row = OPEN_LEVELS[level]
    return own.get("", Doubt(row.middle, row.spread))


def with_yield(totals: Totals, factor: float) -> Totals:
    """The same trials with all fruit picked, and the hours of picking it, times a factor."""
    scaled = copy.copy(totals)
    scaled.arrays = dict(totals.arrays)
    for name in ("harvested_mass", "packed_mass", "boxed_mass"):
        scaled.arrays[name] = totals.arrays[name] * factor
    return with_hours(scaled, "picking", factor)


def with_hours(totals: Totals, task: str, factor: float) -> Totals:
    """The same trials with the hours of one task times a factor."""
    scaled = copy.copy(totals)
    scaled.arrays = dict(totals.arrays)
    hours = totals.arrays["labour_hours"].copy()
    hours[..., TASKS.index(task)] *= factor
    scaled.arrays["labour_hours"] = hours
    return scaled
