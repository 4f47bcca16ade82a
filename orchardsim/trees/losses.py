"""Death of trees by competing hazards, with the cause.

Every living tree faces a hazard per cause and phase; the sum decides by one uniform whether it dies, the shares of
the sum decide of what. Most trees are nowhere near death, so bounds on the hazard sum of each trial pick the few
trees whose hazards are worth computing: the result is the same as if all had been.

Only relative risks are given for supports and unions: build and anchor to local practice.
"""

from __future__ import annotations

import functools
import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import CAUSES
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_clustering import Dispersion, dispersion, neighbour_ratio
from orchardsim.trees.loss_draws import (
    COLLAPSES,
    PATCH_LIMIT,
    Float,
    Index,
    LossDraws,
    cut_lognormal_mean,
    draw_losses,
    draw_site,
    patch_factor,
)
from orchardsim.trees.loss_traits import (
    YOUTH_SCALE,
    LossSeason,
    LossTraits,
    Numbers,
    blight_lethality,
    blight_pressure,
    bloom_share,
    cold_hazard,
    loss_traits,
    old_age_hazard,
    storm_factor,
    uncut_strikes,
    vole_factor,
    young_factor,
)
from orchardsim.trees.state import TreeState

__all__ = [
    "CODE",
    "Dispersion",
    "Hazards",
    "LossDraws",
    "LossSeason",
    "LossTraits",
    "SeasonLosses",
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

CODE: Final = {cause: number + 1 for number, cause in enumerate(CAUSES)}
"""Code of a cause in the arrays of this module; 0 is a tree that lives (or was not there)."""
YOUNG_LEAVES: Final = 4
"""Leaves up to which trees are tested against the young trees' bound."""
FIT_HEALTH: Final = 0.7
"""Health below which trees are tested against the bound of trees without any."""
DRY_SHARE: Final = 0.15
"""Dry matter of fresh fruit, for its weight on the tree (memory, medium; the growth model's own share may differ a
little, which is of no account here)."""
ROUNDING: Final = np.float32(1 + 2e-6)
"""Widens a bound by more than float32 rounding, so that it never cuts a tree off."""
LOAD_LIMIT: Final = 4.0
"""kg/cm2 of fruit per trunk, at most, as far as breaking goes."""


class SeasonLosses(NamedTuple):
    """Cause code per tree (int8, 0 = lives) and health lost by trees that live (float32), both (trial, position)."""

    cause: NDArray[np.int8]
    health_loss: Float


def rest_losses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    season: LossSeason,
    draws: LossDraws,
    *,
    leaf_advanced: bool = False,
) -> NDArray[np.int8]:
    """Trees lost between leaf fall and bloom: winter cold, voles, deer, late transplant failure.

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

    Returns
    -------
    int8 array, (trial, position)
        0 for a tree that lives or was not there, else ``CODE`` of the cause.
    """
    cold = _by_group(season.winter_temperature_min, traits).astype(np.float32)
    shortfall = _by_group(season.acclimation_shortfall, traits).astype(np.float32)
    vole_rate = hazards.vole * (hazards.vole_weeds if traits.weeds else 1.0)
    vole_rate *= hazards.vole_guard_share if hazards.vole_guards else 1.0
    voles = (vole_rate * vole_factor(hazards, draws.vole_year)).astype(np.float32)
    deer = hazards.deer * (hazards.deer_fence_share if traits.deer_fence else 1.0)
    transplant = _transplant_factor(hazards, traits, season) * (hazards.transplant_carry * traits.transplant)
    transplant = transplant.astype(np.float32)
    ahead = int(leaf_advanced)

    # grown fit trees, young fit trees, any tree
    lack_most = np.array([1 - FIT_HEALTH, 1 - FIT_HEALTH, 1.0])
    youth = np.array([math.exp(-YOUNG_LEAVES / YOUTH_SCALE), 1.0, 1.0])
    weakness = (hazards.cold_weakness * lack_most + hazards.cold_youth * youth).astype(np.float32)[:, None, None]
    bounds = cold_hazard(hazards, cold, shortfall, traits.hardiness, traits.root_hardiness, weakness).max(axis=-1)
    vole_most = (1 + hazards.frailty * lack_most) * _patch_most(hazards) * (1 + hazards.vole_youth * youth)
    bounds = bounds + vole_most[:, None] * voles + deer
    bounds[1:] += transplant.max(axis=1)
    at = _Trees(traits, state, _candidates(draws.rest, state, bounds, YOUNG_LEAVES + ahead))
    cause = np.zeros(state.alive.shape, dtype=np.int8)
    if not at.flat.size:
        return cause
    t, g = at.trial, at.group
    leaf = at.of(state.leaf) - np.float32(ahead)
    lack = 1 - np.clip(at.of(state.health), 0, 1)
    patch = patch_factor(traits.grid.at(draws.vole_patch, t, at.row, at.column), hazards.patchiness)
    weakness = hazards.cold_weakness * lack + (young_factor(leaf, hazards.cold_youth) - 1)
    rows = {
        "winter_cold": cold_hazard(
            hazards, cold[t, g], shortfall[t, g], traits.hardiness[g], traits.root_hardiness[g], weakness
        ),
        "voles": voles[t] * patch * (1 + hazards.frailty * lack) * young_factor(leaf, hazards.vole_youth),
        "deer": deer * np.exp(-at.of(state.height) / hazards.deer_height),
        "transplant_failure": np.where(leaf == 1, transplant[t, g], np.float32(0)),
    }
    cause.reshape(-1)[at.flat] = _decide(rows, at.of(draws.rest))[0]
    return cause


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
) -> SeasonLosses:
    """Trees lost between bloom and harvest, and the health that fire blight costs those that live.

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

    Returns
    -------
    SeasonLosses
    """
    cause = np.zeros(state.alive.shape, dtype=np.int8)
    health_loss = np.zeros(state.alive.shape, dtype=np.float32)
    risk = _SeasonRisk(hazards, traits, state, season, draws, site, block_leaf, unsupported, uncut)
    at = _Trees(traits, state, risk.candidates(draws.season))
    if risk.blight_at_all and at.flat.size:
        at = risk.sharpen(at, None)
    if not at.flat.size:
        return SeasonLosses(cause, health_loss)
    rows, survivable = risk.hazards_of(at)
    uniform = at.of(draws.season)
    code, total = _decide(rows, uniform)
    flat_cause, flat_loss = cause.reshape(-1), health_loss.reshape(-1)
    flat_cause[at.flat] = code
    struck = (code == 0) & (uniform < -np.expm1(-(total + survivable)))
    flat_loss[at.flat[struck]] = hazards.blight_wood_loss
    sources = at.flat[struck | (code == CODE["fire_blight"])]
    added = _blight_spread(hazards, traits, sources, state.alive.shape)
    if added is None:
        return SeasonLosses(cause, health_loss)
    # What neighbours add comes on top of the same uniform: these trees escaped their own hazards.
    added *= traits.scion_blight.max()
    near = risk.candidates(draws.season - added)
    near = near[(added.reshape(-1)[near] > 0) & (flat_cause[near] == 0)]
    at = risk.sharpen(_Trees(traits, state, near), added)
    more = at.of(added) * (traits.scion_blight / traits.scion_blight.max())[at.group]
    rows, survivable = risk.hazards_of(at)
    total = np.sum([*rows.values()], axis=0)
    uniform = at.of(draws.season)
    lethal = blight_lethality(hazards, at.of(state.leaf).astype(np.float32), traits.stock_blight[at.group])
    dead = uniform < -np.expm1(-(total + more * lethal))
    hurt = ~dead & (uniform < -np.expm1(-(total + survivable + more)))
    flat_cause[at.flat[dead]] = CODE["fire_blight"]
    flat_loss[at.flat[dead]] = 0.0
    flat_loss[at.flat[hurt]] = hazards.blight_wood_loss
    return SeasonLosses(cause, health_loss)


