"""A station record in words: the short answer, everything, and the same as numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.calendar import date_text
from orchardsim.core.numbers import number
from orchardsim.core.units import display
from orchardsim.report.columns import one_screen, sentence_pieces
from orchardsim.report.run_formats import in_shown_units
from orchardsim.report.weather.history import MONTH_NAMES, WeatherHistory
from orchardsim.report.weather.page import weather_sentences

if TYPE_CHECKING:
    from orchardsim.core.units import Display
    from orchardsim.weather.history import WeatherReport

MOST_YEARS: Final = 6
"""Years with too little chill that are named, worst first."""
MOST_FAULTS: Final = 2
"""Lines on quality on the first screen."""


def weather_screen(name: str, found: WeatherReport, history: WeatherHistory | None, system: str) -> str:
    """The short answer: what the record holds, its worst faults, its climate, and what its springs would have done."""
    units = display(system)
    faults = [in_words(line, units) for line in (*found.quality.lines(), *found.notes)]
    more = [f"and {len(faults) - MOST_FAULTS} more lines on its quality"] if len(faults) > MOST_FAULTS else []
    said = weather_sentences(history) if history is not None else ["Too few complete years to draw seasons from."]
    return one_screen(
        sentence_pieces([_head(name, found, whole=False)]),
        sentence_pieces(["Quality: nothing doubtful found."] if not faults else [*faults[:MOST_FAULTS], *more]),
        sentence_pieces([*said, _trend(found, units)]),
        [[line] for line in _climate_lines(found, units, 8, 6, 0)],
    )


def weather_text(name: str, found: WeatherReport, history: WeatherHistory | None, system: str) -> str:
    """Quality, climate, frost dates, trend, bloom and the frost kill of past years."""
    units = display(system)
    lines = _report_lines(name, found, units)
    return "\n".join(lines if history is None else [*lines, *_bloom_lines(history, units)])


def weather_document(name: str, found: WeatherReport, history: WeatherHistory | None) -> dict[str, Any]:
    """All numbers, in degrees Celsius, millimetres and days of the calendar year."""
    climate = found.climate

    def whole(values: Any) -> list[float | None]:
        return [None if not np.isfinite(one) else round(float(one), 4) for one in np.asarray(values, np.float64)]

    def dates(days: Any) -> list[str | None]:
        return [None if not np.isfinite(day) else date_text(float(round(day)), found.latitude) for day in days]

    document: dict[str, Any] = {
        "record": name,
        "first_day": str(found.record.date[0]),
        "last_day": str(found.record.date[-1]),
        "latitude": found.latitude,
        "baseline_years": list(found.baseline_years),
        "quality": found.quality.lines(),
        "notes": list(found.notes),
        "monthly_climate": {
            key: None if (values := getattr(climate, key)) is None else whole(values)
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
    if history is not None:
        document["harvest_year"] = history.harvest_year.tolist()
        document["cultivars"] = {
            cultivar: {
                "full_bloom": dates(history.bloom_day[place]),
                "chill_fraction": whole(history.chill_fraction[place]),
                "frost_kill": {
                    f"nights {offset:+g} K": whole(history.frost_kill[place, column])
                    for column, offset in enumerate(history.night_offsets)
                },
            }
            for place, cultivar in enumerate(history.cultivars)
        }
    return document


def _head(name: str, found: WeatherReport, *, whole: bool) -> str:
    days = " to ".join(str(day)[: 10 if whole else 4] for day in found.record.date[[0, -1]])
    return f"{name}: {days}, {found.yearly_year.size} complete seasons"


def _climate_lines(found: WeatherReport, units: Display, label: int, wide: int, digits: int) -> list[str]:
    """A table of months: columns ``wide`` behind a label of so many letters."""
    climate = found.climate
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


def _trend(found: WeatherReport, units: Display) -> str:
    change = [
        f"{title} {units.temperature_difference(10 * trend.slope):+.1f} ± "
        f"{units.temperature_difference(10 * trend.standard_error):.1f}"
        for title, trend in (("minimum", found.trend_min), ("maximum", found.trend_max))
    ]
    return (
        f"Trend, last {min(30, found.yearly_year.size)} complete seasons: {', '.join(change)} "
        f"{units.temperature_unit} per decade."
    )


def _report_lines(name: str, found: WeatherReport, units: Display) -> list[str]:
    """Quality, climate, frost dates and trend."""
    latitude = found.latitude
    lines = [_head(name, found, whole=True), "", "Quality"]
    lines += [f"  {in_words(line, units)}" for line in found.quality.lines()] or ["  nothing doubtful found"]
    lines += [f"  {in_words(line, units)}" for line in found.notes]
    lines += ["", "Monthly climate", *(f"  {line}" for line in _climate_lines(found, units, 10, 7, 1))]
    lines += ["", "Frost (earliest, middle, latest in the record; years without one left out)"]
    for dates in found.frost:
        for title, days in (("last in spring", dates.last_spring), ("first in autumn", dates.first_autumn)):
            known = days[np.isfinite(days)]
            if known.size:
                points = ", ".join(date_text(day, latitude) for day in np.percentile(known, [0, 50, 100]))
                lines.append(f"  {units.temperature(dates.level):5.1f} {units.temperature_unit}, {title:15s}: {points}")
    return [*lines, "", _trend(found, units)]


def in_words(line: str, units: Display) -> str:
    """A line on the record's quality for people, in the shown units."""
    line = line.replace("temperature_min", "daily minimum").replace("temperature_max", "daily maximum")
    return in_shown_units(line, units)


