"""Hazards that compete for a tree within a phase: each with its cause, what a year brings, and its formula.

``@competes`` stands above the formula of one tree and is all that the loops need: they add the hazards of a phase up in
the order in which they stand here, and the shares of the sum decide what a tree dies of. A formula gets the
coefficients, the tree and the levels of its block's row group in this year, by name.

A hazard may not rise with health or height, nor fall with load, soil or patch: the loops work out only the trees whose
draw lies below the hazard of the worst tree of their leaf.
"""

from __future__ import annotations

import functools
from collections import namedtuple
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, NamedTuple

import numpy as np
from numba.np.unsafe.ndarray import to_fixed_tuple
from numpy.typing import NDArray

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp
from orchardsim.core.labels import CAUSES
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import Float, LossDraws
from orchardsim.trees.loss_hazards import (
    LOAD_LIMIT,
    blight_lethality,
    cold_hazard,
    collapse_hazard,
    lack_of,
    old_age_hazard,
    strike_hazard,
    young_extra,
)
from orchardsim.trees.loss_traits import (
    LossSeason,
    LossTraits,
    Numbers,
    blight_level,
    blight_pressure,
    rot_level,
    storm_factor,
    vole_factor,
)

Phase = Literal["rest", "season"]
DWARF: Final = 1.5
"""1; trunk over M.9's of the largest stocks whose young trees decline (dwarfs: read, press; the limit ours)."""
DECLINE_FIRST, DECLINE_LAST = np.float32(2), np.float32(8)
"""Leaves in which they do (read, press)."""
CODE: Final = {cause: number + 1 for number, cause in enumerate(CAUSES)}
"""Code of a cause in the arrays of losses; 0 is a tree that lives (or was not there)."""


class RestingTree(NamedTuple):
    """A tree between leaf fall and bloom; ``leaf`` is the last season that it has grown through."""

    leaf: Number
    health: Number
    height: Number
    patch: Number
    """Voles here over the block's mean [1]."""


class BearingTree(NamedTuple):
    """A tree between bloom and harvest."""

    leaf: Number
    health: Number
    load: Number
    """Fruit per trunk [kg/cm2]."""
    soil: Number
    """Wetness and wear of the ground here over the block's mean [1]."""
    patch: Number
    """Blight here over the block's mean [1]."""
    by_itself: Number
    """Whether nothing holds it."""
    fallen: Number
    """Whether its stretch of row goes down."""


@dataclass(frozen=True)
class LossYear:
    """What decides a block's hazards in a year.

    Attributes
    ----------
    block_leaf : int
        The block's own leaf: a tree in leaf 1 of an older block stands in a gap.
    uncut : array, (trial,), optional
        Share of the trees with uncut strikes of earlier years.
    """

    hazards: Hazards
    traits: LossTraits
    season: LossSeason
    draws: LossDraws
    block_leaf: int = 1
    uncut: NDArray[np.float64] | None = None

    @functools.cached_property
    def wet(self) -> NDArray[np.float64]:
        """Wet days of the soil over those of a usual season, (trial, group or 1) [1]."""
        return of_trials(self.season.wet_soil_days) / self.hazards.crown_rot_wet_days

    @functools.cached_property
    def storm(self) -> Numbers:
        """Storm severity over the mean, (trial,) [1]."""
        return storm_factor(self.hazards, self.draws.storm)

    @functools.cached_property
    def planting(self) -> Numbers:
        """Transplant failure over that of trees watered in time in a season without drought, (trial, group or 1)."""
        hazards, days = self.hazards, of_trials(self.season.drought_days)
        late = 1 + hazards.transplant_delay * self.traits.water_delay
        level = of_trials(np.atleast_1d(self.season.transplant_level))
        return np.asarray(level * late * (1 + hazards.transplant_drought * days))


def of_trials(values: Numbers) -> NDArray[np.float64]:
    """(trial, group or 1) of a season field given by trial or by trial and group."""
    array = np.asarray(values, dtype=np.float64)
    return array[:, None] if array.ndim == 1 else array


