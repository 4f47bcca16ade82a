"""``orchardsim study``: a declared experiment over keys of a plan."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from orchardsim.cli.answer import add_answer_arguments
from orchardsim.cli.asked import say_answer, work_out
from orchardsim.cli.folders import folder_name, open_for
from orchardsim.cli.progress import warn
from orchardsim.cli.size import add_jobs
from orchardsim.cli.stop import NOT_KEPT, kept

if TYPE_CHECKING:
    from orchardsim.results.folder import OutputFolder


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("file", type=Path, metavar="FILE", help="study file (TOML): base plan, factors, futures")
    add_jobs(parser)
    parser.add_argument("--dask", metavar="ADDRESS", help="Dask scheduler whose workers do the work, tcp://host:port")
    parser.add_argument(
        "--out", type=folder_name, metavar="DIR", help="folder for trials, tables, pictures, methods and page"
    )
    parser.add_argument("--force", action="store_true", help="write into a folder that holds another study")
    parser.add_argument("--resume", action="store_true", help="go on with an interrupted study in the folder of --out")
    add_answer_arguments(parser, "print every cell and contrast, and the methods paragraph")


def execute(options: argparse.Namespace) -> int:
    """Run the study, print its tables, and save it when a folder is given."""
    import contextlib

    from orchardsim.commands import declared_study
    from orchardsim.core.errors import InputError
    from orchardsim.plan.study import load_study
    from orchardsim.results.folder import OutputFolder

    if options.resume and options.out is None:
        raise InputError("--resume", "needs the folder of the interrupted study; add --out DIR")
    command = declared_study(load_study(options.file), options.jobs, options.dask)
    folder: OutputFolder | None = None
    with contextlib.ExitStack() as opened:
        if options.out is not None:
            folder = OutputFolder(
                options.out,
                command.kind,
                names=command.files,
                force=options.force,
                resume=options.resume,
                say=warn,
                **command.kept,
            )
            open_for(opened, folder, lambda: _unfinished(folder))
            if folder.complete:
                warn(f"{options.out} holds this study whole")
                return 0
        else:
            opened.enter_context(kept(lambda: NOT_KEPT))
        found = work_out(command, folder)
    say_answer(options, command, found)
    return 0


def _unfinished(folder: OutputFolder) -> str:
    """What a stopped study leaves in its folder."""
    if folder.finished:
        return f"the study is saved in {folder.place}"
    if folder.unfinished(""):
        return f"what was finished is kept; go on with --resume --out {folder.place}"
    return "nothing was finished yet"
