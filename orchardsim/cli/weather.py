"""``orchardsim weather``: what a station record holds, and what its past seasons would have done to bloom."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered
from orchardsim.cli.arguments import add_answer_arguments, add_out

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
    add_out(parser, "weather.json, weather.html and figures/", "write over an earlier weather page in the folder")
    add_answer_arguments(parser, "print every fault, the frost dates and each cultivar's bloom too")


def execute(options: argparse.Namespace) -> int:
    """Print the quality report, the climate and the frost history; save the page when a folder is given."""
    from orchardsim.commands import look_back
    from orchardsim.core.errors import InputError
    from orchardsim.core.files import check_file
    from orchardsim.plan.catalogue import built_in
    from orchardsim.season.parameters import Phenology
    from orchardsim.weather.bundled import RECORDS, bundled_record_path

    if options.latitude is not None and not -66 <= options.latitude <= 66:
        raise InputError("--latitude", f"found {options.latitude:g}, allowed -66 to 66 degrees")
    bundled = RECORDS.get(options.file)
    path = bundled_record_path(options.file) if bundled is not None else Path(options.file)
    check_file(path, "a daily station record, or one of " + ", ".join(repr(one) for one in RECORDS))
    names = options.cultivar or list(DEFAULT_CULTIVARS)
    cultivars = {name: built_in("cultivar", name, Phenology, "--cultivar") for name in names}
    name = f"bundled station record ({path.name})" if bundled is not None else path.name
    latitude = bundled.latitude if bundled is not None and options.latitude is None else options.latitude
    return answered(options, look_back(path, latitude, cultivars, options.units, name), simulated=False)
