"""The year of the trees in four growth phases. Each function changes the state in place and returns sums by group.

Order within a year: ``rest_to_bloom`` (then ``plant`` or ``replant`` of the block), ``bloom_to_closed_canopy``,
``thin``, ``closed_canopy_to_harvest``, ``harvest``, ``harvest_to_leaf_fall``, ``observe``. Losses may be taken out with
``BlockModel.kill`` before any phase.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import GRADES
from orchardsim.trees import bearing, fruit, grading, growth, light
from orchardsim.trees.block import BlockModel
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.training import LEAVES
from orchardsim.trees.variation import YearDraws

Float = NDArray[np.float32]
Double = NDArray[np.float64]
TINY = light.TINY
PRESENT_CROP = 1e-3
"""Least crop [kg] that is no blank."""
BEARING_LEAF = 5
"""Leaf from which the biennial bearing index counts."""


@dataclass(frozen=True)
class RestWork:
    """Work of the dormant season, (trial, group)."""

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


@dataclass(frozen=True)
class RipeFruit:
    """What there is to pick: number [1] and fresh mass [kg] by pass, (trial, group, pass); the rest (trial, group)."""

    number: Double
    mass: Double
    summer_pruning_hours: Double


@dataclass(frozen=True)
class Harvest:
    """Picked and lost, (trial, group) or (trial, group, grade) [kg], numbers [1]; mass = harvested + dropped."""

    harvested_mass: Double
    harvested_number: Double
    packed_mass: Double
    culled_mass: Double
    dropped_mass: Double
    dropped_number: Double


def by_leaf(table: Float, leaf: NDArray[np.int16]) -> Float:
    """Values of a table by leaf for each tree; 0 where there is no tree."""
    return table.take(leaf, mode="clip")


def phase_radiation(model: BlockModel, season: SeasonForTrees, phase: int, cover: Double, canopy: float) -> Float:
    """Radiation [MJ/m2] of a phase that counts: times temperature, water and canopy factors."""
    water = model.water(season.water_factor[:, :, phase], cover)
    return model.expand(season.radiation[:, :, phase] * season.temperature_factor[:, :, phase] * water * canopy)


def rest_to_bloom(model: BlockModel, state: TreeState) -> RestWork:
    """Trees grow a leaf older; dormant pruning takes flower clusters with the wood.

    Returns
    -------
    RestWork
        Hours of training and pruning that the standing trees ask for in this year.
    """
    state.totals.clear()
    np.add(state.leaf, state.alive, out=state.leaf, casting="unsafe")
    cut = by_leaf(model.pruning, state.leaf)
    np.subtract(1, cut, out=cut)
    state.flower_clusters *= cut
    return RestWork(
        living=model.total(state.alive),
        training_hours=model.total(by_leaf(model.training_minutes, state.leaf)) / 60,
        pruning_hours=model.total(by_leaf(model.pruning_minutes, state.leaf)) / 60,
    )


def first_leaf_hours(model: BlockModel, trees: Double) -> Double:
    """Training and pruning hours of trees planted in this year, that ``rest_to_bloom`` has not counted [hour]."""
    return trees * float(model.training_minutes[1] + model.pruning_minutes[1]) / 60


def open_canopy(model: BlockModel, state: TreeState, season: SeasonForTrees) -> Float:
    """Canopy, light and growth wanted of the season; returns the total leaf area of each tree [m2]."""
    p, layout, fill = model.physiology, model.block.layout, model.block.training.canopy_fill
    area, leaf = state.trunk_area, state.leaf

    along_room, across_room = light.neighbour_room(state.height * state.spread, model.rows, p.room_along, p.room_across)
    spacing = np.multiply(along_room, layout.tree_spacing, out=along_room)
    row = np.multiply(across_room, layout.row_spacing, out=across_room)
    width = np.minimum(state.spread, row * p.row_clearance)
    width *= fill
    along = light.soft_minimum(state.spread * fill, spacing)
    most = light.hedge_interception(state.height, width, row, model.slope)
    most *= along
    most /= spacing
    land = np.multiply(spacing, row, out=row)
    volume = np.multiply(width, along, out=width)
    volume *= state.height

    kept = by_leaf(model.pruning, leaf)
    wanted_leaf = area * model.productivity
    wanted_leaf *= p.leaf_per_trunk
    wanted_leaf *= np.where(leaf == 1, np.float32(p.first_leaf_canopy), np.float32(1))
    volume *= p.leaf_density
    state.leaf_area = light.soft_minimum(wanted_leaf, volume)
    np.divide(state.leaf_area, wanted_leaf + TINY, out=state.held)
    np.multiply(area, state.held, out=state.expressed_trunk)
    state.expressed_trunk *= model.productivity

    level = state.vigor * state.health
    level *= model.block.site_growth
    heat = season.degree_days[:, :, 1:3].sum(-1) / p.heat_reference
    demand = model.expand(p.wood_demand * heat**p.heat_exponent) * model.vigor
    state.wood_wanted = growth.wood_wanted(state.expressed_trunk, demand * level, p.wood_demand_exponent)

    shoots = 1 - state.held
    shoots *= state.wood_wanted
    shoots *= p.regrowth * p.leaf_per_trunk
    kept *= state.leaf_area
    kept *= p.pruning_regrowth
    shoots += kept
    shoots += state.leaf_area
    np.divide(state.leaf_area, shoots + TINY, out=state.feeding)
    stopped = light.interception(shoots, land, most, p.extinction)
    stopped *= land
    state.cover = np.minimum(1, model.total(stopped) / (model.land * np.maximum(model.group_trees, 1)))
    np.divide(stopped, p.extinction * shoots + TINY, out=state.leaf_light)
    np.power(level, p.source_exponent, out=level)
    state.source = growth.dry_matter(stopped, p.radiation_use, level)
    return shoots


def bloom_to_closed_canopy(model: BlockModel, state: TreeState, season: SeasonForTrees, draws: YearDraws) -> Bloom:
    """Leaf opens, flowers set, fruitlets drop, and the crop above the target is found.

    Returns
    -------
    Bloom
        Flower budget; ``excess`` is the fruit that must come off by hand and ``thinning_hours`` the hours that takes.
    """
    p, rule = model.physiology, model.block.thinning
    leaf_total = open_canopy(model, state, season)
    made = state.source * phase_radiation(model, season, 1, state.cover, p.early_canopy)

    # flowers
    clusters = state.flower_clusters
    clusters *= model.expand(np.maximum(0, 1 - p.chill_effect * (1 - season.chill_fraction)))
    stripped = by_leaf(model.stripping, state.leaf)
    stripped *= clusters
    left = clusters - stripped
    cross = bearing.pollination(
        season.pollination_hours,
        p.pollination_half,
        np.asarray(model.block.pollen_distance),
        p.pollen_reach,
        np.asarray(model.block.pollen_overlap),
        np.array([c.self_fruitful for c in model.block.cultivars]),
    )
    alive_share = 1 - season.frost_kill
    block_year = np.exp(p.block_set_spread * draws.block_normal[:, :1])
    setting = model.expand(alive_share * cross * block_year * p.set_per_cluster)
    by_tree = np.exp(draws.normal * np.float32(p.set_spread))
    setting = np.minimum(by_tree * setting, model.expand(p.flowers_per_cluster * alive_share))
    setting *= left
    fruitlets = setting
    keeping = made * state.feeding
    kept = bearing.kept_after_drop(fruitlets, keeping * p.fruit_per_source)
    flowers_total = model.total(clusters) * p.flowers_per_cluster
    stripped_total = model.total(stripped) * p.flowers_per_cluster
    set_total, kept_total = model.total(fruitlets), model.total(kept)

    # target
    bearing_trunk = state.expressed_trunk
    target = model.target.reshape(-1).take(np.minimum(state.leaf, LEAVES) + model.target_offset)
    target *= bearing_trunk
    sprayed_total = np.zeros_like(kept_total)
    counted = kept
    if rule.method in ("chemical", "both"):
        remain = (1 - rule.spray_removal) * np.exp(rule.spray_spread * draws.block_normal[:, 1:2])
        remain = np.clip(remain, 0.05, 1).astype(np.float32)
        after = np.where(kept > target, kept * remain, kept)
        counted = after + p.thinned_weight * (kept - after)
        sprayed_total = kept_total - model.total(after)
        kept = after
    if rule.method in ("hand", "both"):
        # a crew leaves the target with an error; trees that set more are left with more
        target *= np.exp(draws.normal * np.float32(p.thinning_spread))
        np.minimum(target, rule.fruit_limit, out=target)
        state.excess = np.maximum(kept - target, 0)
        hours = model.total(state.excess) * (rule.seconds_per_fruit / 3600)
        hours += model.total(state.excess > 0.5) * (rule.minutes_per_tree / 60)
    else:
        state.excess[...] = 0
        hours = np.zeros_like(kept_total)
    state.fruit_number = kept
    state.counted_crop = counted if counted is not kept else kept.copy()
    state.bloom_clusters, state.flower_clusters = clusters, state.bloom_clusters

    # dry matter
    potential = fruit.early_heat_effect(season.early_heat, p.early_heat_best, p.early_heat_loss)
    per_fruit = model.expand(potential * (p.fruit_dry_fraction * p.early_fruit_share)) * model.fruit_potential
    state.fruit_dry_mass = growth.two_limits(kept * per_fruit, keeping, p.fruit_curvature)
    np.subtract(made, state.fruit_dry_mass, out=state.surplus)
    state.surplus += state.reserves
    leaf_cost = np.minimum(leaf_total * p.leaf_mass, state.surplus)
    state.surplus -= leaf_cost
    totals = state.totals
    totals["supply"] = model.total(made)
    totals["from_reserves"] = model.total(state.reserves)
    totals["leaf"] = model.total(leaf_cost)
    totals["thinned_dry_mass"] = np.zeros_like(kept_total)
    totals["flower_clusters"] = flowers_total / p.flowers_per_cluster
    frosted = (flowers_total - stripped_total) * season.frost_kill
    return Bloom(
        flower_clusters=totals["flower_clusters"],
        flowers=flowers_total,
        frosted=frosted,
        stripped=stripped_total,
        unset=flowers_total - stripped_total - frosted - set_total,
        dropped=set_total - kept_total,
        sprayed=sprayed_total,
        kept=kept_total - sprayed_total,
        excess=model.total(state.excess),
        thinning_hours=hours,
    )


def thin(model: BlockModel, state: TreeState, share_done: Double, days_late: Double) -> Double:
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
    removed = np.multiply(state.excess, model.walk <= model.expand(share_done), out=state.excess)
    if not removed.any():
        return model.total(removed)
    part = removed / (state.fruit_number + TINY)
    part *= state.fruit_dry_mass
    state.fruit_dry_mass -= part
    state.fruit_number -= removed
    late = np.minimum(1, p.thinned_weight + np.maximum(days_late, 0) / p.late_thinning_days)
    state.counted_crop -= removed * model.expand(1 - late)
    state.totals["thinned_dry_mass"] = model.total(part)
    return model.total(removed)


def closed_canopy_to_harvest(model: BlockModel, state: TreeState, season: SeasonForTrees) -> None:
    """Fruit grows to harvest on the full canopy. Losses of the season come next, then :func:`ripe_fruit`."""
    p = model.physiology
    made = state.source * phase_radiation(model, season, 2, state.cover, 1.0)
    potential = fruit.early_heat_effect(season.early_heat, p.early_heat_best, p.early_heat_loss)
    per_fruit = potential * (p.fruit_dry_fraction * (1 - p.early_fruit_share))
    demand = state.fruit_number * (model.expand(per_fruit) * model.fruit_potential)
    grown = growth.two_limits(demand, made * state.feeding, p.fruit_curvature)
    state.fruit_dry_mass += grown
    state.surplus += made
    state.surplus -= grown
    crop = state.fruit_dry_mass / np.float32(p.fruit_dry_fraction)
    count_alternation(state, crop)
    state.last_crop = crop
    state.totals["supply"] = state.totals["supply"] + model.total(made)


def ripe_fruit(model: BlockModel, state: TreeState, season: SeasonForTrees) -> RipeFruit:
    """Count, weigh and judge the fruit on the trees that stand at harvest.

    Returns
    -------
    RipeFruit
        What each picking pass finds ripe.
    """
    totals = state.totals
    totals["fruit_dry_mass"] = model.total(state.fruit_dry_mass)
    totals["fruit_number"] = model.total(state.fruit_number)
    totals["crop_mass"] = model.total(state.last_crop)
    find_quality(model, state, season)
    summer = model.total(by_leaf(model.summer_minutes, state.leaf)) / 60
    return RipeFruit(
        number=totals["fruit_number"][..., None] * model.pass_share,
        mass=totals["crop_mass"][..., None] * model.pass_share,
        summer_pruning_hours=summer,
    )


def count_alternation(state: TreeState, crop: Float) -> None:
    """Add this harvest and the last to each tree's biennial bearing index, from leaf 5 on, pairs of blanks aside."""
    pair = (state.leaf > BEARING_LEAF) & (crop + state.last_crop > PRESENT_CROP)
    term = bearing.alternation(crop, state.last_crop)
    term *= pair
    state.alternation_sum += term
    state.alternation_terms += pair


