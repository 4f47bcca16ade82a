"""Steps of a year up to bloom: what the year brings, winter's losses, planting, dormant work."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import TASKS
from orchardsim.core.units import HECTARE
from orchardsim.operations.crews import Job
from orchardsim.season.frost import shifted_kill
from orchardsim.simulation import balances, crew_jobs
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.state_table import PLANTED, WORK_ASKED, WORK_DONE
from orchardsim.simulation.step import step
from orchardsim.simulation.yards import hours_done, work_phase
from orchardsim.trees import model as trees
from orchardsim.trees.loss_draws import draw_losses
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.variation import draw_year

if TYPE_CHECKING:
    from orchardsim.simulation.tile import Tile

Array = NDArray[np.float64]
CROP_RESIDUAL: Final = 0.15
"""Log standard deviation of the size that a block's fruit can reach from year to year, for all that no mechanism here
explains. Fruit mass that the fruit counted does not foretell then has a coefficient of variation of 0.095, measured by
``experiments/dispersion``, row V9 (11 of 14 orchards within 10 %, two about 20 % off: ASABE paper 29974, derived)."""


@step(
    reads="alive",
    writes="season_rows season bloom_day frost_kill " + WORK_ASKED + " " + WORK_DONE,
)
def meet_season(tile: Tile, year: int, residual: float = CROP_RESIDUAL) -> None:
    """Each trial meets its season; its work starts with none asked and all done in time."""
    tile.season_rows = tile.library.season_rows(tile.trials, year)
    for block in tile.blocks:
        block.season = _season_for_trees(tile, block, year, residual)
        block.asked, block.done = block.ask_nothing(), block.all_in_time()
        tile.put("bloom_day", block, year, tile.library.of(block.number, "bloom_day", tile.season_rows))
        tile.put("frost_kill", block, year, block.season.frost_kill)


def _season_for_trees(tile: Tile, block: BlockRun, year: int, residual: float) -> SeasonForTrees:
    """What the trees see of the year's season; frost protection works or breaks down, once for the whole spring."""
    levels = {name: tile.levels.values[f"fruit_{name}"][:, block.columns] for name in ("set", "size")}
    season, site = tile.library.seen(SeasonForTrees, block.number, tile.season_rows), block.resolved.site
    if (own := tile.library.standing.get(block.number)) is not None:
        levels["set"] = levels["set"] * own.fruit_set
    normals = np.array([rng.standard_normal() for rng in tile.rngs("crop residual", block.resolved.name, year)])
    size = levels["size"] * np.exp(residual * normals)[:, None]
    kill = season.frost_kill
    if site.protection != "none":
        uniform = np.array([rng.random() for rng in tile.rngs("frost protection", block.resolved.name, year)])
        failed = tile.library.of(block.number, "frost_kill_failed", tile.season_rows)
        kill = np.where((uniform < site.protection_failure)[:, None], failed, kill)
    kill = shifted_kill(kill, tile.levels.of_farm("winter_cold")[:, None])
    return dataclasses.replace(season, set_level=levels["set"], size_level=size, frost_kill=kill)


@step(
    reads="labour_hours season_rows standing",
    writes="labour_hours protection_fuel protection_hours protection_nights protection_water",
)
def protect_from_frost(tile: Tile, year: int) -> None:
    """Book what frost protection takes in nights, hours, water, fuel and labour."""
    for block in _blocks_of_year(tile, year):
        hectares = np.array([group.money.geometry.planted_area for group in block.groups]) / HECTARE
        for name in ("protection_hours", "protection_nights", "protection_water"):
            tile.put(name, block, year, tile.library.of(block.number, name, tile.season_rows))
        fuel, labour = (
            tile.library.of(block.number, name, tile.season_rows) * hectares
            for name in ("protection_fuel", "protection_labour")
        )
        tile.put("protection_fuel", block, year, fuel)
        tile.add("labour_hours", block, year, labour, TASKS.index("frost_protection"))


@step(
    reads="standing",
    writes="draws loss_draws",
)
def draw_chances(tile: Tile, year: int) -> None:
    """Draw what differs between trees, and the chances of losing them, into the arrays kept for that."""
    for block in _blocks_of_year(tile, year):
        layout, name = block.resolved.plan.layout, block.resolved.name
        block.draws = draw_year(tile.address("tree year", name, year), block.model.positions, block.draws)
        block.loss_draws = draw_losses(
            tile.address("loss", name, year),
            tile.address("blight of a year", "", year),
            layout.rows,
            layout.trees_per_row,
            layout.row_spacing,
            layout.tree_spacing,
            block.loss_draws,
        )


def _blocks_of_year(tile: Tile, year: int) -> list[BlockRun]:
    """Blocks that stand or are planted this year."""
    return [block for block in tile.blocks if block.standing or year == block.resolved.year_planted]


@step(
    reads="standing trees.alive trees.health trees.leaf trees.shoot_leaf",
    writes=(
        "asked.dormant_pruning asked.training trees.health trees.leaf trees.pruning_minutes trees.totals trees.uncut"
    ),
)
def ask_dormant_work(tile: Tile, year: int) -> None:
    """Trees grow a leaf older; they ask to be pruned and tied down."""
    for block in tile.standing:
        asked = trees.ask_dormant_work(block.model, block.state)
        block.asked.hours["dormant_pruning"] = asked.pruning_hours
        block.asked.hours["training"] = asked.training_hours


