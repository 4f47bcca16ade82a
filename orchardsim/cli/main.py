"""Entry point of the ``orchardsim`` command."""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence
from typing import NoReturn

import orchardsim
from orchardsim.cli.stop import NOTHING, stopping
from orchardsim.cli.terminal import SafeStream, safe_streams
from orchardsim.core.errors import IdentityError, InputError, WorkerError

COMMANDS = {
    "run": "simulate a planting plan: yield, losses, cash and risk, year by year",
    "check": "the ten numbers to state first; what a plan plants, orders, builds and pays",
    "weather": "quality report of a station record: gaps, outliers, climate, bloom and frost history",
    "compare": "several plans in the same futures: paired differences and how sure they are",
    "stress": "place named bad seasons at every leaf and say what each costs",
    "levels": "what each open level does to the money, prices against yields, and the chances of losing",
    "spares": "how many replacement trees to hold, how many to order, and when",
    "study": "a declared experiment over keys of a plan, in common futures, with contrasts",
    "fit": "what measured trees say of the plan's open levels; an updated plan",
    "web": "the page to plan on: edit a plan, see land and bill, run and compare; at this machine only",
    "catalogue": "list the built-in rootstocks, cultivars and training systems with their sources",
    "report": "draw the pages of a saved folder again",
}
"""Command -> one line of help. The module of a command is imported only when the command is called."""


class OneLine(argparse.ArgumentParser):
    """A parser that answers wrong words with one line, as all bad input is answered."""

    def error(self, message: str) -> NoReturn:
        """One line, exit code 2."""
        self.exit(2, f"{self.prog}: {message}; --help tells what it takes\n")


def parser_for(command: str | None) -> argparse.ArgumentParser:
    """Argument parser; only the named command's own arguments are loaded."""
    parser = OneLine(
        prog="orchardsim",
        description="Simulate an apple planting plan tree by tree, over many possible seasons.",
        epilog="Estimates for planning, not advice: check prices, structures, sprays and frost work with local "
        "advisers, codes and licensed practice.",
    )
    parser.add_argument("--version", action="version", version=f"orchardsim {orchardsim.__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        sub = commands.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        if name == command:
            importlib.import_module(f"orchardsim.cli.{name}").add_arguments(sub)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command.

    Returns
    -------
    int
        0 done; 1 the model's own books did not balance, a worker was ended, or what was printed got lost; 2 bad input;
        130 stopped by the user.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    with safe_streams() as (out, _), stopping():
        parsed: SystemExit | None = None
        try:
            code = _execute(words)
        except SystemExit as ended:  # the parser's: --help, or words that it does not know
            code, parsed = int(ended.code or 0), ended
        if _lost(out):
            return max(code, 1)
        if parsed is not None:
            raise parsed
        return code


def _execute(words: list[str]) -> int:
    command = next((word for word in words if word in COMMANDS), None)
    try:
        options = parser_for(command).parse_args(words)
        return int(importlib.import_module(f"orchardsim.cli.{options.command}").execute(options))
    except InputError as error:
        print(f"orchardsim: {error}", file=sys.stderr)
        return 2
    except IdentityError as error:
        print(f"orchardsim: the simulation stopped because its books do not balance: {error}", file=sys.stderr)
        return 1
    except WorkerError as error:
        print(f"orchardsim: {error}; a run with --out goes on with --resume", file=sys.stderr)
        return 1
    except KeyboardInterrupt as stopped:
        print(f"orchardsim: stopped; {stopped.args[0] if stopped.args else NOTHING}", file=sys.stderr)
        return 130


def _lost(out: SafeStream) -> bool:
    """Whether what was printed got lost, other than by a reader who had enough; says so."""
    out.flush()
    if out.fault is None or isinstance(out.fault, BrokenPipeError):
        return False
    print(f"orchardsim: what was printed got lost: {out.fault}", file=sys.stderr)
    return True


if __name__ == "__main__":
    sys.exit(main())
