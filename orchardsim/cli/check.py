"""``orchardsim check``: the numbers to state first, then what a plan does, states and assumes."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import add_answer_arguments, print_answer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    add_answer_arguments(parser, "print keys, timetable, bill and every number that the plan does not state")
    parser.add_argument(
        "--unsimulated",
        action="store_true",
        help="leave out the ten numbers to state first, which take a small simulation of some seconds",
    )


def execute(options: argparse.Namespace) -> int:
    """Print the ten numbers to state first, and what the plan plants, orders, builds, pays and states."""
    from orchardsim.cli.progress import tell
    from orchardsim.plan import load_plan
    from orchardsim.report.check import check_document, check_screen, check_text
    from orchardsim.weather.sampling import check_weather

    plan = load_plan(options.plan)
    check_weather(plan.weather)
    found = None
    if plan.blocks and not options.unsimulated:
        tell("the ten numbers to state first take a small simulation of some seconds (--unsimulated leaves it out)")
        from orchardsim.analysis.first_numbers import first_numbers

        found = first_numbers(plan)
    print_answer(
        options,
        screen=lambda: check_screen(plan, found),
        everything=lambda: check_text(plan, found),
        document=lambda: check_document(plan, found),
        simulated=False,
    )
    return 0
