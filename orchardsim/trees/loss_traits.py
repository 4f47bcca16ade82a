"""What decides the hazards of a block's trees, and what a year brings to all of them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import Float, Index, cut_lognormal_mean, patch_grid
from orchardsim.trees.parameters import BlockPlan
from orchardsim.trees.traits import records

Numbers = NDArray[np.floating]
STORM_LIMIT: Final = 2.5
"""Standard deviations at which the logarithm of storm severity is cut."""
LEVEL_LIMIT: Final = 3.0
"""Standard deviations at which the logarithm of a year's level of a disease is cut."""


class GroundPatches(NamedTuple):
    """Row group of each row, and where a tree stands between the nodes of a patch field.

    By row; then trees per node, and by tree in the row.
    """

    row_group: Index
    row_node: NDArray[np.int32]
    row_here: NDArray[np.float32]
    row_next: NDArray[np.float32]
    cell: int
    tree_here: NDArray[np.float32]
    tree_next: NDArray[np.float32]


@dataclass(frozen=True)
class LossTraits:
    """What decides the hazards of a block's trees; arrays over its row groups unless said.

    Attributes
    ----------
    rows, per_row : int
    row_spacing, tree_spacing, post_spacing : float [m]
        ``post_spacing`` lies between the line posts of the support.
    ground : GroundPatches
    stock, cultivar : records, (group,)
        Their numbers by name: ``stock["crown_rot"]``.
    union_strength : float array, (group,)
        Of stock and scion together.
    replant_sensitivity : float array, (group,)
    transplant : float array, (group,)
        Hazard of the first leaf with water in time.
    support : float array, (group,)
        Breakage relative to trees on wires.
    unsupported : float array, (group,)
        The same before the support stands.
    life : float array, (group,) [leaf]
    support_leaf : int
        Leaf by which the support stands.
    on_wires, anchored, weeds, replant_site, deer_fence : bool
    drainage : str
        "good", "moderate" or "poor".
    water_delay : float [day]
        Days beyond two weeks from planting to first water.
    """

    rows: int
    per_row: int
    row_spacing: float
    tree_spacing: float
    post_spacing: float
    ground: GroundPatches
    stock: NDArray[np.void]
    cultivar: NDArray[np.void]
    union_strength: Float
    replant_sensitivity: Float
    transplant: Float
    support: Float
    unsupported: Float
    life: Float
    support_leaf: int
    on_wires: bool
    anchored: bool
    weeds: bool
    replant_site: bool
    deer_fence: bool
    drainage: str
    water_delay: float


def loss_traits(block: BlockPlan, hazards: Hazards) -> LossTraits:
    """Traits of a block's trees that the hazards ask for."""
    layout, training, groups = block.layout, block.training, block.groups
    stocks = [group.stock for group in groups]

    def by_group(values: Iterable[float]) -> Float:
        return np.array(list(values), dtype=np.float32)

    grid = patch_grid(layout.rows, layout.trees_per_row, layout.row_spacing, layout.tree_spacing)
    alone = [hazards.wind_unsupported ** (1 - one.anchorage) * hazards.wind_free**one.anchorage for one in stocks]
    held = {"wires": 1.0, "stake": hazards.wind_stake}
    return LossTraits(
        rows=layout.rows,
        per_row=layout.trees_per_row,
        row_spacing=layout.row_spacing,
        tree_spacing=layout.tree_spacing,
        post_spacing=block.post_spacing,
        ground=GroundPatches(np.asarray(layout.group, dtype=np.int64), *grid.weights),
        stock=records(stocks),
        cultivar=records([group.cultivar for group in groups]),
        union_strength=by_group(group.stock.union_strength * group.cultivar.union_strength for group in groups),
        replant_sensitivity=by_group(1 - stock.replant_tolerance for stock in stocks),
        transplant=by_group(-math.log1p(-group.grade.transplant_loss) for group in groups),
        support=by_group(held.get(training.support, free) for free in alone),
        unsupported=by_group(alone),
        life=by_group(hazards.life_dwarf + hazards.life_size * stock.nominal_size for stock in stocks),
        support_leaf=training.support_leaf if training.support != "none" else 0,
        on_wires=training.support == "wires",
        anchored=block.anchors_per_row >= 2,
        weeds=not training.weed_free_strip,
        replant_site=block.replant_site,
        deer_fence=block.deer_fence,
        drainage=block.drainage,
        water_delay=max(0.0, training.water_within_days - 14.0),
    )


