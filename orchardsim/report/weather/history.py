"""What a station's own past years mean for an orchard: plain arrays for the weather page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import YEAR_DAYS, day_of_year

if TYPE_CHECKING:
    from orchardsim.core.handover import SeasonWeather
    from orchardsim.season.parameters import Phenology

Floats = NDArray[np.float64]

NIGHT_OFFSETS: Final = (0.0, -1.0, -2.0)
"""K; how much colder than the station the hindcast takes the orchard's clear nights to be."""
FROST: Final = 0.0
"""degC; a frost is a daily minimum at or below the freezing point of water, in the station's shelter."""
SPRING: Final = slice(92, 304)
"""Days of season searched for the last spring frost: from mid winter to the height of summer."""
AUTUMN_START: Final = 304
HEAT_BASE: Final = 4.5
"""degC; base of growing degree days, as in the season room."""
HEAT_SPAN: Final = slice(182, 396)
"""Days of season over which heat is summed: 1 April to 31 October in the north, 1 October to 1 May in the south."""
MONTH_NAMES: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
KILL_MARKS: Final = (0.3, 0.9)
"""Shares of flowers killed whose frequency is told."""


@dataclass(frozen=True)
class WeatherHistory:
    """All that the weather page shows.

    Attributes
    ----------
    title, station, method : str
        Heading, station id, and one line on where the numbers come from.
    units : {"us", "metric"}
    latitude : float [degree]
    baseline_years : tuple of int
        First and last harvest year that a run draws from.
    harvest_year : int array, (year,)
        Complete years of the record.
    monthly_temperature_min, monthly_temperature_max : float array, (year, 12) [degC]
    monthly_rain : float array or None, (year, 12) [mm]
        None where the record has no rain.
    last_spring_frost, first_autumn_frost : float array, (year,) [day of season]
        NaN in years without one.
    bloom_day : float array, (cultivar, year) [day of season]
    frost_kill : float array, (cultivar, offset, year) [1]
    night_offsets : tuple of float [K]
    chill_portions, utah_units : float array, (year,)
    heat : float array, (year,) [K day]
    chill_fraction : float array, (cultivar, year) [1]
        Chill received before bud break over the cultivar's need, at most 1.
    quality, notes : tuple of str
        One line each.
    """

    title: str
    station: str
    method: str
    units: str
    latitude: float
    baseline_years: tuple[int, int]
    harvest_year: NDArray[np.int64]
    monthly_temperature_min: Floats
    monthly_temperature_max: Floats
    monthly_rain: Floats | None
    last_spring_frost: Floats
    first_autumn_frost: Floats
    cultivars: tuple[str, ...]
    bloom_day: Floats
    frost_kill: Floats
    night_offsets: tuple[float, ...]
    chill_portions: Floats
    utah_units: Floats
    heat: Floats
    chill_fraction: Floats
    quality: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def in_baseline(self) -> NDArray[np.bool_]:
        """Years that belong to the baseline, (year,)."""
        first, last = self.baseline_years
        return (self.harvest_year >= first) & (self.harvest_year <= last)


