"""``orchardsim check``: read a plan, say what it does and what it assumes; runs nothing."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument("--short", action="store_true", help="leave out the list of assumed numbers")


def execute(options: argparse.Namespace) -> int:
    """Print what the plan plants, orders, builds and pays, and every number that it does not state."""
    from orchardsim.plan import load_plan
    from orchardsim.plan.describe import assumption_lines, plan_lines

    plan = load_plan(options.plan)
    lines = plan_lines(plan)
    if options.short:
        lines = lines[: -len(assumption_lines(plan.assumptions))]
        lines.append(f"{len(plan.assumptions)} numbers are not stated by the plan; without --short they are listed.")
    print("\n".join(lines))
    return 0
