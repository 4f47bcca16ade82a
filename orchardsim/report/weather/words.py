"""A station record in words: the short answer, everything, and the same as numbers."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from orchardsim.core.calendar import date_text
from orchardsim.core.numbers import number
from orchardsim.core.units import Display, display
from orchardsim.report.columns import one_screen, sentence_pieces
from orchardsim.report.run_formats import in_shown_units
from orchardsim.results.weather import PastSeasons, PastWeather

MONTH_NAMES: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
KILL_MARKS: Final = (0.3, 0.9)
"""Shares of flowers killed whose frequency is told."""
MOST_YEARS: Final = 6
"""Years with too little chill that are named, worst first."""
MOST_FAULTS: Final = 2
"""Lines on quality on the first screen."""


def quality_lines(found: PastWeather) -> list[str]:
    """What is doubtful of the record, for people, in the shown units."""
    return [_in_words(line, found) for line in found.quality]


def note_lines(found: PastWeather) -> list[str]:
    """What was filled or taken for granted, likewise."""
    return [_in_words(line, found) for line in found.notes]


def _in_words(line: str, found: PastWeather) -> str:
    line = line.replace("temperature_min", "daily minimum").replace("temperature_max", "daily maximum")
    return in_shown_units(line, display(found.units))


def method_text(found: PastWeather) -> str:
    """Where the numbers come from."""
    return f"{found.harvest_year.size} complete years of the record, read as they were measured"


def past_sentences(found: PastWeather) -> list[str]:
    """What the record says for an orchard, in plain sentences: frost dates, bloom, frost kill by baseline."""
    if found.seasons is None:
        return ["Too few complete years to draw seasons from."]
    seasons, inside = found.seasons, found.in_baseline
    span = f"{found.baseline_years[0]} to {found.baseline_years[1]}"
    sentences = []
    spring = found.frost[0].last_spring[inside]
    spring = spring[np.isfinite(spring)]
    if spring.size:
        sentences.append(
            f"In {span} the last spring frost came on {_date(np.median(spring), found)} in a typical year and after "
            f"{_date(np.quantile(spring, 0.9), found)} in one year of ten."
        )
    bloom = seasons.bloom_day[0, inside]
    sentences.append(
        f"{seasons.cultivars[0]} would have been in full bloom on {_date(np.median(bloom), found)} in a typical "
        f"year, between {_date(np.quantile(bloom, 0.1), found)} and {_date(np.quantile(bloom, 0.9), found)} in "
        "eight years of ten."
    )
    kill = seasons.frost_kill[0, 0] > KILL_MARKS[1]
    sentences.append(
        f"Frost would have killed more than {100 * KILL_MARKS[1]:.0f} % of its flowers in {kill[inside].sum()} of "
        f"{inside.sum()} springs of {span}, and in {kill.sum()} of {kill.size} springs of the whole "
        "record. Which years are taken as the guide matters."
    )
    return sentences


def weather_sentences(found: PastWeather) -> list[str]:
    """The record's faults, then what its seasons say."""
    return [*quality_lines(found), *past_sentences(found)]


def _date(day: float, found: PastWeather) -> str:
    return date_text(float(round(day)), found.latitude)


def kill_cells(found: PastWeather) -> list[list[str]]:
    """How often each span of years would have brought heavy frost kill: a head, then rows by cultivar and coldness."""
    shown, seasons = display(found.units), found.seasons
    first, last = found.baseline_years
    head = ["cultivar", "clear nights", "killed", f"baseline {first} to {last}", "years before it", "whole record"]
    rows = [head]
    if seasons is None:
        return rows
    spans = (found.in_baseline, found.harvest_year < first, np.ones(found.harvest_year.size, dtype=bool))
    for number_, cultivar in enumerate(seasons.cultivars):
        for place, offset in enumerate(seasons.night_offsets):
            kill = seasons.frost_kill[number_, place]
            difference = f"{shown.temperature_difference(abs(offset)):.1f} {shown.temperature_unit} colder"
            nights = "as the station" if offset == 0 else difference
            for mark in KILL_MARKS:
                counts = [_count_text(int((kill[span] > mark).sum()), int(span.sum())) for span in spans]
                rows.append([cultivar, nights, f"more than {100 * mark:.0f} %", *counts])
    return rows