def weather_history(
    seasons: SeasonWeather,
    cultivars: Mapping[str, Phenology],
    baseline_years: tuple[int, int],
    *,
    title: str,
    station: str,
    units: str = "metric",
    quality: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> WeatherHistory:
    """Frost dates, bloom, the frost kill that each past year would have brought, chill and heat.

    Parameters
    ----------
    seasons : SeasonWeather
        All complete seasons of a record, as :func:`orchardsim.weather.sampling.whole_record_windows` gives them.
    cultivars : mapping of str to Phenology
        At least one.
    baseline_years : tuple of int
        First and last harvest year that a run would draw from.
    title, station : str
    units : {"us", "metric"}
    quality, notes : sequences of str
        Lines of the quality report, and what was filled or estimated.

    Returns
    -------
    WeatherHistory
    """
    from orchardsim.season.degree_days import degree_days_sine
    from orchardsim.season.drivers import season_drivers_for
    from orchardsim.season.parameters import BlockSite

    if not cultivars:
        raise ValueError("at least one cultivar is needed for bloom and frost")
    cases = [(each, BlockSite(night_offset=offset)) for each in cultivars.values() for offset in NIGHT_OFFSETS]
    drivers = season_drivers_for(seasons, cases)
    step = len(NIGHT_OFFSETS)
    low, high = seasons.temperature_min, seasons.temperature_max
    rain = monthly(seasons.rain, seasons.latitude, total=True) if seasons.rain_is_measured else None
    return WeatherHistory(
        title=title,
        station=station,
        method=f"{len(seasons.harvest_year)} complete years of the record, read as they were measured",
        units=units,
        latitude=seasons.latitude,
        baseline_years=baseline_years,
        harvest_year=np.asarray(seasons.harvest_year),
        monthly_temperature_min=monthly(low, seasons.latitude),
        monthly_temperature_max=monthly(high, seasons.latitude),
        monthly_rain=rain,
        last_spring_frost=last_frost(low),
        first_autumn_frost=first_frost(low),
        cultivars=tuple(cultivars),
        bloom_day=np.stack([each.bloom_day for each in drivers[::step]]),
        frost_kill=np.stack([each.frost_kill for each in drivers]).reshape(len(cultivars), step, -1),
        night_offsets=NIGHT_OFFSETS,
        chill_portions=drivers[0].chill_portions,
        utah_units=drivers[0].utah_units,
        heat=degree_days_sine(low[:, HEAT_SPAN], high[:, HEAT_SPAN], HEAT_BASE).sum(axis=1),
        chill_fraction=np.stack([each.chill_fraction for each in drivers[::step]]),
        quality=tuple(quality),
        notes=tuple(notes),
    )


def last_frost(temperature_min: Floats) -> Floats:
    """Day of season of the last spring frost; NaN where there is none.

    Parameters
    ----------
    temperature_min : float array, (season, day) [degC]

    Examples
    --------
    >>> night = np.full((2, 457), 5.0)
    >>> night[0, [60, 150, 201]] = -1.0
    >>> last_frost(night)
    array([201.,  nan])
    """
    frost = temperature_min[:, SPRING] <= FROST
    last = SPRING.stop - 1 - frost[:, ::-1].argmax(axis=1)
    return np.where(frost.any(axis=1), last.astype(np.float64), np.nan)


def first_frost(temperature_min: Floats) -> Floats:
    """Day of season of the first autumn frost; NaN where there is none within the window.

    Examples
    --------
    >>> night = np.full((1, 457), 5.0)
    >>> night[0, [201, 390, 400]] = -1.0
    >>> first_frost(night)
    array([390.])
    """
    frost = temperature_min[:, AUTUMN_START:] <= FROST
    return np.where(frost.any(axis=1), AUTUMN_START + frost.argmax(axis=1).astype(np.float64), np.nan)


def monthly(values: Floats, latitude: float, *, total: bool = False) -> Floats:
    """Monthly means (or sums) of the biological year, January first; (season, day) to (season, 12)."""
    day = np.array([day_of_year(season_day, latitude) for season_day in range(YEAR_DAYS)])
    ends = np.cumsum([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    month = np.searchsorted(ends, day)
    reduce = np.sum if total else np.mean
    return np.stack([reduce(values[:, :YEAR_DAYS][:, month == number], axis=1) for number in range(12)], axis=1)


def frost_shares(history: WeatherHistory) -> list[dict[str, object]]:
    """How often each past span would have brought heavy frost kill: one row per cultivar and night offset.

    Each row has the counts of years above the marks of :data:`KILL_MARKS` in the baseline, in the years before it
    and in the whole record, with the number of years.
    """
    baseline = history.in_baseline
    spans = {
        "baseline": baseline,
        "before": history.harvest_year < history.baseline_years[0],
        "whole": np.ones(len(baseline), dtype=bool),
    }
    rows: list[dict[str, object]] = []
    for number, cultivar in enumerate(history.cultivars):
        for place, offset in enumerate(history.night_offsets):
            kill = history.frost_kill[number, place]
            row: dict[str, object] = {"cultivar": cultivar, "offset": offset}
            for name, span in spans.items():
                row[name] = tuple(int((kill[span] > mark).sum()) for mark in KILL_MARKS)
                row[f"{name}_years"] = int(span.sum())
            rows.append(row)
    return rows
