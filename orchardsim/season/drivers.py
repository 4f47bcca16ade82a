"""From daily weather to what a season does to a cultivar in a block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import WINDOW_DAYS
from orchardsim.core.handover import COVER_LEVELS, SeasonDrivers, SeasonWeather
from orchardsim.season import cold, frost, fruit_weather, harvest, phenology, sunburn, water
from orchardsim.season.bloom import infection_day_count, pollination_hours
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.season.prepare import PreparedSeasons, prepare, running_total

Floats = NDArray[Any]
Days = NDArray[np.int64]

SLICE: Final = 600
"""Seasons worked on at a time; keeps memory below 300 MB, and the loops over days short of calls."""
CASES_TOGETHER: Final = 3
"""Cases that go through the soil-water loop at once: more of them leave the core's cache."""
CLOSED_CANOPY_HEAT: Final = 650.0
"""K day above 4.5 degC from full bloom to closed canopy; assumption, about 7 to 8 weeks: June drop is over and the
canopy has most of its leaf. (Some 20 % of the season's leaf stands at bloom, 90 % in late June; memory.)"""
FROST_DAYS_AFTER_BLOOM: Final = 28
HARDENING_DAYS: Final = 7
EARLY_HEAT_DAYS: Final = 60
LATEST_BLOOM: Final = 272
"""Day of season: buds that have not got their heat by 30 June (29 December in the south) are taken to bloom then."""
LATEST_HARVEST: Final = WINDOW_DAYS - 8
DROUGHT_STRESS: Final = 0.3
DATES: Final = ("bud_break", "bloom", "closed_canopy", "harvest", "leaf_fall")
"""Days of :class:`Calendar` that are handed on."""
WET_COVER: Final = 2
"""Index of the cover level whose soil counts for wet days."""


def take(values: Floats, day: Days) -> Floats:
    """Value of each season on its own day: (day, season) and (season,) give (season,)."""
    return np.take_along_axis(values, day[None], axis=0)[0]


def between(total: Floats, start: Days, end: Days) -> Floats:
    """Sum over days start to end - 1 from running totals with a leading 0."""
    return take(total, end) - take(total, start)


@dataclass(frozen=True)
class Calendar:
    """Days of a cultivar's season, int arrays (season,), and its bud stages (stage, season)."""

    stages: Days
    bud_break: Days
    first_bloom: Days
    bloom: Days
    petal_fall: Days
    closed_canopy: Days
    harvest: Days
    leaf_fall: Days

    @property
    def phase_starts(self) -> tuple[Days, Days, Days, Days, Days]:
        """First day of the four growth phases, and the day after the last."""
        return np.zeros_like(self.bloom), self.bloom, self.closed_canopy, self.harvest, self.leaf_fall


def season_calendar(prepared: PreparedSeasons, cultivar: Phenology) -> Calendar:
    """Bud stages, bloom, closed canopy, harvest and leaf fall of each season."""
    heat = phenology.effective_heat(
        prepared.bud_heat[: LATEST_BLOOM + 1], _chill_held(prepared.chill, LATEST_BLOOM + 1), cultivar.chill_requirement
    )
    stages = phenology.stage_days(heat, cultivar.bloom_heat)
    bloom = stages[phenology.STAGES.index("full_bloom")]
    # Post bloom may lie past the last day of heat, so it is counted on with plain heat after bloom.
    after = running_total(prepared.bud_heat)
    goal = take(after, bloom) + (phenology.STAGE_SHARE[-1] - 1) * cultivar.bloom_heat
    petal_fall = np.maximum((after[1:] < goal).sum(axis=0), bloom + 3)
    stages = np.concatenate([stages[:-1], petal_fall[None]])
    closed = (prepared.growth_heat_sum[1:] < take(prepared.growth_heat_sum, bloom) + CLOSED_CANOPY_HEAT).sum(axis=0)
    closed = np.minimum(closed, bloom + 80)
    mean_night = between(prepared.night_sum, bloom + 1, bloom + 1 + harvest.POST_BLOOM_DAYS) / harvest.POST_BLOOM_DAYS
    picked = bloom + np.rint(harvest.days_to_harvest(cultivar.days_to_harvest, mean_night)).astype(np.int64)
    picked = np.minimum(np.maximum(picked, closed + 7), LATEST_HARVEST)
    fall = np.maximum(harvest.leaf_fall(prepared.temperature_mean), picked + 7)
    return Calendar(
        stages=stages,
        bud_break=stages[0],
        first_bloom=stages[phenology.STAGES.index("first_bloom")],
        bloom=bloom,
        petal_fall=petal_fall,
        closed_canopy=closed,
        harvest=picked,
        leaf_fall=np.minimum(fall, WINDOW_DAYS - 1),
    )


