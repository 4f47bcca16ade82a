"""The seasons that each trial meets: from a record, from a generator fitted to it, or from monthly normals."""

from __future__ import annotations

import dataclasses
import functools
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import MONTH_DAYS, WINDOW_DAYS, YEAR_DAYS
from orchardsim.core.errors import InputError
from orchardsim.core.handover import SeasonWeather, WeatherMethod, WeatherSample
from orchardsim.core.streams import Streams
from orchardsim.weather.bundled import range_coefficient
from orchardsim.weather.climate import Trend, daily_from_monthly, yearly_trends
from orchardsim.weather.generated import Generator, range_scale_of_model
from orchardsim.weather.missing import GENERATED_RAIN, NO_RAIN, RESTS_ON_RAIN, missing_notes
from orchardsim.weather.normals import check_normals, model_of_normals
from orchardsim.weather.parameters import MonthlyNormals, WeatherSettings
from orchardsim.weather.parametric import ParametricModel, fit_parametric
from orchardsim.weather.quality import MANY_MISSING, QualityReport, check_record, dropped_line
from orchardsim.weather.rain import (
    RainClimate,
    clear_range,
    rain_climate_of_normals,
    rain_climate_of_record,
    rain_of_record_years,
    range_scale,
    season_day_of_year,
    steady_range,
)
from orchardsim.weather.readers import read_record
from orchardsim.weather.records import DECIMALS, DailyRecord, Floats, june_over_december
from orchardsim.weather.resampling import record_order, year_chains
from orchardsim.weather.windows import SeasonTable, season_start_day, season_table

RECORD_SEED: Final = 0
"""Seed of what completes a record: it belongs to the record, not to a run."""
DEFAULT_BASELINE: Final = 30
"""Complete years of the default baseline (the length of a climate normal of the World Meteorological Organization)."""
FEWEST_YEARS: Final = 10
"""Complete years below which no year-to-year statistics are made (assumption; see the errors by record length)."""
WARNED_YEARS: Final = 30
LEAST_SEASON: Final = 4.0
"""K; least difference between summer and winter by which a hemisphere is told (assumption: half of what it is near the
tropics' edge)."""
PARAMETRIC_YEARS: Final = 20
"""Complete years below which the parametric generator is the better choice (assumption)."""


@dataclass(frozen=True)
class Prepared:
    """A record, checked and cut into seasons; ``file`` tells its content apart."""

    file: tuple[Path, int, int]
    record: DailyRecord
    quality: QualityReport
    table: SeasonTable


def prepare_record(path: Path, latitude: float) -> Prepared:
    """Read, check and cut a record; kept in memory for the next range of trials."""
    try:
        status = Path(path).stat()
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror or error})") from error
    return _prepared(Path(path), latitude >= 0, status.st_mtime_ns, status.st_size)


@functools.lru_cache(maxsize=4)
def _prepared(path: Path, northern: bool, changed: int, size: int) -> Prepared:
    cleaned, quality = check_record(read_record(path))
    return Prepared((path, changed, size), cleaned, quality, season_table(cleaned, 1.0 if northern else -1.0))


@dataclass(frozen=True)
class Baseline:
    """The seasons of a record that a run draws from.

    Attributes
    ----------
    seasons : SeasonWeather
        Complete seasons, their trend treated as the settings say (but not extended), not warmed.
    years : tuple of int
        First and last harvest year.
    trend : tuple of Trend
        Of the yearly means of minimum and maximum temperature.
    notes : tuple of str
    """

    seasons: SeasonWeather
    years: tuple[int, int]
    trend: tuple[Trend, Trend]
    notes: tuple[str, ...]