def winter_injury(hazards: Hazards, traits: LossTraits, season: LossSeason) -> Float:
    """Share of health that trees in full health lose to a winter they survive, (trial, group)."""
    cold = _by_group(season.winter_temperature_min, traits)
    shortfall = _by_group(season.acclimation_shortfall, traits)
    hazard = cold_hazard(hazards, cold, shortfall, traits.hardiness, traits.root_hardiness, np.zeros(1))
    return np.minimum(1.0, 2 * hazards.cold_injury * -np.expm1(-hazard)).astype(np.float32)


class _Trees:
    """Chosen trees of a tile: their places, and their values gathered on demand."""

    __slots__ = ("column", "flat", "group", "row", "struck", "trial")

    def __init__(self, traits: LossTraits, state: TreeState, flat: Index) -> None:
        self.flat = flat
        self.struck: Numbers | None = None
        """Hazard of being struck by blight, where it has been computed."""
        # floor_divide by a number is several times faster than divmod
        self.trial = flat // state.alive.shape[1]
        place = flat - self.trial * state.alive.shape[1]
        self.row = place // traits.per_row
        self.column = place - self.row * traits.per_row
        self.group = traits.row_group[self.row]

    def of(self, values: NDArray) -> NDArray:
        """Values of an array (trial, position) at these trees."""
        gathered: NDArray = values.reshape(-1)[self.flat]
        return gathered

    def keep(self, which: NDArray[np.bool_], struck: Numbers) -> None:
        """Drop all trees but some; ``struck`` is for all."""
        self.struck = struck[which]
        for name in ("flat", "trial", "row", "column", "group"):
            setattr(self, name, getattr(self, name)[which])


