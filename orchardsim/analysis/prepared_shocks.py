"""From bad seasons as data to what a run meets: seasons that are shocked, and shocks by year of the plan."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.bad_seasons import HAZARD, SEASON_TARGETS, YEAR_TARGETS, BadSeason
from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.handover import SeasonDrivers, SeasonWeather
from orchardsim.plan import Plan
from orchardsim.season import frost
from orchardsim.season.cold import SOIL_SHARE
from orchardsim.season.parameters import BlockSite
from orchardsim.season.phenology import STAGES
from orchardsim.simulation.seasons import SeasonLibrary, drivers_of, relative_region
from orchardsim.simulation.shocks import Shock
from orchardsim.trees.hazards import Hazards
from orchardsim.weather.sampling import whole_record_windows

Array = NDArray[np.float64]
Drivers = tuple[tuple[SeasonDrivers, ...], ...]

SUMMER_START: Final = 182
"""Day of season: 1 April in the north, 1 October in the south."""
FROST_HOURS: Final = 8.0
"""h that frost protection runs in such a night (assumption)."""
AT_LEAST: Final = ("blight_days", "acclimation_shortfall")
"""Targets that a season has at least so much of, under the same name."""
SPELL_COVER: Final = 3
"""Index of the cover level (0.6) at which the growth of a spell's seasons is judged."""


@dataclass(frozen=True)
class PreparedShocks:
    """A bad season made ready for a plan.

    Attributes
    ----------
    library : SeasonLibrary
        With the shocked seasons behind the usual ones.
    shocks : tuple of Shock
        One for each year in which it may start.
    note : str
        What the season turned out to be here, e.g. the years of the record; empty if nothing is to be said.
    """

    library: SeasonLibrary
    shocks: tuple[Shock, ...]
    note: str = ""


def check_bad_season(bad: BadSeason) -> None:
    """Refuse changes that mean nothing.

    Raises InputError, naming the bad season and the target.
    """
    where = f"bad season {bad.name}"
    if bad.years < 1:
        raise InputError(where, f"years: found {bad.years}, allowed 1 or more")
    fields = {HAZARD + each.name for each in dataclasses.fields(Hazards)}
    known = {*SEASON_TARGETS, *YEAR_TARGETS, *fields}
    for change in bad.changes:
        if change.target not in known:
            raise InputError(where, f"found target {change.target!r}; {nearest_names(change.target, known)}")
        if not np.isfinite(change.value) or (change.target in YEAR_TARGETS and not 0 <= change.value <= 1):
            raise InputError(where, f"{change.target}: found {change.value:g}, allowed 0 to 1")
        if change.target == "transplant_loss" and change.value >= 1:
            raise InputError(where, "transplant_loss: found 1, allowed less than 1")


def prepare_shocks(plan: Plan, library: SeasonLibrary, bad: BadSeason, first_years: Sequence[int]) -> PreparedShocks:
    """Work out what a bad season does to a plan, for each year in which it may start.

    ``library``: the usual seasons.
    """
    check_bad_season(bad)
    targets = {change.target: change.value for change in bad.changes}
    note = ""
    rows_of: Callable[[int, int], NDArray[np.int64]] | None = None
    usual_count = library.region.size
    season_rows = library.sample.season_rows
    if "record_spell" in targets:
        spell = worst_spell(plan, library, int(targets["record_spell"]))
        library = library.extended(spell.drivers, spell.region, spell.harvest_year)
        note = spell.note

        def rows_of(year: int, step: int) -> NDArray[np.int64]:
            return np.full(len(season_rows), usual_count + step)

    elif any(target in SEASON_TARGETS for target in targets):
        shocked = shocked_drivers(plan, library, targets)
        library = library.extended(shocked, library.region, library.sample.seasons.harvest_year)

        def rows_of(year: int, step: int) -> NDArray[np.int64]:
            return season_rows[:, year] + usual_count

    hazards = {key.removeprefix(HAZARD): value for key, value in targets.items() if key.startswith(HAZARD)}
    usual = Shock(
        range(0),
        hail=targets.get("hail_fraction", 0.0),
        hazards=hazards,
        transplant_loss=targets.get("transplant_loss", 0.0),
        crew_share=targets.get("crew_share", 1.0),
        delivers=targets.get("nursery_deliveries", 1.0) >= 1,
        price_lost=1 - targets.get("price", 1.0),
    )
    spans = [range(first, min(first + bad.years, season_rows.shape[1])) for first in first_years]
    shocks = tuple(
        dataclasses.replace(
            usual,
            span=span,
            seasons={} if rows_of is None else {year: rows_of(year, year - span.start) for year in span},
        )
        for span in spans
    )
    return PreparedShocks(library, shocks, note)


