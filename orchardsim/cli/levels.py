"""``orchardsim levels``: one open level at a time, prices against yields, and the chances of losing."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered, size_of
from orchardsim.cli.arguments import add_answer_arguments, add_out, add_size


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    add_size(parser, "simulated futures of each look", 40, 4, 100_000)
    add_out(parser, "levels.json, levels.html and figures/", "write into a folder that holds another look")
    add_answer_arguments(parser)


def execute(options: argparse.Namespace) -> int:
    """Look at every open level, print the tables, and save them when a folder is given."""
    from orchardsim.commands import look_at_levels
    from orchardsim.plan import load_plan

    return answered(options, look_at_levels(load_plan(options.plan), size_of(options)))
