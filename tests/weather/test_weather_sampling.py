"""Sampling of seasons: addresses, baselines, trend, warming, replay, refusals; and what whole years must keep."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from experiments.weather_validation import methods, season_statistics
from orchardsim.core.errors import InputError
from orchardsim.core.streams import Streams
from orchardsim.season.prepare import prepare
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.climate import monthly_means
from orchardsim.weather.parameters import MonthlyNormals, WeatherSettings
from orchardsim.weather.resampling import year_chains
from orchardsim.weather.sampling import check_weather, prepare_record, sample_weather, whole_record_windows

RAIN = MonthlyNormals(rain=(120.0, 110, 130, 90, 95, 100, 115, 110, 95, 85, 95, 115), wet_days=(10.0,) * 12)
COOL = WeatherSettings(latitude=42.95, record=bundled_record_path("bundled cool"))
SETTINGS = WeatherSettings(latitude=34.7, record=bundled_record_path(), normals=RAIN)
ALL_SETTINGS = [
    SETTINGS,
    dataclasses.replace(SETTINGS, run_length=4.0),
    dataclasses.replace(SETTINGS, trend="extend", warming=(0.5,) * 12),
    dataclasses.replace(SETTINGS, method="parametric", trend="remove"),
    WeatherSettings(
        latitude=-41.0,
        normals=dataclasses.replace(
            RAIN,
            temperature_min=(12.0, 12, 10, 7, 4, 2, 1, 2, 4, 6, 8, 10),
            temperature_max=(24.0, 24, 21, 17, 13, 10, 10, 12, 15, 18, 20, 22),
        ),
    ),
]


@pytest.mark.parametrize("settings", ALL_SETTINGS)
def test_a_trial_meets_the_same_seasons_however_the_work_is_cut(settings: WeatherSettings) -> None:
    whole = sample_weather(settings, Streams(11), range(12), 5)
    part = sample_weather(settings, Streams(11), range(5, 9), 5)
    short = sample_weather(settings, Streams(11), range(12), 3)
    other = sample_weather(settings, Streams(12), range(12), 5)
    differs = False
    for name in ("temperature_min", "temperature_max", "rain", "harvest_year"):
        values = getattr(whole.seasons, name)[whole.season_rows]
        assert np.array_equal(values[5:9], getattr(part.seasons, name)[part.season_rows])
        assert np.array_equal(values[:, :3], getattr(short.seasons, name)[short.season_rows])
        differs |= not np.array_equal(values, getattr(other.seasons, name)[other.season_rows])
    assert differs
    past = [sample.seasons.temperature_min[sample.history] for sample in (whole, part, short)]
    assert past[0].shape[0] == 30 and all(np.array_equal(past[0], other_past) for other_past in past[1:])
    assert (np.diff(whole.seasons.harvest_year[whole.history]) > 0).all()
    assert np.isfinite(whole.seasons.temperature_min).all() and (whole.seasons.rain >= 0).all()
    assert (whole.seasons.temperature_min <= whole.seasons.temperature_max).all()


def test_default_baseline_and_notes() -> None:
    sample = sample_weather(SETTINGS, Streams(1), range(3), 5)
    table = prepare_record(bundled_record_path(), 34.7).table
    complete = table.harvest_year
    assert sample.baseline_years == (complete[-30], complete[-1])
    assert sample.seasons.harvest_year.tolist() == complete[-30:].tolist()
    np.testing.assert_array_equal(sample.seasons.temperature_min, table.temperature_min[-30:])
    text = " ".join(sample.notes)
    for words in ("1936-07-18", "2005 (28 days)", "no rain", "no wind", "K per decade", "kept as it is"):
        assert words in text
    assert sample.method == "years_independent" and "independently" in sample.method_words
    assert not sample.seasons.rain_is_measured
    whole = whole_record_windows(SETTINGS)
    assert whole is not None and whole.harvest_year.size == 86
    np.testing.assert_array_equal(whole.temperature_max[-30:], sample.seasons.temperature_max)


def test_rain_of_a_record_year_does_not_hang_on_the_baseline() -> None:
    long = sample_weather(dataclasses.replace(SETTINGS, baseline_years=(1951, 2020)), Streams(4), range(2), 2).seasons
    short = sample_weather(SETTINGS, Streams(4), range(2), 2).seasons
    np.testing.assert_array_equal(long.rain[-30:], short.rain)
    # the autumn after a season is the same weather as the first 92 days of the next one
    following = np.flatnonzero(np.diff(short.harvest_year) == 1)
    np.testing.assert_array_equal(short.temperature_min[following, 365:], short.temperature_min[following + 1, :92])


def test_replay_of_the_record() -> None:
    sample = sample_weather(SETTINGS, Streams(1), range(4), 35, sequence="record")
    years = sample.seasons.harvest_year[sample.season_rows]
    assert (years == years[0]).all()
    assert years[0, :30].tolist() == sorted(years[0, :30].tolist())
    assert years[0, 30] == years[0, 0] == sample.baseline_years[0]
    assert any("starts again" in note for note in sample.notes)
    parametric = sample_weather(
        dataclasses.replace(SETTINGS, method="parametric"), Streams(9), range(4), 35, sequence="record"
    )
    np.testing.assert_array_equal(parametric.season_rows, sample.season_rows)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"baseline_years": (2010, 2015)}, "at least 10"),
        ({"baseline_years": (2015, 2010)}, "first year"),
        ({"baseline_years": (1800, 1850)}, "1931 to 2020"),
        ({"record": Path("none.dly")}, "cannot be read"),
        ({"record": None, "normals": None}, "weather.normals"),
        ({"warming": (1.0,) * 11}, "expected 12"),
        ({"normals": MonthlyNormals(rain=(1.0,) * 3)}, "expected 12"),
        ({"normals": MonthlyNormals(rain=(1.0,) * 12, wet_days=(31.0,) * 12)}, "more wet days"),
        ({"record": None, "normals": MonthlyNormals(temperature_min=(1.0,) * 12)}, "temperature_max"),
        (
            {"record": None, "normals": MonthlyNormals(temperature_min=(1.0,) * 12, temperature_max=(1.0,) * 12)},
            "not below",
        ),
    ],
)
def test_refusals(change: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        sample_weather(dataclasses.replace(SETTINGS, **change), Streams(1), range(2), 3)


def write_years(path: Path, first: str, last: str, scale: float = 1.0) -> Path:
    record = prepare_record(bundled_record_path(), 34.7).record
    rows = ["date,tmin [degC],tmax [degC],rain [mm]"]
    for day, low, high in zip(record.date, record.temperature_min, record.temperature_max, strict=True):
        if np.datetime64(first) <= day <= np.datetime64(last) and np.isfinite(low + high):
            first_value, second_value = (value * scale + 32 * (scale > 1) for value in (low, high))
            rows.append(f"{day},{first_value:.1f},{second_value:.1f},{max(8 - high + low, 0):.1f}")
    path.write_text("\n".join(rows))
    return path


def test_short_records_are_refused_or_warned_about(tmp_path: Path) -> None:
    short = write_years(tmp_path / "short.csv", "2011-01-01", "2019-12-31")
    with pytest.raises(InputError, match=r"at least 10 are needed.*weather\.normals"):
        sample_weather(WeatherSettings(latitude=34.7, record=short), Streams(1), range(2), 3)
    one = write_years(tmp_path / "one.csv", "2011-01-01", "2011-12-31")
    with pytest.raises(InputError, match="holds 0 complete seasons"):
        sample_weather(WeatherSettings(latitude=34.7, record=one), Streams(1), range(2), 3)
    fahrenheit = write_years(tmp_path / "wrong.csv", "1980-01-01", "2019-12-31", scale=1.8)
    with pytest.raises(InputError, match="Fahrenheit read as Celsius"):
        sample_weather(WeatherSettings(latitude=34.7, record=fahrenheit), Streams(1), range(2), 3)
    middle = write_years(tmp_path / "middle.csv", "2007-01-01", "2019-12-31")
    sample = sample_weather(WeatherSettings(latitude=34.7, record=middle), Streams(1), range(2), 3)
    assert any("only 12 complete years" in note and "parametric" in note for note in sample.notes)
    assert sample.seasons.rain_is_measured
    made = sample_weather(WeatherSettings(latitude=34.7, record=middle, method="parametric"), Streams(1), range(20), 20)
    measured = sample.seasons.rain[:, :365]
    generated = made.seasons.rain[made.season_rows.ravel(), :365]
    assert not made.seasons.rain_is_measured
    # 400 generated years; the yearly number of wet days has a standard deviation of about 12, so the mean's is 0.6.
    assert (generated > 0).sum(axis=1).mean() == pytest.approx((measured >= 0.2).sum(axis=1).mean(), rel=0.06)
    assert generated.sum(axis=1).mean() == pytest.approx(measured.sum(axis=1).mean(), rel=0.08)


def test_no_rain_anywhere_is_said() -> None:
    sample = sample_weather(dataclasses.replace(SETTINGS, normals=None), Streams(1), range(2), 3)
    assert sample.seasons.rain.max() == 0.0 and any("cannot be judged" in note for note in sample.notes)


def test_warming_adds_the_stated_offset_by_month() -> None:
    warming = (0.0, 0.2, 0.5, 0.8, 1.0, 1.5, 2.0, 1.5, 1.0, 0.5, 0.2, -0.5)
    plain = sample_weather(SETTINGS, Streams(1), range(2), 3).seasons
    warm = sample_weather(dataclasses.replace(SETTINGS, warming=warming), Streams(1), range(2), 3).seasons
    for name in ("temperature_min", "temperature_max"):
        difference = (getattr(warm, name) - getattr(plain, name))[:, :365].mean(axis=0)
        np.testing.assert_allclose(monthly_means(np.roll(difference, 273)), warming, atol=0.006)


def test_trend_removed_and_extended() -> None:
    """Plain arithmetic of straight lines: without trend the slope is 0 and the mean stays; extended, year y of the plan
    lies slope x (y + 1) above the level of the baseline's last year."""
    kept = sample_weather(SETTINGS, Streams(1), range(2), 10).seasons
    gone = sample_weather(dataclasses.replace(SETTINGS, trend="remove"), Streams(1), range(2), 10).seasons
    long = sample_weather(dataclasses.replace(SETTINGS, trend="extend"), Streams(1), range(2), 10)
    year = kept.harvest_year
    for name in ("temperature_min", "temperature_max"):
        before, after = (getattr(part, name)[:, :365].mean(axis=1) for part in (kept, gone))
        slope = np.polyfit(year, before, 1)[0]
        assert np.polyfit(year, after, 1)[0] == pytest.approx(0.0, abs=2e-4)
        assert after.mean() == pytest.approx(before.mean(), abs=2e-3)
        seasons = getattr(long.seasons, name)[:300].reshape(10, 30, -1)[:, :, :365].mean(axis=2)
        last_level = before.mean() + slope * (year[-1] - year.mean())
        np.testing.assert_allclose(seasons.mean(axis=1), last_level + slope * np.arange(1, 11), atol=0.01)
    plan_year = long.season_rows // 30
    assert (plan_year == np.arange(10)).all()