Level = Callable[[LossYear], Numbers | float | np.float32]


class CompetingHazard(NamedTuple):
    """One row: cause of death, phase, what a year brings to each trial and row group, hazard of one tree [1/year]."""

    cause: str
    phase: Phase
    levels: Mapping[str, Level]
    of_tree: Any


COMPETING: Final[list[CompetingHazard]] = []


def competes(phase: Phase, cause: str, **levels: Level) -> Callable[[Any], Any]:
    """Let the hazard of one tree below compete within a phase for what trees die of."""

    def enter(of_tree: Any) -> Any:
        COMPETING.append(CompetingHazard(cause, phase, levels, of_tree))
        return of_tree

    return enter


@competes(
    "rest",
    "winter_cold",
    cold=lambda year: of_trials(year.season.winter_temperature_min),
    soil=lambda year: of_trials(year.season.soil_temperature_min),
    shortfall=lambda year: of_trials(year.season.acclimation_shortfall) - year.traits.stock["early_hardening"],
    hardiness=lambda year: year.traits.cultivar["hardiness"],
    root_hardiness=lambda year: year.traits.stock["root_hardiness"],
)
@compiled
def by_cold(h: Number, tree: Number, level: Number) -> Number:
    """Winter cold: weak and young trees lack hardiness."""
    weakness = h.cold_weakness * lack_of(tree.health) + young_extra(tree.leaf, h.cold_youth)
    return cold_hazard(h, level.cold, level.soil, level.shortfall, level.hardiness, level.root_hardiness, weakness)


def _voles(year: LossYear) -> Numbers:
    h = year.hazards
    rate = h.vole * (h.vole_weeds if year.traits.weeds else 1.0)
    rate *= h.vole_guard_share if h.vole_guards else 1.0
    return rate * vole_factor(h, year.draws.vole_year)[:, None]


@competes("rest", "voles", voles=_voles)
@compiled
def by_voles(h: Number, tree: Number, level: Number) -> Number:
    """Voles: more in patches, on weak and on young trees."""
    frail = 1.0 + h.frailty * lack_of(tree.health)
    return level.voles * tree.patch * frail * (1.0 + young_extra(tree.leaf, h.vole_youth))


@competes(
    "rest",
    "deer",
    deer=lambda year: year.hazards.deer * (year.hazards.deer_fence_share if year.traits.deer_fence else 1.0),
)
@compiled
def by_deer(h: Number, tree: Number, level: Number) -> Number:
    """Deer: less the taller a tree."""
    return level.deer * exp(-tree.height / h.deer_height)


def _trunk_injury(year: LossYear) -> Numbers:
    h = year.hazards
    bare = h.trunk_injury * (h.trunk_guard_share if h.vole_guards else 1.0)
    return bare * (1 - h.burr_knot_share * (1 - year.traits.stock["burr_knots"]))


@competes("rest", "trunk_injury", trunk_injury=_trunk_injury)
@compiled
def by_trunk_injury(h: Number, tree: Number, level: Number) -> Number:
    """Borers and sun on frozen bark: less as bark roughens."""
    return level.trunk_injury * exp((1.0 - tree.leaf) / h.trunk_injury_age_scale)


@competes(
    "rest",
    "transplant_failure",
    carried=lambda year: year.planting * (year.hazards.transplant_carry * year.traits.transplant),
)
@compiled
def by_late_failure(h: Number, tree: Number, level: Number) -> Number:
    """What transplant failure of the first leaf takes in the following winter."""
    return level.carried if tree.leaf == 1.0 else np.float32(0.0)


def _rot(year: LossYear) -> Numbers:
    h = year.hazards
    drainage = {"good": h.crown_rot_drained, "poor": h.crown_rot_undrained}.get(year.traits.drainage, 1.0)
    level = rot_level(h, year.traits.drainage, year.draws.rot_year)[:, None]
    return h.crown_rot * drainage * level * np.minimum(year.wet, 5.0) * year.traits.stock["crown_rot"]