def find_quality(model: BlockModel, state: TreeState, season: SeasonForTrees) -> None:
    """Mass by quality of the ripe crop, kept in the totals: fresh and coloured, fresh, sound but small, and so on.

    A fruit is fresh when it is large enough, not oversize where it is pitted, and free of defects; a fresh fruit with
    colour is of the best grade. Sunburn takes outer fruit and is a share of the block's.
    """
    p, crop = model.physiology, state.last_crop
    mean_mass = crop / (state.fruit_number + TINY)
    load = state.fruit_number / (state.expressed_trunk + TINY)
    large = fruit.share_above(mean_mass, p.fresh_mass, p.size_spread)
    usable = fruit.share_above(mean_mass, p.processing_mass, p.size_spread)
    over = fruit.share_above(mean_mass, p.oversize_mass, p.size_spread)
    coloured = grading.colour_share(
        state.leaf_light, load, model.colour_need, p.colour_light, p.colour_crop, p.colour_rate
    )
    pitted = grading.bitter_pit_share(load, model.bitter_pit, p.bitter_pit_scale, p.bitter_pit_crop)
    large *= crop
    clean = large * (1 - pitted)
    over *= clean
    totals = state.totals
    totals["large"] = model.total(large)
    totals["clean"] = model.total(clean)
    totals["oversize"] = model.total(over)
    clean -= over
    clean *= coloured
    totals["coloured"] = model.total(clean)
    usable *= crop
    totals["usable"] = model.total(usable)
    sound = (1 - p.base_defects) * (1 - p.frost_russet * season.frost_kill) * (1 - season.sunburn_fraction)
    totals["sound_share"] = np.broadcast_to(sound, totals["large"].shape)


