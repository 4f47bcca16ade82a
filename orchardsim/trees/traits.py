"""Numbers of a block as the loops over its trees take them: shared, by row group, and of the place."""

from __future__ import annotations

import dataclasses
from collections import namedtuple
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.parameters import parameters_of
from orchardsim.trees.bearing import bearing_share
from orchardsim.trees.light import alley_slope
from orchardsim.trees.parameters import BlockPlan, Physiology, TreesOfGroup
from orchardsim.trees.training import LEAVES, UNTHINNED, bending_gain, table_by_leaf
from orchardsim.trees.year import Place

WALL_DEPTH: Final = 0.9
"""m; canopies no deeper are walls trained along their wires and fill their row however far apart the trees stand
(target geometry of walls: depth of canopy at most 0.9 m, read.dmtmag.com/i/123862-may-1/24)."""
HONEYCRISP_FRUIT: Final = 0.3
"""kg; fruit mass potential of Honeycrisp, on which the most fruit meant to stay per land was read."""
AGES: Final = np.arange(LEAVES + 1.0)
NAMES: Final = tuple(field.name for field in dataclasses.fields(Physiology))
Numbers: Any = namedtuple("Numbers", NAMES)  # type: ignore[misc]
"""The shared parameters as float32, in the order of :class:`~orchardsim.trees.parameters.Physiology`."""


def shared_numbers(physiology: Physiology) -> Any:
    """The shared parameters as the loops take them."""
    return Numbers(*(np.float32(getattr(physiology, name)) for name in NAMES))


def records(entries: Sequence[Any]) -> NDArray[np.void]:
    """All numbers of catalogue entries of one kind under their names, float32, (entry,): ``records(...)[g].name``."""
    names = [name for name, info in parameters_of(type(entries[0])).items() if info.unit != "text"]
    rows = [tuple(getattr(entry, name) for name in names) for entry in entries]
    return np.array(rows, dtype=[(name, np.float32) for name in names])


def growth_vigor(group: TreesOfGroup, p: Physiology) -> float:
    """Wanted trunk growth over that of Gala on M.9 [1].

    A stock's size is a ratio of trunks after five years; growth compounds, so the ratio of yearly growth is less.
    """
    return group.stock.size**p.size_exponent * group.cultivar.vigor


def rooting(group: TreesOfGroup, p: Physiology) -> float:
    """Leaf that the roots feed over that of Gala on M.9 [1]: what makes a dwarf of a tree that stands alone."""
    return group.stock.size**p.roots_exponent * group.cultivar.vigor


def leaf_vigor(group: TreesOfGroup, p: Physiology) -> float:
    """Dry matter per light over that of Gala [1]."""
    return group.cultivar.vigor**p.cultivar_source


def shoot_habit(group: TreesOfGroup, p: Physiology) -> float:
    """Pull of extension shoots over that of Gala on M.9 [1]."""
    return group.stock.shoots * group.cultivar.vigor


def fruit_potential(group: TreesOfGroup, p: Physiology) -> float:
    """Mass of a fruit without competitors [kg]."""
    return p.fruit_margin * group.cultivar.fruit_mass_potential


def half_crop(group: TreesOfGroup, p: Physiology) -> float:
    """Crop that halves a cultivar's return bloom [1/cm2], between the annual and the biennial one."""
    return p.half_crop_annual + group.cultivar.biennial * (p.half_crop_biennial - p.half_crop_annual)


def crop_width(group: TreesOfGroup, p: Physiology) -> float:
    """Width in crop of the fall of a cultivar's return bloom [1/cm2], between the annual and the biennial one."""
    return p.crop_width_annual + group.cultivar.biennial * (p.crop_width_biennial - p.crop_width_annual)


def pruning(group: TreesOfGroup, p: Physiology) -> NDArray[Any]:
    """Share of leaf-bearing wood cut out each winter, by leaf [1]; in its first a tree was cut when it was planted."""
    by_leaf = table_by_leaf(group.training.pruning)
    by_leaf[1] = 0
    return by_leaf