@competes("season", "crown_rot", rot=_rot)
@compiled
def by_rot(h: Number, tree: Number, level: Number) -> Number:
    """Crown and root rot: more where the soil is wet, and on weak trees; in few years of a block much."""
    return level.rot * tree.soil * (1.0 + h.frailty * lack_of(tree.health))


def _decline(year: LossYear) -> Numbers:
    h, dwarf = year.hazards, year.traits.stock["size"] <= DWARF
    return h.decline * (year.draws.decline_year < h.decline_year_chance)[:, None] * dwarf


@competes("season", "decline", decline=_decline)
@compiled
def by_decline(h: Number, tree: Number, level: Number) -> Number:
    """Rapid decline: trees here and there in a young block."""
    young = DECLINE_FIRST <= tree.leaf <= DECLINE_LAST
    return level.decline if young else np.float32(0.0)


@competes(
    "season",
    "wind",
    wind=lambda year: year.storm[:, None] * year.hazards.wind,
    held=lambda year: year.traits.support / year.traits.union_strength,
    alone=lambda year: year.traits.unsupported / year.traits.union_strength,
)
@compiled
def by_wind(h: Number, tree: Number, level: Number) -> Number:
    """Breaking or blowing over: more under fruit, without support, and of young unions."""
    wind = level.wind * (level.alone if tree.by_itself else level.held)
    loaded = (1.0 + h.wind_load * min(tree.load, LOAD_LIMIT)) / (1.0 + 0.5 * h.wind_load)
    return wind * loaded * (1.0 + young_extra(tree.leaf, h.wind_youth))


@competes("season", "old_age", life=lambda year: year.traits.life)
@compiled
def by_age(h: Number, tree: Number, level: Number) -> Number:
    """Old age, past the usual life on a stock."""
    return old_age_hazard(h, tree.leaf, level.life)


def _transplant(year: LossYear) -> Numbers:
    gap = year.hazards.transplant_gap if year.block_leaf > 1 else 1.0
    return gap * (1 - year.hazards.transplant_carry) * year.traits.transplant * year.planting


@competes("season", "transplant_failure", transplant=_transplant)
@compiled
def by_transplanting(h: Number, tree: Number, level: Number) -> Number:
    """Transplant failure in leaf 1."""
    return level.transplant if tree.leaf == 1.0 else np.float32(0.0)


def _worn(year: LossYear) -> Numbers:
    h, traits = year.hazards, year.traits
    ground = 1.0 if traits.replant_site else (h.replant_gap if year.block_leaf > 1 else 0.0)
    return h.replant * ground * traits.replant_sensitivity


@competes("season", "replant_disease", worn=_worn)
@compiled
def by_worn_ground(h: Number, tree: Number, level: Number) -> Number:
    """Replant disease: less with every leaf."""
    return level.worn * tree.soil * exp((1.0 - tree.leaf) / h.replant_age_scale)


def _drought(year: LossYear) -> Numbers:
    h = year.hazards
    return h.drought * np.maximum(of_trials(year.season.drought_days) - h.drought_free_days, 0.0)


@competes("season", "drought", drought=_drought)
@compiled
def by_drought(h: Number, tree: Number, level: Number) -> Number:
    """Drought: more of young trees."""
    return level.drought * (1.0 + young_extra(tree.leaf, h.drought_youth))


@competes("season", "row_collapse", collapse=lambda year: collapse_hazard(year.hazards.collapse_kill))
@compiled
def by_collapse(h: Number, tree: Number, level: Number) -> Number:
    """A stretch of row that goes down takes a share of its trees."""
    return level.collapse if tree.fallen else np.float32(0.0)


def _strikes(year: LossYear) -> Numbers:
    h, carried = year.hazards, 0.0 if year.uncut is None else year.uncut[:, None]
    pressure = blight_pressure(h, of_trials(year.season.blight_days), carried)
    level = blight_level(h, year.draws.blight_year)[:, None]
    return h.blight_strike * level * pressure * year.traits.cultivar["fire_blight"]


