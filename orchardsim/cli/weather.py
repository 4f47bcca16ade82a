"""``orchardsim weather``: what a station record holds, and what its past seasons would have done to bloom."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from orchardsim.cli.folders import folder_name, output_folder
from orchardsim.cli.progress import tell

if TYPE_CHECKING:
    import numpy as np

    from orchardsim.core.units import Display
    from orchardsim.report.weather.history import WeatherHistory
    from orchardsim.weather.history import WeatherReport

DEFAULT_CULTIVARS = ("Gala", "Honeycrisp")
MOST_YEARS: Final = 6
"""Years with too little chill that are named, worst first."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "file",
        metavar="FILE",
        help="daily station record: GHCN-Daily .dly or station CSV, plain CSV with a unit in each column's name, or "
        "NetCDF with CF names; 'bundled' or 'bundled cool' for the records that ship with the program",
    )
    parser.add_argument("--latitude", type=float, metavar="DEGREES", help="north positive; default: the file's own")
    parser.add_argument(
        "--cultivar",
        action="append",
        metavar="NAME",
        help=f"cultivar of the bloom history; may be repeated (default: {', '.join(DEFAULT_CULTIVARS)})",
    )
    parser.add_argument("--units", choices=("metric", "us"), default="metric", help="units shown (default metric)")
    parser.add_argument("--out", type=folder_name, metavar="DIR", help="folder for weather.html and its pictures")
    parser.add_argument("--force", action="store_true", help="write over an earlier weather page in the folder")


def execute(options: argparse.Namespace) -> int:
    """Print the quality report, the climate and the frost history; save the page when a folder is given."""
    from orchardsim.core.errors import InputError
    from orchardsim.core.files import check_file
    from orchardsim.core.units import display
    from orchardsim.plan.catalogue import built_in
    from orchardsim.report.weather.history import weather_history
    from orchardsim.report.weather.page import KIND, WEATHER_PAGE, weather_files, write_weather_page
    from orchardsim.season.parameters import Phenology
    from orchardsim.weather.bundled import RECORDS, bundled_record_path
    from orchardsim.weather.history import weather_report
    from orchardsim.weather.parameters import WeatherSettings
    from orchardsim.weather.sampling import baseline_harvest_years, whole_record_windows

    if options.latitude is not None and not -66 <= options.latitude <= 66:
        raise InputError("--latitude", f"found {options.latitude:g}, allowed -66 to 66 degrees")
    bundled = RECORDS.get(options.file)
    path = bundled_record_path(options.file) if bundled is not None else Path(options.file)
    check_file(path, "a daily station record, or one of " + ", ".join(repr(one) for one in RECORDS))
    names = options.cultivar or list(DEFAULT_CULTIVARS)
    cultivars = {name: built_in("cultivar", name, Phenology, "--cultivar") for name in names}
    name = f"bundled station record ({path.name})" if bundled is not None else path.name
    tell(f"reading {name}")
    with output_folder(options, KIND, weather_files()) as folder:
        latitude = bundled.latitude if bundled is not None and options.latitude is None else options.latitude
        found = weather_report(path, latitude)
        units = display(options.units)
        lines = _report_lines(name, found, units)
        if found.baseline_years != (0, 0):
            settings = WeatherSettings(latitude=found.latitude, record=path)
            seasons = whole_record_windows(settings)
            assert seasons is not None
            history = weather_history(
                seasons,
                cultivars,
                baseline_harvest_years(settings, found.table),
                title=f"Weather record: {name}",
                station=found.record.station,
                units=options.units,
                quality=found.quality.lines(),
                notes=found.notes,
            )
            lines += _bloom_lines(history, units)
            if folder is not None:
                write_weather_page(history, folder)
    print("\n".join(lines))
    if found.baseline_years != (0, 0):
        if options.out is None:
            print("\nNothing was saved; add --out DIR for the page with pictures.")
        else:
            tell(f"saved {WEATHER_PAGE} and figures/ in {options.out}")
    return 0


