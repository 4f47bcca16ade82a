"""Steps of a year from harvest on: the crop by grade, hail, leaf fall, what is seen then, removal, orders."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FRESH, TASKS
from orchardsim.core.units import CARTON
from orchardsim.economy.payments import driving_hours
from orchardsim.plan import Plan
from orchardsim.season.hail import DRAWS as HAIL_DRAWS
from orchardsim.season.hail import NET_SHARE, hail_damage
from orchardsim.simulation import balances
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.futures import repacked
from orchardsim.simulation.state_table import EVERY_TREE
from orchardsim.simulation.step import step
from orchardsim.simulation.totals import Totals
from orchardsim.trees import fruit
from orchardsim.trees import model as trees
from orchardsim.trees.grading import after_hail

if TYPE_CHECKING:
    from orchardsim.simulation.tile import Tile

Array = NDArray[np.float64]
NET_LEAF: Final = 2
"""First leaf with the hail net closed: the economy room buys it in the year after planting."""


@step(
    reads="standing done.picked done.picked_late trees.totals",
    writes="harvested_mass packed_mass pass_price trees.totals",
)
def apply_picking(tile: Tile, year: int) -> None:
    """Pick what the crews picked; what they left, or what fell before, is lost."""
    for block in tile.standing:
        share = block.done.picked
        crop = trees.apply_picking(block.model, block.state, share, block.done.picked_late)
        ripe = block.state.totals["crop_mass"]
        uses = {"picked": crop.harvested_mass, "dropped": crop.dropped_mass}
        balances.check_flow("fruit mass", ripe, uses, balances.MASS_TOLERANCE)
        uses = {"packed": crop.packed_mass.sum(axis=-1), "culled": crop.culled_mass}
        balances.check_flow("picked mass", crop.harvested_mass, uses, balances.MASS_TOLERANCE)
        tile.put("harvested_mass", block, year, crop.harvested_mass)
        packed = repacked(crop.packed_mass, tile.levels.values["pack_out"][:, block.columns])
        tile.put("packed_mass", block, year, packed)
        tile.put("pass_price", block, year, pass_price(tile.plan, block, share))


def pass_price(plan: Plan, block: BlockRun, share: Array) -> Array:
    """Wholesale price over the stated one of what was picked, by pass (trial, group); 1 where nothing was."""
    passes = np.arange(block.model.pass_count)
    stated = [plan.market.fruit[group.cultivar_name].pass_price for group in block.groups]
    price = np.array([np.asarray(prices)[np.minimum(passes, len(prices) - 1)] for prices in stated])
    picked = share * block.model.pass_share
    total = picked.sum(axis=-1)
    return np.where(total > 0, (picked * price).sum(axis=-1) / np.where(total > 0, total, 1.0), 1.0)


@step(
    reads=(
        "season standing done.trained trees.alive trees.counted_crop trees.cover trees.expressed_trunk "
        "trees.fruit_number trees.head_start trees.health trees.height trees.held trees.leaf trees.leaf_area "
        "trees.lit_spurs trees.pool trees.roots_left trees.source trees.spread trees.spur_leaf trees.totals "
        "trees.trunk_area trees.vigor trees.wood"
    ),
    writes=(
        "trees.flower_clusters trees.health trees.height trees.reserves trees.spread trees.totals trees.trunk_area "
        "trees.unused trees.wood_paid"
    ),
)
def grow_to_leaf_fall(tile: Tile, year: int) -> None:
    """Reserves, trunk, height, and next spring's flower clusters, by the branches that were tied down."""
    for block in tile.standing:
        assert block.season is not None
        trees.harvest_to_leaf_fall(block.model, block.state, block.season, block.done.trained)


@step(
    reads="alive packed_mass standing",
    writes="hail_fraction packed_mass",
)
def mark_by_hail(tile: Tile, year: int, least: float = 0.0) -> None:
    """Hail marks fruit, which goes down a grade; the farm's blocks meet the same storms.

    ``least`` [1]: share marked at least where there is no net.
    """
    uniforms = np.stack([rng.random(HAIL_DRAWS) for rng in tile.rngs("hail", "", year)])
    for block in tile.standing:
        site = block.resolved.site
        net = site.netting and block.resolved.leaf(year) >= NET_LEAF
        marked = hail_damage(uniforms, site.hail_storms * tile.levels.of_farm("hail_frequency"), site.hail_damage, net)
        marked = np.maximum(marked, least * (NET_SHARE if net else 1.0))
        marked = np.repeat(marked[:, None], block.alive.shape[1], axis=1)
        tile.put("hail_fraction", block, year, marked)
        tile.put("packed_mass", block, year, after_hail(tile.result("packed_mass", block, year), marked))


