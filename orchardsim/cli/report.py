"""``orchardsim report``: rebuilds the report of a saved run."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder of a run, written by run --out")


def execute(options: argparse.Namespace) -> int:
    """Draw the pictures and write the page again from the saved results."""
    from orchardsim.report import headline_table, plain_sentences, write_report
    from orchardsim.results import read_results

    dataset = read_results(options.folder)
    print(f"{options.folder}: drawing the report of {dataset.sizes['trial']} saved trials", file=sys.stderr)
    path = write_report(options.folder)
    print(headline_table(dataset))
    print()
    for sentence in plain_sentences(dataset):
        print(sentence)
    print(f"written: {path} and figures/", file=sys.stderr)
    return 0
