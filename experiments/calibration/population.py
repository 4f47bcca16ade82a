"""Blocks of single trees through mean seasons, all work done in time: fast enough to fit and to score with.

A planting is one block with a row of trees for each treatment (stock, cultivar, target). It runs the very loops of the
simulation, one after the other inside one compiled function, with random numbers that are fixed beforehand, so that a
change in a figure comes from a change in a parameter.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from experiments.calibration.harness import NORTH, cultivar, grade
from orchardsim.core.compiled import compiled
from orchardsim.trees import growth
from orchardsim.trees import year as loops
from orchardsim.trees.bearing import pollination
from orchardsim.trees.fruit import early_heat_effect
from orchardsim.trees.parameters import BlockPlan, Layout, Physiology, Stock, Thinning, Training, TreesOfGroup
from orchardsim.trees.state import empty_trees
from orchardsim.trees.traits import make_place, make_traits, shared_numbers, unbent_bloom_leaf
from orchardsim.trees.variation import patchy_field

Float = NDArray[np.float32]
FULL_SEASON = 1250.0
"""MJ/m2 of photosynthetically active radiation that a northern season brings from bud break on (derived)."""
LONG = 8
"""Years from which a planting meets good and bad years of its block."""
LOGGED = (
    "crop", "number", "trunk", "clusters", "stopped", "height", "bloom", "fruit_dry", "made", "pruning", "light",
    "leaf_area", "held", "shoots", "expressed", "wood_mass", "wood_paid", "shoot_share", "set", "upkeep", "leaf_paid",
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Treatment:
    """One row of trees: its stock, cultivar and crop target."""

    stock: Stock
    cultivar: str
    target: tuple[float, ...]


def block(
    treatments: Sequence[Treatment],
    system: Training,
    tree: str,
    tree_spacing: float,
    row_spacing: float,
    *,
    level: float = 1.0,
    trees: int = 48,
    rows: int = 1,
    spray: float = 0.0,
    loads: bool = False,
) -> BlockPlan:
    """A block with ``rows`` rows of ``trees`` trees for each treatment; ``spray`` thins by a share and not by hand.

    ``loads`` is a trial of crop loads: the fruit that the land is meant to bear sets no limit.
    """
    count = len(treatments)
    layout = Layout(
        rows=rows * count,
        trees_per_row=trees,
        trees=rows * count * trees,
        row_spacing=row_spacing,
        tree_spacing=tree_spacing,
        row_direction=0.0,
        group=tuple(np.repeat(np.arange(count), rows).tolist()),
    )
    groups = (
        TreesOfGroup(
            label=str(number),
            stock=one.stock,
            cultivar=cultivar(one.cultivar),
            grade=grade(tree),
            training=system,
            crop_load_target=one.target,
            pollen_distance=5.0,
            pollen_overlap=0.97,
        )
        for number, one in enumerate(treatments)
    )
    rule = {"method": "chemical", "spray_removal": spray} if spray else {}
    thinning = Thinning(**rule, **({"fruit_per_land": 500.0} if loads else {}))  # type: ignore[arg-type]
    return BlockPlan(
        name=treatments[0].cultivar,
        layout=layout,
        groups=tuple(groups),
        year_planted=0,
        site_growth=level,
        thinning=thinning,
        latitude=43.0,
    )


@compiled
def run_seasons(
    trees: Any,
    p: Any,
    traits: Any,
    place: Any,
    strips: Any,
    walk: Any,
    seasons: Any,
    room: Any,
    normal: Any,
    block_set: Any,
    log: Any,
) -> None:
    """All years of a planting; ``seasons`` holds by group: setting, flowers alive, radiation of three phases, ..."""
    done = np.ones((1, traits.target.shape[0]), dtype=np.float32)
    none = np.zeros_like(done)
    for y in range(normal.shape[0]):
        loops.ask_pruning(trees, p, traits, place, strips)
        if y == 0:
            trees.leaf[:] = 1
            trees.uncut[:] = 1.0
            trees.pruning_minutes[:] = 0.0
        log[y, 9] = trees.pruning_minutes[0]
        loops.cut_wood(trees, p, walk, strips, done, none)
        loops.open_canopy(trees, p, traits, place, strips, done)
        setting, alive = (seasons[0] * block_set[y])[:, :, None], seasons[1][:, :, None]
        loops.set_fruit(trees, p, traits, strips, setting, alive, seasons[2], seasons[5], normal[y])
        log[y, 18] = trees.fruit_number[0]
        loops.find_target(trees, traits, strips, room)
        by_hand = seasons[6, 0, 0] == 0.0
        loops.find_excess(trees, p, strips, seasons[6], np.float32(1.0), by_hand, np.float32(1e6), normal[y])
        loops.thin(trees, p, walk, strips, done, done * p.thinned_weight, none, none)
        loops.grow_fruit(trees, p, traits, strips, seasons[3], seasons[5])
        loops.fall_leaf(trees, p, traits, place, walk, strips, seasons[4], seasons[7], done, none)
        log[y, 0] = trees.last_crop[0]
        log[y, 1] = trees.fruit_number[0]
        log[y, 2] = trees.trunk_area[0]
        log[y, 3] = trees.flower_clusters[0]
        log[y, 4] = trees.stopped[0]
        log[y, 5] = trees.height[0]
        log[y, 6] = trees.bloom_clusters[0]
        log[y, 7] = trees.fruit_dry_mass[0] + trees.thinned_mass[0]
        for s in range(len(strips.group)):
            g = strips.group[s]
            light = seasons[2, 0, g] + seasons[3, 0, g] + seasons[4, 0, g]
            for i in range(strips.begin[s], strips.end[s]):
                fixed = trees.source[0, i] * light - trees.unused[0, i]
                # what wood respires is fixed and no dry matter
                standing = log[max(y - 1, 0), 15, i]
                log[y, 8, i] = fixed - (p.wood_upkeep * standing if y else np.float32(0.0))
                log[y, 15, i] = growth.wood_mass(trees.trunk_area[0, i], p.wood_mass, p.wood_exponent)
        log[y, 10] = trees.leaf_light[0]
        log[y, 11] = trees.leaf_area[0]
        log[y, 12] = trees.held[0]
        log[y, 13] = trees.shoot_leaf[0]
        log[y, 14] = trees.expressed_trunk[0]
        log[y, 16] = trees.wood_paid[0]
        log[y, 17] = trees.shoot_leaf[0] / (trees.leaf_area[0] + np.float32(1e-9))
        log[y, 19] = trees.upkeep[0]
        log[y, 20] = trees.leaf_paid[0]


class Planting:
    """A block with its random numbers drawn; :meth:`run` grows it with a set of shared parameters."""

    def __init__(self, plan: BlockPlan, names: Sequence[str], years: int, seed: int, *, shade: float = 1.0) -> None:
        layout = plan.layout
        self.names = names
        self.plan, self.years, self.shade = plan, years, shade
        rng = np.random.default_rng(seed)
        count = layout.positions
        groups = np.asarray(layout.group, dtype=np.int64)
        self.strips = loops.strips_of(groups, layout.trees_per_row)
        self.tree_group = np.repeat(groups, layout.trees_per_row)
        self.walk = np.zeros(count, dtype=np.float32)
        # treatments share their draws: differences between them are theirs alone
        self.copies = len(plan.groups)
        self.quality = np.tile(rng.standard_normal(count // self.copies), self.copies).astype(np.float32)
        normal = rng.standard_normal((years, 1, count // self.copies))
        self.normal = np.ascontiguousarray(np.tile(normal, self.copies).astype(np.float32))
        # trials of a few years are read off middling seasons: one year's luck of the block is not a treatment's
        self.block_normal = (rng.standard_normal(years) * (years > LONG)).astype(np.float32)
        self.seed = seed
        self.trees = empty_trees(1, count)
        self.log = np.zeros((years, len(LOGGED), count), dtype=np.float32)

    def run(self, physiology: Physiology, level: float | None = None) -> Log:
        """Grow the planting; ``level`` replaces its site level."""
        p, plan = physiology, self.plan
        if level is not None:
            plan = dataclasses.replace(plan, site_growth=level)
        if plan.layout.rows == len(plan.groups):
            # a row for each treatment: its neighbours across the alley are taken to be like it
            p = dataclasses.replace(p, room_across=0.0)
        numbers, traits, place = shared_numbers(p), make_traits(plan, p), make_place(plan, p)
        if self.shade != 1.0:
            # shaded spurs: buds need the same light above the cloth's share
            numbers = numbers._replace(shade_half=np.float32(p.shade_half / self.shade))
        self._plant(p, place)
        seasons = np.stack([self._season(plan, p, name) for name in self.names], axis=-1)
        seasons = np.ascontiguousarray(seasons[:, None, :].astype(np.float32))
        block_set = np.exp(np.float32(p.block_set_spread) * self.block_normal)
        run_seasons(
            self.trees,
            numbers,
            traits,
            place,
            self.strips,
            self.walk,
            seasons,
            np.float32(plan.thinning.fruit_per_land * plan.layout.row_spacing * plan.layout.tree_spacing),
            self.normal,
            block_set,
            self.log,
        )
        return Log(self)

    def _plant(self, p: Physiology, place: Any) -> None:
        for array in self.trees:
            array[...] = 0
        plan, trees, training = self.plan, self.trees, self.plan.training
        layout = plan.layout
        field = patchy_field(
            np.random.default_rng(self.seed), layout.rows // self.copies, layout.trees_per_row, layout.row_spacing,
            layout.tree_spacing, p.patch_length,
        )  # fmt: skip
        patches = np.tile(np.exp(p.site_spread * field.reshape(-1)), self.copies)
        trees.site_vigor[0] = patches / patches.mean()
        tree = plan.groups[0].grade
        weak = self.quality < ndtri(p.weak_share)
        vigor = trees.site_vigor[0] * np.exp(p.tree_spread * self.quality) * np.where(weak, p.weak_growth, 1)
        trees.vigor[0] = vigor
        trees.alive[0] = True
        trees.health[0] = 1
        trunk = np.pi / 4 * (tree.trunk_diameter / 10) ** 2 * np.exp(p.tree_spread * self.quality)
        trees.trunk_area[0] = trunk
        headed = p.headed_height if training.leader_headed else 1.0
        trees.height[0] = min(tree.height * headed, training.height_limit)
        usual = p.height_coefficient * trunk**p.height_exponent
        trees.head_start[0] = 0 if training.leader_headed else np.maximum(tree.height - usual, 0)
        trees.spread[0] = min(0.25 + 0.05 * tree.feathers * training.feathers_kept, training.spread_limit)
        bearing_leaf = np.array([unbent_bloom_leaf(group, p) for group in plan.groups])
        bloom = 1 / (1 + np.exp(-p.bearing_rate * (1 - bearing_leaf)))[self.tree_group]
        leaf = p.leaf_per_trunk * p.first_leaf_canopy * trunk
        trees.flower_clusters[0] = p.clusters_per_leaf * leaf * bloom
        trees.reserves[0] = p.leaf_mass * leaf

    def _season(self, plan: BlockPlan, p: Physiology, name: str) -> list[float]:
        climate = NORTH.get(name, NORTH["late"])
        light = np.array(climate.radiation[1:]) * climate.temperature_factor[1:] * self.shade
        light *= (p.early_canopy, 1.0, p.late_canopy)
        cross = pollination(
            np.array(climate.pollination_hours), p.pollination_half, np.array(5.0), p.pollen_reach, np.array(0.97),
            np.array(0.05),
        )  # fmt: skip
        alive = 1 - climate.frost_kill
        setting = float(cross) * alive * p.set_per_cluster * cultivar(name).fruit_set
        potential = float(early_heat_effect(np.array(climate.early_heat), p.early_heat_best, p.early_heat_loss))
        heat = (sum(climate.degree_days[1:]) / p.heat_reference) ** p.heat_exponent
        spray = plan.thinning.spray_removal if plan.thinning.method == "chemical" else 0.0
        return [setting, p.flowers_per_cluster * alive, *light, potential, spray, heat]


class Log:
    """Yearly numbers of every tree, by name, (year, tree) for one treatment."""

    def __init__(self, planting: Planting) -> None:
        self.planting = planting
        self.land = planting.plan.layout.row_spacing * planting.plan.layout.tree_spacing
        self.log = planting.log

    def of(self, name: str, group: int = 0) -> Float:
        return self.log[:, LOGGED.index(name), self.planting.tree_group == group]

    def mean(self, name: str, group: int = 0) -> Float:
        return self.of(name, group).mean(axis=1)

    def tonnes(self, group: int = 0) -> Float:
        """Yield [t/ha] by year, off the trees' own land."""
        return self.mean("crop", group) / self.land * 10

    def light(self, group: int = 0) -> Float:
        """Share of the light stopped."""
        return self.mean("stopped", group) / self.land
