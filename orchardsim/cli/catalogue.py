"""``orchardsim catalogue``: the built-in rootstocks, cultivars, training systems and tree grades, with sources."""

from __future__ import annotations

import argparse

from orchardsim.cli.answer import print_answer
from orchardsim.cli.arguments import add_answer_arguments


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "name", nargs="?", metavar="NAME", help="one entry, such as 'G.935', 'Honeycrisp' or 'tall_spindle'"
    )
    parser.add_argument(
        "--units",
        choices=("both", "us", "metric"),
        default="both",
        help="units shown (default: both where they differ)",
    )
    add_answer_arguments(parser, "print the numbers of all entries, or each number's meaning and source")


def execute(options: argparse.Namespace) -> int:
    """Print the names of the entries, or one entry with its numbers."""
    from orchardsim.plan.catalogue_text import catalogue_document, entry_lines, list_lines, name_lines, number_lines

    name, units = options.name, options.units
    print_answer(
        options,
        screen=lambda: "\n".join(name_lines() if name is None else number_lines(name, units)),
        everything=lambda: "\n".join(list_lines(units) if name is None else entry_lines(name, units)),
        document=lambda: catalogue_document(name),
        simulated=False,
    )
    return 0
