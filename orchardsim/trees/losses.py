"""Death of trees by competing hazards, with the cause.

Every living tree faces a hazard per cause and phase; the sum decides by one uniform number whether it dies, the shares
of the sum of what. Trees that barely escape keep lasting harm. What the trees of a block share in a year (weather,
storms, voles, the level of blight) is worked out here per trial and row group; the trees themselves are walked through
by :mod:`orchardsim.trees.loss_kernels`.

Only relative risks are given for supports and unions: build and anchor to local practice.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.competing import COLD_LEVELS, REST_LEVELS, SEASON_LEVELS, LossYear, levels_of
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import COLLAPSES, Float, LossDraws, cut_lognormal_mean
from orchardsim.trees.loss_hazards import tree_hazards
from orchardsim.trees.loss_kernels import (
    DRY_SHARE,
    Losses,
    Spread,
    fill_factors,
    rest_kernel,
    season_kernel,
    winter_injury_kernel,
)
from orchardsim.trees.loss_traits import LossSeason, LossTraits
from orchardsim.trees.state import TreeState


class WornSoil:
    """Lasting patches of wet and worn soil, and what they make of a hazard at each tree.

    Parameters
    ----------
    nodes : float32 array, (trial, node row, node column)
        From :func:`orchardsim.trees.loss_draws.draw_site`.
    """

    def __init__(self, nodes: Float) -> None:
        self.nodes = nodes
        self._known: dict[float, Float] = {}

    def factors(self, hazards: Hazards, traits: LossTraits) -> Float:
        """Multiplier of a hazard, (trial, position) [1]: worked out once."""
        if (found := self._known.get(hazards.patchiness)) is None:
            found = np.empty((len(self.nodes), traits.rows * traits.per_row), np.float32)
            fill_factors(self.nodes, traits.ground, np.float32(hazards.patchiness), _patch_scale(hazards), found)
            self._known[hazards.patchiness] = found
        return found


def rest_losses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    season: LossSeason,
    draws: LossDraws,
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

    """
    found = _nothing_lost(state)
    rest_kernel(
        tree_hazards(hazards), levels_of(REST_LEVELS, LossYear(hazards, traits, season, draws)), traits.ground,
        _patch_scale(hazards), draws.vole_patch, draws.rest, state.alive, state.leaf, state.health,
        state.height, found,
    )  # fmt: skip
    return found


def season_losses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    season: LossSeason,
    draws: LossDraws,
    soil: WornSoil,
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
    soil : WornSoil
    block_leaf : int
        The block's own leaf: a tree in leaf 1 of an older block stands in a gap.
    unsupported : bool array, (trial, position), optional
        Trees whose support should stand by now and does not.
    uncut : array, (trial,), optional
        Share of the trees with uncut strikes of earlier years (:func:`uncut_strikes`).

    """
    year = LossYear(hazards, traits, season, draws, block_leaf, uncut)
    found, alone = _nothing_lost(state), np.zeros_like(state.alive) if unsupported is None else unsupported
    fallen = _collapses(year, state) & ~alone  # no wires, no row that goes down with them
    season_kernel(
        tree_hazards(hazards),
        levels_of(SEASON_LEVELS, year),
        spread_of(
            hazards.blight_spread * (1 - hazards.blight_sanitation), hazards.blight_spread_distance,
            traits.row_spacing, traits.tree_spacing,
        ),
        traits.ground, _patch_scale(hazards), soil.factors(hazards, traits), draws.blight_patch, draws.season,
        state.alive, state.leaf, state.health, state.fruit_dry_mass, state.trunk_area, alone, fallen,
        np.float32(traits.support_leaf), found,
    )  # fmt: skip
    return found


def spread_of(strength: float, distance: float, row_spacing: float, tree_spacing: float) -> Spread:
    """Hazard that a struck tree adds to its neighbours: strength exp(-metres / distance), within 2.5 distances."""
    reach = 2.5 * distance
    rows, trees = (int(reach / spacing) if strength > 0 else 0 for spacing in (row_spacing, tree_spacing))
    across = np.arange(-rows, rows + 1)[:, None] * row_spacing
    along = np.arange(-trees, trees + 1)[None, :] * tree_spacing
    metres = np.hypot(across, along)
    added = np.where((metres > 0) & (metres <= reach), strength * np.exp(-metres / distance), 0.0)
    return Spread(added.astype(np.float32), rows, trees)


def winter_injury(hazards: Hazards, traits: LossTraits, season: LossSeason, draws: LossDraws) -> Float:
    """Share of health that trees in full health lose to a winter they survive, (trial, group)."""
    cold = levels_of(COLD_LEVELS, LossYear(hazards, traits, season, draws))
    injury = np.empty(cold.shape[:2], np.float32)
    winter_injury_kernel(tree_hazards(hazards), np.float32(hazards.cold_injury), cold, injury)
    return injury


def _nothing_lost(state: TreeState) -> Losses:
    shape = state.alive.shape
    return Losses(np.empty(shape, np.int8), np.empty(shape, np.float32), np.zeros(shape, np.bool_))


def _patch_scale(hazards: Hazards) -> np.float32:
    """What brings the mean of the patches' multiplier to 1."""
    return np.float32(1 / cut_lognormal_mean(hazards.patchiness))


def _collapses(year: LossYear, state: TreeState) -> NDArray[np.bool_]:
    """Trees in stretches of row that go down, (trial, position)."""
    hazards, traits, draws = year.hazards, year.traits, year.draws
    fallen = np.zeros(state.alive.shape, dtype=np.bool_)
    if not traits.on_wires or hazards.collapse <= 0:
        return fallen
    length = traits.rows * traits.per_row * traits.tree_spacing / 1000
    posts = (traits.post_spacing / hazards.collapse_reference_spacing) ** 2
    posts *= 1.0 if traits.anchored else hazards.collapse_unanchored
    rate = hazards.collapse * length * posts * year.storm * (0.5 + 0.5 * np.minimum(year.wet.max(axis=1), 3.0))
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