@competes(
    "season",
    "fire_blight",
    strikes=_strikes,
    stock_blight=lambda year: year.traits.stock["fire_blight"],
    scion_blight=lambda year: year.traits.cultivar["fire_blight"],
)
@compiled
def by_blight(h: Number, tree: Number, level: Number) -> Number:
    """Fire blight from blossoms; struck trees that live are marked, and spread it."""
    hit = strike_hazard(h, tree.leaf, tree.health, tree.patch, level.strikes)
    return hit * blight_lethality(h, tree.leaf, level.stock_blight)


def _rows(phase: Phase) -> list[CompetingHazard]:
    """Rows of a phase; blight comes last, for what struck trees add to their neighbours comes on top of all."""
    return sorted((row for row in COMPETING if row.phase == phase), key=lambda row: row.cause == "fire_blight")


REST: Final = _rows("rest")
SEASON: Final = _rows("season")
COLD_LEVELS: Final = next(row.levels for row in REST if row.cause == "winter_cold")
REST_LEVELS: Final[dict[str, Level]] = {name: level for row in REST for name, level in row.levels.items()}
SEASON_LEVELS: Final[dict[str, Level]] = {name: level for row in SEASON for name, level in row.levels.items()} | {
    # not a cause of death: share of its health that a tree loses to woolly aphids
    "aphids": lambda year: year.hazards.woolly_aphid * year.traits.stock["woolly_aphid"],
}
RestLevel: Any = namedtuple("RestLevel", REST_LEVELS)  # type: ignore[misc]
SeasonLevel: Any = namedtuple("SeasonLevel", SEASON_LEVELS)  # type: ignore[misc]
RESTS: Final = len(REST_LEVELS)
SEASONS: Final = len(SEASON_LEVELS)


def levels_of(levels: Mapping[str, Level], year: LossYear) -> Float:
    """What a year brings, float32 (trial, group, level)."""
    found = np.empty((len(year.draws.storm), year.traits.stock.size, len(levels)), np.float32)
    for place, level in enumerate(levels.values()):
        found[:, :, place] = level(year)
    return found


@compiled
def rest_level(levels: Number) -> Number:
    """Levels of one trial and row group by name."""
    return RestLevel(*to_fixed_tuple(levels, RESTS))  # type: ignore[call-arg]


@compiled
def season_level(levels: Number) -> Number:
    """Levels of one trial and row group by name."""
    return SeasonLevel(*to_fixed_tuple(levels, SEASONS))  # type: ignore[call-arg]


def _running_sums(rows: list[CompetingHazard]) -> Any:
    """Compiled function of (h, tree, level): the hazards of one tree, each with all before it."""
    of_tree = rows[-1].of_tree
    if len(rows) == 1:

        @compiled
        def first(h: Number, tree: Number, level: Number) -> Number:
            return (of_tree(h, tree, level),)

        return first
    before = _running_sums(rows[:-1])

    @compiled
    def sums(h: Number, tree: Number, level: Number) -> Number:
        so_far = before(h, tree, level)
        return (*so_far, so_far[-1] + of_tree(h, tree, level))

    return sums


def _cause(rows: list[CompetingHazard]) -> Any:
    """Compiled function of (at, sums): code of the first cause whose running sum lies beyond ``at``."""
    code = np.int8(CODE[rows[0].cause])
    if len(rows) == 1:

        @compiled
        def last(at: Number, sums: Number) -> Number:
            return code

        return last
    other = _cause(rows[1:])

    @compiled
    def cause(at: Number, sums: Number) -> Number:
        return code if at < sums[0] else other(at, sums[1:])

    return cause


rest_sums, rest_cause = _running_sums(REST), _cause(REST)
season_sums, season_cause = _running_sums(SEASON), _cause(SEASON)
