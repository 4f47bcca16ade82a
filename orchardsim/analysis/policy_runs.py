"""Full simulation of a plan over some trials, keeping what tells of gaps and replacement trees."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import ArrayStruct
from orchardsim.core.streams import Streams
from orchardsim.economy.indicators import indicators
from orchardsim.operations.parameters import Replacement
from orchardsim.plan import Plan
from orchardsim.simulation.money import farm_ledger
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.step import Step, Steps, inserted
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.trial_range import tiles
from orchardsim.simulation.year import YEAR

Array = NDArray[np.float64]
Policies = Mapping[str, Replacement]


@dataclass(frozen=True)
class PolicyRun(ArrayStruct):
    """Gaps, replacement trees and money of a plan; arrays (trial, year, label) [trees] unless said.

    Attributes
    ----------
    lost_before, lost_after : array
        Trees lost before and after the year's replanting.
    wanted, waiting : array
        Gaps before and after the year's replanting, in years in which the label's gaps are filled.
    replanted, bought, ordered, on_hand, alive : array
        ``bought`` counts all replacement trees that came, those of the first planting included.
    npv : array, (trial,) [money]
    """

    lost_before: Array
    lost_after: Array
    wanted: Array
    waiting: Array
    replanted: Array
    bought: Array
    ordered: Array
    on_hand: Array
    alive: Array
    npv: Array

    def flows(self, label: int) -> tuple[Array, Array, Array, Array]:
        """Trees ordered, bought, on hand and replanted of a label (by number), (trial, year) each."""
        ordered, bought, on_hand, replanted = (
            values[:, :, label] for values in (self.ordered, self.bought, self.on_hand, self.replanted)
        )
        return ordered, bought, on_hand, replanted


class GapNotes:
    """Notes of how many trees were lost before the year's replanting, and which gaps stay open.

    ``lost_before``, ``wanted``, ``waiting``, array, (trial, year, label): as in :class:`PolicyRun`.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.lost_before, self.wanted, self.waiting = np.zeros(shape), np.zeros(shape), np.zeros(shape)

    def steps(self) -> Steps:
        """The usual year, with the notes taken."""
        reads, nothing = ("trees.alive", "trees_replanted", "standing"), ()
        noted = inserted(
            YEAR, "lose_trees_in_winter", Step("note_losses", self.note_losses, ("trees_lost", "standing"), nothing)
        )
        return inserted(noted, "fill_gaps", Step("note_gaps", self.note_gaps, reads, nothing))

    def note_losses(self, tile: Tile, year: int) -> None:
        """Trees lost so far this year."""
        for block in tile.standing:
            lost = tile.result("trees_lost", block, year).sum(axis=-1)
            self.lost_before[tile.rows, year, block.columns] = lost

    def note_gaps(self, tile: Tile, year: int) -> None:
        """Gaps before and after the year's replanting, where they are to be filled."""
        for block in tile.standing:
            left, leaf = block.gaps(), block.resolved.leaf(year)
            meant = np.array([1 < leaf <= tile.rules[label].last_refill_leaf for label in block.labels])
            filled = tile.result("trees_replanted", block, year)
            self.wanted[tile.rows, year, block.columns] = (left + filled) * meant
            self.waiting[tile.rows, year, block.columns] = left * meant


def never_filled(policy: Replacement) -> Replacement:
    """A policy under which no gap is filled and nothing is bought."""
    return dataclasses.replace(
        policy,
        spares_at_planting=0.0, place="none", reorder=False, reorder_point=0.0, order_up_to=0.0, last_refill_leaf=0,
    )  # fmt: skip


def no_replacement(plan: Plan) -> dict[str, Replacement]:
    """Policies of a plan under which no gap is ever filled."""
    return dict.fromkeys(plan.labels, never_filled(plan.replacement))


def run_policy(
    plan: Plan, policies: Policies, library: SeasonLibrary | None, trials: range, years: int, seed: int
) -> PolicyRun:
    """Simulate a range of trials in full.

    Parameters
    ----------
    policies : mapping from label to Replacement
    library : SeasonLibrary or None
        Seasons that cover these trials; worked out here where it is None.
    """
    streams = Streams(seed)
    if library is None:
        library = build_library(plan, streams, trials, years, "sampled")
    totals = Totals(len(trials), years, plan.labels)
    notes = GapNotes(totals.arrays["trees_alive"].shape)
    for part in tiles(plan, trials):
        Tile(plan, library, streams, part, years, totals, trials.start, steps=notes.steps(), rules=policies).run()
    totals.check_bounds()
    results = totals.arrays
    ledger = farm_ledger(plan, totals, trials, streams, library.region[library.met(trials, years)])
    return PolicyRun(
        lost_before=notes.lost_before,
        lost_after=results["trees_lost"].sum(axis=-1) - notes.lost_before,
        wanted=notes.wanted,
        waiting=notes.waiting,
        replanted=results["trees_replanted"],
        bought=results["spares_bought"],
        ordered=results["trees_ordered"],
        on_hand=results["spares_on_hand"],
        alive=results["trees_alive"],
        npv=indicators(ledger, plan.finance).npv,
    )


def cut(trials: range, pieces: int) -> list[range]:
    """A range of trials in at most so many pieces."""
    size = max(1, -(-len(trials) // max(pieces, 1)))
    return [range(start, min(start + size, trials.stop)) for start in range(trials.start, trials.stop, size)]
