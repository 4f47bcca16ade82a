"""Numbers of a block as the loops over its trees take them: shared, by row group, and of the place."""

from __future__ import annotations

import dataclasses
from collections import namedtuple
from typing import Any, Final

import numpy as np

from orchardsim.trees.bearing import bearing_share
from orchardsim.trees.light import alley_slope
from orchardsim.trees.parameters import BlockPlan, Cultivar, Physiology, Stock
from orchardsim.trees.training import LEAVES, UNTHINNED, bending_gain, table_by_leaf
from orchardsim.trees.year import Place, Traits

WALL_DEPTH: Final = 0.9
"""m; canopies no deeper are walls trained along their wires and fill their row however far apart the trees stand
(target geometry of walls: depth of canopy at most 0.9 m, read.dmtmag.com/i/123862-may-1/24)."""
NAMES: Final = tuple(field.name for field in dataclasses.fields(Physiology))
Numbers: Any = namedtuple("Numbers", NAMES)  # type: ignore[misc]
"""The shared parameters as float32, in the order of :class:`~orchardsim.trees.parameters.Physiology`."""


def shared_numbers(physiology: Physiology) -> Any:
    """The shared parameters as the loops take them."""
    return Numbers(*(np.float32(getattr(physiology, name)) for name in NAMES))


def growth_vigor(stock: Stock, cultivar: Cultivar, p: Physiology) -> float:
    """Wanted trunk growth over that of Gala on M.9 [1].

    A stock's size is a ratio of trunks after five years; growth compounds, so the ratio of yearly growth is less.
    """
    return stock.size**p.size_exponent * cultivar.vigor


def half_crop(cultivar: Cultivar, p: Physiology) -> float:
    """Crop that halves a cultivar's return bloom [1/cm2], between the annual and the biennial one."""
    return p.half_crop_annual + cultivar.biennial * (p.half_crop_biennial - p.half_crop_annual)


def crop_width(cultivar: Cultivar, p: Physiology) -> float:
    """Width in crop of the fall of a cultivar's return bloom [1/cm2], between the annual and the biennial one."""
    return p.crop_width_annual + cultivar.biennial * (p.crop_width_biennial - p.crop_width_annual)


def unbent_bloom_leaf(block: BlockPlan, p: Physiology) -> np.ndarray:
    """Leaf in which a tree with branches as they grow bears half of full bloom, by row group."""
    training = block.training
    delay = (1 - training.feathers_kept) * p.feather_delay + training.leader_headed * p.heading_delay
    return np.array([p.bearing_leaf + one.stock.precocity + delay + one.grade.crop_delay for one in block.groups])


def make_traits(block: BlockPlan, p: Physiology) -> Traits:
    """Numbers of stock, cultivar and training by row group."""
    training, pairs = block.training, [(one.stock, one.cultivar) for one in block.groups]

    def of(values: Any) -> np.ndarray:
        return np.array(values, dtype=np.float32)

    def by_leaf(values: Any) -> np.ndarray:
        return np.tile(table_by_leaf(values), (len(pairs), 1))

    ages = np.arange(LEAVES + 1.0)
    bent = bending_gain(training.bending_angle, p.bending_gain) * (ages >= training.bending_leaf)
    half = unbent_bloom_leaf(block, p)[:, None]
    pruning = by_leaf(training.pruning)
    pruning[:, 1] = 0  # a tree in its first leaf was cut when it was planted
    return Traits(
        growth_vigor=of([growth_vigor(s, c, p) for s, c in pairs]),
        leaf_vigor=of([c.vigor**p.cultivar_source for _, c in pairs]),
        shoot_habit=of([s.shoots * c.vigor for s, c in pairs]),
        fruit_potential=of([p.fruit_margin * c.fruit_mass_potential for _, c in pairs]),
        colour_need=of([c.colour_need for _, c in pairs]),
        bitter_pit=of([c.bitter_pit for _, c in pairs]),
        half_crop=of([half_crop(c, p) for _, c in pairs]),
        crop_width=of([crop_width(c, p) for _, c in pairs]),
        pruning=pruning,
        stripping=by_leaf(training.blossom_stripped),
        target=np.stack(
            [np.minimum(table_by_leaf(row), UNTHINNED) for row in (one.crop_load_target for one in block.groups)]
        ),
        next_bloom=of(bearing_share(ages + 1, half - bent, p.bearing_rate)),
        next_bloom_unbent=of(bearing_share(ages + 1, half + 0 * bent, p.bearing_rate)),
        pruning_minutes=by_leaf(training.pruning_minutes),
    )


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
    )
    return Place(*(np.float32(value) for value in values))