def harvest(model: BlockModel, state: TreeState, share_picked: Double, days_late: Double) -> Harvest:
    """Pick the ripe fruit; what is not picked, or drops before, is lost.

    Parameters
    ----------
    share_picked : array, (trial, group, pass) [1]
    days_late : array, (trial, group) [day]
        How late the mean fruit is picked.

    Returns
    -------
    Harvest
        ``packed_mass`` runs over :data:`orchardsim.core.labels.GRADES`.
    """
    p, totals = model.physiology, state.totals
    drop = np.array([c.preharvest_drop for c in model.block.cultivars])
    hanging = np.exp(-drop * np.maximum(days_late, 0))
    share = (share_picked * model.pass_share).sum(-1) * hanging
    crop, sound = totals["crop_mass"], totals["sound_share"]
    best = totals["coloured"] * sound
    # fresh but pale, or coloured and oversize: the second fresh grade
    second = (totals["clean"] - totals["coloured"]) * sound
    fresh = best + second
    usable = np.maximum(totals["usable"], fresh)
    defective = usable - fresh
    culled = defective * p.cull_share
    processing = (defective - culled) * 0.5
    juice = crop - fresh - culled - processing
    # each week late softens a tenth of the best grade into processing
    soft = best * (1 - np.exp(-np.maximum(days_late - 7, 0) / 70))
    grades = {"extra_fancy": best - soft, "fancy": second, "processing": processing + soft, "juice": juice}
    harvested = crop * share
    totals["harvested_mass"] = harvested
    return Harvest(
        harvested_mass=harvested,
        harvested_number=totals["fruit_number"] * share,
        packed_mass=np.stack([grades[name] for name in GRADES], axis=-1) * share[..., None],
        culled_mass=culled * share,
        dropped_mass=crop - harvested,
        dropped_number=totals["fruit_number"] * (1 - share),
    )