class _SeasonRisk:
    """Hazards between bloom and harvest of one tile and year: per trial and group, their bounds, and per tree.

    Attributes
    ----------
    bounds : array, (3, trial)
        Most that the hazards can sum to for grown fit trees, young fit trees, and any tree.
    other : array, (2, trial)
        The same without fire blight, for grown fit trees and for any tree.
    """

    def __init__(
        self,
        hazards: Hazards,
        traits: LossTraits,
        state: TreeState,
        season: LossSeason,
        draws: LossDraws,
        site: Float,
        block_leaf: int,
        unsupported: NDArray[np.bool_] | None = None,
        uncut: NDArray[np.float64] | None = None,
    ) -> None:
        self.hazards, self.traits, self.state, self.draws, self.site = hazards, traits, state, draws, site
        self.unsupported = unsupported
        carried = 0.0 if uncut is None else uncut[:, None]
        pressure = blight_pressure(hazards, _by_group(season.blight_days, traits), carried)
        self.strikes = (hazards.blight_strike * pressure * traits.scion_blight).astype(np.float32)
        self.blight_at_all = bool(self.strikes.max() > 0)
        wet = _by_group(season.wet_soil_days, traits) / hazards.crown_rot_wet_days
        self.rot = (hazards.crown_rot * np.minimum(wet, 5.0) * traits.crown_rot).astype(np.float32)
        dry_days = np.maximum(_by_group(season.drought_days, traits) - hazards.drought_free_days, 0.0)
        self.dry = (hazards.drought * dry_days).astype(np.float32)
        storm = storm_factor(hazards, draws.storm)
        self.wind = (storm * hazards.wind).astype(np.float32)
        gap = hazards.transplant_gap if block_leaf > 1 else 1.0
        factor = _transplant_factor(hazards, traits, season)
        self.transplant = (traits.transplant * (gap * (1 - hazards.transplant_carry)) * factor).astype(np.float32)
        ground = 1.0 if traits.replant_site else (hazards.replant_gap if block_leaf > 1 else 0.0)
        self.worn = hazards.replant * traits.replant_sensitivity * ground
        self.fallen = _collapses(hazards, traits, state, draws, storm, wet)
        if self.fallen is not None and unsupported is not None:
            self.fallen &= ~unsupported  # no wires, no row that goes down with them

        # grown fit trees, young fit trees, any tree
        frail = (1 + hazards.frailty * np.array([1 - FIT_HEALTH, 1 - FIT_HEALTH, 1.0])) * _patch_most(hazards)
        youth = np.array([math.exp(-YOUNG_LEAVES / YOUTH_SCALE), 1.0, 1.0])
        fresh = np.array([math.exp(-YOUNG_LEAVES / hazards.replant_age_scale), 1.0, 1.0]) * _patch_most(hazards)
        alone = traits.support_leaf > 1 or unsupported is not None
        held = np.maximum(traits.support, traits.unsupported) if alone else traits.support
        breaks = float((held / traits.union_strength).max())
        breaks *= (1 + hazards.wind_load * LOAD_LIMIT) / (1 + hazards.wind_load * 0.5)
        oldest = np.asarray(state.leaf.max(), dtype=np.float32)
        steady = float(old_age_hazard(hazards, oldest, traits.life).max()) + float(self.worn.max()) * fresh
        other = frail[:, None] * self.rot.max(axis=1) + steady[:, None]
        other += (1 + hazards.wind_youth * youth)[:, None] * breaks * self.wind
        if self.dry.any():
            other += (1 + hazards.drought_youth * youth)[:, None] * self.dry.max(axis=1)
        other[1:] += self.transplant.max(axis=1)
        self.other = other[::2].astype(np.float32)
        self.bounds = other + frail[:, None] * self.strikes.max(axis=1) if self.blight_at_all else other

    def strike(self, at: _Trees) -> Numbers:
        """Hazard of being struck by fire blight from blossoms."""
        hazards = self.hazards
        field = self.traits.grid.at(self.draws.blight_patch, at.trial, at.row, at.column)
        frailty = 1 + hazards.frailty * (1 - np.clip(at.of(self.state.health), 0, 1))
        bloom = bloom_share(hazards, at.of(self.state.leaf).astype(np.float32))
        return self.strikes[at.trial, at.group] * patch_factor(field, hazards.patchiness) * frailty * bloom

    def candidates(self, uniform: Float) -> Index:
        """Trees whose uniform lies within the bounds, and those in stretches of row that went down."""
        chosen = _candidates(uniform, self.state, self.bounds, YOUNG_LEAVES)
        return chosen if self.fallen is None else np.union1d(chosen, np.flatnonzero(self.fallen & self.state.alive))

    def sharpen(self, at: _Trees, added: Float | None) -> _Trees:
        """Of chosen trees those that may be struck or die, now that blight is known by its own patch.

        Blight varies most over the ground, so that this leaves few trees of those within the trial's bounds.
        ``added`` is what neighbours may add, (trial, position).
        """
        state = self.state
        struck = self.strike(at)
        weak = (at.of(state.leaf) <= YOUNG_LEAVES) | (at.of(state.health) < FIT_HEALTH)
        bound = struck + self.other[weak.astype(np.int64), at.trial]
        if added is not None:
            bound += at.of(added)
        within = at.of(self.draws.season) < -np.expm1(-bound) * ROUNDING
        if self.fallen is not None:
            within |= at.of(self.fallen)
        at.keep(within, struck)
        return at

    def hazards_of(self, at: _Trees) -> tuple[dict[str, Numbers], Numbers]:
        """Hazards by cause, and the hazard of being struck by blight and living."""
        hazards, traits, state = self.hazards, self.traits, self.state
        t, g = at.trial, at.group
        leaf = at.of(state.leaf).astype(np.float32)
        frailty = 1 + hazards.frailty * (1 - np.clip(at.of(state.health), 0, 1))
        soil = patch_factor(traits.grid.at(self.site, t, at.row, at.column), hazards.patchiness)
        if at.struck is not None:
            struck = at.struck
        else:
            struck = self.strike(at) if self.blight_at_all else np.zeros_like(leaf)
        lethal = blight_lethality(hazards, leaf, traits.stock_blight[g])
        fruit = at.of(state.fruit_dry_mass) / np.float32(DRY_SHARE)
        load = np.minimum(fruit / np.maximum(at.of(state.trunk_area), np.float32(0.5)), np.float32(LOAD_LIMIT))
        alone = leaf < traits.support_leaf
        if self.unsupported is not None:
            alone |= at.of(self.unsupported)
        held = np.where(alone, traits.unsupported[g], traits.support[g]) / traits.union_strength[g]
        load_factor = (1 + hazards.wind_load * load) / (1 + hazards.wind_load * 0.5)
        rows = {
            "crown_rot": self.rot[t, g] * soil * frailty,
            "wind": self.wind[t] * held * load_factor * young_factor(leaf, hazards.wind_youth),
            "old_age": old_age_hazard(hazards, leaf, traits.life[g]),
        }
        # Causes that are nowhere at work this season are left out: a hazard of 0 changes nothing.
        if self.blight_at_all:
            rows["fire_blight"] = struck * lethal
        first = leaf == 1
        if first.any():
            rows["transplant_failure"] = np.where(first, self.transplant[t, g], np.float32(0))
        if self.worn.any():
            fade = np.exp((1 - leaf) / np.float32(hazards.replant_age_scale))
            rows["replant_disease"] = self.worn[g] * soil * fade
        if self.dry.any():
            rows["drought"] = self.dry[t, g] * young_factor(leaf, hazards.drought_youth)
        if self.fallen is not None:
            gone = np.float32(-math.log1p(-hazards.collapse_kill))
            rows["row_collapse"] = np.where(at.of(self.fallen), gone, np.float32(0))
        return rows, struck * (1 - lethal)


