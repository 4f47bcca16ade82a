"""What a station's own past years mean for an orchard: climate, bloom, and the frost kill of each."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import MONTH_DAYS, YEAR_DAYS, day_of_year
from orchardsim.core.handover import SeasonWeather
from orchardsim.results.weather import PastSeasons, PastWeather
from orchardsim.season.degree_days import degree_days_sine
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.weather.climate import yearly_trends
from orchardsim.weather.history import FROST_LEVELS, frost_dates, latitude_of, monthly_climate
from orchardsim.weather.parameters import WeatherSettings
from orchardsim.weather.quality import check_record
from orchardsim.weather.readers import read_record
from orchardsim.weather.sampling import DEFAULT_BASELINE, FEWEST_YEARS, whole_record_windows
from orchardsim.weather.windows import season_table

Floats = NDArray[np.float64]

NIGHT_OFFSETS: Final = (0.0, -1.0, -2.0)
"""K; how much colder than the station the hindcast takes the orchard's clear nights to be."""
HEAT_BASE: Final = 4.5
"""degC; base of growing degree days, as in the season room."""
HEAT_SPAN: Final = slice(182, 396)
"""Days of season over which heat is summed: 1 April to 31 October in the north, 1 October to 1 May in the south."""


def past_weather(
    record: Path, latitude: float | None, cultivars: Mapping[str, Phenology], *, name: str, units: str = "metric"
) -> PastWeather:
    """Read a station record and look back at its seasons.

    Parameters
    ----------
    record : path
    latitude : float or None [degree]
        North positive; the file's own where none is given.
    cultivars : mapping of str to Phenology
        At least one.
    name : str
        What the record is called.
    units : {"us", "metric"}
        In which it is shown.

    Raises
    ------
    InputError
        If the file is no daily record.
    """
    checked, quality = check_record(read_record(record))
    notes = list(checked.repairs)
    if latitude is None:
        latitude, note = latitude_of(checked)
        notes.append(note)
    table = season_table(checked, latitude)
    notes += table.notes
    years, recent = table.harvest_year, slice(-DEFAULT_BASELINE, None)
    seasons, baseline = None, (0, 0)
    if years.size < FEWEST_YEARS:
        notes.append(f"{years.size} complete seasons: too few for statistics between years ({FEWEST_YEARS} are needed)")
    else:
        if years.size < DEFAULT_BASELINE:
            notes.append(f"{years.size} complete seasons: the frequency of rare seasons is uncertain")
        baseline = int(years[recent][0]), int(years[-1])
        windows = whole_record_windows(WeatherSettings(latitude=latitude, record=record))
        assert windows is not None
        seasons = past_seasons(windows, cultivars)
    trend_min, trend_max = yearly_trends(years[recent], table.temperature_min[recent], table.temperature_max[recent])
    first, last = (str(day) for day in checked.date[[0, -1]])
    return PastWeather(
        name=name,
        station=checked.station,
        units=units,
        latitude=latitude,
        first_day=first,
        last_day=last,
        quality=tuple(quality.lines()),
        notes=tuple(notes),
        climate=monthly_climate(checked),
        frost=tuple(frost_dates(table, level) for level in FROST_LEVELS),
        trend_min=trend_min,
        trend_max=trend_max,
        baseline_years=baseline,
        harvest_year=years,
        seasons=seasons,
    )


def past_seasons(seasons: SeasonWeather, cultivars: Mapping[str, Phenology]) -> PastSeasons:
    """Bloom, the frost kill that each past year would have brought, chill and heat."""
    if not cultivars:
        raise ValueError("at least one cultivar is needed for bloom and frost")
    cases = [(each, BlockSite(night_offset=offset)) for each in cultivars.values() for offset in NIGHT_OFFSETS]
    drivers = season_drivers_for(seasons, cases)
    step = len(NIGHT_OFFSETS)
    low, high = seasons.temperature_min, seasons.temperature_max
    return PastSeasons(
        monthly_temperature_min=monthly(low, seasons.latitude),
        monthly_temperature_max=monthly(high, seasons.latitude),
        monthly_rain=monthly(seasons.rain, seasons.latitude, total=True) if seasons.rain_is_measured else None,
        cultivars=tuple(cultivars),
        bloom_day=np.stack([each.bloom_day for each in drivers[::step]]),
        frost_kill=np.stack([each.frost_kill for each in drivers]).reshape(len(cultivars), step, -1),
        night_offsets=NIGHT_OFFSETS,
        chill_portions=drivers[0].chill_portions,
        utah_units=drivers[0].utah_units,
        heat=degree_days_sine(low[:, HEAT_SPAN], high[:, HEAT_SPAN], HEAT_BASE).sum(axis=1),
        chill_fraction=np.stack([each.chill_fraction for each in drivers[::step]]),
    )


def monthly(values: Floats, latitude: float, *, total: bool = False) -> Floats:
    """Monthly means (or sums) of the biological year, January first; (season, day) to (season, 12)."""
    day = np.array([day_of_year(season_day, latitude) for season_day in range(YEAR_DAYS)])
    month = np.searchsorted(np.cumsum(MONTH_DAYS), day)
    reduce = np.sum if total else np.mean
    return np.stack([reduce(values[:, :YEAR_DAYS][:, month == number], axis=1) for number in range(12)], axis=1)
