"""``orchardsim spares``: how many replacement trees to hold and order, and when."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered, size_of
from orchardsim.cli.arguments import add_answer_arguments, add_jobs, add_out, add_size


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    add_size(parser, "simulated futures; half choose the policy, half report on it", 200, 8, fewest_years=3)
    add_jobs(parser)
    add_out(parser, "spares.json, spares.html and figures/", "write into a folder that holds another search")
    add_answer_arguments(parser, "print the long tables too, and lines for the plan")


def execute(options: argparse.Namespace) -> int:
    """Search, print the answer, and save it when a folder is given."""
    from orchardsim.commands import search_for_spares
    from orchardsim.plan import load_plan

    return answered(options, search_for_spares(load_plan(options.plan), size_of(options)))
