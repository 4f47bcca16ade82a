"""What a standing block's stated trunk and last crop tell of it: its own levels of wood, of supply and of fruit set.

A trunk of some size after so many seasons tells how fast that stock and cultivar makes wood there. The last crop tells
what their leaf supplies and what they set, each by as much as it may differ between blocks. All are facts of the very
block: what is open, learned or stated of the farm's ground does not move them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import address
from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.handover import SeasonDrivers, seen_by_groups
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan, ResolvedBlock
from orchardsim.trees import model as trees
from orchardsim.trees.block import BlockModel
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.variation import YearDraws, draw_year

Array = NDArray[np.float64]
SEED: Final = 1
"""Of the trees that are grown to find the levels: all runs find the same."""
WOOD: Final = np.geomspace(0.1, 3.0, 11)
"""Levels of wood growth tried, over the plan's ``site_growth`` [1]."""
SUPPLY: Final = np.geomspace(0.5, 1.25, 7)
SET: Final = np.geomspace(0.6, 1.6, 7)
"""Levels of supply over the plan's ``site_growth``, and of fruit set over the middle of the plan's, that are tried [1]:
about two of their spreads. Not more supply, for such trees shade themselves out and a light crop would be laid to that.
"""
MISS: Final = 0.03
"""Log standard deviation with which the stated crop is held, against the spreads of the levels that explain it
(assumption: bins are counted to some hundredths)."""
SETTLING, YEARS = 2, 12
"""Years that a start is grown on: the first ones let the trees settle, the median of the others is a usual crop."""
OFF_YEAR: Final = 0.5
"""Crop over a usual one below which the last crop is taken as that of an off year: it tells of the next bloom, not of
what the trees can bear (assumption: half, as a failed crop is told everywhere else)."""


@dataclass(frozen=True)
class Standing:
    """Levels of a standing block, (group,).

    Attributes
    ----------
    wood, supply : array [1]
        Growth of wood, and what leaf supplies, over the plan's ``site_growth``; stock and cultivar are in both.
    fruit_set : array [1]
        Over the level of the cultivar.
    last_crop : array [kg/tree]
        As stated, or a usual crop where none is.
    usual_crop : array [kg/tree]
        What the trees bear in a usual year at these levels.
    fruit_mass : array [kg]
        Mean mass of a fruit of it.
    off_year : tuple of bool
        Whether the stated crop was taken as that of an off year.
    """

    wood: Array
    supply: Array
    fruit_set: Array
    last_crop: Array
    usual_crop: Array
    fruit_mass: Array
    off_year: tuple[bool, ...]


def standing_levels(
    plan: Plan, block: ResolvedBlock, drivers: Sequence[SeasonDrivers], seasons: NDArray[np.int64]
) -> Standing:
    """Levels at which a block's trees come to the stated trunk, and at which the last crop is a usual one.

    Parameters
    ----------
    block : ResolvedBlock
        With a stated trunk.
    drivers : by row group
    seasons : int array
        Rows of the drivers, in the order of years and ending with the year before the plan.
    """
    grown = _Grown(plan, block, BlockModel(block.plan, plan.physiology), drivers)
    wood, stated = _wood_levels(grown, seasons), block.plan.crop_at_start
    one = np.ones_like(wood)
    if stated is None:
        (usual,), (mass,) = grown.usual_crops(wood, one[None], one[None], seasons)
        return Standing(wood, one, one, usual, usual, mass, (False,) * len(wood))
    supplies = SUPPLY[:, None] * one
    crops = np.stack([grown.usual_crops(wood, supplies, level * one[None], seasons)[0] for level in SET])
    levels, off = zip(*(_levels_of_crop(own, stated) for own in np.moveaxis(crops, -1, 0)), strict=True)
    fruit_set, supply = np.transpose(levels)
    (usual,), (mass,) = grown.usual_crops(wood, supply[None], fruit_set[None], seasons)
    return Standing(wood, supply, fruit_set, stated * one, usual, mass, off)


def _levels_of_crop(crops: Array, stated: float) -> tuple[tuple[float, float], bool]:
    """Likeliest levels of set and supply behind a crop, from crops (set, supply); and whether it was an off year's."""
    fine_set, fine_supply = (np.log(np.geomspace(levels[0], levels[-1], 81)) for levels in (SET, SUPPLY))
    across = np.stack([np.interp(fine_supply, np.log(SUPPLY), own) for own in crops])
    crop = np.stack([np.interp(fine_set, np.log(SET), own) for own in across.T], axis=1)
    usual = crop[np.abs(fine_set).argmin(), np.abs(fine_supply).argmin()]
    if stated < OFF_YEAR * usual:
        return (1.0, 1.0), True
    spread_set, spread_supply = (OPEN_LEVELS[name].spread for name in ("fruit_set", "site_growth"))
    unlikely = (fine_set[:, None] / spread_set) ** 2 + (fine_supply / spread_supply) ** 2
    unlikely += (np.log(crop / stated) / MISS) ** 2
    row, column = np.unravel_index(unlikely.argmin(), unlikely.shape)
    return (float(np.exp(fine_set[row])), float(np.exp(fine_supply[column]))), False