# ---- changed seasons ----------------------------------------------------------------------------------------


def shocked_drivers(plan: Plan, library: SeasonLibrary, targets: dict[str, float]) -> Drivers:
    """The library's seasons with something bad in each, by block and row group."""
    drivers = library.drivers
    if "summer_rain" in targets or "irrigation" in targets:
        seasons = with_summer_rain(library.sample.seasons, targets.get("summer_rain", 1.0))
        sites = [_with_irrigation(block.site, targets.get("irrigation", 1.0)) for block in plan.blocks]
        drivers, _ = drivers_of(plan, seasons, sites)
    past = library.sample.history
    changed = []
    for block, by_group in zip(plan.blocks, drivers, strict=True):
        row = []
        for usual in by_group:
            arrays: dict[str, Array] = {}
            for target, value in targets.items():
                if target in _ON_DRIVERS:
                    arrays |= _ON_DRIVERS[target](usual, value, block.site, past)
                elif target in AT_LEAST:
                    arrays[target] = np.maximum(getattr(usual, target), value)
            row.append(dataclasses.replace(usual, **arrays))
        changed.append(tuple(row))
    return tuple(changed)


def with_summer_rain(seasons: SeasonWeather, factor: float) -> SeasonWeather:
    """Seasons with the rain of the half year from 1 April (1 October in the south) times a factor."""
    rain = seasons.rain.copy()
    rain[:, SUMMER_START:YEAR_DAYS] *= factor
    return dataclasses.replace(seasons, rain=rain)


def _with_irrigation(site: BlockSite, factor: float) -> BlockSite:
    if factor <= 0:
        return dataclasses.replace(site, irrigated=False)
    return dataclasses.replace(site, irrigation_limit=site.irrigation_limit * factor)


class NightKill(NamedTuple):
    """Share of open flowers killed in a night [1]: unprotected, with protection that works, and where it fails."""

    bare: float
    held: float
    failed: float


def frost_night_kill(bud_temperature: float, site: BlockSite) -> NightKill:
    """Share of open flowers killed on a clear night, without protection and with the block's own.

    ``bud_temperature`` [degC]: lowest, without protection.
    """
    bud = np.array([bud_temperature])

    def kill(temperature: Array) -> float:
        return float(frost.stage_kill(temperature, np.array([STAGES.index("full_bloom")]))[0])

    bare = kill(bud)
    if site.protection == "none":
        return NightKill(bare, bare, bare)
    method = frost.PROTECTION[site.protection]
    warmed = frost.protected_temperature(method, bud + site.bud_cooling, bud, np.ones(1))
    failed = frost.failed_temperature(method, bud, np.array([FROST_HOURS]))
    return NightKill(bare, kill(np.maximum(warmed, bud)), kill(failed))


def _frost_night(usual: SeasonDrivers, value: float, site: BlockSite, past: NDArray[np.int64]) -> dict[str, Array]:
    # Whether protection works in that spring is drawn by the trial that meets it.
    night = frost_night_kill(value, site)
    changed = {
        "frost_kill": np.maximum(usual.frost_kill, night.held),
        "frost_kill_failed": np.maximum(usual.frost_kill_failed, night.failed),
        "frost_kill_unprotected": np.maximum(usual.frost_kill_unprotected, night.bare),
    }
    if site.protection != "none":
        method = frost.PROTECTION[site.protection]
        use = frost.protection_use(method, 1, FROST_HOURS)
        added = {
            "protection_hours": FROST_HOURS,
            "protection_nights": 1,
            "protection_water": use.water,
            "protection_fuel": use.fuel,
            "protection_labour": use.labour,
            "irrigation_depth": use.water,
        }
        changed |= {name: getattr(usual, name) + more for name, more in added.items()}
    return changed


