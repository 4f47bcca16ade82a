"""The year of the trees in four growth phases. Each function changes the state in place and returns sums by group.

Order within a year: ``ask_dormant_work`` (then ``plant`` or ``replant`` of the block), ``apply_pruning``;
``bloom_to_closed_canopy``, ``apply_thinning``; ``closed_canopy_to_harvest``, ``ask_harvest_work``,
``apply_summer_pruning``, ``apply_picking``; ``harvest_to_leaf_fall``, ``observe``. Functions that ask say what work the
trees want; those that apply take what was done of it, once. Losses may be taken out with ``BlockModel.kill`` before any
phase.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import Reach
from orchardsim.trees import bearing, fruit, growth, light
from orchardsim.trees.block import BlockModel
from orchardsim.trees.picking import Harvest, RipeFruit, apply_picking, apply_summer_pruning, ask_harvest_work
from orchardsim.trees.scratch import TINY, power
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.training import Ages
from orchardsim.trees.variation import YearDraws

__all__ = [
    "Bloom",
    "DormantWork",
    "Harvest",
    "RipeFruit",
    "apply_picking",
    "apply_pruning",
    "apply_summer_pruning",
    "apply_thinning",
    "ask_dormant_work",
    "ask_harvest_work",
    "biennial_index",
    "bloom_to_closed_canopy",
    "closed_canopy_to_harvest",
    "first_leaf_hours",
    "harvest_to_leaf_fall",
    "observe",
    "tree_output",
]

Float = NDArray[np.float32]
Double = NDArray[np.float64]
PRESENT_CROP = 1e-3
"""Least crop [kg] that is no blank."""
MOST_CUT = 0.7
"""Largest share of leaf-bearing wood that a winter's pruning takes (assumption; the bound of a system's own)."""
MOST_OVERGROWN = 1.0
"""Most shading leaf of wood left uncut per leaf area (assumption: a canopy does not more than double)."""
BEARING_LEAF = 5
"""Leaf from which the biennial bearing index counts."""


@dataclass(frozen=True)
class DormantWork:
    """Work that the standing trees ask for in the dormant season, (trial, group)."""

    living: Double
    training_hours: Double
    pruning_hours: Double


@dataclass(frozen=True)
class Bloom:
    """From flowers to fruit, (trial, group); flowers = frosted + stripped + unset + dropped + sprayed + kept [1]."""

    flower_clusters: Double
    flowers: Double
    frosted: Double
    stripped: Double
    unset: Double
    dropped: Double
    sprayed: Double
    kept: Double
    excess: Double
    thinning_hours: Double


def phase_radiation(model: BlockModel, season: SeasonForTrees, phase: int, cover: Double, canopy: float) -> Double:
    """Radiation [MJ/m2] of a phase that counts (trial, group): times temperature, water and canopy factors."""
    water = model.water(season.water_factor[:, :, phase], cover)
    return season.radiation[:, :, phase] * season.temperature_factor[:, :, phase] * water * canopy


def ask_dormant_work(model: BlockModel, state: TreeState) -> DormantWork:
    """Trees grow a leaf older and ask to be pruned and trained; call it before the year's planting.

    A block full of shading shoots is pruned harder and for longer than the training system states.
    """
    state.totals.clear()
    np.add(state.leaf, state.alive, out=state.leaf, casting="unsafe")
    counts = model.count_by_leaf(Ages(state.leaf))
    more = growth.pruning_factor(state.shoots, model.physiology.usual_shoots)
    return DormantWork(
        living=counts[:, :, 1:].sum(axis=-1),
        training_hours=(counts * model.training_minutes).sum(axis=-1) / 60,
        pruning_hours=more * (counts * model.pruning_minutes).sum(axis=-1) / 60,
    )


def apply_pruning(model: BlockModel, state: TreeState, reach: Reach | None = None) -> None:
    """Dormant pruning takes flower clusters with the wood of the trees that a crew came to.

    Wood left on the others keeps its clusters. Its shoots shade the tree until a winter in which it is pruned; another
    winter without adds to them. Trees in their first leaf were cut when they were planted.

    Parameters
    ----------
    reach : Reach, optional
        The trees that were pruned; all by default.
    """
    model.by_leaf(model.pruning, Ages(state.leaf), state.uncut)
    more = growth.pruning_factor(state.shoots, model.physiology.usual_shoots)
    if (more > 1).any():
        state.uncut *= model.expand(more)
        np.minimum(state.uncut, MOST_CUT, out=state.uncut)
    left = model.passed_over(reach)
    if left is not None or state.overgrown is not None:
        left = np.zeros_like(state.alive) if left is None else left & state.alive
        shade = np.zeros_like(state.uncut) if state.overgrown is None else state.overgrown
        shade += state.uncut * np.float32(model.physiology.unpruned_shade)
        np.minimum(shade, MOST_OVERGROWN, out=shade)
        shade *= left
        state.overgrown = shade if shade.any() else None
        state.uncut[left] = 0
    np.subtract(1, state.uncut, out=state.uncut)
    state.flower_clusters *= state.uncut


def first_leaf_hours(model: BlockModel, trees: Double) -> Double:
    """Training and pruning hours of trees planted in this year, that ``ask_dormant_work`` has not counted [hour]."""
    return trees * float(model.training_minutes[1] + model.pruning_minutes[1]) / 60


def open_canopy(model: BlockModel, state: TreeState, season: SeasonForTrees) -> Float:
    """Canopy, light and growth wanted of the season; returns the total leaf area of each tree [m2]."""
    p, layout, fill = model.physiology, model.block.layout, model.block.training.canopy_fill
    spacing, row, width, along, most, spare, volume, leaf_total = state.work

    stature = np.multiply(state.height, state.spread, out=most)
    light.neighbour_room(stature, model.rows, p.room_along, p.room_across, (spacing, row, spare, width))
    spacing *= layout.tree_spacing
    row *= layout.row_spacing
    np.multiply(row, p.row_clearance, out=width)
    np.minimum(state.spread, width, out=width)
    width *= fill
    np.multiply(state.spread, fill, out=spare)
    light.soft_minimum(spare, spacing, along)
    light.hedge_interception(state.height, width, row, model.slope, (most, spare))
    most *= along
    most /= spacing
    land = np.multiply(spacing, row, out=row)
    np.multiply(width, along, out=volume)
    volume *= state.height
    volume *= p.leaf_density

    wanted_leaf = np.multiply(state.trunk_area, model.productivity * np.float32(p.leaf_per_trunk), out=spare)
    wanted_leaf.reshape(-1)[np.flatnonzero(state.leaf == 1)] *= p.first_leaf_canopy
    light.soft_minimum(wanted_leaf, volume, state.leaf_area)
    state.leaf_area *= state.uncut
    wanted_leaf += TINY
    np.divide(state.leaf_area, wanted_leaf, out=state.held)
    np.multiply(state.trunk_area, state.held, out=state.expressed_trunk)
    state.expressed_trunk *= model.productivity

    level = np.multiply(state.vigor, state.health, out=spare)
    level *= model.growth_level
    heat = season.degree_days[:, :, 1:].sum(-1) / p.heat_reference
    demand = np.multiply(level, model.expand(p.wood_demand * heat**p.heat_exponent), out=width)
    demand *= model.vigor
    growth.wood_wanted(state.expressed_trunk, demand, p.wood_demand_exponent, state.wood_wanted)

    # shading shoots: growth that finds no room, and the answer to pruning
    np.subtract(1, state.held, out=leaf_total)
    leaf_total *= state.wood_wanted
    leaf_total *= p.regrowth * p.leaf_per_trunk
    np.subtract(1, state.uncut, out=along)
    along *= state.leaf_area
    along *= p.pruning_regrowth
    leaf_total += along
    if state.overgrown is not None:
        np.multiply(state.overgrown, state.leaf_area, out=along)
        leaf_total += along
    own_land = model.land * np.maximum(model.group_trees, 1)
    state.shoots = model.total(leaf_total) / own_land
    leaf_total += state.leaf_area
    np.add(leaf_total, TINY, out=along)
    np.divide(state.leaf_area, along, out=state.feeding)
    stopped = light.interception(leaf_total, land, most, p.extinction, width)
    stopped *= land
    state.cover = np.minimum(1, model.total(stopped) / own_land)
    along *= p.extinction
    np.divide(stopped, along, out=state.leaf_light)
    power(level, p.source_exponent, level)
    growth.dry_matter(stopped, p.radiation_use, level, state.source)
    return leaf_total


def set_fruit(
    model: BlockModel, state: TreeState, season: SeasonForTrees, draws: YearDraws, ages: Ages
) -> tuple[Float, Double]:
    """Fruitlets before the drop [1], and clusters stripped by group [1]; the clusters become ``bloom_clusters``."""
    p = model.physiology
    setting, left, spare = state.work[:3]
    clusters = state.flower_clusters
    if (season.chill_fraction < 1).any():
        clusters *= model.expand(np.maximum(0, 1 - p.chill_effect * (1 - season.chill_fraction)))
    model.by_leaf(model.stripping, ages, spare)
    spare *= clusters
    stripped = model.total(spare)
    np.subtract(clusters, spare, out=left)
    cross = bearing.pollination(
        season.pollination_hours,
        p.pollination_half,
        np.array([group.pollen_distance for group in model.block.groups]),
        p.pollen_reach,
        np.array([group.pollen_overlap for group in model.block.groups]),
        np.array([group.cultivar.self_fruitful for group in model.block.groups]),
    )
    living = 1 - season.frost_kill
    block_year = np.exp(p.block_set_spread * draws.block_normal[:, :1])
    np.multiply(draws.normal, p.set_spread, out=setting)
    np.exp(setting, out=setting)
    setting *= model.expand(living * cross * block_year * season.set_level * p.set_per_cluster)
    np.minimum(setting, model.expand(p.flowers_per_cluster * living), out=setting)
    setting *= left
    state.bloom_clusters, state.flower_clusters = clusters, state.bloom_clusters
    return setting, stripped


def find_excess(model: BlockModel, state: TreeState, draws: YearDraws, ages: Ages) -> tuple[Double, Double, Double]:
    """Spray where the plan says so and find what must come off by hand.

    Returns
    -------
    sprayed, excess, hours : array, (trial, group)
        Fruit sprayed off [1], fruit to take off by hand [1] and the hand hours.
    """
    p, rule = model.physiology, model.block.thinning
    kept = state.fruit_number
    target, spare = state.work[5:7]
    model.by_leaf(model.target, ages, target)
    target *= state.expressed_trunk
    np.copyto(state.counted_crop, kept)
    sprayed, excess, hours = np.zeros_like(state.cover), np.zeros_like(state.cover), np.zeros_like(state.cover)
    if rule.method in ("chemical", "both"):
        remain = (1 - rule.spray_removal) * np.exp(rule.spray_spread * draws.block_normal[:, 1:2])
        off = (1 - np.clip(remain, 0.05, 1)).astype(np.float32)
        np.multiply(kept, off, out=spare)
        spare *= kept > target
        kept -= spare
        sprayed = model.total(spare)
        spare *= 1 - p.thinned_weight
        state.counted_crop -= spare
    if rule.method in ("hand", "both"):
        # a crew leaves the target with an error; trees that set more are left with more
        np.multiply(draws.normal, p.thinning_spread, out=spare)
        np.exp(spare, out=spare)
        target *= spare
        np.clip(target, 0, rule.fruit_limit, out=target)
        np.subtract(kept, target, out=state.excess)
        np.clip(state.excess, 0, np.inf, out=state.excess)
        excess = model.total(state.excess)
        hours = excess * (rule.seconds_per_fruit / 3600)
        hours += model.total(state.excess > 0.5) * (rule.minutes_per_tree / 60)
    else:
        state.excess.fill(0)
    return sprayed, excess, hours


def bloom_to_closed_canopy(model: BlockModel, state: TreeState, season: SeasonForTrees, draws: YearDraws) -> Bloom:
    """Leaf opens, flowers set, fruitlets drop, and the crop above the target is found.

    Returns
    -------
    Bloom
        Flower budget; ``excess`` is the fruit that must come off by hand and ``thinning_hours`` the hours that takes.
    """
    p = model.physiology
    leaf_total = open_canopy(model, state, season)
    ages = Ages(state.leaf)
    fruitlets, stripped = set_fruit(model, state, season, draws, ages)
    made, keeping, spare, more = state.work[3:7]
    radiation = phase_radiation(model, season, 1, state.cover, p.early_canopy)
    np.multiply(state.source, model.expand(radiation), out=made)
    np.multiply(made, state.feeding, out=keeping)
    np.multiply(keeping, p.fruit_per_source, out=spare)
    kept = bearing.kept_after_drop(fruitlets, spare, state.fruit_number)
    flowers = model.total(state.bloom_clusters) * p.flowers_per_cluster
    stripped = stripped * p.flowers_per_cluster
    fruitlets_total, kept_total = model.total(fruitlets), model.total(kept)

    # dry matter of the phase: the leaf is paid from reserves and what the fruit leaves
    potential = fruit.early_heat_effect(season.early_heat, p.early_heat_best, p.early_heat_loss)
    per_fruit = model.expand(potential * season.size_level * (p.fruit_dry_fraction * p.early_fruit_share))
    leaf_cost = np.multiply(leaf_total, p.leaf_mass, out=leaf_total)
    np.multiply(kept, per_fruit, out=spare)
    spare *= model.fruit_potential
    growth.two_limits(spare, keeping, p.fruit_curvature, (state.fruit_dry_mass, more))
    np.subtract(made, state.fruit_dry_mass, out=state.surplus)
    state.surplus += state.reserves
    np.minimum(leaf_cost, state.surplus, out=leaf_cost)
    state.surplus -= leaf_cost
    totals = state.totals
    # no tree dies before closed canopy: the sum of sources serves two phases
    totals["source"] = model.total(state.source)
    totals["supply"] = totals["source"] * radiation
    totals["from_reserves"] = model.total(state.reserves)
    totals["leaf"] = model.total(leaf_cost)
    totals["thinned_dry_mass"] = np.zeros_like(kept_total)
    totals["flower_clusters"] = flowers / p.flowers_per_cluster

    sprayed, excess, hours = find_excess(model, state, draws, ages)
    frosted = (flowers - stripped) * season.frost_kill
    return Bloom(
        flower_clusters=totals["flower_clusters"],
        flowers=flowers,
        frosted=frosted,
        stripped=stripped,
        unset=flowers - stripped - frosted - fruitlets_total,
        dropped=fruitlets_total - kept_total,
        sprayed=sprayed,
        kept=kept_total - sprayed,
        excess=excess,
        thinning_hours=hours,
    )


def apply_thinning(model: BlockModel, state: TreeState, share_done: Double, days_late: Double) -> Double:
    """Take the excess fruit off the first ``share_done`` of the trees in walking order.

    Parameters
    ----------
    share_done : array, (trial, group) [1]
    days_late : array, (trial, group) [day]
        How late the mean tree is thinned: fruit taken off late still counts against next year's flower buds.

    Returns
    -------
    array, (trial, group) [1]
        Fruit taken off.
    """
    p = model.physiology
    removed, part = state.excess, state.work[0]
    if (np.asarray(share_done) < 1).any():
        removed *= model.walk <= model.expand(share_done)
    np.add(state.fruit_number, TINY, out=part)
    np.divide(removed, part, out=part)
    part *= state.fruit_dry_mass
    state.fruit_dry_mass -= part
    state.fruit_number -= removed
    late = np.minimum(1, p.thinned_weight + np.maximum(days_late, 0) / p.late_thinning_days)
    state.totals["thinned_dry_mass"] = model.total(part)
    taken = model.total(removed)
    removed *= model.expand(1 - late)
    state.counted_crop -= removed
    removed.fill(0)
    return taken


def closed_canopy_to_harvest(model: BlockModel, state: TreeState, season: SeasonForTrees) -> None:
    """Fruit grows to harvest on the full canopy. Losses of the season come next, then :func:`ask_harvest_work`."""
    p = model.physiology
    made, demand, supply, grown, spare = state.work[:5]
    radiation = phase_radiation(model, season, 2, state.cover, 1.0)
    np.multiply(state.source, model.expand(radiation), out=made)
    potential = fruit.early_heat_effect(season.early_heat, p.early_heat_best, p.early_heat_loss)
    np.multiply(state.fruit_number, model.fruit_potential, out=demand)
    demand *= model.expand(potential * season.size_level * (p.fruit_dry_fraction * (1 - p.early_fruit_share)))
    np.multiply(made, state.feeding, out=supply)
    growth.two_limits(demand, supply, p.fruit_curvature, (grown, spare))
    state.fruit_dry_mass += grown
    state.surplus += made
    state.surplus -= grown
    state.totals["supply"] = state.totals["supply"] + state.totals["source"] * radiation
    crop = np.divide(state.fruit_dry_mass, p.fruit_dry_fraction, out=made)
    count_alternation(state, crop)
    np.copyto(state.last_crop, crop)


def count_alternation(state: TreeState, crop: Float) -> None:
    """Add this harvest and the last to each tree's biennial bearing index, from leaf 5 on, pairs of blanks aside."""
    term, total = state.work[1:3]
    bearing.alternation(crop, state.last_crop, (term, total))
    pair = total > PRESENT_CROP
    pair &= state.leaf > BEARING_LEAF
    term *= pair
    state.alternation_sum += term
    state.alternation_terms += pair


