"""Arguments of size that commands which simulate have in common."""

from __future__ import annotations

import argparse
import os


def whole_number(low: int, high: int):  # type: ignore[no-untyped-def]
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
    """Declare ``--trials``, ``--years`` and ``--seed``.

    Parameters
    ----------
    what : str
        What a trial is, in the words of the help.
    trials : int
        Where none are stated.
    fewest, most, fewest_years : int
        Bounds.
    """
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