def _midwinter(usual: SeasonDrivers, value: float, site: BlockSite, past: NDArray[np.int64]) -> dict[str, Array]:
    lowest = usual.winter_temperature_min
    coldest = float(lowest[past].min() if past.size else lowest.min())
    soil = usual.soil_temperature_min
    frozen = float(soil[past].min() if past.size else soil.min()) - SOIL_SHARE * value
    return {
        "winter_temperature_min": np.minimum(lowest, coldest - value),
        "soil_temperature_min": np.minimum(soil, frozen),
    }


_ON_DRIVERS: Final[dict[str, Callable[[SeasonDrivers, float, BlockSite, NDArray[np.int64]], dict[str, Array]]]] = {
    "bud_temperature_at_bloom": _frost_night,
    "winter_below_record": _midwinter,
}


# ---- the worst spell of the record -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Spell:
    """Years of the record in a row: drivers by block and row group, region's crop, harvest years, and a line on it."""

    drivers: Drivers
    region: Array
    harvest_year: NDArray[np.int64]
    note: str


def worst_spell(plan: Plan, library: SeasonLibrary, length: int) -> Spell:
    """The years in a row that together would have left the least crop.

    ``length``: years in a row. Raises InputError if the site's past holds no such run of complete years.

    Notes
    -----
    The whole record counts, not the baseline alone; without a record, the generated past of the site. A season's crop
    index is the share of a full crop that frost leaves, times its growth (radiation x temperature x water from bloom
    to harvest, over the mean of the record), averaged over the plan's row groups.
    """
    seasons = whole_record_windows(plan.weather)
    if seasons is None:
        past = library.sample.history
        drivers: Drivers = tuple(tuple(_rows(drivers, past) for drivers in row) for row in library.drivers)
        region, harvest_year = library.region[past], np.arange(past.size)
        name = f"years {{}} to {{}} of a generated past of {past.size} years"
    else:
        drivers, crop = drivers_of(plan, seasons)
        region, harvest_year = relative_region(crop, library.region_usual), seasons.harvest_year
        name = f"{{}} to {{}}, of {harvest_year.size} complete years of the record"
    index = np.mean([crop_index(group) for block in drivers for group in block], axis=0)
    order = np.argsort(harvest_year, kind="stable")
    starts = [
        start
        for start in range(len(order) - length + 1)
        if harvest_year[order[start + length - 1]] - harvest_year[order[start]] == length - 1
    ]
    if not starts:
        raise InputError(plan.where, f"the record has no {length} complete years in a row, as 'worst_spell' needs")
    sums = [index[order[start : start + length]].sum() for start in starts]
    rows = order[starts[int(np.argmin(sums))] :][:length]
    note = name.format(int(harvest_year[rows[0]]), int(harvest_year[rows[-1]]))
    note += f": crop index {index[rows].mean():.2f} a year, against {index.mean():.2f} on the mean"
    return Spell(
        tuple(tuple(_rows(drivers, rows) for drivers in row) for row in drivers), region[rows], harvest_year[rows], note
    )


def crop_index(drivers: SeasonDrivers) -> Array:
    """Crop that a season would leave on grown trees relative to a usual one, as frost and growth decide it [1]."""
    span = slice(1, 3)
    growth = drivers.radiation * drivers.temperature_factor * drivers.water_factor[:, :, SPELL_COVER]
    grown = growth[:, span].sum(axis=1)
    index: Array = frost.crop_after_frost(drivers.frost_kill) * grown / grown.mean()
    return index


def _rows(drivers: SeasonDrivers, rows: NDArray[np.int64]) -> SeasonDrivers:
    arrays: dict[str, Any] = {
        each.name: getattr(drivers, each.name)[rows] for each in dataclasses.fields(SeasonDrivers)
    }
    return SeasonDrivers(**arrays)