def harvest_to_leaf_fall(model: BlockModel, state: TreeState, season: SeasonForTrees) -> dict[str, Double]:
    """Reserves, trunk, height and spread, and next spring's flower clusters.

    Returns
    -------
    dict of arrays (trial, group) [kg]
        Dry-matter budget of the year: supply + from_reserves = fruit_dry_mass + thinned_dry_mass + leaf + wood
        + shoots_and_roots + to_reserves.
    """
    p, totals = model.physiology, state.totals
    made = state.source * phase_radiation(model, season, 3, state.cover, p.late_canopy)
    totals["supply"] = totals["supply"] + model.total(made)
    np.multiply(made, p.reserve_share, out=state.reserves)
    state.surplus += made
    state.surplus -= state.reserves

    area = state.trunk_area
    cost = growth.wood_cost(area, model.vigor, p.wood_cost, p.wood_cost_exponent)
    payable = state.surplus / (cost + TINY)
    grown = growth.two_limits(state.wood_wanted, payable, 0.0)
    grown *= state.held
    cost *= grown
    totals["to_reserves"] = model.total(state.reserves)
    totals["wood"] = model.total(cost)
    totals["shoots_and_roots"] = model.total(state.surplus) - totals["wood"]
    area += grown
    model.set_shape(state)

    # next spring's flowers
    load = state.counted_crop / (state.expressed_trunk + TINY)
    buds = bearing.return_bloom(load, model.inhibiting_crop, p.inhibition_exponent, model.inhibition)
    buds *= bearing.shade_effect(state.leaf_light, p.shade_half)
    buds *= bearing.bearing_share(state.leaf + np.float32(1), model.half_bloom_leaf, p.bearing_rate)
    buds *= state.held
    buds *= area
    buds *= model.productivity
    np.multiply(buds, p.clusters_per_trunk, out=state.flower_clusters)

    # health heals
    lost = 1 - state.health
    lost *= p.recovery_rate
    lost *= state.alive
    state.health += lost
    count = np.maximum(model.total(state.alive), 1)
    totals["crop_load_mean"] = model.total(state.fruit_number / (area + TINY)) / count
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
    """Per-tree values of the season (trial, position): trunk area, crop mass, flower clusters at bloom."""
    return {
        "trunk_area": state.trunk_area.copy(),
        "crop_mass": state.last_crop.copy(),
        "flower_clusters": state.bloom_clusters.copy(),
    }


def biennial_index(model: BlockModel, state: TreeState) -> Double:
    """Mean over trees of the biennial bearing index from leaf 5 on (trial, group); NaN where no tree has one."""
    own = state.alternation_sum / np.maximum(state.alternation_terms, 1)
    some = model.total(state.alternation_terms > 0)
    return np.where(some > 0, model.total(own) / np.maximum(some, 1), np.nan)
