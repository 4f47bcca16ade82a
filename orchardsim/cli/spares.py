"""``orchardsim spares``: how many replacement trees to hold and order, and when."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from orchardsim.cli.answer import add_answer_arguments
from orchardsim.cli.asked import answered, size_of
from orchardsim.cli.folders import folder_name
from orchardsim.cli.run import whole_number


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument(
        "--trials",
        type=whole_number(8, 1_000_000),
        default=200,
        help="simulated futures; half choose the policy, half report on it (default 200)",
    )
    parser.add_argument("--years", type=whole_number(3, 80), default=20, help="years counted from year 0 (default 20)")
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of all random draws (default 1)"
    )
    parser.add_argument(
        "--jobs", type=whole_number(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument(
        "--out", type=folder_name, metavar="DIR", help="folder for spares.json, spares.html and figures/"
    )
    parser.add_argument("--force", action="store_true", help="write into a folder that holds another search")
    add_answer_arguments(parser, "print the long tables too, and lines for the plan")


def execute(options: argparse.Namespace) -> int:
    """Search, print the answer, and save it when a folder is given."""
    from orchardsim.commands import search_for_spares
    from orchardsim.plan import load_plan

    return answered(options, search_for_spares(load_plan(options.plan), size_of(options)))