def _chill_held(chill: Floats, days: int) -> Floats:
    """Chill by day, held at its last value for days past the end of its count."""
    if days <= len(chill):
        return chill[:days]
    return np.concatenate([chill, np.repeat(chill[-1:], days - len(chill), axis=0)])


KILLS: Final = ("frost_kill", "frost_kill_failed", "frost_kill_unprotected")
PROTECTION_USES: Final = ("protection_nights", "protection_hours", "protection_fuel", "protection_labour")


@dataclass(frozen=True)
class FlowerStages:
    """Where the flowers of a block stand on the nights of spring.

    Attributes
    ----------
    span : slice
        Days of season of the nights.
    stages, hardening : arrays, (lag, night, season)
        Stage of each part of the flowers, the first to open first (:data:`~orchardsim.season.frost.FLOWER_LAGS`), -1
        out of season; their hardening [K].
    clear : array, (night, season) [1]
    """

    span: slice
    stages: Days
    hardening: Floats
    clear: Floats

    def kill(self, bud: Floats) -> Floats:
        """Share of the flowers killed by a spring's nights, (season,), from their lowest bud temperatures [degC]."""
        mean = bud + self.clear * frost.HEIGHT_WARMING
        spread = self.clear * frost.PLACE_SPREAD
        parts = [
            frost.season_kill(frost.stage_kill(mean + hardened, stage, spread))
            for stage, hardened in zip(self.stages, self.hardening, strict=True)
        ]
        killed: Floats = np.mean(parts, axis=0)
        return killed


def flower_stages(prepared: PreparedSeasons, dates: Calendar) -> FlowerStages:
    """Stages and hardening of a block's flowers from bud break to four weeks after bloom."""
    end = np.minimum(dates.bloom + FROST_DAYS_AFTER_BLOOM, WINDOW_DAYS - 1)
    soonest, latest = min(frost.FLOWER_LAGS), max(frost.FLOWER_LAGS)
    first, last = int(dates.bud_break.min()) + soonest, int(end.max()) + 1
    days = np.arange(first - latest, last - soonest)[:, None]
    on_day = (dates.stages[:, None, :] <= days).sum(axis=0) - 1
    nights = last - first
    on = np.arange(first, last)[:, None] <= end
    stages = np.stack([
        np.where(on, on_day[latest - lag : latest - lag + nights], -1) for lag in frost.FLOWER_LAGS
    ])  # fmt: skip
    # days added one by one: results then do not depend, to the last bit, on where a slice of seasons begins
    before = [prepared.temperature_mean[first - day : last - day] for day in range(1, HARDENING_DAYS + 1)]
    week = sum(before[1:], before[0]) / HARDENING_DAYS
    span = slice(first, last)
    return FlowerStages(span, stages, frost.hardening(week, stages), prepared.night_clear[span])


def spring_frost(prepared: PreparedSeasons, dates: Calendar, site: BlockSite) -> tuple[dict[str, Floats], Floats]:
    """Kill of buds and blossoms from bud break to four weeks after bloom, without and with protection.

    Returns
    -------
    drivers : dict from name to array, (season,)
        Those of :data:`KILLS` and :data:`PROTECTION_USES`.
    water : array, (day, season) [mm/day]
        That protection took.
    """
    flowers = flower_stages(prepared, dates)
    span, clear = flowers.span, flowers.clear
    air, bud = frost.block_night_temperature(prepared.temperature_min[span], clear, site.night_offset, site.bud_cooling)
    unprotected = flowers.kill(bud)
    nothing = np.zeros((WINDOW_DAYS, len(dates.bloom)))
    if site.protection == "none":
        return dict.fromkeys(KILLS, unprotected) | dict.fromkeys(PROTECTION_USES, np.zeros(len(dates.bloom))), nothing
    method = frost.PROTECTION[site.protection]
    # it guards the flowers that open first, and its thermometer hangs in the cold part of the block
    stage = flowers.stages[0]
    limit = np.array(frost.KILL_10)[np.maximum(stage, 0)] + method.start_margin
    before = slice(span.start - 1, span.stop - 1)
    evening_low, evening_high = prepared.temperature_min[before], prepared.temperature_max[before]
    sunset = evening_low + prepared.shape.sunset_weight[before][:, None] * (evening_high - evening_low)
    length = prepared.sky.day_length[span][:, None]
    watched = bud - clear * frost.GROUND_SPREAD
    hours = frost.hours_below(limit, watched, sunset, prepared.temperature_max[span], length)
    hours = np.where((stage >= 0) & (watched < limit), hours, 0.0)
    used = hours * method.water_rate
    affordable = np.cumsum(used, axis=0) <= site.season_water_limit
    hours, used = hours * affordable, used * affordable
    warmed = np.where(hours > 0, frost.protected_temperature(method, air, bud, clear), bud)
    working = flowers.kill(np.maximum(warmed, bud))
    failed = flowers.kill(frost.failed_temperature(method, bud, hours))
    nothing[span] = used
    nights, total = (hours > 0).sum(axis=0).astype(np.float64), hours.sum(axis=0)
    use = frost.protection_use(method, nights, total)
    kills, uses = (working, failed, unprotected), (nights, total, use.fuel, use.labour)
    return dict(zip((*KILLS, *PROTECTION_USES), (*kills, *uses), strict=True)), nothing


