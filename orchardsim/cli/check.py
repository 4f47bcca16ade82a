"""``orchardsim check``: the numbers to state first, then what a plan does, states and assumes."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument("--all", action="store_true", help="list every number that the plan does not state")
    parser.add_argument(
        "--unsimulated",
        action="store_true",
        help="leave out the ten numbers to state first, which take a small simulation of some seconds",
    )


def execute(options: argparse.Namespace) -> int:
    """Print the ten numbers to state first, then what the plan plants, orders, builds, pays and states."""
    from orchardsim.cli.progress import tell
    from orchardsim.plan import load_plan
    from orchardsim.plan.describe import plan_lines
    from orchardsim.weather.sampling import check_weather

    plan = load_plan(options.plan)
    check_weather(plan.weather)
    if plan.blocks and not options.unsimulated:
        tell("the ten numbers to state first take a small simulation of some seconds (--unsimulated leaves it out)")
        from orchardsim.analysis.first_numbers import first_numbers
        from orchardsim.report.levels.words import first_number_lines

        print("\n".join([*first_number_lines(first_numbers(plan), plan.formats), ""]))
    print("\n".join(plan_lines(plan, everything=options.all)))
    return 0
