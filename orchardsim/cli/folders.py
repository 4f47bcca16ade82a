"""Where a command saves: the arguments that name the folder, and the folder opened for writing."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from orchardsim.cli.progress import warn
from orchardsim.cli.stop import NOT_KEPT, kept, unbroken

if TYPE_CHECKING:
    from orchardsim.commands import Command
    from orchardsim.results.folder import OutputFolder


def folder_name(text: str) -> Path:
    """Argument type: the name of a folder."""
    if not text.strip():
        raise argparse.ArgumentTypeError("found an empty name, expected the name of a folder ('.' for this one)")
    return Path(text)


def add_out(parser: argparse.ArgumentParser, holds: str, force: str) -> None:
    """Declare ``--out`` and ``--force``; what the folder will hold, and what the second does."""
    parser.add_argument("--out", type=folder_name, metavar="DIR", help=f"folder for {holds}")
    parser.add_argument("--force", action="store_true", help=force)


@contextlib.contextmanager
def output_folder(options: argparse.Namespace, command: Command[Any]) -> Iterator[OutputFolder | None]:
    """The folder of ``--out``, opened for a question before any work is done; None without one."""
    from orchardsim.results.folder import OutputFolder

    if options.out is None:
        with kept(lambda: NOT_KEPT):
            yield None
        return
    resume = getattr(options, "resume", False)
    folder = OutputFolder(
        options.out, command.kind, names=command.files, force=options.force, resume=resume, say=warn, **command.kept
    )

    def words() -> str:
        if folder.finished:
            return f"the {command.kind} is saved in {folder.place}"
        if not command.kept:
            return f"the {command.kind} is not finished: run it again"
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
