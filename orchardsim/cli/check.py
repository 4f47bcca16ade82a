"""``orchardsim check``: read a plan, say what it does, states and assumes; runs nothing."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument("--all", action="store_true", help="list every number that the plan does not state")


def execute(options: argparse.Namespace) -> int:
    """Print what the plan plants, orders, builds, pays and states, and what deserves a second look."""
    from orchardsim.plan import load_plan
    from orchardsim.plan.describe import plan_lines
    from orchardsim.weather.sampling import check_weather

    plan = load_plan(options.plan)
    check_weather(plan.weather)
    print("\n".join(plan_lines(plan, everything=options.all)))
    return 0
