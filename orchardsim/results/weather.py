"""What a station record holds, and what its past seasons would have done to an orchard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.weather.climate import Trend
from orchardsim.weather.history import FrostDates, MonthlyClimate

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PastSeasons:
    """Climate, bloom and frost of the complete seasons of a record.

    Attributes
    ----------
    monthly_temperature_min, monthly_temperature_max : float array, (year, 12) [degC]
    monthly_rain : float array or None, (year, 12) [mm]
        None where the record has no rain.
    bloom_day : float array, (cultivar, year) [day of season]
    frost_kill : float array, (cultivar, offset, year) [1]
    night_offsets : tuple of float [K]
        How much colder than the station the orchard's clear nights are taken to be.
    chill_portions, utah_units : float array, (year,)
        Winter chill at bud break of the first cultivar by the Dynamic Model and by the Utah model.
    heat : float array, (year,) [K day]
    chill_fraction : float array, (cultivar, year) [1]
        Chill received before bud break over the cultivar's need, at most 1.
    """

    monthly_temperature_min: Floats
    monthly_temperature_max: Floats
    monthly_rain: Floats | None
    cultivars: tuple[str, ...]
    bloom_day: Floats
    frost_kill: Floats
    night_offsets: tuple[float, ...]
    chill_portions: Floats
    utah_units: Floats
    heat: Floats
    chill_fraction: Floats


@dataclass(frozen=True)
class PastWeather:
    """A record's quality and climate, and its bloom and frost where seasons can be drawn from it.

    Attributes
    ----------
    name, station : str
        Of the file, and of the station.
    units : {"us", "metric"}
    latitude : float [degree]
    first_day, last_day : str
    quality, notes : tuple of str
        One line each, in the units inside the program.
    climate : MonthlyClimate
    frost : tuple of FrostDates
        By level, that of freezing first.
    trend_min, trend_max : Trend
        Through the yearly means of the last 30 complete seasons.
    baseline_years : tuple of int
        First and last harvest year that a run draws from; (0, 0) where there are too few.
    harvest_year : int array, (year,)
        Complete seasons.
    seasons : PastSeasons or None
        None where there are too few to draw from.
    """

    name: str
    station: str
    units: str
    latitude: float
    first_day: str
    last_day: str
    quality: tuple[str, ...]
    notes: tuple[str, ...]
    climate: MonthlyClimate
    frost: tuple[FrostDates, ...]
    trend_min: Trend
    trend_max: Trend
    baseline_years: tuple[int, int]
    harvest_year: NDArray[np.int64]
    seasons: PastSeasons | None

    @property
    def in_baseline(self) -> NDArray[np.bool_]:
        """Years that belong to the baseline, (year,)."""
        first, last = self.baseline_years
        return (self.harvest_year >= first) & (self.harvest_year <= last)