def form_flower_clusters(model: BlockModel, state: TreeState, reach: Reach | None) -> None:
    """Next spring's flower clusters; branches that nobody tied down form them as late as unbent ones."""
    p = model.physiology
    load, shade, share, _, spare = state.work[:5]
    buds, ages = state.flower_clusters, Ages(state.leaf)
    np.add(state.expressed_trunk, TINY, out=load)
    np.divide(state.counted_crop, load, out=load)
    bearing.return_bloom(load, model.inhibiting_crop, p.inhibition_exponent, model.inhibition, buds)
    buds *= bearing.shade_effect(state.leaf_light, p.shade_half, (shade, spare))
    model.by_leaf(model.next_bearing, ages, share)
    left = model.passed_over(reach)
    if left is not None:
        np.copyto(share, model.by_leaf(model.next_bearing_unbent, ages, spare), where=left)
    buds *= share
    buds *= state.held
    buds *= state.trunk_area
    buds *= model.productivity * np.float32(p.clusters_per_trunk)


def harvest_to_leaf_fall(
    model: BlockModel, state: TreeState, season: SeasonForTrees, reach: Reach | None = None
) -> dict[str, Double]:
    """Reserves, trunk, height and spread, and next spring's flower clusters.

    Parameters
    ----------
    reach : Reach, optional
        The trees whose branches were tied down this year; all by default.

    Returns
    -------
    dict of arrays (trial, group) [kg]
        Dry-matter budget of the year: supply + from_reserves = fruit_dry_mass + thinned_dry_mass + leaf + wood
        + shoots_and_roots + to_reserves.
    """
    p, totals = model.physiology, state.totals
    made, cost, payable, grown, spare = state.work[:5]
    radiation = phase_radiation(model, season, 3, state.cover, p.late_canopy)
    np.multiply(state.source, model.expand(radiation), out=made)
    late_supply = model.total(made)
    totals["supply"] = totals["supply"] + late_supply
    np.multiply(made, p.reserve_share, out=state.reserves)
    state.surplus += made
    state.surplus -= state.reserves

    area = state.trunk_area
    growth.wood_cost(area, model.vigor, p.wood_cost, p.wood_cost_exponent, cost)
    np.add(cost, TINY, out=payable)
    np.divide(state.surplus, payable, out=payable)
    growth.two_limits(state.wood_wanted, payable, 0.0, (grown, spare))
    grown *= state.held
    cost *= grown
    totals["to_reserves"] = late_supply * p.reserve_share
    totals["wood"] = model.total(cost)
    totals["shoots_and_roots"] = model.total(state.surplus) - totals["wood"]
    area += grown
    model.set_shape(state)

    form_flower_clusters(model, state, reach)

    # health heals, where enough of it is left
    np.subtract(state.alive, state.health, out=spare)
    spare *= p.recovery_rate
    whole = np.minimum(1, (state.health / p.lasting_harm) ** 2)
    spare *= whole * whole
    state.health += spare
    load = np.add(area, TINY, out=made)
    np.divide(state.fruit_number, load, out=load)
    count = np.maximum(model.total(state.alive), 1)
    totals["crop_load_mean"] = model.total(load) / count
    names = ("supply", "from_reserves", "fruit_dry_mass", "thinned_dry_mass", "leaf", "wood", "shoots_and_roots")
    return {name: totals[name] for name in (*names, "to_reserves")}