@step(
    reads=(
        "season_rows single_trees standing trees.alive trees.bloom_clusters trees.cover trees.fruit_number "
        "trees.height trees.last_crop trees.leaf trees.totals trees.trunk_area"
    ),
    writes=(
        "canopy_height_mean crop_load_mean crop_mass flower_clusters fruit_mass_mean fruit_mass_square "
        "fruit_number irrigation_depth light_interception single_trees trees_alive trunk_area_mean"
    ),
)
def observe_trees(tile: Tile, year: int) -> None:
    """What is seen of the trees at leaf fall, and the water that they took."""
    for block in tile.standing:
        for name, values in trees.observe(block.model, block.state).items():
            tile.put(name, block, year, values)
        tile.put("fruit_mass_square", block, year, block.state.totals["fruit_mass_square"])
        irrigation = tile.library.of(block.number, "irrigation_depth", tile.season_rows)
        tile.put("irrigation_depth", block, year, block.model.water(irrigation, block.state.cover))
        if tile.single_trees is not None:
            for name, single in trees.tree_output(block.state).items():
                for row, trial in enumerate(tile.trials):
                    store = tile.single_trees.setdefault((trial, block.number), {})
                    store.setdefault(name, []).append(single[row].copy())


@step(
    reads="standing trees.alive",
    writes="backlog standing trees_alive trees_removed " + EVERY_TREE,
)
def remove_blocks(tile: Tile, year: int) -> None:
    """Grub out the blocks whose last year it was, and drop the work that waited there."""
    for block in tile.standing:
        if year == block.resolved.plan.year_removed:
            standing = block.model.total(block.state.alive)
            tile.put("trees_removed", block, year, standing)
            tile.put("trees_alive", block, year, np.zeros_like(standing))
            block.state.clear(block.state.alive.copy())
            block.backlog.drop()
            block.removed = True


@step(
    reads="alive standing trees_alive trees_lost trees_planted trees_removed trees_replanted",
    writes="alive",
)
def balance_trees(tile: Tile, year: int) -> None:
    """No tree appears or vanishes between two autumns."""
    for block in tile.blocks:
        if not block.planted:
            continue
        planted, replanted, removed, alive = (
            tile.result(name, block, year)
            for name in ("trees_planted", "trees_replanted", "trees_removed", "trees_alive")
        )
        lost = tile.result("trees_lost", block, year).sum(axis=-1)
        balances.check_trees(block.alive, planted, replanted, lost, removed, alive)
        block.alive = alive.copy()


@step(
    reads="backlog standing",
    writes="labour_carried",
)
def carry_work_over(tile: Tile, year: int) -> None:
    """Note the hours that the next year inherits."""
    for block in tile.blocks:
        if block.planted:
            for task, hours in block.backlog.carried.items():
                tile.totals.arrays["labour_carried"][tile.rows, year, block.columns, TASKS.index(task)] = hours


@step(
    reads="alive standing yards",
    writes="yards",
)
def review_stock(tile: Tile, year: int) -> None:
    """Each yard throws out spares of no use and orders what its rules ask for."""
    policy = tile.plan.replacement
    for row, yard in enumerate(tile.yards):
        gaps: dict[str, int] = {}
        leaf: dict[str, int] = {}
        for block in tile.blocks:
            end = block.resolved.plan.year_removed
            if not block.planted or (end is not None and year < end <= year + policy.lead_time):
                continue  # a tree ordered now would come for a block that is gone
            missing = np.zeros_like(block.alive[row]) if block.removed else block.model.group_trees - block.alive[row]
            gaps.update({label: int(n) for label, n in zip(block.labels, missing, strict=True)})
            # past its last leaf with refilling a block's spares are thrown out
            for label in block.labels:
                leaf[label] = tile.rules[label].last_refill_leaf if block.removed else block.resolved.leaf(year)
        yard.order_review(year, policy.order_day, gaps, leaf=leaf)


def pack_boxes(plan: Plan, block: BlockRun, totals: Totals, rows: slice) -> None:
    """Fresh fruit of all years by number of fruit in the plan's box, and its price by size; at the end of a run."""
    at, results, p = (rows, slice(None), block.columns), totals.arrays, plan.physiology
    spread = fruit.size_spread(*(results[name][at] for name in ("crop_mass", "fruit_number", "fruit_mass_square")))
    mean = results["crop_mass"][at] / np.maximum(results["fruit_number"][at], 0.5)
    spread = np.hypot(spread, p.size_spread)
    shares = fruit.box_count_shares(mean, spread, plan.box_mass, p.fresh_mass)
    fresh = results["packed_mass"][at][..., FRESH].sum(axis=-1)
    results["boxed_mass"][at] = fresh[..., None] * shares
    uses = {"boxed": results["boxed_mass"][at].sum(axis=-1)}
    balances.check_flow("fresh fruit by box count", fresh, uses, 1e-9)
    by_count = np.array([plan.market.fruit[group.cultivar_name].size_price for group in block.groups])
    cartons = fruit.box_count_shares(mean, spread, CARTON, p.fresh_mass)
    results["size_price"][at] = np.where(fresh > 0, (cartons * by_count).sum(axis=-1), 1.0)


def book_driving(plan: Plan, block: BlockRun, totals: Totals, rows: slice) -> None:
    """Hours of driving tractors, from leaf 1 to removal; drivers are not of the crews. At the end of a run."""
    years = totals.arrays["labour_hours"].shape[1]
    leaf = np.array([block.resolved.leaf(year) for year in range(years)])
    removed = block.resolved.plan.year_removed
    driven = (leaf >= 1) & (np.arange(years) <= (years if removed is None else removed))
    for column, group in zip(range(*block.columns.indices(len(plan.labels))), block.groups, strict=True):
        hours = driven * driving_hours(leaf, group.money.geometry, plan.costs)
        totals.arrays["labour_hours"][rows, :, column, TASKS.index("upkeep")] += hours
