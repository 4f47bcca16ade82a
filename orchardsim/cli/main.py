"""Entry point of the ``orchardsim`` command."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

import orchardsim
from orchardsim.core.errors import IdentityError, InputError

COMMANDS = {
    "run": "simulate a planting plan: yield, losses, cash and risk, year by year",
    "check": "read a plan and print what it plants, orders, builds and pays; runs nothing",
    "weather": "quality report of a station record: gaps, outliers, climate, bloom and frost history",
    "compare": "several plans in the same futures: paired differences and how sure they are",
    "stress": "place named bad seasons at every leaf and say what each costs",
    "spares": "how many replacement trees to hold, how many to order, and when",
    "catalogue": "list the built-in rootstocks, cultivars and training systems with their sources",
    "report": "rebuild the page of a saved run, comparison, stress test or search for spares",
}
"""Command -> one line of help. The module of a command is imported only when the command is called."""


def parser_for(command: str | None) -> argparse.ArgumentParser:
    """Argument parser; only the named command's own arguments are loaded."""
    parser = argparse.ArgumentParser(
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
        0 done; 1 the model's own books did not balance; 2 bad input; 130 stopped by the user.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    command = next((word for word in words if word in COMMANDS), None)
    options: argparse.Namespace | None = None
    try:
        options = parser_for(command).parse_args(words)
        return int(importlib.import_module(f"orchardsim.cli.{options.command}").execute(options))
    except InputError as error:
        print(f"orchardsim: {error}", file=sys.stderr)
        return 2
    except IdentityError as error:
        print(f"orchardsim: the simulation stopped because its books do not balance: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print(f"orchardsim: stopped{_kept(options)}", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output went away (a pager closed, `head`); stop quietly.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _kept(options: argparse.Namespace | None) -> str:
    """What of an interrupted run is kept, and how to go on with it."""
    if options is None or options.command != "run":
        return ""
    if options.out is None:
        return "; nothing is kept without --out"
    from orchardsim.cli.run import PARTIAL, PARTIAL_SECOND
    from orchardsim.simulation.partial import kept_trials

    for folder, part in ((PARTIAL_SECOND, " of the second opinion"), (PARTIAL, "")):
        found = kept_trials(options.out / folder)
        if found is not None and (found[0] or part):
            finished, wanted = found
            return f"; {finished:,} of {wanted:,} trials{part} kept in {options.out}; go on with --resume"
    return "; no trials were finished yet"


if __name__ == "__main__":
    sys.exit(main())
