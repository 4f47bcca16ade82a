"""A question put from the terminal: worked out with a progress line, saved where a folder is given, then printed."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, TypeVar

from orchardsim.cli.answer import print_answer
from orchardsim.cli.folders import output_folder
from orchardsim.cli.progress import progress, tell

if TYPE_CHECKING:
    from orchardsim.commands import Command, Size
    from orchardsim.results.folder import OutputFolder

Found = TypeVar("Found")


def size_of(options: argparse.Namespace) -> Size:
    """Trials, years, seed and processes as asked for."""
    from orchardsim.commands import Size

    return Size(trials=options.trials, years=options.years, seed=options.seed, jobs=getattr(options, "jobs", 1))


def answered(options: argparse.Namespace, command: Command[Found], *, simulated: bool = True) -> int:
    """Answer a question, and save the answer when a folder is given."""
    with output_folder(options, command.kind, command.files) as folder:
        found = work_out(command, folder)
    say_answer(options, command, found, simulated=simulated)
    return 0


def work_out(command: Command[Found], folder: OutputFolder | None) -> Found:
    """Do the work under its progress line, and write what was found."""
    with progress(command.heading, command.steps) as done:
        found = command.find(folder, done)
    if folder is not None:
        command.write(folder, found)
    return found


def say_answer(options: argparse.Namespace, command: Command[Found], found: Found, *, simulated: bool = True) -> None:
    """Print what was found, and where it was saved."""
    print_answer(
        options,
        screen=lambda: command.screen(found),
        everything=lambda: command.text(found),
        document=lambda: command.document(found),
        simulated=simulated,
    )
    if options.out is not None and (options.out / command.page).exists():
        tell(f"saved in {options.out}: {command.saved}")
