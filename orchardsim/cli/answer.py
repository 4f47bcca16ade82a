"""A question put from the terminal: worked out with a progress line, saved where a folder is given, then printed."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from orchardsim.cli.progress import progress, tell, warn
from orchardsim.cli.stop import NOT_KEPT, kept, unbroken

if TYPE_CHECKING:
    from orchardsim.commands import Command, Size
    from orchardsim.results.folder import OutputFolder

Found = TypeVar("Found")


def size_of(options: argparse.Namespace) -> Size:
    """Trials, years, seed and processes as asked for."""
    from orchardsim.commands import Size

    return Size(trials=options.trials, years=options.years, seed=options.seed, jobs=getattr(options, "jobs", 1))


def answered(options: argparse.Namespace, command: Command[Found], *, simulated: bool = True) -> int:
    """Answer a question: do the work under its progress line, save it when a folder is given, print what was found."""
    kind = command.kind
    with output_folder(options, command) as folder:
        if folder is not None and folder.complete:
            warn(f"{options.out} holds this {kind.name} whole")
            return 0
        with progress(command.heading, command.steps) as done:
            found = command.find(folder, done)
        if folder is not None:
            kind.write(folder, found)
    print_answer(
        options,
        screen=lambda: kind.screen(found),
        everything=lambda: kind.text(found),
        document=lambda: kind.document(found),
        simulated=simulated,
    )
    if options.out is not None and (options.out / kind.page).exists():
        tell(f"saved in {options.out}: {command.saved}")
    return 0


@contextlib.contextmanager
def output_folder(options: argparse.Namespace, command: Command[Any]) -> Iterator[OutputFolder | None]:
    """The folder of ``--out``, opened for a question before any work is done; None without one."""
    from orchardsim.results.folder import OutputFolder

    if options.out is None:
        with kept(lambda: NOT_KEPT):
            yield None
        return
    resume, kind = getattr(options, "resume", False), command.kind.name
    folder = OutputFolder(
        options.out, kind, names=command.files, force=options.force, resume=resume, say=warn, **command.kept
    )

    def words() -> str:
        if folder.finished:
            return f"the {kind} is saved in {folder.place}"
        if not command.kept:
            return f"the {kind} is not finished: run it again"
        if folder.unfinished(""):
            return f"what was finished is kept; go on with --resume --out {folder.place}"
        return "nothing was finished yet"

    with contextlib.ExitStack() as opened:
        open_for(opened, folder, words)
        yield folder


def open_for(stack: contextlib.ExitStack, folder: OutputFolder, words: Callable[[], str]) -> None:
    """Open a folder until the stack closes; a stopped command then says these words of it."""
    with unbroken():
        stack.enter_context(kept(words, folder.close))
        stack.enter_context(folder)


def print_answer(
    options: argparse.Namespace,
    *,
    screen: Callable[[], str],
    everything: Callable[[], str],
    document: Callable[[], Mapping[str, Any]],
    simulated: bool = True,
) -> None:
    """Print what the options ask for: ``--json`` all numbers, ``--all`` everything, else one screen.

    ``simulated``: the answer is an estimate, which asks for the caution.
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
