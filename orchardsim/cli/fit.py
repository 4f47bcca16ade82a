"""``orchardsim fit``: what measured trees say of the plan's open levels."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered, size_of
from orchardsim.cli.arguments import add_answer_arguments, add_jobs, add_out, add_size
from orchardsim.cli.progress import tell


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="planting plan (TOML) that states calendar_year")
    parser.add_argument(
        "measurements", type=Path, metavar="MEASUREMENTS.csv", help="what was measured; one row a reading"
    )
    parser.add_argument(
        "--next",
        action="store_true",
        help="also say what to measure next, and write a field sheet (runs the plan's options)",
    )
    parser.add_argument(
        "--wait", action="store_true", help="also weigh planting all now against waiting and measuring the first row"
    )
    parser.add_argument(
        "--between",
        metavar="KEY=VALUES",
        help="options to choose between: a key of the plan and a list of values (default: three tree spacings)",
    )
    add_size(parser, "futures of an option", 200, 50, 100_000, fewest_years=5)
    add_jobs(parser)
    add_out(parser, "the updated plan, what was learned, and the page", "write into a folder that holds another fit")
    add_answer_arguments(parser, "print every level and measurement too, and the tables of --next and --wait")


def execute(options: argparse.Namespace) -> int:
    """Learn, print, and save when a folder is given."""
    from orchardsim.commands import learning
    from orchardsim.core.files import read_bytes
    from orchardsim.plan import load_plan
    from orchardsim.plan.reading import EXPECTED, LARGEST_FILE

    command = learning(
        load_plan(options.plan),
        read_bytes(options.plan, EXPECTED, LARGEST_FILE).decode("utf-8-sig"),
        options.measurements,
        size_of(options),
        following=options.next,
        waiting=options.wait,
        between=options.between,
        out=options.out,
        say=tell,
    )
    code = answered(options, command)
    if not options.json:
        plan = options.plan.name if options.out is None else options.out / options.plan.name
        made = " (that plan is made by --out DIR)" if options.out is None else ", which carries what was learned"
        print(f"Next: orchardsim run {plan if options.out is not None else f'DIR/{plan}'}{made}")
    return code