def _wood_levels(grown: _Grown, seasons: NDArray[np.int64]) -> Array:
    """Level of wood growth of each row group at which its mean trunk is the stated one after the block's years."""
    model, block, trials = grown.model, grown.block, len(WOOD)
    one = np.ones((trials, model.groups))
    state, leaf = grown.land(WOOD[:, None] * one, one), -block.year_planted
    for year in range(leaf):
        draws = grown.draws(trials, year)
        trees.ask_dormant_work(model, state)
        if year == 0:
            model.plant(state, draws)
        grown.walk(state, grown.season(trials, int(seasons[(year - leaf) % len(seasons)]), one), draws)
    trunks = model.total(state.trunk_area) / np.maximum(model.total(state.alive), 1)
    rising, stated = np.maximum.accumulate(np.log(trunks)), np.log(block.plan.trunk_area_at_start or 1.0)
    return np.array([np.exp(np.interp(stated, own, np.log(WOOD))) for own in rising.T])


class _Grown:
    """Trees of a block grown without losses, all work done in time."""

    def __init__(self, plan: Plan, block: ResolvedBlock, model: BlockModel, drivers: Sequence[SeasonDrivers]) -> None:
        self.block, self.model, self.drivers = block, model, drivers
        self.streams = Streams(SEED)
        names = [group.cultivar_name for group in block.groups]
        self.middle_set, self.middle_size = (plan.futures.middle(f"fruit_{level}", names) for level in ("set", "size"))

    def land(self, wood: Array, supply: Array) -> TreeState:
        """Land at levels (trial, group), the same patches in all trials."""
        state = self.model.new_state(len(wood))
        soil = self.model.draw_persistent([self.streams.at("soil", self.block.name, trial=0, year=0)])
        state.ground[...] = wood
        state.site_vigor[...] = soil * self.model.expand(supply)
        return state

    def draws(self, trials: int, year: int) -> YearDraws:
        """The same draws of a year in all trials."""
        one = draw_year(address(self.streams, "tree year", self.block.name, range(1), year), self.model.positions)
        return YearDraws(np.repeat(one.normal, trials, axis=0), np.repeat(one.block_normal, trials, axis=0))

    def season(self, trials: int, row: int, fruit_set: Array) -> SeasonForTrees:
        """A season that all trials meet, at levels of fruit set (trial, group)."""
        season = seen_by_groups(SeasonForTrees, self.drivers, np.full(trials, row))
        size = np.broadcast_to(self.middle_size, fruit_set.shape)
        return dataclasses.replace(season, set_level=self.middle_set * fruit_set, size_level=size)

    def walk(self, state: TreeState, season: SeasonForTrees, draws: YearDraws) -> None:
        """The rest of a year."""
        model, done = self.model, np.ones(state.cover.shape)
        trees.apply_pruning(model, state)
        trees.bloom_to_closed_canopy(model, state, season, draws)
        trees.apply_thinning(model, state, done, 0.0 * done)
        trees.closed_canopy_to_harvest(model, state, season)
        trees.harvest_to_leaf_fall(model, state, season)

    def usual_crops(
        self, wood: Array, supply: Array, fruit_set: Array, seasons: NDArray[np.int64]
    ) -> tuple[Array, Array]:
        """Median crop [kg/tree] and fruit mass [kg] of the years after the start, through seasons of the record.

        Parameters
        ----------
        wood : array, (group,)
        supply, fruit_set : arrays, (level, group)

        Returns
        -------
        crop, mass : arrays, (level, group)
        """
        trials, model, own = len(supply), self.model, self.block.plan
        state = self.land(np.repeat(wood[None], trials, axis=0), supply)
        crop = None if own.crop_at_start is None else [own.crop_at_start] * model.groups
        leaf, trunk = -self.block.year_planted, own.trunk_area_at_start or 1.0
        model.plant_established(state, self.draws(trials, 0), leaf, trunk, crop)
        crops, masses = [], []
        for year, row in enumerate(seasons[np.linspace(0, len(seasons) - 1, YEARS).astype(int)], start=1):
            trees.ask_dormant_work(model, state)
            season = self.season(trials, int(row), np.broadcast_to(fruit_set, supply.shape))
            self.walk(state, season, self.draws(trials, year))
            crop_mass, number = model.total(state.last_crop), model.total(state.fruit_number)
            crops.append(crop_mass / np.maximum(model.total(state.alive), 1))
            masses.append(crop_mass / np.maximum(number, 1))
        return np.median(crops[SETTLING:], axis=0), np.median(masses[SETTLING:], axis=0)