def _offset_text(offset: float, units: Display) -> str:
    """How cold the nights of a place are beside the station's."""
    if offset == 0:
        return "nights as at the station"
    degrees = f"{abs(units.temperature_difference(offset)):.2g} {units.temperature_unit}"
    return f"nights {degrees} {'colder' if offset < 0 else 'warmer'} than the station"


def _bloom_lines(history: WeatherHistory, units: Display) -> list[str]:
    """Bloom, seasons with too little chill, and the frost kill that past years would have brought."""
    first, last = history.baseline_years
    inside = history.in_baseline
    lines = ["", f"Bloom and frost; a run draws its seasons from {first} to {last} unless the plan says otherwise"]
    for place, name in enumerate(history.cultivars):
        bloom = history.bloom_day[place]
        dates = [date_text(day, history.latitude) for day in np.percentile(bloom, [5, 50, 95])]
        lines.append(
            f"  {name}: full bloom {dates[0]} to {dates[2]} in nine years of ten, middle {dates[1]}; standard "
            f"deviation {np.std(bloom, ddof=1):.1f} days"
        )
        short = np.flatnonzero(history.chill_fraction[place] < 1)
        if short.size:
            shown = short[np.argsort(history.chill_fraction[place, short], kind="stable")][:MOST_YEARS]
            years = ", ".join(
                f"{history.harvest_year[year]} ({100 * history.chill_fraction[place, year]:.0f} % of the need, bloom "
                f"{date_text(bloom[year], history.latitude)})"
                for year in shown
            )
            more = f" and {short.size - MOST_YEARS} more" if short.size > MOST_YEARS else ""
            lines.append(f"    too little winter chill in {short.size} of {bloom.size} years: {years}{more}")
        else:
            lines.append(f"    winter chill was enough in all {bloom.size} years")
        for column, offset in enumerate(history.night_offsets):
            kill = history.frost_kill[place, column]
            lines.append(
                f"    {_offset_text(offset, units)}: more than 30 % of flowers killed in {_share(kill[inside], 0.3)} "
                f"({_share(kill, 0.3)} of the whole record), more than 90 % in {_share(kill[inside], 0.9)} "
                f"({_share(kill, 0.9)})"
            )
    return lines


def _share(kill: np.ndarray, level: float) -> str:
    return f"{int((kill > level).sum())} of {kill.size}"
