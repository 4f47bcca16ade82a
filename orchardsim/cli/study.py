"""``orchardsim study``: a declared experiment over keys of a plan."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from orchardsim.cli.answer import add_answer_arguments, print_answer
from orchardsim.cli.folders import folder_name, open_for
from orchardsim.cli.progress import progress, tell, warn
from orchardsim.cli.run import whole_number
from orchardsim.cli.stop import NOT_KEPT, kept

if TYPE_CHECKING:
    from orchardsim.results.folder import OutputFolder


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("file", type=Path, metavar="FILE", help="study file (TOML): base plan, factors, trials")
    parser.add_argument(
        "--jobs", type=whole_number(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
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

    from orchardsim.analysis.study import run_study, study_differs, study_identity, study_size
    from orchardsim.analysis.study_answers import study_findings
    from orchardsim.core.errors import InputError
    from orchardsim.plan.study import load_study
    from orchardsim.report.study.page import write_study
    from orchardsim.report.study.words import study_screen, study_table
    from orchardsim.results.folder import OutputFolder
    from orchardsim.results.study import KIND, STUDY_FILE, STUDY_PAGE
    from orchardsim.results.study_tables import study_document

    if options.resume and options.out is None:
        raise InputError("--resume", "needs the folder of the interrupted study; add --out DIR")
    study = load_study(options.file)
    folder: OutputFolder | None = None
    with contextlib.ExitStack() as opened:
        if options.out is not None:
            folder = OutputFolder(
                options.out,
                KIND,
                names=[STUDY_FILE, STUDY_PAGE],
                force=options.force,
                resume=options.resume,
                identity=study_identity(study),
                differs=study_differs,
                say=warn,
            )
            open_for(opened, folder, lambda: _unfinished(folder))
            if folder.complete:
                warn(f"{options.out} holds this study whole")
                return 0
        else:
            opened.enter_context(kept(lambda: NOT_KEPT))
        with progress(f"{study!r}".strip("<>"), study_size(study)) as done:
            results = run_study(study, jobs=options.jobs, out=folder, dask=options.dask, progress=done)
        found = study_findings(results)
        if folder is not None:
            write_study(folder, found, results.dataset())
    print_answer(
        options,
        screen=lambda: study_screen(found),
        everything=lambda: study_table(found),
        document=lambda: study_document(found),
    )
    if options.out is not None:
        tell(f"saved in {options.out}: study.html, trials.nc, methods.txt, tables (.csv) and figures")
    return 0


def _unfinished(folder: OutputFolder) -> str:
    """What a stopped study leaves in its folder."""
    if folder.finished:
        return f"the study is saved in {folder.place}"
    if folder.unfinished(""):
        return f"what was finished is kept; go on with --resume --out {folder.place}"
    return "nothing was finished yet"