def test_nights_that_warm_faster_than_days_are_no_sign_of_clouds() -> None:
    """The carried-on trend narrows the range of the days; light and clear nights stay those of the measured season."""
    settings = dataclasses.replace(SETTINGS, trend="extend")
    long = sample_weather(settings, Streams(1), range(1), 30).seasons.rows(np.arange(29 * 30, 30 * 30))
    kept = sample_weather(SETTINGS, Streams(1), range(1), 1).seasons
    assert long.widened is not None and (long.widened < -0.1).all()
    then, now = prepare(kept), prepare(long)
    np.testing.assert_allclose(now.global_radiation.mean(axis=0), then.global_radiation.mean(axis=0), rtol=2e-3)
    np.testing.assert_allclose(now.night_clear.mean(axis=0), then.night_clear.mean(axis=0), rtol=5e-3)


def test_southern_seasons_start_in_april() -> None:
    """The same record read as a southern site: its seasons start 183 days before those of the north."""
    assert SETTINGS.record is not None
    south, north = (prepare_record(SETTINGS.record, latitude).table for latitude in (-34.7, 34.7))
    shared = np.intersect1d(south.harvest_year, north.harvest_year)
    for year in shared[:5]:
        a = south.temperature_min[south.harvest_year == year][0]
        b = north.temperature_min[north.harvest_year == year][0]
        np.testing.assert_array_equal(a[183:457], b[: 457 - 183])


