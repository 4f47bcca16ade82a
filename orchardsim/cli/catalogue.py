"""``orchardsim catalogue``: the built-in rootstocks, cultivars, training systems and tree grades, with sources."""

from __future__ import annotations

import argparse


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


def execute(options: argparse.Namespace) -> int:
    """Print the list of entries, or one entry with all its numbers and where they come from."""
    from orchardsim.plan.catalogue_text import entry_lines, list_lines

    print("\n".join(list_lines(options.units) if options.name is None else entry_lines(options.name, options.units)))
    return 0