def observe(model: BlockModel, state: TreeState) -> dict[str, Double]:
    """Result variables of the trees at leaf fall, (trial, group), named as in the variable table."""
    totals = state.totals
    alive = model.total(state.alive)
    some = np.maximum(alive, 1)
    standing = alive > 0
    number = totals["fruit_number"]
    return {
        "trees_alive": alive,
        "trunk_area_mean": np.where(standing, model.total(state.trunk_area) / some, np.nan),
        "canopy_height_mean": np.where(standing, model.total(state.height) / some, np.nan),
        "light_interception": state.cover,
        "crop_load_mean": np.where(standing, totals["crop_load_mean"], np.nan),
        "flower_clusters": totals["flower_clusters"],
        "fruit_number": number,
        "fruit_mass_mean": np.where(number > 0.5, 1000 * totals["crop_mass"] / np.maximum(number, TINY), np.nan),
        "crop_mass": totals["crop_mass"],
    }


def tree_output(state: TreeState) -> dict[str, Float]:
    """Per-tree values of the season (trial, position), named as in the variable table without ``tree_``."""
    return {
        "leaf": state.leaf.astype(np.float32),
        "fruit_number": state.fruit_number.copy(),
        "trunk_area": state.trunk_area.copy(),
        "crop_mass": state.last_crop.copy(),
        "flower_clusters": state.bloom_clusters.copy(),
    }


def biennial_index(model: BlockModel, state: TreeState) -> Double:
    """Mean over trees of the biennial bearing index from leaf 5 on (trial, group); NaN where no tree has one."""
    own = state.alternation_sum / np.maximum(state.alternation_terms, 1)
    some = model.total(state.alternation_terms > 0)
    return np.where(some > 0, model.total(own) / np.maximum(some, 1), np.nan)