def sample_weather(
    settings: WeatherSettings,
    streams: Streams,
    trials: range,
    years: int,
    *,
    sequence: Literal["sampled", "record"] = "sampled",
) -> WeatherSample:
    """Draw the seasons that trials meet.

    Returns: distinct seasons once, and which of them each trial meets in each year.

    Parameters
    ----------
    trials : range
        Trial numbers; what a trial meets depends on its number alone, so ranges of trials may be cut anywhere.
    years : int
        Years of the plan, from year 0.
    sequence : {"sampled", "record"}
        "record" replays the baseline's years in order, the same in every trial.

    Raises
    ------
    InputError
        If the record cannot be read or is too short, or the normals lack a value.
    """
    if years < 1 or len(trials) < 1:
        raise ValueError("at least one year and one trial are needed")
    if settings.record is None:
        return _from_normals(settings, streams, trials, years, sequence)
    prepared = prepare_record(settings.record, settings.latitude)
    baseline = baseline_seasons(settings, prepared)
    if settings.method == "parametric" and sequence == "sampled":
        return _from_generator(settings, prepared, baseline, streams, trials, years)
    seasons = _warmed(baseline.seasons, settings, prepared.table.start_day)
    count = seasons.harvest_year.size
    notes = list(baseline.notes)
    notes += missing_notes(seasons)
    if sequence == "record":
        season_rows = record_order(trials, years, count)
        method: WeatherMethod = "record_in_order"
        words = f"the record's years {baseline.years[0]} to {baseline.years[1]} replayed in order"
        if years > count:
            notes.append(f"the replay starts again at {baseline.years[0]} after {count} years")
    else:
        wraps = settings.trend != "keep" or not any(trend.is_clear for trend in baseline.trend)
        season_rows = year_chains(streams, trials, years, count, run_length=settings.run_length, wrap=wraps)
        kind = (
            "drawn independently"
            if settings.run_length <= 1.0
            else f"drawn in runs of mean length {settings.run_length:g} years"
        )
        method = "years_independent" if settings.run_length <= 1.0 else "years_in_runs"
        words = f"whole biological years of the record, {kind}"
        if settings.run_length > 1.0 and not wraps:
            notes.append("the record has a trend, so no run goes on from its last year to its first")
    history = np.arange(count, dtype=np.int64)
    if settings.trend == "extend":
        past = seasons
        seasons, season_rows = _extended(seasons, season_rows, baseline.trend, years)
        history = seasons.harvest_year.size + history
        seasons = SeasonWeather.joined([seasons, past])
    return WeatherSample(seasons, season_rows, method, words, baseline.years, tuple(notes), history)


def _from_normals(
    settings: WeatherSettings, streams: Streams, trials: range, years: int, sequence: str
) -> WeatherSample:
    """Seasons generated from monthly normals, where there is no record."""
    if sequence == "record":
        raise InputError("weather.record", "there is no record whose years could be replayed (--seasons record)")
    normals = settings.normals
    if normals is None or not (normals.temperature_min or normals.temperature_max):
        raise InputError(
            "weather", "neither a record nor [weather.normals] with temperature_min and temperature_max is given"
        )
    start_day = season_start_day(settings.latitude)
    model, notes = model_of_normals(normals, start_day, southern=settings.latitude < 0)
    if settings.trend == "extend":
        notes.append("without a record there is no trend to carry on; use the warming by month")
    if settings.baseline_years is not None:
        notes.append("baseline_years has no meaning without a record")
    climate = rain_climate(normals)
    notes.append(NO_RAIN if climate is None else GENERATED_RAIN)
    generator = Generator(model, settings, start_day, climate, range_scale_of_model(model, start_day))
    seasons, past = (
        _warmed(made, settings, start_day)
        for made in (generator.seasons(streams, trials, years), generator.history(streams))
    )
    words = "generated from monthly normals"
    return _generated_sample(seasons, past, years, "generated_from_normals", words, (0, 0), notes)


def _generated_sample(
    seasons: SeasonWeather,
    past: SeasonWeather,
    years: int,
    method: WeatherMethod,
    words: str,
    baseline: tuple[int, int],
    notes: list[str],
) -> WeatherSample:
    """Sample of seasons of their own for every trial and year, the site's past behind them."""
    notes = [*notes, *missing_notes(seasons)]
    count = seasons.harvest_year.size
    season_rows = np.arange(count, dtype=np.int64).reshape(-1, years)
    history = count + np.arange(past.harvest_year.size)
    return WeatherSample(
        SeasonWeather.joined([seasons, past]), season_rows, method, words, baseline, tuple(notes), history
    )


_fits: dict[tuple[object, ...], ParametricModel] = {}


