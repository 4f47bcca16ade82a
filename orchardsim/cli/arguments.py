"""Arguments that commands have in common: size, folder to save in, how much is printed."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from pathlib import Path


def whole_number(low: int, high: int) -> Callable[[str], int]:
    """Argument type: a whole number within bounds."""

    def read(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f"found {text!r}, expected a whole number") from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"found {value}, allowed {low} to {high}")
        return value

    return read


def add_size(
    parser: argparse.ArgumentParser, what: str, trials: int, fewest: int, most: int = 1_000_000, fewest_years: int = 2
) -> None:
    """Declare ``--trials``, ``--years`` and ``--seed`` with their bounds; ``what``: a trial in words of the help."""
    parser.add_argument("--trials", type=whole_number(fewest, most), default=trials, help=f"{what} (default {trials})")
    parser.add_argument(
        "--years", type=whole_number(fewest_years, 80), default=20, help="years counted from year 0 (default 20)"
    )
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of all random draws (default 1)"
    )


def add_jobs(parser: argparse.ArgumentParser) -> None:
    """Declare ``--jobs``."""
    parser.add_argument(
        "--jobs", type=whole_number(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )


def folder_name(text: str) -> Path:
    """Argument type: the name of a folder."""
    if not text.strip():
        raise argparse.ArgumentTypeError("found an empty name, expected the name of a folder ('.' for this one)")
    return Path(text)


def add_out(parser: argparse.ArgumentParser, holds: str, force: str) -> None:
    """Declare ``--out`` and ``--force``; what the folder will hold, and what the second does."""
    parser.add_argument("--out", type=folder_name, metavar="DIR", help=f"folder for {holds}")
    parser.add_argument("--force", action="store_true", help=force)


def add_answer_arguments(parser: argparse.ArgumentParser, everything: str = "print the long tables too") -> None:
    """Declare ``--all`` and ``--json``; ``everything``: help of the first."""
    parser.add_argument("--all", action="store_true", help=everything)
    parser.add_argument("--json", action="store_true", help="print the numbers as JSON and nothing else")
