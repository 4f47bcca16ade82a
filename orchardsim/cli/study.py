"""``orchardsim study``: a declared experiment over keys of a plan."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import answered
from orchardsim.cli.arguments import add_answer_arguments, add_jobs, add_out


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("file", type=Path, metavar="FILE", help="study file (TOML): base plan, factors, futures")
    add_jobs(parser)
    parser.add_argument("--dask", metavar="ADDRESS", help="Dask scheduler whose workers do the work, tcp://host:port")
    add_out(parser, "trials, tables, pictures, methods and page", "write into a folder that holds another study")
    parser.add_argument("--resume", action="store_true", help="go on with an interrupted study in the folder of --out")
    add_answer_arguments(parser, "print every cell and contrast, and the methods paragraph")


def execute(options: argparse.Namespace) -> int:
    """Run the study, print its tables, and save it when a folder is given."""
    from orchardsim.commands import declared_study
    from orchardsim.core.errors import InputError
    from orchardsim.plan.study import load_study

    if options.resume and options.out is None:
        raise InputError("--resume", "needs the folder of the interrupted study; add --out DIR")
    return answered(options, declared_study(load_study(options.file), options.jobs, options.dask))