def _fitted(prepared: Prepared, baseline: Baseline, trend: str) -> ParametricModel:
    """Generator of a baseline; the last few are kept for the next range of trials."""
    key = (prepared.file, prepared.table.start_day, baseline.years, trend)
    if key not in _fits:
        while len(_fits) >= 8:
            del _fits[next(iter(_fits))]
        record = baseline.seasons
        _fits[key] = fit_parametric(
            record.temperature_min[:, :YEAR_DAYS], record.temperature_max[:, :YEAR_DAYS], prepared.table.start_day
        )
    return _fits[key]


def _from_generator(
    settings: WeatherSettings, prepared: Prepared, baseline: Baseline, streams: Streams, trials: range, years: int
) -> WeatherSample:
    """Seasons from the parametric generator, fitted to the baseline."""
    start_day = prepared.table.start_day
    record = baseline.seasons
    day_of_year = season_day_of_year(start_day, WINDOW_DAYS)
    model = _fitted(prepared, baseline, settings.trend)
    daily_range = record.temperature_max - record.temperature_min
    scale = range_scale(daily_range, day_of_year)
    climate = rain_climate(settings.normals)
    notes = list(baseline.notes)
    if record.rain_is_measured:
        inside = slice(0, YEAR_DAYS)
        climate = rain_climate_of_record(
            record.rain[:, inside], scale.score(daily_range, day_of_year)[:, inside], day_of_year[inside]
        )
        notes.append(
            "rain is generated: wet share, mean amount and dependence on the daily temperature range by month are the "
            "record's. Long droughts and wet spells come out a tenth to a fifth too short"
        )
    elif climate is not None:
        notes.append(GENERATED_RAIN)
    if record.wind_speed is not None or record.relative_humidity is not None:
        notes.append("the record's wind and humidity are not generated")
    seasons = Generator(model, settings, start_day, climate, scale).seasons(streams, trials, years)
    if settings.trend == "extend":
        ahead = np.tile(np.arange(1, years + 1), len(trials))[:, None]
        seasons = _shifted(seasons, baseline.trend, ahead)
    words = "parametric generator (autoregression on normal scores with a slow component), fitted to the baseline"
    seasons, past = (_warmed(own, settings, start_day) for own in (seasons, record))
    return _generated_sample(seasons, past, years, "generated_from_record", words, baseline.years, notes)


def whole_record_windows(settings: WeatherSettings) -> SeasonWeather | None:
    """All complete seasons of the record, warmed as the settings say, its trend left in.

    For stating what the whole record would give beside the baseline; None where there is no record.
    """
    if settings.record is None:
        return None
    prepared = prepare_record(settings.record, settings.latitude)
    return _warmed(_complete_seasons(settings, prepared)[0], settings, prepared.table.start_day)


def baseline_harvest_years(settings: WeatherSettings, table: SeasonTable) -> tuple[int, int]:
    """First and last harvest year of the baseline: the settings', or the last 30 complete years."""
    where = str(settings.record.name) if settings.record else "weather"
    complete = table.harvest_year
    if settings.baseline_years is not None:
        first, last = settings.baseline_years
        if first > last:
            raise InputError("weather.baseline_years", f"found {first} to {last}; the first year comes first")
        inside = complete[(complete >= first) & (complete <= last)]
        if inside.size < FEWEST_YEARS:
            span = f"{complete[0]} to {complete[-1]}" if complete.size else "none"
            raise InputError(
                "weather.baseline_years",
                f"{first} to {last} holds {inside.size} complete seasons of {where}; at least {FEWEST_YEARS} are "
                f"needed (the record's complete seasons: {span})",
            )
        return int(inside[0]), int(inside[-1])
    if complete.size < FEWEST_YEARS:
        raise InputError(
            where,
            f"holds {complete.size} complete seasons (one biological year with the next autumn, at most {MANY_MISSING} "
            f"days missing in each); at least {FEWEST_YEARS} are needed, or a plan gives [weather.normals] instead",
        )
    chosen = complete[-DEFAULT_BASELINE:]
    return int(chosen[0]), int(chosen[-1])


