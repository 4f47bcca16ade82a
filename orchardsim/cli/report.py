"""``orchardsim report``: rebuilds the page of a saved run, comparison, stress test or search for spares."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.closing import print_closing
from orchardsim.cli.progress import tell


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "folder", type=Path, metavar="DIR", help="folder written by run, compare, stress or spares with --out"
    )


def execute(options: argparse.Namespace) -> int:
    """Draw the pictures and write the page again from what was saved."""
    from orchardsim.report.rebuild import rebuild

    for one in rebuild(options.folder, tell):
        print(one.text)
        print()
        print_closing(saved=True)
        tell(f"written: {one.page} and figures/")
    return 0
