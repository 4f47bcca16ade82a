"""Where a command saves: the arguments that name the folder, and the folder opened for writing."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from orchardsim.cli.progress import warn
from orchardsim.cli.stop import NOT_KEPT, kept, unbroken

if TYPE_CHECKING:
    from orchardsim.results.folder import OutputFolder


def folder_name(text: str) -> Path:
    """Argument type: the name of a folder."""
    if not text.strip():
        raise argparse.ArgumentTypeError("found an empty name, expected the name of a folder ('.' for this one)")
    return Path(text)


@contextlib.contextmanager
def output_folder(options: argparse.Namespace, kind: str, names: Sequence[str]) -> Iterator[OutputFolder | None]:
    """The folder of ``--out``, opened before any work is done; None without one.

    Parameters
    ----------
    kind : str
        What is written, in the words of a message.
    names : sequence of str
        Files that will be written.
    """
    from orchardsim.results.folder import OutputFolder

    if options.out is None:
        with kept(lambda: NOT_KEPT):
            yield None
        return
    folder = OutputFolder(options.out, kind, names=names, force=options.force, say=warn)

    def words() -> str:
        return f"the {kind} is " + (f"saved in {folder.place}" if folder.finished else "not finished: run it again")

    with contextlib.ExitStack() as opened:
        open_for(opened, folder, words)
        yield folder


def open_for(stack: contextlib.ExitStack, folder: OutputFolder, words: Callable[[], str]) -> None:
    """Open a folder until the stack closes; a stopped command then says these words of it."""
    with unbroken():
        stack.enter_context(kept(words, folder.close))
        stack.enter_context(folder)