def _report_lines(name: str, found: WeatherReport, units: Display) -> list[str]:
    """Quality, climate, frost dates and trend."""
    import numpy as np

    from orchardsim.core.calendar import date_text
    from orchardsim.report.weather.history import MONTH_NAMES

    record, climate, latitude = found.record, found.climate, found.latitude
    lines = [f"{name}: {record.date[0]} to {record.date[-1]}, {found.yearly_year.size} complete seasons"]
    lines += ["", "Quality"]
    lines += [f"  {_in_words(line, units)}" for line in found.quality.lines()] or ["  nothing doubtful found"]
    lines += [f"  {_in_words(line, units)}" for line in found.notes]
    head = "          " + "".join(f"{month:>7}" for month in MONTH_NAMES)
    lines += ["", f"Monthly climate ({units.temperature_unit}; rain in {units.depth.unit})", head]
    rows = {
        "minimum": units.temperature(climate.temperature_min),
        "maximum": units.temperature(climate.temperature_max),
        "lowest": units.temperature(climate.lowest),
        "highest": units.temperature(climate.highest),
    }
    if climate.rain is not None:
        rows["rain"] = units.depth.of(climate.rain)
    for title, values in rows.items():
        lines.append(f"  {title:8s}" + "".join(f"{value:7.1f}" for value in values))
    if climate.rain is None:
        lines.append("  no rain in this record: a plan's monthly rain normals serve instead")
    lines += ["", "Frost (earliest, middle, latest in the record; years without one left out)"]
    for dates in found.frost:
        for title, days in (("last in spring", dates.last_spring), ("first in autumn", dates.first_autumn)):
            known = days[np.isfinite(days)]
            if known.size:
                points = ", ".join(date_text(day, latitude) for day in np.percentile(known, [0, 50, 100]))
                lines.append(f"  {units.temperature(dates.level):5.1f} {units.temperature_unit}, {title:15s}: {points}")
    change = [
        f"{title} {units.temperature_difference(10 * trend.slope):+.2f} ± "
        f"{units.temperature_difference(10 * trend.standard_error):.2f}"
        for title, trend in (("minimum", found.trend_min), ("maximum", found.trend_max))
    ]
    lines += [
        "",
        f"Trend of the yearly mean, last {min(30, found.yearly_year.size)} complete seasons: {', '.join(change)} "
        f"{units.temperature_unit} per decade (± one standard error)",
    ]
    return lines


def _in_words(line: str, units: Display) -> str:
    """A line on the record's quality with its temperatures in the shown scale."""
    for name, words in (("temperature_min", "daily minimum"), ("temperature_max", "daily maximum")):
        line = line.replace(name, words)

    def shown(match: re.Match[str]) -> str:
        return f"{units.temperature(float(match[1])):.1f} {units.temperature_unit}"

    return re.sub(r"(-?\d+(?:\.\d+)?) degC", shown, line)


def _offset_text(offset: float, units: Display) -> str:
    """How cold the nights of a place are beside the station's."""
    if offset == 0:
        return "nights as at the station"
    degrees = f"{abs(units.temperature_difference(offset)):.2g} {units.temperature_unit}"
    return f"nights {degrees} {'colder' if offset < 0 else 'warmer'} than the station"


def _bloom_lines(history: WeatherHistory, units: Display) -> list[str]:
    """Bloom, seasons with too little chill, and the frost kill that past years would have brought."""
    import numpy as np

    from orchardsim.core.calendar import date_text

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
                f"    {_offset_text(offset, units)}: more than 30 % of blossoms killed in {_share(kill[inside], 0.3)} "
                f"of those years and {_share(kill, 0.3)} of the whole record; more than 90 % in "
                f"{_share(kill[inside], 0.9)} and {_share(kill, 0.9)}"
            )
    return lines


def _share(kill: np.ndarray, level: float) -> str:
    return f"{int((kill > level).sum())} of {kill.size}"
