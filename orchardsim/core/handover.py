"""What one stage hands to the next: plain structs of arrays, checked against the variable table.

Array shapes use these letters: ``season`` = distinct biological years of weather, ``day`` = days of the season
window (:data:`orchardsim.core.calendar.WINDOW_DAYS`), ``phase`` = the four growth phases, ``cover`` = the levels
of canopy cover in :data:`COVER_LEVELS`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final, Literal, NamedTuple, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

COVER_LEVELS: Final = (0.0, 0.2, 0.4, 0.6, 0.8)
"""Shares of light intercepted at which the soil-water balance is computed; trees interpolate by their own cover."""


WeatherMethod = Literal[
    "years_independent", "years_in_runs", "record_in_order", "generated_from_record", "generated_from_normals"
]
"""How the seasons of a run were made; results and summaries hold this code, pages say it in words."""


class ArrayStruct:
    """A struct of arrays that share their first axis; one that is not there is None."""

    def rows(self, chosen: NDArray[np.int64] | NDArray[np.bool_] | slice) -> Self:
        """Some places of the first axis, in the order asked for; a place may stand more than once."""
        arrays = {name: values for name, values in vars(self).items() if isinstance(values, np.ndarray)}
        return replace(self, **{name: values[chosen] for name, values in arrays.items()})  # type: ignore[type-var]

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """Parts one after the other; an array only where all have it, and what is no array as the first has it."""

        def of(values: list[Any]) -> Any:
            if any(value is None for value in values):
                return None
            return np.concatenate(values) if isinstance(values[0], np.ndarray) else values[0]

        return cls(**{name: of([getattr(part, name) for part in parts]) for name in vars(parts[0])})


@dataclass(frozen=True)
class SeasonWeather(ArrayStruct):
    """Daily weather of distinct biological years (weather -> season).

    Attributes
    ----------
    harvest_year : int array, (season,)
        Calendar year in which the trees are picked; negative for generated years.
    temperature_min, temperature_max : float array, (season, day) [degC]
    rain : float array, (season, day) [mm/day]
        Measured, or drawn from the plan's monthly normals where the record has none (see ``rain_is_measured``).
    wind_speed, relative_humidity : float array or None, (season, day) [m/s at 2 m], [1]
    latitude, elevation : float [degrees north], [m]
    estimate_missing : bool
        Whether the season stage estimates wind and humidity where they are None.
    dew_point_offset : float [K]
        For such an estimate: how far the dew point stands below the day's minimum.
    range_coefficient : float [K-0.5]
        Of radiation from the day's temperature range: 0.16 inland, 0.19 at a coast.
    clear_range : float [K]
        Temperature range of the station's clear days.
    widened : float array or None, (season,) [K]
        How much a trend that was moved has widened the days' range. Light does not follow it: nights that warm faster
        than days are no sign of clouds.
    """

    harvest_year: NDArray[np.int64]
    temperature_min: NDArray[np.float64]
    temperature_max: NDArray[np.float64]
    rain: NDArray[np.float64]
    rain_is_measured: bool
    latitude: float
    elevation: float
    wind_speed: NDArray[np.float64] | None = None
    relative_humidity: NDArray[np.float64] | None = None
    estimate_missing: bool = False
    dew_point_offset: float = 0.0
    range_coefficient: float = 0.16
    clear_range: float = 16.7
    widened: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class WeatherSample:
    """The seasons that each trial meets (weather -> simulation).

    Attributes
    ----------
    seasons : SeasonWeather
        The distinct seasons.
    season_rows : int array, (trial, year)
        Row of ``seasons`` that trial t meets in year y of the plan.
    method : str
        How the seasons were made: a code of :data:`WeatherMethod`.
    method_words : str
        The same as pages print it.
    baseline_years : tuple of int
        First and last harvest year of the record's part in use; (0, 0) where there is no record.
    notes : tuple of str
        One line each: what was dropped, filled or estimated.
    history : int array, (n,)
        Rows of ``seasons`` that are the site's own past, oldest first: the baseline, or, without a record, a generated
        series. They are the same whichever trials are asked for, so they serve for years before year 0 and for
        means over seasons that must not hang on how the work is cut.
    """

    seasons: SeasonWeather
    season_rows: NDArray[np.int64]
    method: WeatherMethod
    method_words: str
    baseline_years: tuple[int, int]
    notes: tuple[str, ...] = ()
    history: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


@dataclass(frozen=True)
class SeasonDrivers(ArrayStruct):
    """What a season does to one cultivar at one site (season -> trees, operations, economy).

    All arrays are float64; days are days of the season window (0 = 1 October, or 1 April in the south).

    Attributes
    ----------
    chill_portions, utah_units : (season,)
        Winter chill by the Dynamic Model and the Utah model.
    bud_break_day, bloom_day, closed_canopy_day, harvest_day, leaf_fall_day : (season,) [day of season]
    chill_fraction : (season,) [1]
        Chill received over chill required, capped at 1; below 1 bloom is late, weak and uneven.
    frost_kill : (season,) [1]
        Share of flowers killed by frost from bud break to four weeks after bloom, the block's protection working.
    frost_kill_failed : (season,) [1]
        The same where the protection breaks down in the night: at least that without protection.
    frost_kill_unprotected : (season,) [1]
    pollination_hours : (season,) [h]
        Hours fit for bees in the effective pollination period, full-activity equivalents.
    radiation : (season, phase) [MJ/m2]
        Photosynthetically active radiation by growth phase.
    degree_days : (season, phase) [K day]
        Growing degree days above 4.5 degC, single sine, by growth phase.
    temperature_factor : (season, phase) [1]
        Light-weighted mean response of canopy photosynthesis to daytime temperature, 0 to 1.
    water_factor : (season, phase, cover) [1]
        Mean water-stress coefficient Ks of FAO-56, with the block's irrigation.
    irrigation_depth : (season, cover) [mm]
        Water applied in the season.
    early_heat : (season,) [K day]
        Degree days in the 60 days after bloom, that set fruit cell number.
    sunburn_fraction : (season,) [1]
    spray_balance : (season,) [1]
        Carbohydrate balance of the week that decides what a thinning spray takes off; 0 is usual.
    rot_fraction : (season,) [1]
        Share of sound fruit spoilt by rots.
    ripening_night : (season,) [degC]
        Mean nightly minimum of the three weeks before harvest.
    blight_days : (season,)
        Days in bloom on which all four conditions of the blossom infection rule were met.
    winter_temperature_min : (season,) [degC]
        Lowest temperature in deep rest.
    soil_temperature_min : (season,) [degC]
        Lowest temperature among the roots in winter.
    acclimation_shortfall : (season,) [K]
        How far the worst cold of early winter went beyond what the tissue had hardened to.
    wet_soil_days : (season,)
        Days in leaf with soil at or above field capacity.
    drought_days : (season,)
        Days in leaf with Ks below 0.3 at the highest cover level.
    work_fraction : (season, phase) [1]
        Share of days fit for field work (less than 5 mm of rain).
    protection_hours : (season,) [h]
        Hours of frost protection run.
    protection_nights : (season,)
        Nights on which it ran.
    protection_water : (season,) [mm]
        Water that it took; held in ``irrigation_depth`` as well.
    protection_fuel : (season,) [L/ha]
    protection_labour : (season,) [h/ha]
    """

    chill_portions: NDArray[np.float64]
    utah_units: NDArray[np.float64]
    bud_break_day: NDArray[np.float64]
    bloom_day: NDArray[np.float64]
    closed_canopy_day: NDArray[np.float64]
    harvest_day: NDArray[np.float64]
    leaf_fall_day: NDArray[np.float64]
    chill_fraction: NDArray[np.float64]
    frost_kill: NDArray[np.float64]
    frost_kill_failed: NDArray[np.float64]
    frost_kill_unprotected: NDArray[np.float64]
    pollination_hours: NDArray[np.float64]
    radiation: NDArray[np.float64]
    degree_days: NDArray[np.float64]
    temperature_factor: NDArray[np.float64]
    water_factor: NDArray[np.float64]
    irrigation_depth: NDArray[np.float64]
    early_heat: NDArray[np.float64]
    sunburn_fraction: NDArray[np.float64]
    spray_balance: NDArray[np.float64]
    rot_fraction: NDArray[np.float64]
    ripening_night: NDArray[np.float64]
    blight_days: NDArray[np.float64]
    winter_temperature_min: NDArray[np.float64]
    soil_temperature_min: NDArray[np.float64]
    acclimation_shortfall: NDArray[np.float64]
    wet_soil_days: NDArray[np.float64]
    drought_days: NDArray[np.float64]
    work_fraction: NDArray[np.float64]
    protection_hours: NDArray[np.float64]
    protection_nights: NDArray[np.float64]
    protection_water: NDArray[np.float64]
    protection_fuel: NDArray[np.float64]
    protection_labour: NDArray[np.float64]


Seen = TypeVar("Seen")


def seen_by_groups(kind: type[Seen], drivers: Sequence[SeasonDrivers], season_rows: NDArray[np.int64]) -> Seen:
    """The drivers that a struct names, (trial, group, ...), in the season that each trial meets.

    Parameters
    ----------
    drivers : sequence of SeasonDrivers, one for each row group
    season_rows : int array, (trial,)
    """
    names = {field_.name for field_ in fields(SeasonDrivers)} & {field_.name for field_ in fields(kind)}  # type: ignore[arg-type]
    return kind(**{name: np.stack([getattr(own, name)[season_rows] for own in drivers], axis=1) for name in names})


class Reach(NamedTuple):
    """Which of a row group's trees a crew came to (operations -> trees); arrays (trial, group) [1].

    ``share`` of the trees were done, from the place ``start`` of the crew's walk on, and round again.
    """

    share: NDArray[np.float64]
    start: NDArray[np.float64]


@dataclass(frozen=True)
class FarmQuantities:
    """All physical quantities that money follows from (simulation -> economy).

    Results by the names of :data:`orchardsim.core.variables.RESULTS`, without ``shared``; beside them or different:

    Attributes
    ----------
    leaf : int array, (year, block)
        Growing season of the block's first planting; 0 or less before it, -999 after its removal.
    trees_lost : (trial, year, block) [1]
        To all causes.
    spares_bought, spot_bought : (trial, year, block) [1]
        Replacement trees delivered, and those among them that were bought at short notice.
    """

    leaf: NDArray[np.int64]
    trees_planted: NDArray[np.float64]
    trees_replanted: NDArray[np.float64]
    trees_ordered: NDArray[np.float64]
    trees_alive: NDArray[np.float64]
    trees_lost: NDArray[np.float64]
    trees_removed: NDArray[np.float64]
    spares_bought: NDArray[np.float64]
    spot_bought: NDArray[np.float64]
    spares_on_hand: NDArray[np.float64]
    harvested_mass: NDArray[np.float64]
    packed_mass: NDArray[np.float64]
    labour_hours: NDArray[np.float64]
    irrigation_depth: NDArray[np.float64]
    protection_hours: NDArray[np.float64]
    protection_fuel: NDArray[np.float64]
    pass_price: NDArray[np.float64]
    size_price: NDArray[np.float64]