def _count_text(count: int, years: int) -> str:
    from scipy.stats import binomtest

    if years == 0:
        return "no years"
    interval = binomtest(count, years).proportion_ci(confidence_level=0.9, method="exact")
    return f"{count} of {years}: {100 * count / years:.0f} ({100 * interval.low:.0f}-{100 * interval.high:.0f})"


def weather_screen(found: PastWeather) -> str:
    """The short answer: what the record holds, its worst faults, its climate, and what its springs would have done."""
    faults = [*quality_lines(found), *note_lines(found)]
    more = [f"and {len(faults) - MOST_FAULTS} more lines on its quality"] if len(faults) > MOST_FAULTS else []
    return one_screen(
        sentence_pieces([_head(found, whole=False)]),
        sentence_pieces(["Quality: nothing doubtful found."] if not faults else [*faults[:MOST_FAULTS], *more]),
        sentence_pieces([*past_sentences(found), _trend(found)]),
        [[line] for line in _climate_lines(found, 8, 6, 0)],
    )


def weather_text(found: PastWeather) -> str:
    """Quality, climate, frost dates, trend, bloom and the frost kill of past years."""
    units = display(found.units)
    lines = [_head(found, whole=True), "", "Quality"]
    lines += [f"  {line}" for line in quality_lines(found)] or ["  nothing doubtful found"]
    lines += [f"  {line}" for line in note_lines(found)]
    lines += ["", "Monthly climate", *(f"  {line}" for line in _climate_lines(found, 10, 7, 1))]
    lines += ["", "Frost (earliest, middle, latest in the record; years without one left out)"]
    for dates in found.frost:
        for title, days in (("last in spring", dates.last_spring), ("first in autumn", dates.first_autumn)):
            known = days[np.isfinite(days)]
            if known.size:
                points = ", ".join(date_text(day, found.latitude) for day in np.percentile(known, [0, 50, 100]))
                lines.append(f"  {units.temperature(dates.level):5.1f} {units.temperature_unit}, {title:15s}: {points}")
    lines += ["", _trend(found)]
    return "\n".join(lines if found.seasons is None else [*lines, *_bloom_lines(found, found.seasons)])


def weather_document(found: PastWeather) -> dict[str, Any]:
    """All numbers, in degrees Celsius, millimetres and days of the calendar year."""

    def whole(values: Any) -> list[float | None]:
        return [None if not np.isfinite(one) else round(float(one), 4) for one in np.asarray(values, np.float64)]

    def dates(days: Any) -> list[str | None]:
        return [None if not np.isfinite(day) else _date(day, found) for day in days]

    document: dict[str, Any] = {
        "record": found.name,
        "first_day": found.first_day,
        "last_day": found.last_day,
        "latitude": found.latitude,
        "baseline_years": list(found.baseline_years),
        "quality": list(found.quality),
        "notes": list(found.notes),
        "monthly_climate": {
            key: None if (values := getattr(found.climate, key)) is None else whole(values)
            for key in ("temperature_min", "temperature_max", "lowest", "highest", "rain")
        },
        "frost": [
            {
                "level_degC": one.level,
                "harvest_year": one.harvest_year.tolist(),
                "last_in_spring": dates(one.last_spring),
                "first_in_autumn": dates(one.first_autumn),
            }
            for one in found.frost
        ],
        "trend_degC_per_decade": {
            part: {"slope": 10 * trend.slope, "standard_error": 10 * trend.standard_error}
            for part, trend in (("minimum", found.trend_min), ("maximum", found.trend_max))
        },
    }
    seasons = found.seasons
    if seasons is not None:
        document["harvest_year"] = found.harvest_year.tolist()
        document["chill_portions"] = whole(seasons.chill_portions)
        document["utah_units"] = whole(seasons.utah_units)
        document["cultivars"] = {
            cultivar: {
                "full_bloom": dates(seasons.bloom_day[place]),
                "chill_fraction": whole(seasons.chill_fraction[place]),
                "frost_kill": {
                    f"nights {offset:+g} K": whole(seasons.frost_kill[place, column])
                    for column, offset in enumerate(seasons.night_offsets)
                },
            }
            for place, cultivar in enumerate(seasons.cultivars)
        }
    return document


def _head(found: PastWeather, *, whole: bool) -> str:
    days = " to ".join(day[: 10 if whole else 4] for day in (found.first_day, found.last_day))
    return f"{found.name}: {days}, {found.harvest_year.size} complete seasons"