def test_a_record_from_the_other_hemisphere_is_refused() -> None:
    for wrong in (dataclasses.replace(SETTINGS, latitude=-34.7), dataclasses.replace(COOL, latitude=-43.0)):
        with pytest.raises(InputError, match="north of the equator"):
            sample_weather(wrong, Streams(1), range(2), 3)
        with pytest.raises(InputError, match="north of the equator"):
            check_weather(wrong)


def test_check_reads_what_a_run_would_read() -> None:
    check_weather(SETTINGS)
    check_weather(COOL)
    with pytest.raises(InputError, match="complete seasons"):
        check_weather(dataclasses.replace(SETTINGS, baseline_years=(1850, 1880)))
    with pytest.raises(InputError, match="has no column for date"):
        check_weather(dataclasses.replace(SETTINGS, record=Path(__file__)))


def test_chains_are_uniform_and_their_runs_have_the_stated_length() -> None:
    """20,000 picks of 30 seasons: chi-square on 29 degrees of freedom, false alarm 1 in 10,000.

    Mean run length 4: a year follows on with probability 3/4, and a fresh draw follows on by chance once in 30. False
    alarm beyond 4 standard errors: 1 in 16,000.
    """
    season_rows = year_chains(Streams(3), range(1000), 20, 30)
    count = np.bincount(season_rows.ravel(), minlength=30)
    assert ((count - count.mean()) ** 2 / count.mean()).sum() < chi2.ppf(1 - 1e-4, 29)
    runs = year_chains(Streams(3), range(1000), 20, 30, run_length=4.0)
    follows = (runs[:, 1:] == (runs[:, :-1] + 1) % 30).mean()
    expected = 0.75 + 0.25 / 30
    assert abs(follows - expected) < 4 * np.sqrt(expected * (1 - expected) / 19_000)
    no_wrap = year_chains(Streams(3), range(1000), 20, 30, run_length=20.0, wrap=False)
    after_last = no_wrap[:, 1:][no_wrap[:, :-1] == 29]
    assert (after_last == 0).mean() < 0.15 and after_last.size > 100


