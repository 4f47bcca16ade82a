"""A tile: a few trials walked together through all years, so that their arrays stay in cache.

The order of a year is a list of steps (:mod:`orchardsim.simulation.year`); the tile holds what the steps change.
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import Address, address
from orchardsim.core.streams import Streams
from orchardsim.operations.parameters import Replacement
from orchardsim.operations.yard import Yard
from orchardsim.plan import Plan
from orchardsim.simulation.block_run import BlockRun, open_blocks
from orchardsim.simulation.futures import Levels, draw_future
from orchardsim.simulation.harvest_to_leaf_fall import book_driving, pack_boxes
from orchardsim.simulation.seasons import SeasonLibrary
from orchardsim.simulation.step import Steps, walk_year
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.yards import book_yards, open_yards
from orchardsim.simulation.year import PAST_YEAR, YEAR
from orchardsim.trees import model as trees
from orchardsim.trees.variation import draw_year

Array = NDArray[np.float64]
BEFORE_YEAR_0: Final = 1000
"""Added to the year in an address, so that years before year 0 have addresses too."""


class Tile:
    """A few trials of a plan.

    Parameters
    ----------
    trials : range
        Trial numbers of the tile.
    totals : Totals
        Receives the results, at rows ``trials - first``.
    first : int
        Trial number of the first row of ``totals``.
    single_trees : dict or None
        Receives per-tree arrays of this tile's trials when not None: (trial, block number) -> name -> list by year.
    steps : tuple of Step
        The order of a year, by default :data:`orchardsim.simulation.year.YEAR`.
    rules : mapping from label to Replacement, optional
        Replacement rules from year 0 on; the plan's own by default, as always before year 0.
    trace : bool
        Keep the yards' event logs.
    yards : bool
        Whether there are any; steps without crews need none.
    levels : Levels, optional
        Open levels of these trials, where they are drawn already.
    """

    def __init__(
        self,
        plan: Plan,
        library: SeasonLibrary,
        streams: Streams,
        trials: range,
        years: int,
        totals: Totals,
        first: int,
        single_trees: dict[tuple[int, int], dict[str, list[NDArray[np.float32]]]] | None = None,
        *,
        steps: Steps = YEAR,
        rules: Mapping[str, Replacement] | None = None,
        trace: bool = False,
        yards: bool = True,
        levels: Levels | None = None,
    ) -> None:
        self.plan = plan
        self.library = library
        self.streams = streams
        self.trials = trials
        self.years = years
        self.totals = totals
        self.rows = slice(trials.start - first, trials.stop - first)
        self.single_trees = single_trees
        self.steps = steps
        self.rules = {group.label: group.refill for group in plan.groups} if rules is None else rules
        self.levels = draw_future(plan, streams, trials) if levels is None else levels
        self.blocks = open_blocks(
            plan,
            lambda process, place: self.rngs(process, place, -BEFORE_YEAR_0),
            lambda process, place: self.address(process, place, -BEFORE_YEAR_0),
            len(trials),
        )
        for block in self.blocks:
            # vigor that lasts is the ground's: the level of a whole group times the patches within it
            level = self.levels.growth[:, block.columns]
            block.state.ground[...], supply = level, level
            if (own := library.standing.get(block.number)) is not None:
                block.state.ground[...], supply = own.wood, np.repeat(own.supply[None], len(trials), axis=0)
            block.state.site_vigor *= block.model.expand(supply)
        self.yards = open_yards(plan, self.rules, streams, trials, years, trace) if yards else []
        self.season_rows = np.zeros(len(trials), dtype=np.int64)

    @property
    def standing(self) -> list[BlockRun]:
        """Blocks with trees on them."""
        return [block for block in self.blocks if block.standing]

    def rngs(self, process: str, place: str, year: int) -> list[np.random.Generator]:
        """Streams of the trials for a process at a place in a year."""
        return [self.streams.at(process, place, trial=t, year=year + BEFORE_YEAR_0) for t in self.trials]

    def address(self, process: str, place: str, year: int) -> Address:
        """The same for compiled draws."""
        return address(self.streams, process, place, self.trials, year + BEFORE_YEAR_0)

    # ---- the walk ------------------------------------------------------------------------------------------------

    def run(self) -> None:
        """Walk the tile through all years, established blocks through the years before year 0 first."""
        self.open()
        for year in range(self.years):
            self.walk(year)
        self.close()

    def open(self) -> None:
        """Set established blocks to their measured size, or grow them through the record's own seasons."""
        for block in self.blocks:
            resolved, first = block.resolved, block.resolved.year_planted
            if first >= 0:
                continue
            if resolved.plan.trunk_area_at_start is not None:
                draws = draw_year(self.address("tree year", resolved.name, first), block.model.positions)
                own, trunk = self.library.standing[block.number], resolved.plan.trunk_area_at_start
                block.model.plant_established(block.state, draws, -first, trunk, own.last_crop, own.fruit_mass)
                block.planted = True
            else:
                alone = copy.copy(self)
                alone.blocks, alone.yards = [block], []
                for year in range(first, 0):
                    walk_year(alone, year, PAST_YEAR)
            block.alive = block.model.total(block.state.alive)

    def walk(self, year: int) -> None:
        """Walk the tile through one year; years go in order."""
        walk_year(self, year, self.steps)

    def close(self) -> None:
        """Book what is known only at the end."""
        for block in self.blocks:
            index = trees.biennial_index(block.model, block.state)
            self.totals.arrays["biennial_index"][self.rows, block.columns] = index
            pack_boxes(self.plan, block, self.totals, self.rows)
            book_driving(self.plan, block, self.totals, self.rows)
        book_yards(self.yards, self.plan.labels, self.totals, self.rows.start)

    def copied(
        self,
        totals: Totals,
        *,
        steps: Steps | None = None,
        library: SeasonLibrary | None = None,
        yards: Sequence[Yard] | None = None,
    ) -> Tile:
        """A tile in the same state, between two years, that goes its own way from here.

        Parameters
        ----------
        totals : Totals
            Receives the results of the copy; a copy of this tile's own, for what has been.
        steps, library, yards : optional
            What differs from here on.
        """
        twin = copy.copy(self)
        twin.totals, twin.single_trees = totals, None
        twin.steps = self.steps if steps is None else steps
        twin.library = self.library if library is None else library
        # Draws are written anew each year into the same memory, so each tile needs its own.
        twin.blocks = [
            dataclasses.replace(
                block,
                state=copy.deepcopy(block.state),
                backlog=copy.deepcopy(block.backlog),
                alive=block.alive.copy(),
                draws=None,
                loss_draws=None,
            )
            for block in self.blocks
        ]
        twin.yards = [yard.copied() for yard in self.yards] if yards is None else list(yards)
        return twin

    # ---- results -------------------------------------------------------------------------------------------------

    def put(self, name: str, block: BlockRun, year: int, values: NDArray[np.floating]) -> None:
        """Store a result of one block and year (trial, group, ...); years before year 0 leave none."""
        if year >= 0:
            self.totals.put(name, self.rows, year, block.columns, values)

    def add(
        self, name: str, block: BlockRun, year: int, values: NDArray[np.floating], place: int | None = None
    ) -> None:
        """Add to a result of one block and year; ``place`` picks a label of its last dimension."""
        if year >= 0:
            at = (self.rows, year, block.columns) if place is None else (self.rows, year, block.columns, place)
            self.totals.arrays[name][at] += values

    def result(self, name: str, block: BlockRun, year: int) -> Array:
        """A result of one block and year, (trial, group, ...)."""
        found: Array = self.totals.arrays[name][self.rows, year, block.columns]
        return found