def baseline_seasons(settings: WeatherSettings, prepared: Prepared) -> Baseline:
    """The record's seasons that a run draws from, and what was done to them."""
    table = prepared.table
    _refuse_wrong_units(prepared)
    refuse_wrong_hemisphere(settings, prepared.record)
    first, last = baseline_harvest_years(settings, table)
    seasons, notes = _complete_seasons(settings, prepared)
    inside = (seasons.harvest_year >= first) & (seasons.harvest_year <= last)
    seasons = seasons.rows(np.flatnonzero(inside))
    seasons = dataclasses.replace(seasons, clear_range=clear_range(seasons.temperature_max - seasons.temperature_min))
    count = int(inside.sum())
    trend = yearly_trends(seasons.harvest_year, seasons.temperature_min, seasons.temperature_max)
    slopes = " and ".join(f"{10 * line.slope:+.2f} ± {10 * line.standard_error:.2f}" for line in trend)
    if count < WARNED_YEARS:
        advice = "; the parametric method suits so short a record better" if count < PARAMETRIC_YEARS else ""
        notes.append(
            f"only {count} complete years: rare seasons may be missing from the record, and their frequency is "
            f"uncertain{advice}"
        )
    notes.append(
        f"baseline {first} to {last} ({count} complete seasons); its trend is {slopes} K per decade (minimum and "
        f"maximum, ± one standard error) and is {_TREND_WORDS[settings.trend]}"
    )
    if settings.trend != "keep":
        reference = float(trend[0].middle_year) if settings.trend == "remove" else float(seasons.harvest_year[-1])
        seasons = _shifted(seasons, trend, (reference - seasons.harvest_year)[:, None])
    if any(settings.warming):
        notes.append(f"a warming of {min(settings.warming):g} to {max(settings.warming):g} K by month was added")
    return Baseline(seasons, (first, last), trend, tuple(notes))


_TREND_WORDS: Final = {
    "keep": "kept as it is",
    "remove": "taken out about the middle of the baseline",
    "extend": "carried on: plan year 0 follows the baseline's last year",
}


def _refuse_wrong_units(prepared: Prepared) -> None:
    if prepared.quality.suggestions:
        raise InputError(prepared.record.source, f"has values that do not fit: {prepared.quality.suggestions[0]}")


def refuse_wrong_hemisphere(settings: WeatherSettings, record: DailyRecord) -> None:
    """Stop where the record's summer falls into the site's winter.

    Raises
    ------
    InputError
    """
    north = june_over_december(record) or 0.0
    if abs(north) > LEAST_SEASON and (north > 0) != (settings.latitude >= 0):
        raise InputError(
            record.source,
            f"is a record from {'north' if north > 0 else 'south'} of the equator (its months of June to August are "
            f"{abs(north):.0f} K {'warmer' if north > 0 else 'colder'} than December to February), but the site's "
            f"latitude is {settings.latitude:g}; allowed: a record from the site's own side",
        )


def check_weather(settings: WeatherSettings) -> None:
    """Read all that a run's seasons are made from, and draw nothing.

    Raises
    ------
    InputError
        What a run would raise: a record that is none, is too short or from the other hemisphere, a baseline that it
        does not hold, normals that lack something.
    """
    if settings.record is None:
        if settings.normals is not None:
            rain_climate(settings.normals)
            check_normals(settings.normals)
        return
    baseline_seasons(settings, prepare_record(settings.record, settings.latitude))