def _candidates(uniform: Float, state: TreeState, bounds: Numbers, young_leaves: int) -> Index:
    """Flat numbers of living trees whose uniform lies below the bound for grown fit, young fit or weak trees."""
    grown, young, weak = (-np.expm1(-bounds) * ROUNDING).astype(np.float32)[:, :, None]
    chosen = uniform < grown
    other = state.leaf <= young_leaves
    other &= uniform < young
    chosen |= other
    np.less(state.health, FIT_HEALTH, out=other)
    other &= uniform < weak
    chosen |= other
    chosen &= state.alive
    return np.flatnonzero(chosen)


def _decide(rows: dict[str, Numbers], uniform: Float) -> tuple[NDArray[np.int8], Numbers]:
    """Cause code (0 = lives) and hazard sum: the sum decides whether, the shares of it what of."""
    causes = np.array([CODE[name] for name in rows], dtype=np.int8)
    summed = np.cumsum(np.stack([*rows.values()]), axis=0)
    total = summed[-1]
    death = -np.expm1(-total)
    code = np.zeros(uniform.shape, dtype=np.int8)
    dead = np.flatnonzero(uniform < death)
    where = uniform[dead] / death[dead] * total[dead]
    kind = np.minimum((summed[:, dead] <= where).sum(axis=0), causes.size - 1)
    code[dead] = causes[kind]
    return code, total


