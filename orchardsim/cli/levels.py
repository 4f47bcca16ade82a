"""``orchardsim levels``: one open level at a time, prices against yields, and the chances of losing."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import add_answer_arguments
from orchardsim.cli.asked import answered, size_of
from orchardsim.cli.folders import folder_name
from orchardsim.cli.run import whole_number


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument(
        "--trials", type=whole_number(4, 100_000), default=40, help="simulated futures of each look (default 40)"
    )
    parser.add_argument("--years", type=whole_number(2, 80), default=20, help="years counted from year 0 (default 20)")
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of all random draws (default 1)"
    )
    parser.add_argument(
        "--out", type=folder_name, metavar="DIR", help="folder for levels.json, levels.html and figures/"
    )
    parser.add_argument("--force", action="store_true", help="write into a folder that holds another look")
    add_answer_arguments(parser)


def execute(options: argparse.Namespace) -> int:
    """Look at every open level, print the tables, and save them when a folder is given."""
    from orchardsim.commands import look_at_levels
    from orchardsim.plan import load_plan

    return answered(options, look_at_levels(load_plan(options.plan), size_of(options)))
