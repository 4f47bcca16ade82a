"""Death of trees by competing hazards, with the cause.

Every living tree faces a hazard per cause and phase; the sum decides by one uniform whether it dies, the shares of
the sum decide of what. Most trees are nowhere near death, so a bound on each trial's hazard sum picks the few trees
whose hazards are worth computing: the result is the same as if all had been.

Only relative risks are given for supports and unions: build and anchor to local practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import CAUSES
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import (
    COLLAPSES,
    PATCH_LIMIT,
    Float,
    Index,
    LossDraws,
    PatchGrid,
    cut_lognormal_mean,
    patch_factor,
    patch_grid,
)
from orchardsim.trees.parameters import BlockPlan
from orchardsim.trees.state import TreeState

CODE: Final = {cause: number + 1 for number, cause in enumerate(CAUSES)}
"""Code of a cause in the arrays of this module; 0 is a tree that lives (or was not there)."""
YOUNG_LEAVES: Final = 4
"""Leaves up to which trees are tested against the young trees' bound."""
DRY_SHARE: Final = 0.15
"""Dry matter of a fruit (memory, medium; as in the growth model)."""
STORM_LIMIT: Final = 10.0
"""Storm severity relative to the mean year, at most."""
LOAD_LIMIT: Final = 4.0
"""kg/cm2 of fruit per trunk, at most, as far as breaking goes."""


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
    on_wires, weeds, replant_site : bool
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
    life: Float
    on_wires: bool
    weeds: bool
    replant_site: bool
    water_delay: float


def loss_traits(block: BlockPlan, hazards: Hazards) -> LossTraits:
    """Traits of a block's trees that the hazards ask for."""
    layout, training = block.layout, block.training
    stocks, cultivars = block.stocks, block.cultivars

    def by_group(values: list[float]) -> Float:
        return np.array(values, dtype=np.float32)

    held = {"wires": 1.0, "stake": hazards.wind_stake}
    support = [
        held.get(training.support, hazards.wind_unsupported if stock.needs_support else hazards.wind_free)
        for stock in stocks
    ]
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
        transplant=by_group([-math.log1p(-grade.transplant_loss) for grade in block.grades]),
        support=by_group(support),
        life=by_group([hazards.life_dwarf + hazards.life_vigor * stock.vigor for stock in stocks]),
        on_wires=training.support == "wires",
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


class SeasonLosses(NamedTuple):
    """Cause code per tree (int8, 0 = lives) and health lost by trees that live (float32), both (trial, position)."""

    cause: NDArray[np.int8]
    health_loss: Float


# --- hazards of single causes: pure functions of arrays of any one shape -------------------------------------------


def young_factor(leaf: NDArray[np.generic], extra: float, scale: float = 3.0) -> Float:
    """1 plus ``extra`` in leaf 1, falling by e every ``scale`` leaves."""
    return (1 + extra * np.exp((1 - leaf.astype(np.float32)) / np.float32(scale))).astype(np.float32)


def soft_hazard(excess: NDArray[np.floating]) -> NDArray[np.floating]:
    """Hazard that kills the logistic share 1/(1 + exp(-excess)): ln(1 + exp(excess)).

    Examples
    --------
    >>> float(1 - np.exp(-soft_hazard(np.array(0.0))))
    0.5
    """
    return np.logaddexp(0.0, excess)


def cold_hazard(
    hazards: Hazards,
    winter_temperature_min: NDArray[np.floating],
    acclimation_shortfall: NDArray[np.floating],
    hardiness: NDArray[np.floating],
    root_hardiness: NDArray[np.floating],
    weakness: NDArray[np.floating],
) -> NDArray[np.floating]:
    """Hazard by winter cold: wood in midwinter, wood not yet hardened, and roots.

    Parameters
    ----------
    winter_temperature_min, hardiness, root_hardiness : arrays [degC]
    acclimation_shortfall, weakness : arrays [K]
        ``weakness`` is the hardiness that the tree lacks.

    Notes
    -----
    Each route kills a logistic share about its own temperature; a tree that escapes one may fall to another, so
    their hazards add. Midwinter injury of hardened wood sets in at -35 to -40 degC (Quamme 1976); root LT50 by stock
    in Moran et al. (2011), HortScience 46:1460.
    """
    width = hazards.cold_width
    wood = soft_hazard((hardiness + weakness - winter_temperature_min) / width)
    early = soft_hazard((acclimation_shortfall + weakness - hazards.acclimation_kill) / width)
    soil = np.minimum(0.0, hazards.root_cold_share * winter_temperature_min)
    roots = soft_hazard((root_hardiness + 0.2 * weakness - soil) / width)
    return wood + early + roots