def _by_group(values: Numbers, traits: LossTraits) -> NDArray[np.float64]:
    """(trial, group) of a season field given by trial or by trial and group."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 1:
        array = array[:, None]
    return array if array.shape[1] == traits.hardiness.size else array.repeat(traits.hardiness.size, axis=1)


@functools.lru_cache(maxsize=64)
def _patch_most(hazards: Hazards) -> float:
    """Largest multiplier that a patch gives."""
    return math.exp(hazards.patchiness * PATCH_LIMIT) / cut_lognormal_mean(hazards.patchiness)


def _transplant_factor(hazards: Hazards, traits: LossTraits, season: LossSeason) -> NDArray[np.float64]:
    """Transplant failure relative to trees watered in time in a season without drought, (trial, group)."""
    days = _by_group(season.drought_days, traits)
    return np.asarray((1 + hazards.transplant_delay * traits.water_delay) * (1 + hazards.transplant_drought * days))


def _collapses(
    hazards: Hazards, traits: LossTraits, state: TreeState, draws: LossDraws, storm: Numbers, wet: Numbers
) -> NDArray[np.bool_] | None:
    """Trees in stretches of row that go down, (trial, position); None where none does."""
    if not traits.on_wires or hazards.collapse <= 0:
        return None
    length = traits.rows * traits.per_row * traits.tree_spacing / 1000
    posts = (traits.post_spacing / hazards.collapse_reference_spacing) ** 2
    posts *= 1.0 if traits.anchored else hazards.collapse_unanchored
    rate = hazards.collapse * length * posts * storm * (0.5 + 0.5 * np.minimum(wet.max(axis=1), 3.0))
    # The load enters as its square and is cut at twice the design load: 4 bounds the factor.
    possible = np.argwhere(draws.collapse[:, :, 0] < -np.expm1(-rate * 4 / COLLAPSES)[:, None])
    fallen: NDArray[np.bool_] | None = None
    for trial, slot in possible.tolist():
        happens, which, where, how_long = draws.collapse[trial, slot]
        row = min(int(which * traits.rows), traits.rows - 1)
        first = row * traits.per_row
        fruit = float(state.fruit_dry_mass[trial, first : first + traits.per_row].sum(dtype=np.float64)) / DRY_SHARE
        load = fruit / (traits.per_row * traits.tree_spacing) / hazards.collapse_load
        if happens >= -math.expm1(-rate[trial] * min(load, 2.0) ** 2 / COLLAPSES):
            continue
        trees = max(1, round(hazards.collapse_length * (0.2 + 0.8 * how_long) / traits.tree_spacing))
        start = int(where * max(1, traits.per_row - trees + 1))
        if fallen is None:
            fallen = np.zeros(state.alive.shape, dtype=np.bool_)
        fallen[trial, first + start : first + min(start + trees, traits.per_row)] = True
    return fallen


def _blight_spread(
    hazards: Hazards, traits: LossTraits, sources: Index, shape: tuple[int, ...]
) -> NDArray[np.float32] | None:
    """Hazard that struck trees add to their neighbours, before these trees' own susceptibility; None where none."""
    strength = hazards.blight_spread * (1 - hazards.blight_sanitation)
    if not sources.size or strength <= 0:
        return None
    added = np.zeros(shape, dtype=np.float32)
    flat = added.reshape(-1)
    reach = 2.5 * hazards.blight_spread_distance
    row = sources % shape[1] // traits.per_row
    column = sources % traits.per_row
    rows_reached, trees_reached = int(reach / traits.row_spacing), int(reach / traits.tree_spacing)
    within_row = [
        (along, (column + along >= 0) & (column + along < traits.per_row))
        for along in range(-trees_reached, trees_reached + 1)
    ]
    for across in range(-rows_reached, rows_reached + 1):
        inside = (row + across >= 0) & (row + across < traits.rows)
        for along, within in within_row:
            distance = math.hypot(across * traits.row_spacing, along * traits.tree_spacing)
            if not 0 < distance <= reach:
                continue
            # Each source has one target at this offset, so that plain indexing adds every hit once.
            target = sources[within & inside if across else within] + (across * traits.per_row + along)
            flat[target] += np.float32(strength * math.exp(-distance / hazards.blight_spread_distance))
    return added