@pytest.mark.slow
def test_whole_years_keep_the_record_they_are_drawn_from() -> None:
    """A coding check, no evidence of skill: drawn years replay their record. Tolerances from 200 x 45 years: standard
    deviations of 9,000 draws have a relative standard error of 0.75 %; 4 of them is 3 %. False alarm well below 1 %."""
    table = prepare_record(bundled_record_path(), 34.7).table
    use = table.harvest_year <= 1975
    low, high = table.temperature_min[use][:, :365], table.temperature_max[use][:, :365]
    made = methods.whole_years(low, high, 5, 9000)
    seen, drawn = season_statistics.summary(low, high), season_statistics.summary(*made)
    small = np.sqrt((len(low) - 1) / len(low))  # the draws' standard deviation tends to the record's with divisor n
    ratio = season_statistics.geometric_ratio(
        season_statistics.monthly_sd(*made), season_statistics.monthly_sd(low, high)
    )
    assert 0.97 <= ratio <= 1.01
    daily = season_statistics.geometric_ratio(season_statistics.daily_sd(*made), season_statistics.daily_sd(low, high))
    assert 0.98 <= daily <= 1.01
    for name in ("lag_one_min_spring", "lag_one_max_spring", "lag_one_min_winter", "lag_one_max_winter"):
        assert drawn[name] == pytest.approx(seen[name], abs=0.02)
    assert drawn["bloom_sd"] == pytest.approx(small * seen["bloom_sd"], abs=0.3)
    assert drawn["march_april_heat_sd"] == pytest.approx(small * seen["march_april_heat_sd"], abs=2.0)
    assert drawn["post_bloom_below_0"] == pytest.approx(seen["post_bloom_below_0"], abs=0.02)


@pytest.mark.parametrize("settings", ALL_SETTINGS)
def test_what_was_not_measured_is_said(settings: WeatherSettings) -> None:
    """Rain, wind and humidity are not in these sources: the notes say what is drawn, estimated or done without."""
    plain = sample_weather(settings, Streams(1), range(2), 2)
    text = " ".join(plain.notes)
    assert "rest on drawn rain" in text and "as on calm days" in text and "Hargreaves" in text
    assert not plain.seasons.estimate_missing
    asked = dataclasses.replace(settings, estimate_missing=True, dew_point_offset=2.0)
    estimated = sample_weather(asked, Streams(1), range(2), 2)
    text = " ".join(estimated.notes)
    assert "estimated as 2 m/s" in text and "2 K below" in text and "Penman-Monteith" in text
    assert estimated.seasons.estimate_missing and estimated.seasons.dew_point_offset == 2.0
    np.testing.assert_array_equal(estimated.seasons.temperature_min, plain.seasons.temperature_min)


def test_a_clear_day_of_the_lake_shore_has_a_smaller_range_than_one_inland() -> None:
    """A lake evens out clear days as well as others; generated seasons take over the record's clear days."""
    found = []
    for name, latitude in (("bundled cool", 42.95), ("bundled warm", 34.66)):
        settings = WeatherSettings(latitude=latitude, record=bundled_record_path(name))
        sampled, generated = (
            sample_weather(dataclasses.replace(settings, method=method), Streams(1), range(1), 1).seasons
            for method in ("resample", "parametric")
        )
        daily = sampled.temperature_max - sampled.temperature_min
        assert 0.75 < (daily < sampled.clear_range).mean() < 0.9
        assert generated.clear_range == pytest.approx(sampled.clear_range, abs=0.5)
        found.append(sampled.clear_range)
    assert found[0] < found[1] - 2


def test_the_lake_shore_record_knows_that_its_days_are_evened_out() -> None:
    """FAO-56 eq. 50: 0.16 inland, 0.19 at a coast; a plan's own value wins, also where another record is put in."""
    cool = WeatherSettings(latitude=42.95, record=bundled_record_path("bundled cool"))
    warm = WeatherSettings(latitude=34.66, record=bundled_record_path("bundled warm"))
    stated = dataclasses.replace(cool, range_coefficient=0.19)
    for settings, low, high in ((cool, 0.161, 0.189), (warm, 0.16, 0.16), (stated, 0.19, 0.19)):
        assert low <= sample_weather(settings, Streams(1), range(1), 1).seasons.range_coefficient <= high