def _climate_lines(found: PastWeather, label: int, wide: int, digits: int) -> list[str]:
    """A table of months: columns ``wide`` behind a label of so many letters."""
    climate, units = found.climate, display(found.units)
    rows = {
        f"low, {units.temperature_unit}": units.temperature(climate.temperature_min),
        f"high, {units.temperature_unit}": units.temperature(climate.temperature_max),
        "lowest": units.temperature(climate.lowest),
        "highest": units.temperature(climate.highest),
    }
    lines = [" " * label + "".join(f"{month:>{wide}}" for month in MONTH_NAMES)]
    lines += [
        f"{title:{label}s}" + "".join(f"{number(value, digits):>{wide}}" for value in values)
        for title, values in rows.items()
    ]
    if climate.rain is not None:
        deep = 1 if units.system == "us" else digits
        rain = "".join(f"{number(one, deep):>{wide}}" for one in units.depth.of(climate.rain))
        lines.insert(3, f"{f'rain {units.depth.unit}':{label}s}{rain}")
    else:
        lines.insert(0, "No rain in this record: a plan's monthly rain normals serve instead.")
    return lines


def _trend(found: PastWeather) -> str:
    units = display(found.units)
    change = [
        f"{title} {units.temperature_difference(10 * trend.slope):+.1f} ± "
        f"{units.temperature_difference(10 * trend.standard_error):.1f}"
        for title, trend in (("minimum", found.trend_min), ("maximum", found.trend_max))
    ]
    return (
        f"Trend, last {min(30, found.harvest_year.size)} complete seasons: {', '.join(change)} "
        f"{units.temperature_unit} per decade."
    )


def _offset_text(offset: float, units: Display) -> str:
    """How cold the nights of a place are beside the station's."""
    if offset == 0:
        return "nights as at the station"
    degrees = f"{abs(units.temperature_difference(offset)):.2g} {units.temperature_unit}"
    return f"nights {degrees} {'colder' if offset < 0 else 'warmer'} than the station"


def _bloom_lines(found: PastWeather, seasons: PastSeasons) -> list[str]:
    """Bloom, seasons with too little chill, and the frost kill that past years would have brought."""
    first, last = found.baseline_years
    inside, units = found.in_baseline, display(found.units)
    lines = ["", f"Bloom and frost; a run draws its seasons from {first} to {last} unless the plan says otherwise"]
    (low, middle), (low_units, middle_units) = (
        (values.min(), np.median(values)) for values in (seasons.chill_portions, seasons.utah_units)
    )
    lines.append(
        f"  winter chill at bud break of {seasons.cultivars[0]}: {middle:.0f} portions of the Dynamic Model or "
        f"{middle_units:,.0f} Utah units in a middle year, at the least {low:.0f} or {low_units:,.0f}"
    )
    for place, name in enumerate(seasons.cultivars):
        bloom = seasons.bloom_day[place]
        dates = [date_text(day, found.latitude) for day in np.percentile(bloom, [5, 50, 95])]
        lines.append(
            f"  {name}: full bloom {dates[0]} to {dates[2]} in nine years of ten, middle {dates[1]}; standard "
            f"deviation {np.std(bloom, ddof=1):.1f} days"
        )
        short = np.flatnonzero(seasons.chill_fraction[place] < 1)
        if short.size:
            shown = short[np.argsort(seasons.chill_fraction[place, short], kind="stable")][:MOST_YEARS]
            years = ", ".join(
                f"{found.harvest_year[year]} ({100 * seasons.chill_fraction[place, year]:.0f} % of the need, bloom "
                f"{date_text(bloom[year], found.latitude)})"
                for year in shown
            )
            more = f" and {short.size - MOST_YEARS} more" if short.size > MOST_YEARS else ""
            lines.append(f"    too little winter chill in {short.size} of {bloom.size} years: {years}{more}")
        else:
            lines.append(f"    winter chill was enough in all {bloom.size} years")
        for column, offset in enumerate(seasons.night_offsets):
            kill = seasons.frost_kill[place, column]
            lines.append(
                f"    {_offset_text(offset, units)}: more than 30 % of flowers killed in {_share(kill[inside], 0.3)} "
                f"({_share(kill, 0.3)} of the whole record), more than 90 % in {_share(kill[inside], 0.9)} "
                f"({_share(kill, 0.9)})"
            )
    return lines


def _share(kill: np.ndarray, level: float) -> str:
    return f"{int((kill > level).sum())} of {kill.size}"
