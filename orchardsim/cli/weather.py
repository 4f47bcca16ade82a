"""``orchardsim weather``: what a station record holds, and what its past seasons would have done to bloom."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

    from orchardsim.report.weather_history import WeatherHistory
    from orchardsim.weather.history import WeatherReport

DEFAULT_CULTIVARS = ("Gala", "Honeycrisp")
BUNDLED = "bundled"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "file",
        metavar="FILE",
        help="daily station record: GHCN-Daily .dly or station CSV, plain CSV with a unit in each column's name, or "
        "NetCDF with CF names; 'bundled' for the record that ships with the program",
    )
    parser.add_argument("--latitude", type=float, metavar="DEGREES", help="north positive; default: the file's own")
    parser.add_argument(
        "--cultivar",
        action="append",
        metavar="NAME",
        help=f"cultivar of the bloom history; may be repeated (default: {', '.join(DEFAULT_CULTIVARS)})",
    )
    parser.add_argument("--units", choices=("metric", "us"), default="metric", help="units shown (default metric)")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for weather.html and its pictures")
    parser.add_argument("--force", action="store_true", help="write over an earlier weather page in the folder")


def execute(options: argparse.Namespace) -> int:
    """Print the quality report, the climate and the frost history; save the page when a folder is given."""
    import sys

    from orchardsim.core.errors import InputError
    from orchardsim.plan.catalogue import built_in
    from orchardsim.report.weather_history import weather_history
    from orchardsim.season.parameters import Phenology
    from orchardsim.weather.bundled import bundled_record_path
    from orchardsim.weather.history import weather_report
    from orchardsim.weather.parameters import WeatherSettings
    from orchardsim.weather.sampling import baseline_harvest_years, whole_record_windows

    if options.latitude is not None and not -66 <= options.latitude <= 66:
        raise InputError("--latitude", f"found {options.latitude:g}, allowed -66 to 66 degrees")
    path = bundled_record_path() if options.file == BUNDLED else Path(options.file)
    if options.out is not None and (options.out / "weather.html").exists() and not options.force:
        raise InputError(str(options.out), "holds a weather page; allowed: another folder, or --force to write over it")
    names = options.cultivar or list(DEFAULT_CULTIVARS)
    cultivars = {name: built_in("cultivar", name, Phenology, "--cultivar") for name in names}
    print(f"reading {path.name}", file=sys.stderr)
    found = weather_report(path, options.latitude)
    print("\n".join(_report_lines(path.name, found)))
    if found.baseline_years == (0, 0):
        return 0
    latitude = found.latitude
    settings = WeatherSettings(latitude=latitude, record=path)
    seasons = whole_record_windows(settings)
    assert seasons is not None
    history = weather_history(
        seasons,
        cultivars,
        baseline_harvest_years(settings, found.table),
        title=f"Weather record {path.name}",
        station=found.record.station,
        units=options.units,
        quality=found.quality.lines(),
        notes=found.notes,
    )
    print("\n".join(_bloom_lines(history)))
    if options.out is None:
        print("\nNothing was saved; add --out DIR for the page with pictures.")
        return 0
    from orchardsim.report.weather_page import write_weather_page

    page = write_weather_page(history, options.out)
    print(f"saved {page.name} and figures/ in {options.out}", file=sys.stderr)
    return 0


def _report_lines(name: str, found: WeatherReport) -> list[str]:
    """Quality, climate, frost dates and trend."""
    import numpy as np

    from orchardsim.core.calendar import date_text
    from orchardsim.report.weather_history import MONTH_NAMES

    record, climate, latitude = found.record, found.climate, found.latitude
    lines = [f"{name}: {record.date[0]} to {record.date[-1]}, {found.yearly_year.size} complete seasons"]
    lines += ["", "Quality"]
    lines += [f"  {line}" for line in found.quality.lines()] or ["  nothing doubtful found"]
    lines += [f"  {line}" for line in found.notes]
    head = "          " + "".join(f"{month:>7}" for month in MONTH_NAMES)
    lines += ["", "Monthly climate (degC; rain in mm)", head]
    rows = {
        "minimum": climate.temperature_min,
        "maximum": climate.temperature_max,
        "lowest": climate.lowest,
        "highest": climate.highest,
    }
    if climate.rain is not None:
        rows["rain"] = climate.rain
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
                lines.append(f"  {dates.level:5.1f} degC, {title:15s}: {points}")
    low, high = found.trend_min, found.trend_max
    lines += [
        "",
        f"Trend of the yearly mean, last {min(30, found.yearly_year.size)} complete seasons: minimum "
        f"{10 * low.slope:+.2f} ± {10 * low.standard_error:.2f}, maximum {10 * high.slope:+.2f} ± "
        f"{10 * high.standard_error:.2f} K per decade (± one standard error)",
    ]
    return lines


def _bloom_lines(history: WeatherHistory) -> list[str]:
    """Bloom and the frost kill that past years would have brought."""
    import numpy as np

    from orchardsim.core.calendar import date_text

    first, last = history.baseline_years
    inside = (history.harvest_year >= first) & (history.harvest_year <= last)
    lines = ["", f"Bloom and frost; a run draws its seasons from {first} to {last} unless the plan says otherwise"]
    for place, name in enumerate(history.cultivars):
        bloom = history.bloom_day[place]
        dates = [date_text(day, history.latitude) for day in np.percentile(bloom, [0, 50, 100])]
        lines.append(
            f"  {name}: full bloom {dates[0]} to {dates[2]}, middle {dates[1]}; standard deviation "
            f"{np.std(bloom, ddof=1):.1f} days"
        )
        for column, offset in enumerate(history.night_offsets):
            kill = history.frost_kill[place, column]
            lines.append(
                f"    nights {offset:+.0f} K of the station: more than 30 % of blossoms killed in "
                f"{_share(kill[inside], 0.3)} of those years and {_share(kill, 0.3)} of the whole record; more than "
                f"90 % in {_share(kill[inside], 0.9)} and {_share(kill, 0.9)}"
            )
    return lines


def _share(kill: np.ndarray, level: float) -> str:
    return f"{int((kill > level).sum())} of {kill.size}"