@dataclass(frozen=True)
class LossSeason:
    """What the season brings to a tile of trials; float arrays, (trial,) or (trial, group).

    Names and units as in :class:`orchardsim.core.handover.SeasonDrivers`; ``transplant_level`` is the hazard of the
    place, and of the trees that came, over the mean.
    """

    winter_temperature_min: NDArray[np.float64]
    soil_temperature_min: NDArray[np.float64]
    acclimation_shortfall: NDArray[np.float64]
    blight_days: NDArray[np.float64]
    wet_soil_days: NDArray[np.float64]
    drought_days: NDArray[np.float64]
    transplant_level: NDArray[np.float64] | float = 1.0


def blight_pressure(hazards: Hazards, blight_days: Numbers, uncut: Numbers | float = 0.0) -> Numbers:
    """Infection pressure of a bloom, 0 to 1, from its infection days, sprays included.

    ``uncut`` is the share of the trees that carry strikes of earlier years [1]: with more cankers about, an infection
    day counts for more; without infection weather they do no harm.
    """
    days = blight_days * (1 + hazards.blight_carry * uncut)
    return (1 - hazards.blight_control) * (1 - np.exp(-days / hazards.blight_days_scale))


def uncut_strikes(hazards: Hazards, struck: Numbers, before: Numbers) -> Numbers:
    """Share of the trees that carry strikes into the next bloom [1]: those struck this year, and before, less the cut.

    ``struck`` and ``before`` [1]: share of the trees struck this year and alive; that carried strikes into this year's
    bloom.
    """
    return (1 - hazards.blight_sanitation) * np.minimum(struck + before, 1)


def blight_level(hazards: Hazards, normal: Numbers) -> Numbers:
    """Level of fire blight at the place in a year over that of a middle year, from a standard normal.

    The level stands for what makes an epidemic of the same infection weather: cankers in the district, the strain,
    sprays that came late. Its tail is heavy: most years bring little, a few take whole young blocks.
    """
    return np.exp(hazards.blight_level_spread * np.clip(normal, -LEVEL_LIMIT, LEVEL_LIMIT))


def storm_factor(hazards: Hazards, normal: Numbers) -> Numbers:
    """Storm severity of a year relative to the mean, from a standard normal."""
    return _about_one(hazards.wind_spread, normal, STORM_LIMIT)


def rot_level(hazards: Hazards, drainage: str, normal: Numbers) -> Numbers:
    """Level of crown rot in a block and year over the mean of years as wet, from a standard normal.

    The level stands for what wet days do not tell: whether water stood about the crowns, and what the ground and the
    nursery's trees carried. All trees of a block share it. Most years bring less than the mean, a few many times as
    much, the more so the better the ground drains: water that seldom stands kills in few years.
    """
    spread = {"good": hazards.crown_rot_spread_drained, "poor": hazards.crown_rot_spread_undrained}
    return _about_one(spread.get(drainage, hazards.crown_rot_spread), normal, LEVEL_LIMIT)


def _about_one(spread: float, normal: Numbers, limit: float) -> Numbers:
    """Lognormal factor with mean 1; ``limit``: standard deviations at which its logarithm is cut."""
    return np.exp(spread * np.clip(normal, -limit, limit)) / cut_lognormal_mean(spread, limit)


def vole_factor(hazards: Hazards, uniform: Numbers) -> Numbers:
    """Voles of a winter relative to the long-run mean: few in most, many in some, 1 on average."""
    chance = hazards.vole_year_chance
    ratio = min(hazards.vole_year_ratio, 1 / chance)
    other = (1 - chance * ratio) / (1 - chance) if chance < 1 else ratio
    return np.where(uniform < chance, ratio, other)
