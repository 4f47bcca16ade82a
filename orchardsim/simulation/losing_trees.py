"""Steps that take trees out: winter's losses and the season's, booked by cause."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import Reach
from orchardsim.core.labels import CAUSES, TASKS
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.state_table import EVERY_TREE
from orchardsim.simulation.step import step
from orchardsim.trees import losses
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_traits import LossSeason, LossTraits, uncut_strikes
from orchardsim.trees.state import weaken

if TYPE_CHECKING:
    from orchardsim.simulation.tile import Tile

Array = NDArray[np.float64]
HazardsOf = Callable[["Tile", BlockRun, int], tuple[Hazards, LossTraits]]
"""Hazards, and what decides those of a block's trees, in a year."""


def usual_hazards(tile: Tile, block: BlockRun, year: int) -> tuple[Hazards, LossTraits]:
    """The plan's own."""
    return tile.plan.hazards, block.traits


@step(
    reads=(
        "alive loss_draws season_rows standing trees.alive trees.fruit_dry_mass trees.fruit_number "
        "trees.health trees.height trees.leaf"
    ),
    writes="trees_lost " + EVERY_TREE,
)
def lose_trees_in_winter(tile: Tile, year: int, hazards_of: HazardsOf = usual_hazards) -> None:
    """Cold, voles, deer, borers and late transplant failure kill; cold and narrow escapes injure."""
    for block in tile.standing:
        assert block.loss_draws is not None
        hazards, traits = hazards_of(tile, block, year)
        season, draws = _season_for_losses(tile, block), block.loss_draws
        draws = dataclasses.replace(draws, vole_year=(draws.vole_year / tile.levels.hazard("voles")).astype(np.float32))
        found = losses.rest_losses(hazards, traits, block.state, season, draws)
        take_out(tile, block, year, found.cause)
        weaken(block.state.health, found.health_loss)
        injury = losses.winter_injury(hazards, traits, season, draws)
        if injury.any():
            block.state.health *= 1 - block.model.expand(injury)


@step(
    reads=(
        "alive labour_hours loss_draws season_rows standing uncut_strikes done.supported trees.alive "
        "trees.bloom_clusters trees.fruit_dry_mass trees.fruit_number trees.health trees.height "
        "trees.last_crop trees.leaf trees.trunk_area"
    ),
    writes="fruit_lost labour_hours trees_lost uncut_strikes " + EVERY_TREE,
)
def lose_trees_in_season(tile: Tile, year: int, hazards_of: HazardsOf = usual_hazards) -> None:
    """Blight, wind, rot and the others kill between bloom and harvest; strikes are cut out."""
    for block in tile.standing:
        assert block.loss_draws is not None
        hazards, traits = hazards_of(tile, block, year)
        supported = Reach(block.done.supported, np.zeros_like(block.alive))
        found = losses.season_losses(
            hazards,
            traits,
            block.state,
            _season_for_losses(tile, block),
            block.loss_draws,
            block.soil,
            block.resolved.leaf(year),
            block.model.passed_over(supported),
            block.uncut_strikes,
        )
        block.fruit_lost = take_out(tile, block, year, found.cause)
        weaken(block.state.health, found.health_loss)
        cutting = _cut_strikes(hazards, block, found.struck)
        tile.add("labour_hours", block, year, cutting, TASKS.index("upkeep"))


def _season_for_losses(tile: Tile, block: BlockRun) -> LossSeason:
    """What the year's season brings to the trees, at the levels of the place that a trial met."""
    season = tile.library.seen(LossSeason, block.number, tile.season_rows)
    return dataclasses.replace(
        season,
        winter_temperature_min=season.winter_temperature_min + tile.levels.of_farm("winter_cold")[:, None],
        blight_days=season.blight_days * tile.levels.hazard("fire_blight")[:, None],
        wet_soil_days=season.wet_soil_days * tile.levels.hazard("crown_rot")[:, None],
        drought_days=season.drought_days * tile.levels.hazard("drought")[:, None],
        transplant_level=tile.levels.hazard("transplant_failure"),
    )


def take_out(tile: Tile, block: BlockRun, year: int, cause: NDArray[np.int8]) -> Array:
    """Remove dead trees, book them by cause, and return the fruit that was on them (trial, group).

    ``cause``, (trial, position): 0 for a tree that lives or was not there, else 1 + the place of the cause in
    ``core.labels.CAUSES``.
    """
    at = np.flatnonzero(cause > 0)
    if not at.size:
        return np.zeros_like(block.alive)
    tile.add("trees_lost", block, year, _by_cause(block, at, cause.reshape(-1)[at]))
    return block.model.kill_at(block.state, at)


def _by_cause(block: BlockRun, at: NDArray[np.int64], cause: NDArray[np.int8]) -> Array:
    """Number of dead trees, (trial, group, cause), from their flat positions and causes."""
    trials, groups = block.alive.shape
    cell = block.model.cell(at) * len(CAUSES) + cause - 1
    number = np.bincount(cell, minlength=trials * groups * len(CAUSES))
    return number.reshape(trials, groups, len(CAUSES)).astype(np.float64)


def _cut_strikes(hazards: Hazards, block: BlockRun, struck: NDArray[np.bool_]) -> Array:
    """Cut out the strikes of fire blight that the plan's sanitation asks for; the others overwinter.

    ``struck``, (trial, position): struck this season, and alive.

    Returns, (trial, group) [hour]: hours of cutting.
    """
    before = np.zeros(len(block.alive)) if block.uncut_strikes is None else block.uncut_strikes
    if not (struck.any() or before.any()):
        return np.zeros_like(block.alive)
    living, diseased = block.model.total(block.state.alive), block.model.total(struck)
    share = diseased.sum(axis=1) / np.maximum(living.sum(axis=1), 1)
    block.uncut_strikes = np.asarray(uncut_strikes(hazards, share, before), dtype=np.float64)
    return hazards.blight_sanitation * (diseased + before[:, None] * living) * (hazards.blight_cut_minutes / 60)