def blight_pressure(hazards: Hazards, blight_days: NDArray[np.floating]) -> NDArray[np.floating]:
    """Infection pressure of a bloom, 0 to 1, from its infection days, sprays included."""
    return (1 - hazards.blight_control) * (1 - np.exp(-blight_days / hazards.blight_days_scale))


def blight_lethality(hazards: Hazards, leaf: NDArray[np.generic], stock_blight: NDArray[np.floating]) -> Float:
    """Share of struck trees that die of the strike."""
    share = hazards.blight_lethal_scion + hazards.blight_lethal_stock * stock_blight
    age = np.exp((1 - leaf.astype(np.float32)) / np.float32(hazards.blight_age_scale))
    return np.minimum(1.0, share * age).astype(np.float32)


def storm_factor(hazards: Hazards, storm: NDArray[np.floating]) -> NDArray[np.floating]:
    """Storm severity of a year relative to the mean, from a standard normal."""
    spread = hazards.wind_spread
    return np.minimum(np.exp(spread * storm - spread * spread / 2), STORM_LIMIT)


def vole_factor(hazards: Hazards, uniform: NDArray[np.floating]) -> NDArray[np.floating]:
    """Voles of a winter relative to the long-run mean: few in most, many in some, 1 on average."""
    chance = hazards.vole_year_chance
    ratio = min(hazards.vole_year_ratio, 1 / chance)
    other = (1 - chance * ratio) / (1 - chance) if chance < 1 else ratio
    return np.where(uniform < chance, ratio, other)


# --- the two phases ------------------------------------------------------------------------------------------------