def pruning_minutes(group: TreesOfGroup, p: Physiology) -> NDArray[Any]:
    """Dormant pruning per tree, by leaf [minute]."""
    return table_by_leaf(group.training.pruning_minutes)


def stripping(group: TreesOfGroup, p: Physiology) -> NDArray[Any]:
    """Share of blossom taken off, by leaf [1]."""
    return table_by_leaf(group.training.blossom_stripped)


def target(group: TreesOfGroup, p: Physiology) -> NDArray[Any]:
    """Fruit meant to stay per trunk area, by leaf [1/cm2]."""
    return np.minimum(table_by_leaf(group.crop_load_target), UNTHINNED)


def fewer_on_land(group: TreesOfGroup, p: Physiology) -> float:
    """Fruit meant to stay per land over that of Honeycrisp, fewer of larger fruit [1]."""
    return min(1.0, HONEYCRISP_FRUIT / group.cultivar.fruit_mass_potential)


def next_bloom(group: TreesOfGroup, p: Physiology) -> NDArray[Any]:
    """Share of full bloom in the spring after a leaf, branches tied down as planned [1]."""
    bent = bending_gain(group.training.bending_angle, p.bending_gain) * (group.training.bending_leaf <= AGES)
    return bearing_share(AGES + 1, unbent_bloom_leaf(group, p) - bent, p.bearing_rate)


def next_bloom_unbent(group: TreesOfGroup, p: Physiology) -> NDArray[Any]:
    """The same of trees whose branches were not tied down [1]."""
    return bearing_share(AGES + 1, np.full(AGES.shape, unbent_bloom_leaf(group, p)), p.bearing_rate)


DERIVED: Final = (
    growth_vigor, rooting, leaf_vigor, shoot_habit, fruit_potential, half_crop, crop_width, pruning, pruning_minutes,
    stripping, target, fewer_on_land, next_bloom, next_bloom_unbent,
)  # fmt: skip
"""What the loops read of a row group beside the numbers of its cultivar and stock, each under its function's name."""
Traits: Any = namedtuple("Traits", ("cultivar", "stock", *(one.__name__ for one in DERIVED)))  # type: ignore[misc]
"""Numbers of a block's row groups, (group,) and by leaf (group, leaf), float32; those of the catalogue as records."""


def unbent_bloom_leaf(group: TreesOfGroup, p: Physiology) -> float:
    """Leaf in which a tree with branches as they grow bears half of full bloom."""
    training = group.training
    delay = (1 - training.feathers_kept) * p.feather_delay + training.leader_headed * p.heading_delay
    return p.bearing_leaf + p.full_bearing * group.stock.precocity + delay + group.grade.crop_delay


def make_traits(block: BlockPlan, p: Physiology) -> Any:
    """Numbers of a block's row groups for the loops over its trees."""
    numbers = [records([group.cultivar for group in block.groups]), records([group.stock for group in block.groups])]
    numbers += [np.array([one(group, p) for group in block.groups], dtype=np.float32) for one in DERIVED]
    return Traits._make(numbers)


def make_place(block: BlockPlan, p: Physiology) -> Place:
    """Land, training shape and light of a block."""
    layout, training = block.layout, block.training
    headed = p.headed_height if training.leader_headed else 1.0
    rivals = 1.0 if training.thick_feathers_cut else p.rival_height
    wall = training.spread_limit <= WALL_DEPTH
    values = (
        layout.row_spacing,
        layout.tree_spacing,
        min(training.spread_limit, p.row_clearance * layout.row_spacing),
        training.canopy_fill,
        alley_slope(round(block.latitude, 2), round(layout.row_direction % 180, 1)),
        block.site_growth * (1 if training.weed_free_strip else 1 - p.weed_cost),
        training.height_limit,
        max(training.spread_limit, layout.tree_spacing) if wall else training.spread_limit,
        p.height_coefficient * headed * rivals,
        np.tan(np.radians(training.leader_lean)),
    )
    return Place(*(np.float32(value) for value in values))
