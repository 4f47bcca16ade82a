"""Death of trees by competing hazards, with the cause.

Every living tree faces a hazard per cause and phase; the sum decides by one uniform number whether it dies, the shares
of the sum of what. Trees that barely escape keep lasting harm. What the trees of a block share in a year (weather,
storms, voles, the level of blight) is worked out here per trial and row group; the trees themselves are walked through
by :mod:`orchardsim.trees.loss_kernels`.

Only relative risks are given for supports and unions: build and anchor to local practice.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_clustering import Dispersion, dispersion, neighbour_ratio
from orchardsim.trees.loss_draws import COLLAPSES, Float, LossDraws, cut_lognormal_mean, draw_losses, draw_site
from orchardsim.trees.loss_hazards import tree_hazards
from orchardsim.trees.loss_kernels import (
    CODE,
    DRY_SHARE,
    RestRates,
    SeasonRates,
    collapse_hazard,
    rest_kernel,
    season_kernel,
    spread_of,
    winter_injury_kernel,
)
from orchardsim.trees.loss_traits import (
    LossSeason,
    LossTraits,
    Numbers,
    blight_level,
    blight_pressure,
    loss_traits,
    storm_factor,
    uncut_strikes,
    vole_factor,
)
from orchardsim.trees.state import TreeState

__all__ = [
    "CODE",
    "Dispersion",
    "Hazards",
    "LossDraws",
    "LossSeason",
    "LossTraits",
    "Losses",
    "dispersion",
    "draw_losses",
    "draw_site",
    "loss_traits",
    "neighbour_ratio",
    "rest_losses",
    "season_losses",
    "uncut_strikes",
    "winter_injury",
]


class Losses(NamedTuple):
    """What becomes of the trees in a phase; arrays (trial, position).

    Attributes
    ----------
    cause : int8
        0 for a tree that lives or was not there, else ``CODE`` of the cause.
    health_loss : float32 [1]
        Share of its health that a tree which lives loses.
    struck : bool
        Struck by fire blight, and lives.
    """

    cause: NDArray[np.int8]
    health_loss: Float
    struck: NDArray[np.bool_]


def rest_losses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    season: LossSeason,
    draws: LossDraws,
    *,
    leaf_advanced: bool = False,
) -> Losses:
    """Trees lost between leaf fall and bloom: winter cold, voles, deer, trunk injury, late transplant failure.

    Parameters
    ----------
    hazards : Hazards
    traits : LossTraits
    state : TreeState
        Arrays (trial, position); ``leaf`` is the last season that the tree has grown through.
    season : LossSeason
    draws : LossDraws
    leaf_advanced : bool
        True where ``leaf`` already counts the season to come.

    """
    shape = (state.alive.shape[0], traits.hardiness.size)
    guarded = hazards.vole_guards
    vole_rate = hazards.vole * (hazards.vole_weeds if traits.weeds else 1.0)
    vole_rate *= hazards.vole_guard_share if guarded else 1.0
    carried = hazards.transplant_carry * traits.transplant
    rates = RestRates(
        cold=_by_group(_of_trials(season.winter_temperature_min), shape),
        soil=_by_group(_of_trials(season.soil_temperature_min), shape),
        shortfall=_by_group(_of_trials(season.acclimation_shortfall) - traits.early_hardening, shape),
        hardiness=_by_group(traits.hardiness, shape),
        root_hardiness=_by_group(traits.root_hardiness, shape),
        voles=_by_group(vole_rate * vole_factor(hazards, draws.vole_year)[:, None], shape),
        deer=_by_group(hazards.deer * (hazards.deer_fence_share if traits.deer_fence else 1.0), shape),
        trunk_injury=_by_group(
            hazards.trunk_injury
            * (hazards.trunk_guard_share if guarded else 1.0)
            * (1 - hazards.burr_knot_share * (1 - traits.burr_knots)),
            shape,
        ),
        transplant=_by_group(_transplant_factor(hazards, traits, season) * carried, shape),
    )
    found = _nothing_lost(state)
    rest_kernel(
        tree_hazards(hazards), rates, traits.ground, traits.row_group, _patch_scale(hazards), draws.vole_patch,
        draws.rest, state.alive, state.leaf, state.health, state.height, np.float32(leaf_advanced), found,
    )  # fmt: skip
    return found


def season_losses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    season: LossSeason,
    draws: LossDraws,
    site: Float,
    block_leaf: int = 1,
    unsupported: NDArray[np.bool_] | None = None,
    uncut: NDArray[np.float64] | None = None,
) -> Losses:
    """Trees lost between bloom and harvest, and the health that blight and narrow escapes cost those that live.

    Parameters
    ----------
    hazards : Hazards
    traits : LossTraits
    state : TreeState
        Arrays (trial, position); ``leaf`` is the running season, ``fruit_dry_mass`` the fruit now on the tree.
    season : LossSeason
    draws : LossDraws
    site : float32 array, (trial, node row, node column)
        Lasting patches of wet and worn soil (:func:`orchardsim.trees.loss_draws.draw_site`).
    block_leaf : int
        The block's own leaf: a tree in leaf 1 of an older block stands in a gap.
    unsupported : bool array, (trial, position), optional
        Trees whose support should stand by now and does not.
    uncut : array, (trial,), optional
        Share of the trees with uncut strikes of earlier years (:func:`uncut_strikes`).

    """
    shape = (state.alive.shape[0], traits.hardiness.size)
    wet = _of_trials(season.wet_soil_days) / hazards.crown_rot_wet_days
    storm = storm_factor(hazards, draws.storm)
    found, alone = _nothing_lost(state), np.zeros_like(state.alive) if unsupported is None else unsupported
    fallen = _collapses(hazards, traits, state, draws, storm, wet)
    fallen &= ~alone  # no wires, no row that goes down with them
    season_kernel(
        tree_hazards(hazards),
        _season_rates(hazards, traits, season, draws, block_leaf, uncut, wet, storm, shape),
        spread_of(
            hazards.blight_spread * (1 - hazards.blight_sanitation), hazards.blight_spread_distance,
            traits.row_spacing, traits.tree_spacing,
        ),
        traits.ground, traits.row_group, _patch_scale(hazards), site, draws.blight_patch, draws.season,
        state.alive, state.leaf, state.health, state.fruit_dry_mass, state.trunk_area, alone, fallen,
        np.float32(traits.support_leaf), collapse_hazard(hazards.collapse_kill), found,
    )  # fmt: skip
    return found


def winter_injury(hazards: Hazards, traits: LossTraits, season: LossSeason) -> Float:
    """Share of health that trees in full health lose to a winter they survive, (trial, group)."""
    shape = (len(season.winter_temperature_min), traits.hardiness.size)
    injury = np.empty(shape, np.float32)
    winter_injury_kernel(
        tree_hazards(hazards),
        np.float32(hazards.cold_injury),
        _by_group(_of_trials(season.winter_temperature_min), shape),
        _by_group(_of_trials(season.soil_temperature_min), shape),
        _by_group(_of_trials(season.acclimation_shortfall) - traits.early_hardening, shape),
        _by_group(traits.hardiness, shape),
        _by_group(traits.root_hardiness, shape),
        injury,
    )
    return injury


def _season_rates(
    hazards: Hazards,
    traits: LossTraits,
    season: LossSeason,
    draws: LossDraws,
    block_leaf: int,
    uncut: NDArray[np.float64] | None,
    wet: Numbers,
    storm: Numbers,
    shape: tuple[int, int],
) -> SeasonRates:
    """What the trees of each trial and row group face, before their own size and place."""
    carried = 0.0 if uncut is None else uncut[:, None]
    pressure = blight_pressure(hazards, _of_trials(season.blight_days), carried)
    level = blight_level(hazards, draws.blight_year)[:, None]
    drainage = {"good": hazards.crown_rot_drained, "poor": hazards.crown_rot_undrained}.get(traits.drainage, 1.0)
    dry_days = np.maximum(_of_trials(season.drought_days) - hazards.drought_free_days, 0.0)
    gap = hazards.transplant_gap if block_leaf > 1 else 1.0
    planting = gap * (1 - hazards.transplant_carry) * traits.transplant
    ground = 1.0 if traits.replant_site else (hazards.replant_gap if block_leaf > 1 else 0.0)
    return SeasonRates(
        strikes=_by_group(hazards.blight_strike * level * pressure * traits.scion_blight, shape),
        rot=_by_group(hazards.crown_rot * drainage * np.minimum(wet, 5.0) * traits.crown_rot, shape),
        drought=_by_group(hazards.drought * dry_days, shape),
        wind=_by_group(storm[:, None] * hazards.wind, shape),
        transplant=_by_group(planting * _transplant_factor(hazards, traits, season), shape),
        worn=_by_group(hazards.replant * ground * traits.replant_sensitivity, shape),
        life=_by_group(traits.life, shape),
        aphids=_by_group(hazards.woolly_aphid * traits.woolly_aphid, shape),
        stock_blight=_by_group(traits.stock_blight, shape),
        scion_blight=_by_group(traits.scion_blight, shape),
        held=_by_group(traits.support / traits.union_strength, shape),
        alone=_by_group(traits.unsupported / traits.union_strength, shape),
    )


def _nothing_lost(state: TreeState) -> Losses:
    shape = state.alive.shape
    return Losses(np.empty(shape, np.int8), np.empty(shape, np.float32), np.zeros(shape, np.bool_))


def _of_trials(values: Numbers) -> NDArray[np.float64]:
    """(trial, group or 1) of a season field given by trial or by trial and group."""
    array = np.asarray(values, dtype=np.float64)
    return array[:, None] if array.ndim == 1 else array


def _by_group(values: Numbers | float, shape: tuple[int, int]) -> Float:
    """Float32 array (trial, group) of a value that may miss one of them, or both."""
    return np.ascontiguousarray(np.broadcast_to(np.asarray(values, dtype=np.float32), shape))


def _patch_scale(hazards: Hazards) -> np.float32:
    """What brings the mean of the patches' multiplier to 1."""
    return np.float32(1 / cut_lognormal_mean(hazards.patchiness))