def rest_losses(
    hazards: Hazards, traits: LossTraits, state: TreeState, season: LossSeason, draws: LossDraws
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

    Returns
    -------
    int8 array, (trial, position)
        0 for a tree that lives or was not there, else ``CODE`` of the cause.
    """
    trials = state.alive.shape[0]
    cold = _by_group(season.winter_temperature_min, traits)
    shortfall = _by_group(season.acclimation_shortfall, traits)
    voles = _vole_rate(hazards, traits) * vole_factor(hazards, draws.vole_year)
    deer = hazards.deer * (hazards.deer_fence_share if hazards.deer_fence else 1.0)
    frail = 1 + hazards.frailty
    patch_most = _patch_most(hazards)

    def cold_bound(weakness: float) -> NDArray[np.float64]:
        bound = cold_hazard(hazards, cold, shortfall, traits.hardiness, traits.root_hardiness, np.float64(weakness))
        return np.asarray(bound.max(axis=1), dtype=np.float64)

    weakest = hazards.cold_weakness
    grown = cold_bound(weakest + hazards.cold_youth * math.exp(-YOUNG_LEAVES / 3))
    grown += voles * frail * patch_most * (1 + hazards.vole_youth * math.exp(-YOUNG_LEAVES / 3)) + deer
    young = cold_bound(weakest + hazards.cold_youth) + voles * frail * patch_most * (1 + hazards.vole_youth) + deer
    young += hazards.transplant_carry * float(traits.transplant.max()) * _transplant_most(hazards, traits, season)
    at = _Trees(traits, state, _candidates(draws.rest, state, grown, young))
    if not at.flat.size:
        return np.zeros(state.alive.shape, dtype=np.int8)
    t, g = at.trial, at.group
    frailty = 1 + hazards.frailty * (1 - at.health)
    weakness = hazards.cold_weakness * (1 - at.health) + hazards.cold_youth * (young_factor(at.leaf, 1.0) - 1)
    vole_patch = patch_factor(traits.grid.at(draws.vole_patch, t, at.row, at.column), hazards.patchiness)
    rows = {
        "winter_cold": cold_hazard(
            hazards, cold[t, g], shortfall[t, g], traits.hardiness[g], traits.root_hardiness[g], weakness
        ),
        "voles": voles[t] * vole_patch * frailty * young_factor(at.leaf, hazards.vole_youth),
        "deer": deer * np.exp(-at.height / hazards.deer_height),
        "transplant_failure": np.where(at.leaf == 1, hazards.transplant_carry * traits.transplant[g], 0)
        * _transplant_factor(hazards, traits, season, t, g),
    }
    cause = np.zeros((trials, state.alive.shape[1]), dtype=np.int8)
    cause.reshape(-1)[at.flat] = _decide(rows, draws.rest.reshape(-1)[at.flat])[0]
    return cause


def season_losses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    season: LossSeason,
    draws: LossDraws,
    site: Float,
    block_leaf: int = 1,
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

    Returns
    -------
    SeasonLosses
    """
    shape = state.alive.shape
    pressure = blight_pressure(hazards, _by_group(season.blight_days, traits)) * traits.scion_blight
    strikes = hazards.blight_strike * pressure
    wet = _by_group(season.wet_soil_days, traits) / hazards.crown_rot_wet_days
    rot = hazards.crown_rot * np.minimum(wet, 5.0) * traits.crown_rot
    dry_days = np.maximum(_by_group(season.drought_days, traits) - hazards.drought_free_days, 0.0)
    dry = hazards.drought * dry_days
    storm = storm_factor(hazards, draws.storm)
    wind = storm[:, None] * hazards.wind * (traits.support / traits.union_strength)
    gap = hazards.transplant_gap if block_leaf > 1 else 1.0
    worn = hazards.replant * traits.replant_sensitivity * _worn(hazards, traits, block_leaf)

    frail = 1 + hazards.frailty
    patch_most = _patch_most(hazards)
    load_most = (1 + hazards.wind_load * LOAD_LIMIT) / (1 + hazards.wind_load * 0.5)
    fade = math.exp(-YOUNG_LEAVES / 3)
    oldest = int(state.leaf.max())
    ageing = float(np.max(_old_age(hazards, np.float64(oldest), traits.life)))

    def bound(youth: float) -> NDArray[np.float64]:
        whole = strikes * frail * patch_most + rot * frail * patch_most + dry * (1 + hazards.drought_youth * youth)
        return np.asarray((whole + wind * load_most * (1 + hazards.wind_youth * youth)).max(axis=1), dtype=np.float64)

    grown = bound(fade) + ageing + float(worn.max()) * patch_most * math.exp(-YOUNG_LEAVES / hazards.replant_age_scale)
    young = bound(1.0) + ageing + float(worn.max()) * patch_most
    young += gap * float(traits.transplant.max()) * _transplant_most(hazards, traits, season)
    fallen = _collapses(hazards, traits, state, draws, storm, wet)
    chosen = _candidates(draws.season, state, grown, young)
    if fallen is not None:
        chosen = np.union1d(chosen, np.flatnonzero(fallen & state.alive))

    def hazard_rows(at: _Trees) -> tuple[dict[str, NDArray[np.floating]], NDArray[np.floating]]:
        """Hazards by cause, and the hazard of being struck by blight and living."""
        t, g, leaf = at.trial, at.group, at.leaf
        frailty = 1 + hazards.frailty * (1 - at.health)
        blight = patch_factor(traits.grid.at(draws.blight_patch, t, at.row, at.column), hazards.patchiness)
        soil = patch_factor(traits.grid.at(site, t, at.row, at.column), hazards.patchiness)
        bloom = 1 - np.exp2(-np.maximum(leaf - 0.5, 0) / hazards.blight_first_bloom)
        struck = strikes[t, g] * blight * frailty * bloom
        lethal = blight_lethality(hazards, leaf, traits.stock_blight[g])
        load = np.minimum(at.fruit / np.maximum(at.trunk_area, 0.5), LOAD_LIMIT)
        first = traits.transplant[g] * (gap * (1 - hazards.transplant_carry))
        rows = {
            "transplant_failure": np.where(leaf == 1, first, 0) * _transplant_factor(hazards, traits, season, t, g),
            "fire_blight": struck * lethal,
            "crown_rot": rot[t, g] * soil * frailty,
            "replant_disease": worn[g] * soil * np.exp((1 - leaf) / np.float32(hazards.replant_age_scale)),
            "wind": wind[t, g]
            * (1 + hazards.wind_load * load)
            / (1 + hazards.wind_load * 0.5)
            * young_factor(leaf, hazards.wind_youth),
            "row_collapse": np.zeros(leaf.shape)
            if fallen is None
            else np.where(fallen.reshape(-1)[at.flat], -math.log1p(-hazards.collapse_kill), 0.0),
            "drought": dry[t, g] * young_factor(leaf, hazards.drought_youth),
            "old_age": _old_age(hazards, leaf, traits.life[g]),
        }
        return rows, struck * (1 - lethal)

    cause = np.zeros(shape, dtype=np.int8)
    health_loss = np.zeros(shape, dtype=np.float32)
    flat_cause, flat_loss, uniform = cause.reshape(-1), health_loss.reshape(-1), draws.season.reshape(-1)
    at = _Trees(traits, state, chosen)
    if not at.flat.size:
        return SeasonLosses(cause, health_loss)
    rows, survivable = hazard_rows(at)
    code, total = _decide(rows, uniform[at.flat])
    flat_cause[at.flat] = code
    struck = (code == 0) & (uniform[at.flat] < -np.expm1(-(total + survivable)))
    flat_loss[at.flat[struck]] = hazards.blight_wood_loss

    sources = np.concatenate([at.flat[code == CODE["fire_blight"]], at.flat[struck]])
    near, added = _blight_spread(hazards, traits, sources, flat_cause, state.alive.reshape(-1))
    if near.size:
        at = _Trees(traits, state, near)
        rows, survivable = hazard_rows(at)
        added = added * traits.scion_blight[at.group]
        lethal = blight_lethality(hazards, at.leaf, traits.stock_blight[at.group])
        total = np.sum([*rows.values()], axis=0)
        risk = uniform[near]
        # These trees escaped their own hazards; what their neighbours add comes on top of the same uniform.
        dead = risk < -np.expm1(-(total + added * lethal))
        flat_cause[near[dead]] = CODE["fire_blight"]
        hurt = ~dead & (risk < -np.expm1(-(total + survivable + added)))
        flat_loss[near[hurt]] = hazards.blight_wood_loss
        flat_loss[near[dead]] = 0.0
    return SeasonLosses(cause, health_loss)


def winter_injury(hazards: Hazards, traits: LossTraits, season: LossSeason) -> Float:
    """Share of health that trees in full health lose to a winter they survive, (trial, group)."""
    cold = _by_group(season.winter_temperature_min, traits)
    shortfall = _by_group(season.acclimation_shortfall, traits)
    hazard = cold_hazard(hazards, cold, shortfall, traits.hardiness, traits.root_hardiness, np.float64(0))
    return np.minimum(1.0, 2 * hazards.cold_injury * -np.expm1(-hazard)).astype(np.float32)


def starting_health(
    hazards: Hazards, traits: LossTraits, site: Float, trial: Index, position: Index, block_leaf: int = 1
) -> Float:
    """Health of trees at planting: below 1 where apples grew before and the stock minds.

    Parameters
    ----------
    site : float32 array, (trial, node row, node column)
    trial, position : int arrays, (n,)
        The trees planted.
    block_leaf : int
        The block's leaf; above 1 the trees fill gaps.

    Returns
    -------
    float32 array, (n,) [1]
    """
    row, column = position // traits.per_row, position % traits.per_row
    severity = hazards.replant_stunting * _worn(hazards, traits, block_leaf)
    soil = patch_factor(traits.grid.at(site, trial, row, column), hazards.patchiness)
    lack = severity * traits.replant_sensitivity[traits.row_group[row]] * soil
    return np.clip(1 - lack, 0.2, 1).astype(np.float32)


# --- how clustered ---------------------------------------------------------------------------------------------------


class Dispersion(NamedTuple):
    """How losses vary between trials: mean, variance-to-mean ratio, correlation between two trees of a trial."""

    mean: float
    variance_to_mean: float
    correlation: float


def dispersion(lost: NDArray[np.floating], trees: float) -> Dispersion:
    """Clustering of losses over trials.

    Parameters
    ----------
    lost : array, (trial, ...)
        Trees lost; further axes (years, blocks) are taken one by one and averaged.
    trees : float
        Trees at risk.

    Notes
    -----
    For N trees with mean loss p and a correlation rho between any two, Var = N p (1 - p) (1 + (N - 1) rho). Without
    clustering the variance-to-mean ratio is 1 - p and rho is 0.
    """
    counts = np.asarray(lost, dtype=np.float64)
    mean = counts.mean(axis=0)
    variance = counts.var(axis=0, ddof=1)
    share = mean / trees
    some = (mean > 0) & (share < 1)
    if not np.any(some):
        return Dispersion(0.0, math.nan, math.nan)
    expected = np.where(some, mean * (1 - share), 1.0)
    correlation = np.where(some, (variance / expected - 1) / max(trees - 1, 1), 0.0)
    ratio = variance / np.where(some, mean, 1.0)
    return Dispersion(float(np.mean(mean)), float(np.mean(ratio[some])), float(np.mean(correlation[some])))


def neighbour_ratio(lost: NDArray[np.bool_], rows: int, per_row: int) -> float:
    """Pairs of neighbours in the row that are both lost, relative to losses strewn at random within each trial.

    Parameters
    ----------
    lost : bool array, (trial, position)

    Notes
    -----
    A join count: with m of n trees lost at random, a given pair is lost with probability m (m - 1) / (n (n - 1)).
    """
    grid = lost.reshape(-1, rows, per_row)
    pairs = float(np.count_nonzero(grid[:, :, 1:] & grid[:, :, :-1]))
    number = grid.reshape(grid.shape[0], -1).sum(axis=1, dtype=np.float64)
    trees = rows * per_row
    expected = float(np.sum(number * (number - 1))) / (trees * (trees - 1)) * rows * (per_row - 1)
    return pairs / expected if expected > 0 else math.nan


# --- parts -----------------------------------------------------------------------------------------------------------


class _Trees:
    """Chosen trees of a tile, gathered into flat arrays."""

    __slots__ = ("column", "flat", "fruit", "group", "health", "height", "leaf", "row", "trial", "trunk_area")

    def __init__(self, traits: LossTraits, state: TreeState, flat: Index) -> None:
        self.flat = flat
        self.trial, position = np.divmod(flat, state.alive.shape[1])
        self.row, self.column = np.divmod(position, traits.per_row)
        self.group = traits.row_group[self.row]
        self.leaf = state.leaf.reshape(-1)[flat]
        self.height = state.height.reshape(-1)[flat]
        self.health = np.clip(state.health.reshape(-1)[flat], 0, 1)
        self.trunk_area = state.trunk_area.reshape(-1)[flat]
        self.fruit = state.fruit_dry_mass.reshape(-1)[flat] / np.float32(DRY_SHARE)


def _candidates(
    uniform: Float, state: TreeState, grown: NDArray[np.float64], young: NDArray[np.float64]
) -> Index:
    """Flat numbers of living trees whose uniform lies below their trial's bound (hazards of grown, young trees)."""
    limit = -np.expm1(-np.stack([grown, young], axis=0)[:, :, None]) * (1 + 1e-6)
    chosen = uniform < limit[0].astype(np.float32)
    if float(limit[1].max()) > 0:
        chosen |= (uniform < limit[1].astype(np.float32)) & (state.leaf <= YOUNG_LEAVES)
    chosen &= state.alive
    return np.flatnonzero(chosen)


def _decide(
    rows: dict[str, NDArray[np.floating]], uniform: Float
) -> tuple[NDArray[np.int8], NDArray[np.floating]]:
    """Cause code (0 = lives) and hazard sum: the sum decides whether, the shares of it what of."""
    causes = np.array([CODE[name] for name in rows], dtype=np.int8)
    summed = np.cumsum(np.stack([*rows.values()]), axis=0)
    total = summed[-1]
    death = -np.expm1(-total)
    dead = uniform < death
    where = np.divide(uniform, death, out=np.ones_like(death), where=dead) * total
    kind = np.minimum((summed <= where).sum(axis=0), len(causes) - 1)
    return np.where(dead, causes[kind], 0).astype(np.int8), total


def _by_group(values: NDArray[np.floating], traits: LossTraits) -> NDArray[np.float64]:
    """(trial, group) of a season field given by trial or by trial and group."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 1:
        array = array[:, None]
    return np.broadcast_to(array, (array.shape[0], traits.hardiness.size))


def _patch_most(hazards: Hazards) -> float:
    return math.exp(hazards.patchiness * PATCH_LIMIT) / cut_lognormal_mean(hazards.patchiness)


def _vole_rate(hazards: Hazards, traits: LossTraits) -> float:
    rate = hazards.vole * (hazards.vole_weeds if traits.weeds else 1.0)
    return rate * (hazards.vole_guard_share if hazards.vole_guards else 1.0)


def _transplant_factor(
    hazards: Hazards, traits: LossTraits, season: LossSeason, trial: Index, group: Index
) -> NDArray[np.floating]:
    days = _by_group(season.drought_days, traits)[trial, group]
    return (1 + hazards.transplant_delay * traits.water_delay) * (1 + hazards.transplant_drought * days)


def _transplant_most(hazards: Hazards, traits: LossTraits, season: LossSeason) -> NDArray[np.float64]:
    days = _by_group(season.drought_days, traits).max(axis=1)
    return (1 + hazards.transplant_delay * traits.water_delay) * (1 + hazards.transplant_drought * days)


def _worn(hazards: Hazards, traits: LossTraits, block_leaf: int) -> float:
    """How far the ground is worn by apples before: fully on old apple ground, in part in a block's own gap."""
    if traits.replant_site:
        return 1.0
    return hazards.replant_gap if block_leaf > 1 else 0.0


def _old_age(hazards: Hazards, leaf: NDArray[np.generic], life: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.minimum(hazards.old_age * np.exp((leaf.astype(np.float32) - life) / hazards.old_age_scale), 2.0)


def _collapses(
    hazards: Hazards,
    traits: LossTraits,
    state: TreeState,
    draws: LossDraws,
    storm: NDArray[np.floating],
    wet: NDArray[np.float64],
) -> NDArray[np.bool_] | None:
    """Trees in stretches of row that go down, (trial, position); None where none does."""
    if not traits.on_wires or hazards.collapse <= 0:
        return None
    length = traits.rows * traits.per_row * traits.tree_spacing / 1000
    posts = (hazards.collapse_post_spacing / 10.0) ** 2 * hazards.collapse_anchors
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
    hazards: Hazards, traits: LossTraits, sources: Index, cause: NDArray[np.int8], alive: NDArray[np.bool_]
) -> tuple[Index, NDArray[np.float64]]:
    """Living neighbours of struck trees and the hazard that these add, before the neighbour's own susceptibility."""
    strength = hazards.blight_spread * (1 - hazards.blight_sanitation)
    nothing = np.empty(0, dtype=np.int64), np.empty(0)
    if not sources.size or strength <= 0:
        return nothing
    reach = 3 * hazards.blight_spread_distance
    places = traits.rows * traits.per_row
    position = sources % places
    row, column = np.divmod(position, traits.per_row)
    targets, weights = [], []
    for across in range(-int(reach / traits.row_spacing), int(reach / traits.row_spacing) + 1):
        for along in range(-int(reach / traits.tree_spacing), int(reach / traits.tree_spacing) + 1):
            distance = math.hypot(across * traits.row_spacing, along * traits.tree_spacing)
            if not 0 < distance <= reach:
                continue
            inside = (row + across >= 0) & (row + across < traits.rows)
            inside &= (column + along >= 0) & (column + along < traits.per_row)
            target = sources[inside] + across * traits.per_row + along
            targets.append(target)
            weights.append(np.full(target.size, strength * math.exp(-distance / hazards.blight_spread_distance)))
    if not targets:
        return nothing
    target = np.concatenate(targets)
    near, inverse = np.unique(target, return_inverse=True)
    added = np.bincount(inverse, weights=np.concatenate(weights), minlength=near.size)
    keep = alive[near] & (cause[near] == 0)
    return near[keep], added[keep]
