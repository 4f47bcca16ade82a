"""What every command prints in the end: the short answer, all tables, or the numbers as JSON."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from typing import Any


def add_answer_arguments(parser: argparse.ArgumentParser, everything: str = "print the long tables too") -> None:
    """Declare ``--all`` and ``--json``; ``everything``: help of the first."""
    parser.add_argument("--all", action="store_true", help=everything)
    parser.add_argument("--json", action="store_true", help="print the numbers as JSON and nothing else")


def print_answer(
    options: argparse.Namespace,
    *,
    screen: Callable[[], str],
    everything: Callable[[], str],
    document: Callable[[], Mapping[str, Any]],
    simulated: bool = True,
) -> None:
    """Print what the options ask for.

    Parameters
    ----------
    options : argparse.Namespace
        With ``all`` and ``json``; with ``out`` where the command can save.
    screen, everything : callable
        The short answer, of at most 22 lines of 80 columns, and the long one.
    document : callable
        All numbers.
    simulated : bool
        Whether the answer is an estimate, which asks for the caution.
    """
    if options.json:
        from orchardsim.results.store import dump_summary

        print(dump_summary(dict(document())), end="")
        return
    text = everything() if options.all else screen()
    if text:
        print(text)
    saved = getattr(options, "out", "cannot be saved") is not None
    print_closing(saved, everything=options.all, simulated=simulated)


def print_closing(saved: bool, *, everything: bool, simulated: bool = True) -> None:
    """Say where more is to be had, then the caution that is the same everywhere."""
    from orchardsim.report.cautions import CAUTION_LINE

    more = "" if everything else "--all prints the rest"
    keep = "" if saved else "nothing was saved: --out DIR keeps page and numbers"
    line = "; ".join(part for part in (more, keep) if part)
    if line:
        print(f"{line[0].upper()}{line[1:]}.")
    if simulated:
        print(CAUTION_LINE)
