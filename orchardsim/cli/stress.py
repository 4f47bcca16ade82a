"""``orchardsim stress``: named bad seasons placed at every leaf."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered, size_of
from orchardsim.cli.arguments import add_answer_arguments, add_jobs, add_out, add_size


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    add_size(parser, "simulated futures that each meets", 24, 4, 100_000)
    add_jobs(parser)
    parser.add_argument(
        "--only",
        action="append",
        metavar="NAME",
        help="one bad season; may be repeated: late_frost, two_frosts, fire_blight, hail, drought, hard_winter, "
        "price_slump, short_crew, nursery_failure, worst_spell (default: all)",
    )
    add_out(parser, "stress.json, stress.html and figures/", "write into a folder that holds another stress test")
    add_answer_arguments(parser)


def execute(options: argparse.Namespace) -> int:
    """Strike the plan, print the table, and save the stress test when a folder is given."""
    from orchardsim.commands import stress_test
    from orchardsim.plan import load_plan

    return answered(options, stress_test(load_plan(options.plan), size_of(options), options.only))
