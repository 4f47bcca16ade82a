"""The parametric generator, monthly normals and rain: known models, open data, and what a fit must give back."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import vega_datasets

from orchardsim.core.handover import SeasonWeather
from orchardsim.core.streams import Streams
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.climate import monthly_means
from orchardsim.weather.parameters import MonthlyNormals, WeatherSettings
from orchardsim.weather.parametric import (
    fit_parametric,
    from_score,
    simulate_scores,
    simulate_temperatures,
    to_score,
)
from orchardsim.weather.rain import (
    rain_climate_of_normals,
    rain_climate_of_record,
    rain_series,
    range_scale,
    red_noise,
    season_day_of_year,
)
from orchardsim.weather.sampling import prepare_record, sample_weather

OCTOBER = 273


@pytest.fixture(scope="module")
def record() -> tuple[np.ndarray, np.ndarray]:
    table = prepare_record(bundled_record_path(), 34.7).table
    return table.temperature_min[:, :365], table.temperature_max[:, :365]


def test_red_noise_has_its_autocorrelation() -> None:
    """Autocorrelation exp(-h/tau): 400,000 values, standard error of a correlation below 0.004."""
    series = red_noise(np.random.default_rng(1).standard_normal((400, 1000)), 5.0)
    assert series.std() == pytest.approx(1.0, abs=0.02)
    assert series[:, 0].std() == pytest.approx(1.0, abs=0.15)
    for lag in (1, 5, 10):
        assert (series[:, lag:] * series[:, :-lag]).mean() == pytest.approx(np.exp(-lag / 5.0), abs=0.02)


def test_normal_scores_turn_back(record: tuple[np.ndarray, np.ndarray]) -> None:
    low, high = record
    model = fit_parametric(low, high, OCTOBER)
    anomaly = (low - model.mean[0]) / model.sd[0]
    score = to_score(anomaly, model.quantiles[0])
    np.testing.assert_allclose(from_score(score, model.quantiles[0]), anomaly, atol=1e-4)
    # Normal scores of the record's own days are standard normal: mean 0, variance 1 within the smoothing.
    assert score.mean() == pytest.approx(0.0, abs=0.02) and score.var() == pytest.approx(1.0, abs=0.02)


def test_fit_finds_the_parameters_of_a_known_process() -> None:
    """Seasons from a known model (persistence 0.6, cross-correlation 0.5, slow share 0.15 with 40 days): 120 years give
    back the persistence within 0.03 and the slow share within 0.06 (twice the spread over seeds seen in advance)."""
    rng = np.random.default_rng(8)
    years, share = 120, 0.15
    slow = red_noise(rng.standard_normal((2, years, 365)), 40.0)
    root = np.linalg.cholesky(np.array([[1.0, 0.5], [0.5, 1.0]]))
    fast = np.einsum("ij,jyd->iyd", root, red_noise(rng.standard_normal((2, years, 365)), -1 / np.log(0.6)))
    score = np.sqrt(1 - share) * fast + np.sqrt(share) * slow
    low, high = 5 + 4 * score[0], 16 + 5 * score[1]
    model = fit_parametric(low, high, OCTOBER)
    assert (model.slow_amplitude**2).mean() == pytest.approx(share, abs=0.06)
    assert abs(model.slow_correlation) < 0.45
    persistence = model.transition.mean(axis=0)
    assert persistence[0, 0] == pytest.approx(0.6, abs=0.05) and persistence[1, 1] == pytest.approx(0.6, abs=0.05)
    assert abs(persistence[0, 1]) < 0.05 and abs(persistence[1, 0]) < 0.05
    np.testing.assert_allclose(model.mean[0], 5.0, atol=0.6)
    np.testing.assert_allclose(model.sd[1], 5.0, atol=0.4)


def test_scores_of_the_generator_are_standard_normal(record: tuple[np.ndarray, np.ndarray]) -> None:
    model = fit_parametric(*record, OCTOBER)
    normal = np.random.default_rng(2).standard_normal((3 * 365, 4, 400))
    score = simulate_scores(model, normal)
    for row in range(2):
        spread = score[row].reshape(3, 365, 400).std(axis=(0, 2))
        assert spread.mean() == pytest.approx(1.0, abs=0.02)
        np.testing.assert_allclose(spread, 1.0, atol=0.12)


@pytest.mark.slow
def test_generator_gives_back_the_climate_it_was_fitted_to(record: tuple[np.ndarray, np.ndarray]) -> None:
    """4,000 years. Monthly means: standard error about 0.03 K, beside the harmonics' misfit of a few tenths.

    Coding check on the fitted record, no evidence of skill.
    """
    model = fit_parametric(*record, OCTOBER)
    made = simulate_temperatures(model, Streams(5), range(200), 20 * 365)
    for values, measured in zip(made, record, strict=True):
        drawn = values.reshape(-1, 365)
        np.testing.assert_allclose(monthly_means(drawn).mean(axis=0), monthly_means(measured).mean(axis=0), atol=0.4)
        ratio = drawn.std(axis=0).mean() / measured.std(axis=0).mean()
        assert 0.97 < ratio < 1.04
        a, b = ((x - x.mean(axis=0)) / x.std(axis=0) for x in (drawn, measured))
        assert (a[:, 1:] * a[:, :-1]).mean() == pytest.approx((b[:, 1:] * b[:, :-1]).mean(), abs=0.03)
    low, high = made
    assert (low < high).all()
    assert low.min() < record[0].min() and high.max() > record[1].max()


NORMALS = MonthlyNormals(
    temperature_min=(-8.0, -7, -3, 3, 9, 14, 17, 16, 12, 5, 0, -5),
    temperature_max=(0.0, 2, 8, 15, 21, 26, 29, 28, 23, 16, 8, 2),
    rain=(50.0, 45, 60, 75, 85, 90, 90, 85, 80, 70, 65, 55),
    wet_days=(9.0, 8, 10, 11, 12, 11, 10, 9, 9, 9, 10, 10),
    year_to_year_sd=2.0,
    day_to_day_sd=(4.5,),
)


def normals_seasons(latitude: float = 43.0) -> SeasonWeather:
    sample = sample_weather(WeatherSettings(latitude=latitude, normals=NORMALS), Streams(6), range(60), 20)
    rows = sample.season_rows.ravel()
    seasons = sample.seasons
    return dataclasses.replace(
        seasons,
        harvest_year=seasons.harvest_year[rows],
        temperature_min=seasons.temperature_min[rows],
        temperature_max=seasons.temperature_max[rows],
        rain=seasons.rain[rows],
    )


def test_normals_come_back() -> None:
    """1,200 generated years. Standard errors: monthly mean 2.0/sqrt(1200) = 0.06 K, its spread between years 2 %, rain
    total under 2 %, wet days about 1 %; limits are 4 of them. False alarm per check below 1 in 10,000."""
    seasons = normals_seasons()
    low, high, rain = (
        np.roll(values[:, :365], OCTOBER, axis=1)
        for values in (seasons.temperature_min, seasons.temperature_max, seasons.rain)
    )
    np.testing.assert_allclose(monthly_means(low).mean(axis=0), NORMALS.temperature_min, atol=0.3)
    np.testing.assert_allclose(monthly_means(high).mean(axis=0), NORMALS.temperature_max, atol=0.3)
    spread = monthly_means(0.5 * (low + high)).std(axis=0)
    # the daily spread is larger in winter, so the year's root mean square is what is stated
    assert np.sqrt((spread**2).mean()) == pytest.approx(2.0, rel=0.08)
    assert low.std(axis=0).mean() == pytest.approx(4.5, rel=0.06)
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    np.testing.assert_allclose(monthly_means(rain).mean(axis=0) * days, NORMALS.rain, rtol=0.1)
    np.testing.assert_allclose(monthly_means((rain > 0) * 1.0).mean(axis=0) * days, NORMALS.wet_days, rtol=0.06)
    assert seasons.harvest_year.max() < 0 and np.unique(seasons.harvest_year).size == 1200


def test_southern_normals_have_their_winter_in_july() -> None:
    southern = dataclasses.replace(
        NORMALS, temperature_min=NORMALS.temperature_min[6:] + NORMALS.temperature_min[:6],
        temperature_max=NORMALS.temperature_max[6:] + NORMALS.temperature_max[:6],
    )  # fmt: skip
    sample = sample_weather(WeatherSettings(latitude=-43.0, normals=southern), Streams(6), range(15), 20)
    low = sample.seasons.temperature_min[:, :365]
    coldest = np.argmin(low.mean(axis=0))
    assert 85 < coldest < 135  # mid July is day 105 from 1 April
    assert low[:, 95:115].std() > low[:, 280:300].std()


def test_rain_depends_on_the_temperature_range_as_at_seattle() -> None:
    """Fit to four years of Seattle (vega_datasets seattle-weather), then generate on its own temperatures: wet share,
    amount and the difference of the temperature range between dry and wet days come back. Four years: the standard
    error of the wet share is about 0.015, of the mean range difference about 0.2 K."""
    table = pd.read_csv(Path(os.path.dirname(vega_datasets.__file__)) / "_data" / "seattle-weather.csv")
    dates = pd.to_datetime(table["date"])
    table = table[~((dates.dt.month == 2) & (dates.dt.day == 29))]
    rain = table["precipitation"].to_numpy().reshape(4, 365)
    daily_range = (table["temp_max"] - table["temp_min"]).to_numpy().reshape(4, 365)
    day = season_day_of_year(0, 365)
    score = range_scale(daily_range, day).score(daily_range, day)
    climate = rain_climate_of_record(rain, score, day)
    assert 0.3 < climate.coupling < 0.8
    rng = np.random.default_rng(3)
    many = np.repeat(score, 100, axis=0)
    made = rain_series(climate, many, day, rng.standard_normal((400, 2, 365)), rng.random((400, 2, 365)))
    wet, wet_made = rain >= 0.2, made > 0
    assert wet_made.mean() == pytest.approx(wet.mean(), abs=0.03)
    assert made.sum() / 100 == pytest.approx(rain.sum(), rel=0.06)
    wide = np.repeat(daily_range, 100, axis=0)
    observed = daily_range[~wet].mean() - daily_range[wet].mean()
    assert wide[~wet_made].mean() - wide[wet_made].mean() == pytest.approx(observed, abs=0.5)
    persistence = [(w[:, 1:] & w[:, :-1]).sum() / w[:, :-1].sum() for w in (wet, wet_made)]
    assert persistence[1] == pytest.approx(persistence[0], abs=0.08)


def test_rain_without_a_dry_or_wet_side() -> None:
    climate = rain_climate_of_normals((0.0,) * 6 + (60.0,) * 6, ())
    assert (climate.wet_share[:6] == 0).all() and (climate.wet_share[6:] > 0).all()
    rng = np.random.default_rng(1)
    day = season_day_of_year(0, 365)
    rain = rain_series(
        climate, rng.standard_normal((50, 365)), day, rng.standard_normal((50, 2, 365)), rng.random((50, 2, 365))
    )
    assert rain[:, :181].max() == 0.0 and rain[:, 181:].max() > 0.0
