"""A question put from the terminal: worked out with a progress line, saved where a folder is given, then printed."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, TypeVar

from orchardsim.cli.answer import print_answer
from orchardsim.cli.folders import output_folder
from orchardsim.cli.progress import progress, tell, warn

if TYPE_CHECKING:
    from orchardsim.commands import Command, Size

Found = TypeVar("Found")


def size_of(options: argparse.Namespace) -> Size:
    """Trials, years, seed and processes as asked for."""
    from orchardsim.commands import Size

    return Size(trials=options.trials, years=options.years, seed=options.seed, jobs=getattr(options, "jobs", 1))


def answered(options: argparse.Namespace, command: Command[Found], *, simulated: bool = True) -> int:
    """Answer a question: do the work under its progress line, save it when a folder is given, print what was found."""
    with output_folder(options, command) as folder:
        if folder is not None and folder.complete:
            warn(f"{options.out} holds this {command.kind} whole")
            return 0
        with progress(command.heading, command.steps) as done:
            found = command.find(folder, done)
        if folder is not None:
            command.write(folder, found)
    print_answer(
        options,
        screen=lambda: command.screen(found),
        everything=lambda: command.text(found),
        document=lambda: command.document(found),
        simulated=simulated,
    )
    if options.out is not None and (options.out / command.page).exists():
        tell(f"saved in {options.out}: {command.saved}")
    return 0