def _complete_seasons(settings: WeatherSettings, prepared: Prepared) -> tuple[SeasonWeather, list[str]]:
    """All complete seasons as measured, rain drawn where there is none; and the notes on them.

    The drawn rain completes the record, so it is the same whatever the seed of a run: all trials share it, and a
    difference between seeds that it made would be in no error told.
    """
    table, record = prepared.table, prepared.record
    low, high, years = table.temperature_min, table.temperature_max, table.harvest_year
    notes = [f"{record.source}: {note}" for note in record.repairs]
    notes.append(dropped_line(prepared.quality))
    notes += table.notes
    if table.rain is not None:
        rain = table.rain
    elif (climate := rain_climate(settings.normals)) is None:
        rain = np.zeros_like(low)
        notes.append(NO_RAIN)
    else:
        day_of_year = season_day_of_year(table.start_day, WINDOW_DAYS)
        steady = steady_range(low, high)
        score = range_scale(steady, day_of_year).score(steady, day_of_year) if years.size else low
        rain = rain_of_record_years(climate, score, years, day_of_year, Streams(RECORD_SEED))
        notes.append(
            "the record has no rain: each of its seasons has one rain series drawn from the plan's monthly normals, "
            f"wetter on days with a small temperature range; {RESTS_ON_RAIN}"
        )
    seasons = SeasonWeather(
        harvest_year=years,
        temperature_min=low,
        temperature_max=high,
        rain=rain,
        rain_is_measured=table.rain is not None,
        latitude=settings.latitude,
        elevation=settings.elevation,
        estimate_missing=settings.estimate_missing,
        dew_point_offset=settings.dew_point_offset,
        range_coefficient=range_coefficient(settings),
        clear_range=clear_range(high - low) if years.size else SeasonWeather.clear_range,
        widened=np.zeros(years.size),
        wind_speed=table.wind_speed,
        relative_humidity=table.relative_humidity,
    )
    return seasons, notes


def rain_climate(normals: MonthlyNormals | None) -> RainClimate | None:
    """Rain climate of the plan's normals; None where they give no rain."""
    if normals is None or not normals.rain:
        return None
    for name in ("rain", "wet_days"):
        values = getattr(normals, name)
        if values and len(values) != 12:
            raise InputError(f"weather.normals.{name}", f"has {len(values)} values; expected 12, January first")
    too_wet = [month + 1 for month, wet in enumerate(normals.wet_days) if wet > MONTH_DAYS[month]]
    if too_wet:
        raise InputError("weather.normals.wet_days", f"month {too_wet[0]} has more wet days than days")
    return rain_climate_of_normals(normals.rain, normals.wet_days)


def warming_course(settings: WeatherSettings, start_day: int) -> Floats:
    """Warming offset of each day of the season window [K]; its monthly means are those of the settings."""
    if len(settings.warming) != 12:
        raise InputError("weather.warming", f"has {len(settings.warming)} values; expected 12, January first")
    return daily_from_monthly(settings.warming)[season_day_of_year(start_day, WINDOW_DAYS)]


def _warmed(seasons: SeasonWeather, settings: WeatherSettings, start_day: int) -> SeasonWeather:
    if not any(settings.warming):
        return seasons
    offset = warming_course(settings, start_day)
    return dataclasses.replace(
        seasons,
        temperature_min=np.round(seasons.temperature_min + offset, DECIMALS),
        temperature_max=np.round(seasons.temperature_max + offset, DECIMALS),
    )


def _extended(
    seasons: SeasonWeather, season_rows: NDArray[np.int64], trend: tuple[Trend, Trend], years: int
) -> tuple[SeasonWeather, NDArray[np.int64]]:
    """Each season once for every year of the plan, warmer by the trend; rain, wind and humidity as they were."""
    count = seasons.harvest_year.size
    wide = seasons.rows(np.tile(np.arange(count), years))
    ahead = np.repeat(np.arange(1, years + 1), count)[:, None]
    return _shifted(wide, trend, ahead), season_rows + count * np.arange(years)


def _shifted(seasons: SeasonWeather, trend: tuple[Trend, Trend], years: NDArray[Any]) -> SeasonWeather:
    """Seasons moved along the trend by a number of years, (season, 1).

    Minimum and maximum move by slopes of their own; where they would cross on a day with hardly any range, both take
    the middle.
    """
    low = seasons.temperature_min + trend[0].slope * years
    high = seasons.temperature_max + trend[1].slope * years
    middle = 0.5 * (low + high)
    widened = (trend[1].slope - trend[0].slope) * years.ravel()
    return dataclasses.replace(
        seasons,
        widened=widened if seasons.widened is None else seasons.widened + widened,
        temperature_min=np.asarray(np.round(np.where(low > high, middle, low), DECIMALS), dtype=np.float64),
        temperature_max=np.asarray(np.round(np.where(low > high, middle, high), DECIMALS), dtype=np.float64),
    )