@step(
    reads="alive draws season_rows standing yards asked.training trees.alive trees.site_vigor",
    writes="trees_replanted yards asked.training " + PLANTED,
)
def fill_gaps(tile: Tile, year: int) -> None:
    """Fill gaps from the spares on hand, as far as the rules go and the planters come."""
    policy = tile.plan.replacement
    for block in tile.standing:
        counts = np.zeros(block.alive.shape, dtype=np.int64)
        leaf = block.resolved.leaf(year)
        if leaf > 1 and (meant := leaf <= last_refill_leaves(tile, block)).any():
            gaps = block.gaps() * meant
            fit = tile.library.of(block.number, "work_fraction", tile.season_rows)[:, 0, 0]
            for row, yard in enumerate(tile.yards):
                wanted = {label: int(n) for label, n in zip(block.labels, gaps[row], strict=True)}
                done = yard.planting(year, policy.window_start, policy.window_end, wanted, float(fit[row]))
                counts[row] = [done.get(label, 0) for label in block.labels]
        _refill(tile, block, year, counts)


def fill_all_gaps(tile: Tile, year: int, meant: Callable[[Tile, BlockRun, int], NDArray[np.bool_] | bool]) -> None:
    """Fill gaps from nowhere, whatever spares and planters there are.

    ``meant``: says whether a block's row groups are refilled in a year, (group,).
    """
    for block in tile.standing:
        _refill(tile, block, year, (block.gaps() * meant(tile, block, year)).astype(np.int64))


def refilled_by_plan(tile: Tile, block: BlockRun, year: int) -> NDArray[np.bool_]:
    """Whether the plan's own rules fill the gaps of each row group in a year, (group,)."""
    last = [group.refill.last_refill_leaf for group in block.groups]
    return np.array([block.resolved.leaf(year) <= leaf for leaf in last])


def _refill(tile: Tile, block: BlockRun, year: int, counts: NDArray[np.int64]) -> None:
    assert block.draws is not None
    planted = block.model.replant(block.state, counts, block.draws) if counts.any() else counts.astype(float)
    balances.check_flow("trees planted into gaps", counts.astype(float), {"planted": planted}, 0.0)
    tile.put("trees_replanted", block, year, planted)
    _ask_first_leaf_work(block, planted)


def _ask_first_leaf_work(block: BlockRun, planted: Array) -> None:
    hours = block.asked.hours
    hours["training"] = hours["training"] + trees.first_leaf_hours(block.model, planted)


def last_refill_leaves(tile: Tile, block: BlockRun) -> Array:
    """Last leaf of the block in which gaps of each row group are filled, (group,)."""
    return np.array([tile.rules[label].last_refill_leaf for label in block.labels], dtype=float)


@step(
    reads="draws asked.training trees.alive trees.site_vigor",
    writes="standing trees_planted asked.training " + PLANTED,
)
def plant_blocks(tile: Tile, year: int) -> None:
    """Plant the blocks whose year has come."""
    for block in tile.blocks:
        if year == block.resolved.year_planted:
            assert block.draws is not None
            block.model.plant(block.state, block.draws)
            block.planted = True
            planted = block.model.total(block.state.alive)
            tile.put("trees_planted", block, year, planted)
            _ask_first_leaf_work(block, planted)


@step(
    reads="trees_planted yards",
    writes="yards",
)
def order_planting(tile: Tile, year: int) -> None:
    """The yard plants new blocks and buys their spares."""
    policy = tile.plan.replacement
    for block in tile.blocks:
        if year != block.resolved.year_planted:
            continue
        planted = tile.result("trees_planted", block, year)
        extra = {group.label: group.money.extra_trees for group in block.groups}
        for row, yard in enumerate(tile.yards):
            numbers = {label: int(n) for label, n in zip(block.labels, planted[row], strict=True)}
            yard.first_planting(year, numbers, policy.window_start, policy.window_end, extra)


@step(
    reads="alive backlog season_rows standing yards asked.dormant_pruning asked.training",
    writes="backlog yards done.pruned",
)
def do_dormant_work(tile: Tile, year: int) -> None:
    """Crews prune, tie down and build supports up to bloom."""
    jobs: list[list[Job]] = [[] for _ in tile.trials]
    for block in tile.standing:
        _dormant_jobs(tile, block, year, jobs)
    work_phase(tile, year, 0, jobs)
    for block in tile.standing:
        done = hours_done(tile.yards, year, block.labels, "dormant_pruning")
        block.done.pruned = block.backlog.settle("dormant_pruning", done)


def _dormant_jobs(tile: Tile, block: BlockRun, year: int, jobs: list[list[Job]]) -> None:
    drivers, backlog, hours = tile.library.drivers[block.number], block.backlog, block.asked.hours
    asked = {task: backlog.ask(task, hours[task]) for task in ("dormant_pruning", "training")}
    building = backlog.ask("support_building", _building_hours(block, year))
    if building.any():
        asked["support_building"] = building
    planted = tile.plan.replacement.window_start if year == block.resolved.year_planted else 0.0
    crew_jobs.add_jobs(jobs, block.groups, drivers, tile.season_rows, asked, planted)


def _building_hours(block: BlockRun, year: int) -> Array:
    """Hours of building that the support asks for, in the year in which it is due."""
    building = np.zeros_like(block.alive)
    for group, money in enumerate(own.money for own in block.groups):
        if year == money.support_year and money.year_planted >= 0:
            building[:, group] = money.support_hours
    return building


@step(
    reads="standing done.pruned trees.cover trees.flower_clusters trees.held trees.overgrown trees.uncut",
    writes="trees.flower_clusters trees.overgrown trees.uncut",
)
def apply_pruning(tile: Tile, year: int) -> None:
    """Pruning takes wood and flower clusters of the trees that the crews came to."""
    for block in tile.standing:
        trees.apply_pruning(block.model, block.state, block.done.pruned)
