"""What decides the hazards of a block's trees, and what a year brings to all of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import Float, Index, cut_lognormal_mean, patch_grid
from orchardsim.trees.loss_kernels import GroundPatches
from orchardsim.trees.parameters import BlockPlan

Numbers = NDArray[np.floating]
STORM_LIMIT: Final = 2.5
"""Standard deviations at which the logarithm of storm severity is cut."""
LEVEL_LIMIT: Final = 3.0
"""Standard deviations at which the logarithm of a year's level of blight is cut."""


@dataclass(frozen=True)
class LossTraits:
    """What decides the hazards of a block's trees; arrays over its row groups unless said.

    Attributes
    ----------
    rows, per_row : int
    ground : GroundPatches
    row_group : int array, (row,)
    scion_blight, stock_blight, crown_rot, replant_sensitivity, union_strength, life : float arrays, (group,)
        ``life`` in leaves; ``union_strength`` of stock and scion together.
    hardiness, root_hardiness : float array, (group,) [degC]
    early_hardening : float array, (group,) [K]
    woolly_aphid, burr_knots : float array, (group,)
        Over those of M.9.
    transplant : float array, (group,)
        Hazard of the first leaf with water in time.
    support : float array, (group,)
        Breakage relative to trees on wires.
    on_wires, anchored, weeds, replant_site, deer_fence : bool
    post_spacing : float [m]
        Distance between the line posts of the support.
    unsupported : float array, (group,)
        The same before the support stands.
    support_leaf : int
        Leaf by which the support stands.
    drainage : str
        "good", "moderate" or "poor".
    water_delay : float [day]
        Days beyond two weeks from planting to first water.
    """

    rows: int
    per_row: int
    row_spacing: float
    tree_spacing: float
    ground: GroundPatches
    row_group: Index
    scion_blight: Float
    stock_blight: Float
    crown_rot: Float
    replant_sensitivity: Float
    hardiness: Float
    root_hardiness: Float
    early_hardening: Float
    woolly_aphid: Float
    burr_knots: Float
    union_strength: Float
    transplant: Float
    support: Float
    unsupported: Float
    support_leaf: int
    life: Float
    on_wires: bool
    anchored: bool
    post_spacing: float
    deer_fence: bool
    weeds: bool
    replant_site: bool
    drainage: str
    water_delay: float


def loss_traits(block: BlockPlan, hazards: Hazards) -> LossTraits:
    """Traits of a block's trees that the hazards ask for."""
    layout, training = block.layout, block.training
    stocks, cultivars, grades = zip(*((one.stock, one.cultivar, one.grade) for one in block.groups), strict=True)

    def by_group(values: list[float]) -> Float:
        return np.array(values, dtype=np.float32)

    grid = patch_grid(layout.rows, layout.trees_per_row, layout.row_spacing, layout.tree_spacing)
    alone = [hazards.wind_unsupported ** (1 - one.anchorage) * hazards.wind_free**one.anchorage for one in stocks]
    held = {"wires": 1.0, "stake": hazards.wind_stake}
    support = [held.get(training.support, free) for free in alone]
    return LossTraits(
        rows=layout.rows,
        per_row=layout.trees_per_row,
        row_spacing=layout.row_spacing,
        tree_spacing=layout.tree_spacing,
        ground=GroundPatches(*grid.weights),
        row_group=np.asarray(layout.group, dtype=np.int64),
        scion_blight=by_group([cultivar.fire_blight for cultivar in cultivars]),
        stock_blight=by_group([stock.fire_blight for stock in stocks]),
        crown_rot=by_group([stock.crown_rot for stock in stocks]),
        replant_sensitivity=by_group([1 - stock.replant_tolerance for stock in stocks]),
        hardiness=by_group([cultivar.hardiness for cultivar in cultivars]),
        root_hardiness=by_group([stock.root_hardiness for stock in stocks]),
        early_hardening=by_group([stock.early_hardening for stock in stocks]),
        woolly_aphid=by_group([stock.woolly_aphid for stock in stocks]),
        burr_knots=by_group([stock.burr_knots for stock in stocks]),
        union_strength=by_group(
            [stock.union_strength * cultivar.union_strength for stock, cultivar in zip(stocks, cultivars, strict=True)]
        ),
        transplant=by_group([-math.log1p(-grade.transplant_loss) for grade in grades]),
        support=by_group(support),
        unsupported=by_group(alone),
        support_leaf=training.support_leaf if training.support != "none" else 0,
        life=by_group([hazards.life_dwarf + hazards.life_vigor * stock.vigor for stock in stocks]),
        on_wires=training.support == "wires",
        anchored=block.anchors_per_row >= 2,
        post_spacing=block.post_spacing,
        deer_fence=block.deer_fence,
        weeds=not training.weed_free_strip,
        replant_site=block.replant_site,
        drainage=block.drainage,
        water_delay=max(0.0, training.water_within_days - 14.0),
    )


@dataclass(frozen=True)
class LossSeason:
    """What the season brings to a tile of trials; float arrays, (trial,) or (trial, group).

    Names and units as in :class:`orchardsim.core.handover.SeasonDrivers`.
    """

    winter_temperature_min: NDArray[np.float64]
    soil_temperature_min: NDArray[np.float64]
    acclimation_shortfall: NDArray[np.float64]
    blight_days: NDArray[np.float64]
    wet_soil_days: NDArray[np.float64]
    drought_days: NDArray[np.float64]


def blight_pressure(hazards: Hazards, blight_days: Numbers, uncut: Numbers | float = 0.0) -> Numbers:
    """Infection pressure of a bloom, 0 to 1, from its infection days, sprays included.

    ``uncut`` is the share of the trees that carry strikes of earlier years [1]: with more cankers about, an infection
    day counts for more; without infection weather they do no harm.
    """
    days = blight_days * (1 + hazards.blight_carry * uncut)
    return (1 - hazards.blight_control) * (1 - np.exp(-days / hazards.blight_days_scale))


def uncut_strikes(hazards: Hazards, struck: Numbers, before: Numbers) -> Numbers:
    """Share of the trees that carry strikes into the next bloom [1]: those struck this year, and before, less the cut.

    Parameters
    ----------
    struck, before : arrays [1]
        Share of the trees struck this year and alive; that carried strikes into this year's bloom.
    """
    return (1 - hazards.blight_sanitation) * np.minimum(struck + before, 1)


def blight_level(hazards: Hazards, normal: Numbers) -> Numbers:
    """Level of fire blight at the place in a year over that of a middle year, from a standard normal.

    The level stands for what makes an epidemic of the same infection weather: cankers in the district, the strain,
    sprays that came late. Its tail is heavy: most years bring little, a few take whole young blocks.
    """
    return np.exp(hazards.blight_level_spread * np.clip(normal, -LEVEL_LIMIT, LEVEL_LIMIT))


def storm_factor(hazards: Hazards, storm: Numbers) -> Numbers:
    """Storm severity of a year relative to the mean, from a standard normal."""
    spread = hazards.wind_spread
    severity = np.exp(spread * np.clip(storm, -STORM_LIMIT, STORM_LIMIT))
    return severity / cut_lognormal_mean(spread, STORM_LIMIT)


def vole_factor(hazards: Hazards, uniform: Numbers) -> Numbers:
    """Voles of a winter relative to the long-run mean: few in most, many in some, 1 on average."""
    chance = hazards.vole_year_chance
    ratio = min(hazards.vole_year_ratio, 1 / chance)
    other = (1 - chance * ratio) / (1 - chance) if chance < 1 else ratio
    return np.where(uniform < chance, ratio, other)
