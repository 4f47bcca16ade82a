"""The year of the trees in four growth phases. Each function changes the state in place and returns sums by group.

Order within a year: ``ask_dormant_work`` (then ``plant`` or ``replant`` of the block), ``apply_pruning``;
``bloom_to_closed_canopy``, ``apply_thinning``; ``closed_canopy_to_harvest``, ``ask_harvest_work``,
``apply_summer_pruning``, ``apply_picking``; ``harvest_to_leaf_fall``, ``observe``. Functions that ask say what work the
trees want; those that apply take what was done of it, once. Losses may be taken out with ``BlockModel.kill`` before any
phase. The formulas stand in the modules canopy, growth and bearing, the loops over trees in the module year.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import Reach
from orchardsim.trees import bearing, fruit
from orchardsim.trees import year as loops
from orchardsim.trees.block import BlockModel
from orchardsim.trees.picking import Harvest, RipeFruit, apply_picking, apply_summer_pruning, ask_harvest_work
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
    "dry_matter_budget",
    "first_leaf_hours",
    "harvest_to_leaf_fall",
    "misjudge",
    "observe",
    "tree_output",
]

IN_TIME, CLOSED = 30, 58
"""Days after bloom up to which thinning is in time, and at which the canopy closes and fruit is weighed first."""
Float = NDArray[np.float32]
Double = NDArray[np.float64]


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


def phase_radiation(model: BlockModel, state: TreeState, season: SeasonForTrees, phase: int, canopy: float) -> Float:
    """Radiation [MJ/m2] of a phase that counts (trial, group): times temperature, water and canopy factors."""
    water = model.water(season.water_factor[:, :, phase], state.cover) ** model.physiology.drought_light
    counted = season.radiation[:, :, phase] * season.temperature_factor[:, :, phase] * water * canopy
    return counted.astype(np.float32)


def fruit_potential(model: BlockModel, season: SeasonForTrees) -> Float:
    """Fruit mass with dry matter in plenty over the cultivar's, after the early season's warmth (trial, group) [1]."""
    p = model.physiology
    warmth = fruit.early_heat_effect(season.early_heat, p.early_heat_best, p.early_heat_loss)
    return (warmth * season.size_level).astype(np.float32)


def reached(state: TreeState, reach: Reach | None) -> tuple[Float, Float]:
    """Share of trees that a crew came to, and where in the walk it began, (trial, group); all where None."""
    shape = state.cover.shape
    if reach is None:
        return np.ones(shape, np.float32), np.zeros(shape, np.float32)
    share, start = (np.broadcast_to(np.asarray(values, np.float32), shape).copy() for values in reach)
    return share, start


def ask_dormant_work(model: BlockModel, state: TreeState) -> DormantWork:
    """Trees grow a leaf older and ask to be pruned and trained; call it before the year's planting.

    Trees full of extension shoots are pruned harder and for longer than the training system states.
    """
    state.totals.clear()
    loops.ask_pruning(state.arrays, model.numbers, model.traits, model.place, model.strips)
    counts = model.count_by_leaf(Ages(state.leaf))
    return DormantWork(
        living=counts[:, :, 1:].sum(axis=-1),
        training_hours=(counts * model.training_minutes).sum(axis=-1) / 60,
        pruning_hours=model.total(state.pruning_minutes) / 60,
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
    share, start = reached(state, reach)
    loops.cut_wood(state.arrays, model.numbers, model.walk[0], model.strips, share, start)


def first_leaf_hours(model: BlockModel, trees: Double) -> Double:
    """Training and pruning hours of trees planted in this year, that ``ask_dormant_work`` has not counted [hour]."""
    return trees * float(model.training_minutes[1] + model.pruning_minutes[1]) / 60


def unfrosted_setting(model: BlockModel, season: SeasonForTrees, draws: YearDraws) -> Double:
    """Fruitlets per cluster before the drop, of the mean tree without frost (trial, group) [1]."""
    p = model.physiology
    cross = bearing.pollination(
        season.pollination_hours,
        p.pollination_half,
        np.array([group.pollen_distance for group in model.block.groups]),
        p.pollen_reach,
        np.array([group.pollen_overlap for group in model.block.groups]),
        np.array([group.cultivar.self_fruitful for group in model.block.groups]),
    )
    block_year = np.exp(p.block_set_spread * draws.block_normal[:, :1])
    per_cluster = p.set_per_cluster * np.array([group.cultivar.fruit_set for group in model.block.groups])
    return np.asarray(cross * block_year * season.set_level * per_cluster, dtype=np.float64)


def bloom_to_closed_canopy(model: BlockModel, state: TreeState, season: SeasonForTrees, draws: YearDraws) -> Bloom:
    """Leaf opens, flowers set, fruitlets drop, and the crop above the target is found.

    Returns
    -------
    Bloom
        Flower budget; ``excess`` is the fruit that must come off by hand and ``thinning_hours`` the hours that takes.
    """
    p, trees, numbers = model.physiology, state.arrays, model.numbers
    if (season.chill_fraction < 1).any():
        state.flower_clusters[...] *= model.expand(np.maximum(0, 1 - p.chill_effect * (1 - season.chill_fraction)))
    loops.open_canopy(trees, numbers, model.traits, model.place, model.strips, state.ground)
    state.cover = np.minimum(1, model.total(state.stopped) / (model.land * np.maximum(model.group_trees, 1)))
    radiation = phase_radiation(model, state, season, 1, p.early_canopy)
    killed = bearing.kill_by_place(season.frost_kill)
    most = (p.flowers_per_cluster * (1 - killed)).astype(np.float32)
    setting = unfrosted_setting(model, season, draws)[..., None] * bearing.set_after_frost(killed)
    setting = setting.astype(np.float32)
    potential = fruit_potential(model, season)
    loops.set_fruit(trees, numbers, model.traits, model.strips, setting, most, radiation, potential, draws.normal)
    set_before = model.total(state.fruit_number)
    sprayed, excess, hours = find_excess(model, state, season, draws, set_before)
    clusters, fruitlets = model.total(state.bloom_clusters), model.total(state.fruitlets)
    flowers, stripped = clusters * p.flowers_per_cluster, model.total(state.stripped) * p.flowers_per_cluster
    open_by_place = model.total_by_place(state.bloom_clusters - state.stripped, bearing.PLACES)
    frosted = (open_by_place * killed).sum(axis=-1) * p.flowers_per_cluster
    kept_by_place = model.total_by_place(state.fruit_number, bearing.PLACES)
    kept = kept_by_place.sum(axis=-1)
    # where few flowers died much is thinned, and thinners take scarred fruit first
    state.totals["fruit_by_frost"] = (kept_by_place * killed**2).sum(axis=-1) / np.maximum(kept, 1e-9)
    state.totals["flower_clusters"] = clusters
    state.totals["radiation"] = radiation.astype(np.float64)
    return Bloom(
        flower_clusters=clusters,
        flowers=flowers,
        frosted=frosted,
        stripped=stripped,
        unset=flowers - stripped - frosted - fruitlets,
        dropped=fruitlets - set_before,
        sprayed=sprayed,
        kept=set_before - sprayed,
        excess=excess,
        thinning_hours=hours,
    )


def find_excess(
    model: BlockModel, state: TreeState, season: SeasonForTrees, draws: YearDraws, set_before: Double
) -> tuple[Double, Double, Double]:
    """Spray the row groups that bear well above their target, and find what must come off by hand.

    Returns
    -------
    sprayed, excess, hours : array, (trial, group)
        Fruit sprayed off [1], those to come off by hand, and the hours that they ask for; ``set_before`` is the fruit
        on the trees.

    Notes
    -----
    A sprayer goes by rows, so its dose is set for a row group as a whole: for what leaves some of the work to hands,
    for nobody can put fruit back. What the weather makes of the dose is known afterwards.
    """
    rule, by_hand = model.block.thinning, model.block.thinning.method in ("hand", "both")
    off = np.zeros(state.cover.shape, np.float32)
    loops.find_target(state.arrays, model.traits, model.strips, np.float32(rule.fruit_per_land * model.land))
    if rule.method in ("chemical", "both"):
        load = set_before / np.maximum(model.total(state.target), 1e-9)
        dose = fruit.spray_dose(load, rule.spray_from, rule.spray_leaves, rule.spray_removal)
        remain = 1 - fruit.sprayed_off(dose, np.broadcast_to(season.spray_balance, state.cover.shape))
        remain = remain * np.exp(rule.spray_spread * draws.block_normal[:, 1:2])
        off = np.where(dose > 0, 1 - np.clip(remain, 0.05, 1), 0).astype(np.float32)
    spared, limit = np.float32(rule.spray_leaves), np.float32(rule.fruit_limit)
    loops.find_excess(state.arrays, model.numbers, model.strips, off, spared, by_hand, limit, draws.normal)
    excess = model.total(state.excess)
    hours = excess * (rule.seconds_per_fruit / 3600)
    hours += model.total(state.excess > 0.5) * (rule.minutes_per_tree / 60)
    return model.total(state.sprayed), excess, hours


def misjudge(model: BlockModel, state: TreeState, skill: Double, error: Double) -> None:
    """Change the excess to what thinners will take: a share ``skill`` (trial,), less an error in counting what stays.

    Parameters
    ----------
    error : array, (trial, group) [1]
        Fruit left beyond those meant, over these.
    """
    share = np.broadcast_to(np.asarray(skill, np.float32)[:, None], error.shape)
    loops.misjudge(state.arrays, model.strips, share, np.asarray(error, np.float32))


def apply_thinning(model: BlockModel, state: TreeState, share_done: Double, days_late: Double) -> Double:
    """Take the excess fruit off the first ``share_done`` of the trees in walking order.

    Parameters
    ----------
    share_done : array, (trial, group) [1]
    days_late : array, (trial, group) [day]
        How long after the last day in time, 30 days after bloom, the mean tree is thinned. Fruit taken off late has
        spent dry matter, still counts against next year's flower buds, and leaves fruit that stays smaller. A spray
        goes out in time.

    Returns
    -------
    array, (trial, group) [1]
        Fruit taken off.
    """
    p = model.physiology
    late = np.maximum(days_late, 0)
    weight = p.thinned_weight + (1 - p.thinned_weight) * (1 - np.exp(-((late / p.late_thinning_days) ** 2)))
    closed = fruit.expolinear(CLOSED)
    eaten = np.maximum(fruit.expolinear(IN_TIME + late) / closed, 1) - 1
    divided = fruit.divided_in_crowd(late, p.cell_division_days)
    shares = (np.asarray(values, np.float32) for values in (share_done, weight, divided, eaten))
    loops.thin(state.arrays, model.numbers, model.walk[0], model.strips, *shares)
    return model.total(state.thinned)


def closed_canopy_to_harvest(model: BlockModel, state: TreeState, season: SeasonForTrees) -> None:
    """Fruit grows to harvest on the full canopy. Losses of the season come next, then :func:`ask_harvest_work`."""
    radiation = phase_radiation(model, state, season, 2, 1.0)
    loops.grow_fruit(state.arrays, model.numbers, model.traits, model.strips, radiation, fruit_potential(model, season))
    state.totals["radiation"] = state.totals["radiation"] + radiation


def harvest_to_leaf_fall(
    model: BlockModel, state: TreeState, season: SeasonForTrees, reach: Reach | None = None
) -> None:
    """Reserves, trunk, height and spread, and next spring's flower clusters.

    Parameters
    ----------
    reach : Reach, optional
        The trees whose branches were tied down this year; all by default.
    """
    p = model.physiology
    # leaf ages by what it has done: a long autumn adds little
    light = phase_radiation(model, state, season, 3, 1.0) / np.float32(p.late_light)
    radiation = np.float32(p.late_light) * (1 - np.exp(-light))
    heat = (season.degree_days[:, :, 1:].sum(-1) / p.heat_reference) ** p.heat_exponent
    heat *= model.water(season.water_factor[:, :, 2], state.cover) ** p.drought_exponent
    tied, start = reached(state, reach)
    loops.fall_leaf(
        state.arrays,
        model.numbers,
        model.traits,
        model.place,
        model.walk[0],
        model.strips,
        radiation,
        heat.astype(np.float32),
        tied,
        start,
    )
    state.totals["radiation"] = state.totals["radiation"] + radiation
    load = model.total(state.fruit_number / np.maximum(state.trunk_area, np.float32(1e-6)))
    state.totals["crop_load_mean"] = load / np.maximum(model.total(state.alive), 1)


def dry_matter_budget(model: BlockModel, state: TreeState) -> dict[str, Double]:
    """Dry matter of the year of the trees that stand at leaf fall, (trial, group) [kg].

    supply + from_reserves = fruit_dry_mass + thinned_dry_mass + leaf + wood + shoots_and_roots + to_reserves, where
    supply is what was fixed: leaf without a use for what it could make fixes less.
    """
    total = model.total
    return {
        "supply": total(state.source) * state.totals["radiation"] - total(state.unused),
        "from_reserves": total(state.spent),
        "fruit_dry_mass": total(state.fruit_dry_mass),
        "thinned_dry_mass": total(state.thinned_mass),
        "leaf": total(state.leaf_paid),
        "wood": total(state.wood_paid),
        "shoots_and_roots": total(state.upkeep),
        "to_reserves": total(state.reserves),
    }


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
        "fruit_mass_mean": np.where(number > 0.5, 1000 * totals["crop_mass"] / np.maximum(number, 1e-9), np.nan),
        "crop_mass": totals["crop_mass"],
    }


def tree_output(state: TreeState) -> dict[str, Float]:
    """Per-tree values of the season (trial, position), named as in the variable table without ``tree_``."""
    return {
        "leaf": state.leaf.astype(np.float32),
        "fruit_number": state.fruit_number.copy(),
        "trunk_area": state.trunk_area.copy(),
        "height": state.height.copy(),
        "crop_mass": state.last_crop.copy(),
        "flower_clusters": state.bloom_clusters.copy(),
    }


def biennial_index(model: BlockModel, state: TreeState) -> Double:
    """Mean over trees of the biennial bearing index from leaf 5 on (trial, group); NaN where no tree has one."""
    own = state.alternation_sum / np.maximum(state.alternation_terms, 1)
    some = model.total(state.alternation_terms > 0)
    return np.where(some > 0, model.total(own) / np.maximum(some, 1), np.nan)