def _phase_sums(total: Floats, dates: Calendar, start_of_light: Days | None = None) -> Floats:
    starts = dates.phase_starts
    columns = []
    for phase in range(4):
        start = starts[phase] if start_of_light is None or phase else start_of_light
        columns.append(between(total, start, starts[phase + 1]))
    return np.stack(columns, axis=1)


@dataclass(frozen=True)
class SoilYear:
    """Soil water of a case: stress [1] (day, cover, season), irrigation [mm] (cover, season), days by season [1]."""

    stress: Floats
    irrigation: Floats
    wet_days: Floats
    drought_days: Floats


def soil_years(
    prepared: PreparedSeasons, sites: Sequence[BlockSite], dates: Sequence[Calendar], waters: Sequence[Floats]
) -> list[SoilYear]:
    """Soil water of every case; cases whose soil and irrigation are the same go through the days together."""
    groups: dict[tuple[float, float], list[int]] = {}
    for number, site in enumerate(sites):
        groups.setdefault((site.available_water, site.irrigation_limit if site.irrigated else 0.0), []).append(number)
    years: dict[int, SoilYear] = {}
    for (available_water, limit), members in groups.items():
        for start in range(0, len(members), CASES_TOGETHER):
            part = members[start : start + CASES_TOGETHER]
            soils = _soil_of_group(prepared, available_water, limit, part, sites, dates, waters)
            years |= dict(zip(part, soils, strict=True))
    return [years[number] for number in range(len(sites))]


def _soil_of_group(
    prepared: PreparedSeasons,
    available_water: float,
    limit: float,
    members: Sequence[int],
    sites: Sequence[BlockSite],
    dates: Sequence[Calendar],
    waters: Sequence[Floats],
) -> list[SoilYear]:
    days = np.arange(WINDOW_DAYS)

    def joined(values: Sequence[Floats]) -> Floats:
        return np.concatenate(values, axis=-1)

    stages = [
        water.canopy_stage(days, own.bud_break, own.closed_canopy, own.harvest, own.leaf_fall)
        for own in (dates[number] for number in members)
    ]
    balance = water.soil_water_balance(
        joined([prepared.rain + waters[number] for number in members]),
        joined([prepared.reference_et] * len(members)),
        joined(stages),
        COVER_LEVELS,
        available_water,
        limit,
        joined([
            np.maximum(sites[number].season_water_limit - waters[number].sum(axis=0), 0) for number in members
        ]),
    )  # fmt: skip
    count = prepared.rain.shape[1]
    result = []
    for place, stage in enumerate(stages):
        own = slice(place * count, (place + 1) * count)
        stress, in_leaf = balance.stress[:, :, own], stage > 0
        result.append(
            SoilYear(
                stress,
                balance.irrigation[:, own],
                (balance.wet[:, WET_COVER, own] & in_leaf).sum(axis=0).astype(np.float64),
                ((stress[:, -1] < DROUGHT_STRESS) & in_leaf).sum(axis=0).astype(np.float64),
            )
        )
    return result


def _drivers_of_slice(prepared: PreparedSeasons, cases: Sequence[tuple[Phenology, BlockSite]]) -> list[SeasonDrivers]:
    dates = [season_calendar(prepared, cultivar) for cultivar, _ in cases]
    freezes = [spring_frost(prepared, days, site) for days, (_, site) in zip(dates, cases, strict=True)]
    soils = soil_years(prepared, [site for _, site in cases], dates, [water for _, water in freezes])
    return [
        _drivers_of_case(prepared, *case, days, *freeze, soil)
        for case, days, freeze, soil in zip(cases, dates, freezes, soils, strict=True)
    ]


