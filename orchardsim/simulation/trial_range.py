"""A range of trials simulated from weather to money; ranges are what processes share out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.simulation.futures import draw_future, level_results
from orchardsim.simulation.money import money_results
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.step import Steps
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import BESIDE, Totals
from orchardsim.simulation.year import YEAR

Array = NDArray[np.float64]
TILE_POSITIONS: Final = 600_000
"""Planting positions of a tile, at most: some 110 MB. Measured on 11,400 trees with two processes at work, ns per tree
and year: 120 with 46,000 positions, 96 with 110,000, 87 with 290,000, 81 with 580,000; calls on small arrays cost more
than arrays that leave the cache."""
SMALL_TILE: Final = 110_000
"""Positions below which a tile is not cut, and of tiles that are copied while they are walked."""
RANGE_TRIALS: Final = 50
"""Trials of a range, at most; results do not depend on it. Half as many cost a small farm a seventh more each."""


def tile_size(plan: Plan, positions: int = SMALL_TILE) -> int:
    """Trials walked together, with so many planting positions at most."""
    own = sum(block.plan.layout.positions for block in plan.blocks)
    return int(np.clip(positions // max(own, 1), 1, RANGE_TRIALS))


def tiles(plan: Plan, trials: range, positions: int = SMALL_TILE) -> Iterator[range]:
    """Trials cut into tiles of so many planting positions at most."""
    step = tile_size(plan, positions)
    for start in range(trials.start, trials.stop, step):
        yield range(start, min(start + step, trials.stop))


def run_trials(
    plan: Plan,
    trials: range,
    years: int,
    seed: int,
    seasons: str,
    library: SeasonLibrary | None = None,
    single_trees: tuple[int, ...] = (),
    process_seeds: Mapping[str, int] | None = None,
    steps: Steps = YEAR,
) -> dict[str, NDArray[Any]]:
    """Simulate a range of trials.

    Returns: result variable -> array with ``len(trials)`` rows; single trees as "trial/block/name".

    Parameters
    ----------
    library : SeasonLibrary, optional
        Seasons that cover these trials; worked out here where it is None.
    single_trees : tuple of int
        Trials whose single trees are kept.
    process_seeds : mapping, optional
        See :class:`orchardsim.core.streams.Streams`.
    steps : tuple of Step
        The order of a year.

    Raises
    ------
    IdentityError
        If a book does not balance.
    """
    streams = Streams(seed, process_seeds or {})
    if library is None:
        library = build_library(plan, streams, trials, years, seasons)
    totals = Totals(len(trials), years, plan.labels)
    kept: dict[tuple[int, int], dict[str, list[NDArray[np.float32]]]] = {}
    levels = draw_future(plan, streams, trials)
    for tile in tiles(plan, trials, TILE_POSITIONS):
        wanted = kept if set(single_trees) & set(tile) else None
        own = levels.at(slice(tile.start - trials.start, tile.stop - trials.start))
        Tile(plan, library, streams, tile, years, totals, trials.start, wanted, steps=steps, levels=own).run()
    totals.check_bounds()
    season_rows = library.met(trials, years)
    arrays: dict[str, NDArray[Any]] = {name: own for name, own in totals.arrays.items() if name not in BESIDE}
    arrays["harvest_year"] = library.sample.seasons.harvest_year[season_rows]
    arrays |= money_results(plan, totals, trials, streams, library.region[season_rows], levels)
    arrays |= level_results(levels)
    for (trial, number), values in kept.items():
        if trial in single_trees:
            for name, by_year in values.items():
                arrays[f"{trial}/{number}/{name}"] = np.stack(by_year)
    return arrays