def _transplant_factor(hazards: Hazards, traits: LossTraits, season: LossSeason) -> NDArray[np.float64]:
    """Transplant failure relative to trees watered in time in a season without drought, (trial, group or 1)."""
    days = _of_trials(season.drought_days)
    return np.asarray((1 + hazards.transplant_delay * traits.water_delay) * (1 + hazards.transplant_drought * days))


def _collapses(
    hazards: Hazards, traits: LossTraits, state: TreeState, draws: LossDraws, storm: Numbers, wet: Numbers
) -> NDArray[np.bool_]:
    """Trees in stretches of row that go down, (trial, position)."""
    fallen = np.zeros(state.alive.shape, dtype=np.bool_)
    if not traits.on_wires or hazards.collapse <= 0:
        return fallen
    length = traits.rows * traits.per_row * traits.tree_spacing / 1000
    posts = (traits.post_spacing / hazards.collapse_reference_spacing) ** 2
    posts *= 1.0 if traits.anchored else hazards.collapse_unanchored
    rate = hazards.collapse * length * posts * storm * (0.5 + 0.5 * np.minimum(wet.max(axis=1), 3.0))
    # The load enters as its square and is cut at twice the design load: 4 bounds the factor.
    possible = np.argwhere(draws.collapse[:, :, 0] < -np.expm1(-rate * 4 / COLLAPSES)[:, None])
    for trial, slot in possible.tolist():
        happens, which, where, how_long = draws.collapse[trial, slot]
        row = min(int(which * traits.rows), traits.rows - 1)
        first = row * traits.per_row
        fruit = float(state.fruit_dry_mass[trial, first : first + traits.per_row].sum(dtype=np.float64)) / DRY_SHARE
        load = fruit / (traits.per_row * traits.tree_spacing) / hazards.collapse_load
        if happens >= -math.expm1(-rate[trial] * min(float(load), 2.0) ** 2 / COLLAPSES):
            continue
        trees = max(1, round(hazards.collapse_length * (0.2 + 0.8 * how_long) / traits.tree_spacing))
        start = int(where * max(1, traits.per_row - trees + 1))
        fallen[trial, first + start : first + min(start + trees, traits.per_row)] = True
    return fallen
