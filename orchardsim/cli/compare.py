"""``orchardsim compare``: plans in the same futures."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered, size_of
from orchardsim.cli.arguments import add_answer_arguments, add_jobs, add_out, add_size


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "plans", type=Path, nargs="+", metavar="PLAN", help="two or more plan files (TOML), or one that holds scenarios"
    )
    add_size(parser, "simulated futures of each plan", 200, 4)
    add_jobs(parser)
    add_out(parser, "compare.json, compare.html and figures/", "write into a folder that holds another comparison")
    add_answer_arguments(parser)


def execute(options: argparse.Namespace) -> int:
    """Simulate the plans, print the tables, and save the comparison when a folder is given."""
    from orchardsim.commands import comparison
    from orchardsim.plan import load_plan, load_scenarios

    alone = len(options.plans) == 1
    plans = load_scenarios(options.plans[0]) if alone else [load_plan(path) for path in options.plans]
    return answered(options, comparison(plans, size_of(options)))
