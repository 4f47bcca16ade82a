"""What decides a tree's hazards, and the hazard of each single cause as a pure function of arrays of one shape."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import Float, Index, PatchGrid, cut_lognormal_mean, patch_grid
from orchardsim.trees.parameters import BlockPlan

Numbers = NDArray[np.floating]
STORM_LIMIT: Final = 2.5
"""Standard deviations at which the logarithm of storm severity is cut."""
YOUTH_SCALE: Final = 3.0
"""Leaves over which the extra hazards of young trees fall to 37 % (assumption)."""


@dataclass(frozen=True)
class LossTraits:
    """What decides the hazards of a block's trees; arrays over its row groups unless said.

    Attributes
    ----------
    rows, per_row : int
    grid : PatchGrid
    row_group : int array, (row,)
    scion_blight, stock_blight, crown_rot, replant_sensitivity, union_strength, life : float arrays, (group,)
        ``life`` in leaves; ``union_strength`` of stock and scion together.
    hardiness, root_hardiness : float array, (group,) [degC]
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
    water_delay : float [day]
        Days beyond two weeks from planting to first water.
    """

    rows: int
    per_row: int
    row_spacing: float
    tree_spacing: float
    grid: PatchGrid
    row_group: Index
    scion_blight: Float
    stock_blight: Float
    crown_rot: Float
    replant_sensitivity: Float
    hardiness: Float
    root_hardiness: Float
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
    water_delay: float


def loss_traits(block: BlockPlan, hazards: Hazards) -> LossTraits:
    """Traits of a block's trees that the hazards ask for."""
    layout, training = block.layout, block.training
    stocks, cultivars, grades = zip(*((one.stock, one.cultivar, one.grade) for one in block.groups), strict=True)

    def by_group(values: list[float]) -> Float:
        return np.array(values, dtype=np.float32)

    alone = [hazards.wind_unsupported if stock.needs_support else hazards.wind_free for stock in stocks]
    held = {"wires": 1.0, "stake": hazards.wind_stake}
    support = [held.get(training.support, free) for free in alone]
    return LossTraits(
        rows=layout.rows,
        per_row=layout.trees_per_row,
        row_spacing=layout.row_spacing,
        tree_spacing=layout.tree_spacing,
        grid=patch_grid(layout.rows, layout.trees_per_row, layout.row_spacing, layout.tree_spacing),
        row_group=np.asarray(layout.group, dtype=np.int64),
        scion_blight=by_group([cultivar.fire_blight for cultivar in cultivars]),
        stock_blight=by_group([stock.fire_blight for stock in stocks]),
        crown_rot=by_group([stock.crown_rot for stock in stocks]),
        replant_sensitivity=by_group([1 - stock.replant_tolerance for stock in stocks]),
        hardiness=by_group([cultivar.hardiness for cultivar in cultivars]),
        root_hardiness=by_group([stock.root_hardiness for stock in stocks]),
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
        water_delay=max(0.0, training.water_within_days - 14.0),
    )


@dataclass(frozen=True)
class LossSeason:
    """What the season brings to a tile of trials; float arrays, (trial,) or (trial, group).

    Names and units as in :class:`orchardsim.core.handover.SeasonDrivers`.
    """

    winter_temperature_min: NDArray[np.float64]
    acclimation_shortfall: NDArray[np.float64]
    blight_days: NDArray[np.float64]
    wet_soil_days: NDArray[np.float64]
    drought_days: NDArray[np.float64]


def young_factor(leaf: Numbers, extra: float, scale: float = YOUTH_SCALE) -> Numbers:
    """1 plus ``extra`` in leaf 1, falling by e every ``scale`` leaves."""
    return 1 + np.float32(extra) * np.exp((1 - leaf) / np.float32(scale))


ONSET: Final = math.log(19)
"""Widths between the temperature that kills one tree in twenty and the one that kills half (logistic)."""


def soft_hazard(excess: Numbers) -> Numbers:
    """Hazard that kills the logistic share 1/(1 + exp(-excess)): ln(1 + exp(excess)).

    Examples
    --------
    >>> float(1 - np.exp(-soft_hazard(np.array(0.0))))
    0.5
    """
    # exp cannot overflow: above 30 the hazard is the excess itself, to seven digits
    return np.log1p(np.exp(np.minimum(excess, 30))) + np.maximum(excess - 30, 0)


def cold_hazard(
    hazards: Hazards,
    winter_temperature_min: Numbers,
    acclimation_shortfall: Numbers,
    hardiness: Numbers,
    root_hardiness: Numbers,
    weakness: Numbers,
) -> Numbers:
    """Hazard by winter cold: wood in midwinter, wood not yet hardened, and roots.

    Parameters
    ----------
    winter_temperature_min, hardiness, root_hardiness : arrays [degC]
    acclimation_shortfall, weakness : arrays [K]
        ``weakness`` is the hardiness that the tree lacks.

    Notes
    -----
    Each route kills a logistic share about its own temperature; a tree that escapes one may fall to another, so
    their hazards add. ``hardiness`` is where killing of hardened wood sets in: one tree in twenty dies at it, half
    3 widths below. Commercial cultivars are injured from -35 to -40 degC on, and grown to where the mean yearly
    minimum is -34 degC (Quamme 1976, Can. J. Plant Sci. 56:493). ``root_hardiness`` kills half: root LT50 by stock in
    Moran et al. (2011), HortScience 46:1460.
    """
    width, root_width = np.float32(hazards.cold_width), np.float32(hazards.root_width)
    wood = soft_hazard((hardiness + weakness - winter_temperature_min) / width - ONSET)
    early = soft_hazard((acclimation_shortfall + weakness - hazards.acclimation_kill) / width)
    soil = np.minimum(0, hazards.root_cold_share * winter_temperature_min)
    roots = soft_hazard((root_hardiness + 0.2 * weakness - soil) / root_width)
    return wood + early + roots


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


def blight_lethality(hazards: Hazards, leaf: Numbers, stock_blight: Numbers) -> Numbers:
    """Share of struck trees that die of the strike."""
    share = hazards.blight_lethal_scion + hazards.blight_lethal_stock * stock_blight
    return np.minimum(share * np.exp((1 - leaf) / np.float32(hazards.blight_age_scale)), 1)


def bloom_share(hazards: Hazards, leaf: Numbers) -> Numbers:
    """Bloom open to infection, as a share of a grown tree's, by leaf."""
    return 1 - np.exp2(-np.maximum(leaf - np.float32(0.5), 0) / np.float32(hazards.blight_first_bloom))


def old_age_hazard(hazards: Hazards, leaf: Numbers, life: Numbers) -> Numbers:
    """Hazard that grows exponentially with age (Gompertz form), at most 2."""
    return np.minimum(hazards.old_age * np.exp((leaf - life) / np.float32(hazards.old_age_scale)), 2)


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
