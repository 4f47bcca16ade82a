"""``orchardsim report``: draws the pages of a saved folder again."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import print_answer
from orchardsim.cli.arguments import add_answer_arguments
from orchardsim.cli.progress import tell


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "folder", type=Path, metavar="DIR", help="folder written with --out, or the results.nc of a run"
    )
    add_answer_arguments(parser)


def execute(options: argparse.Namespace) -> int:
    """Draw the pictures and write the page again from what was saved."""
    from orchardsim.report.rebuild import rebuild

    for one in rebuild(options.folder, tell):
        print_answer(
            options,
            screen=one.screen,
            everything=one.text,
            document=one.document,
        )
        tell(f"written: {one.page} and figures/")
    return 0
