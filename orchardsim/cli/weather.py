"""``orchardsim weather``: what a station record holds, and what its past seasons would have done to bloom."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import add_answer_arguments, print_answer
from orchardsim.cli.folders import folder_name, output_folder
from orchardsim.cli.progress import tell

DEFAULT_CULTIVARS = ("Gala", "Honeycrisp")


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
    add_answer_arguments(parser, "print every fault, the frost dates and each cultivar's bloom too")


def execute(options: argparse.Namespace) -> int:
    """Print the quality report, the climate and the frost history; save the page when a folder is given."""
    from orchardsim.core.errors import InputError
    from orchardsim.core.files import check_file
    from orchardsim.plan.catalogue import built_in
    from orchardsim.report.weather.history import weather_history
    from orchardsim.report.weather.page import KIND, WEATHER_PAGE, weather_files, write_weather_page
    from orchardsim.report.weather.words import weather_document, weather_screen, weather_text
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
        history = None
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
            if folder is not None:
                write_weather_page(history, folder)
    print_answer(
        options,
        screen=lambda: weather_screen(name, found, history, options.units),
        everything=lambda: weather_text(name, found, history, options.units),
        document=lambda: weather_document(name, found, history),
        simulated=False,
    )
    if options.out is not None and history is not None:
        tell(f"saved {WEATHER_PAGE} and figures/ in {options.out}")
    return 0