def _drivers_of_case(
    prepared: PreparedSeasons,
    cultivar: Phenology,
    site: BlockSite,
    dates: Calendar,
    freeze: dict[str, Floats],
    water_of_frost: Floats,
    soil: SoilYear,
) -> SeasonDrivers:
    starts = dates.phase_starts
    lengths = np.stack([starts[phase + 1] - starts[phase] for phase in range(4)], axis=1)

    light = _phase_sums(prepared.light_sum, dates, dates.bud_break)
    useful = _phase_sums(prepared.useful_light_sum, dates, dates.bud_break)
    factor = np.divide(useful, light, out=np.zeros_like(useful), where=light > 0)

    frost_water = water_of_frost.sum(axis=0)
    chill_day = np.minimum(dates.bud_break, len(prepared.chill) - 1)
    portions = take(prepared.chill, chill_day).astype(np.float64)
    dose = between(prepared.sunburn_sum, dates.closed_canopy, dates.harvest)
    burnt = sunburn.sunburn_share(dose, cultivar.sunburn_sensitivity)
    night_air, _ = frost.block_night_temperature(
        prepared.temperature_min, prepared.night_clear, site.night_offset, site.bud_cooling
    )
    heat_end = np.minimum(dates.bloom + EARLY_HEAT_DAYS, WINDOW_DAYS)
    after_spray = [np.minimum(dates.bloom + day, WINDOW_DAYS) for day in fruit_weather.SPRAY_DAYS]
    ripe = dates.harvest
    return SeasonDrivers(
        chill_portions=portions,
        utah_units=take(prepared.utah, chill_day).astype(np.float64),
        **{f"{name}_day": getattr(dates, name).astype(np.float64) for name in DATES},
        chill_fraction=phenology.chill_fraction(portions, cultivar.chill_requirement),
        pollination_hours=pollination_hours(prepared, dates.first_bloom, dates.bloom),
        radiation=light,
        degree_days=_phase_sums(prepared.growth_heat_sum, dates),
        temperature_factor=np.clip(factor, 0, 1),
        water_factor=_water_factor(soil, dates),
        irrigation_depth=(soil.irrigation + frost_water).T.copy(),
        early_heat=between(prepared.growth_heat_sum, dates.bloom, heat_end),
        sunburn_fraction=burnt * (sunburn.COVER_SHARE if site.sunburn_protection else 1.0),
        spray_balance=between(prepared.balance_sum, *after_spray) / (after_spray[1] - after_spray[0]),
        rot_fraction=fruit_weather.rot_share(between(prepared.rot_sum, ripe - fruit_weather.ROT_DAYS, ripe)),
        ripening_night=between(prepared.night_sum, ripe - fruit_weather.COLOUR_DAYS, ripe) / fruit_weather.COLOUR_DAYS,
        blight_days=infection_day_count(prepared, dates.first_bloom, dates.petal_fall),
        winter_temperature_min=cold.winter_minimum(night_air),
        soil_temperature_min=prepared.soil_minimum,
        acclimation_shortfall=cold.acclimation_shortfall(night_air, prepared.temperature_mean),
        wet_soil_days=soil.wet_days,
        drought_days=soil.drought_days,
        work_fraction=_phase_sums(prepared.work_sum, dates) / np.maximum(lengths, 1),
        protection_water=frost_water,
        **freeze,
    )


def _water_factor(soil: SoilYear, dates: Calendar) -> Floats:
    """Mean share of their water need that trees get in a phase, (season, phase, level of cover)."""
    starts, stress = dates.phase_starts, running_total(soil.stress)
    factor = np.ones((len(dates.bloom), 4, len(COVER_LEVELS)))
    for phase in range(4):
        start, end = (dates.bud_break if phase == 0 else starts[phase]), starts[phase + 1]
        for level in range(len(COVER_LEVELS)):
            total = between(stress[:, level], start, end)
            factor[:, phase, level] = np.where(end > start, total / np.maximum(end - start, 1), 1.0)
    return factor


def season_drivers_for(weather: SeasonWeather, cases: Sequence[tuple[Phenology, BlockSite]]) -> list[SeasonDrivers]:
    """What seasons do to cultivars and blocks, in the order of ``cases``; what they share is computed once.

    Raises
    ------
    ValueError
        If the weather has the wrong shape or holds values that are not numbers.
    """
    distinct = list(dict.fromkeys(cases))
    parts: list[list[SeasonDrivers]] = [[] for _ in distinct]
    seasons = np.arange(len(weather.harvest_year))
    for start in range(0, len(seasons), SLICE):
        wanted = seasons[start : start + SLICE]
        # A season alone would have its sums taken in another order by NumPy (one column is contiguous), so it goes
        # in twice: results then do not depend, to the last bit, on how seasons are sliced.
        alone = len(wanted) == 1
        prepared = prepare(weather.rows(np.repeat(wanted, 2) if alone else wanted))
        for of_case, result in zip(parts, _drivers_of_slice(prepared, distinct), strict=True):
            of_case.append(result.rows(slice(1)) if alone else result)
    joined = {case: SeasonDrivers.joined(of_case) for case, of_case in zip(distinct, parts, strict=True)}
    return [joined[case] for case in cases]
