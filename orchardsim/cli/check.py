"""``orchardsim check``: what a plan does, states and assumes, then the numbers to state first."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import print_answer
from orchardsim.cli.arguments import add_answer_arguments


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
    """Print what the plan plants, orders, builds, pays and states, then the ten numbers to state first."""
    from orchardsim.analysis.first_numbers import first_numbers
    from orchardsim.cli.progress import tell
    from orchardsim.plan import load_plan
    from orchardsim.plan.describe import plan_lines
    from orchardsim.report.check import check_document, first_number_lines, opening_text, state_first_text
    from orchardsim.weather.sampling import check_weather

    plan = load_plan(options.plan)
    check_weather(plan.weather)
    if not options.json:
        print("\n".join(plan_lines(plan)) if options.all else opening_text(plan), flush=True)
    found = None
    if plan.blocks and not options.unsimulated:
        tell("the ten numbers to state first take a small simulation of some seconds (--unsimulated leaves it out)")
        found = first_numbers(plan)
    print_answer(
        options,
        screen=lambda: state_first_text(found, plan) if found else "",
        everything=lambda: "\n".join(["", *first_number_lines(found, plan.formats)]) if found else "",
        document=lambda: check_document(plan, found),
        simulated=False,
    )
    return 0
