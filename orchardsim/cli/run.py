"""``orchardsim run``: the main job."""

from __future__ import annotations

import argparse
import contextlib
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

from orchardsim.cli.answer import open_for, print_closing
from orchardsim.cli.arguments import add_answer_arguments, add_jobs, add_out, add_size
from orchardsim.cli.progress import progress, tell, warn
from orchardsim.cli.stop import NOT_KEPT, kept, unbroken

if TYPE_CHECKING:
    import xarray

    from orchardsim.plan import Plan
    from orchardsim.results.folder import OutputFolder
    from orchardsim.simulation.partial import PartialRun
    from orchardsim.simulation.run import RunJob

PARTS: Final = (("trials", ""), ("second", " of the second opinion"))
"""Prefix of the kept files, and words, of a run and its second opinion."""


def trial_numbers(text: str) -> tuple[int, ...]:
    """Argument type: trial numbers with commas between."""
    if text == "none":
        return ()
    parts = [part.strip() for part in text.split(",")]
    if not all(part.isdigit() for part in parts):
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected numbers of futures with commas between, such as 0,1,2"
        )
    return tuple(sorted({int(part) for part in parts}))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    add_size(parser, "simulated futures", 200, 2)
    add_jobs(parser)
    parser.add_argument("--weather", type=Path, metavar="FILE", help="station record to use instead of the plan's")
    parser.add_argument(
        "--seasons",
        choices=("record", "sampled"),
        default="sampled",
        help="'record' replays the record's own years in order; 'sampled' (default) draws futures from them",
    )
    parser.add_argument(
        "--futures",
        choices=("uncertain", "known"),
        default="uncertain",
        help="'known' takes every open level of [futures] at its middle; 'uncertain' (default) draws them",
    )
    parser.add_argument(
        "--single-trees",
        type=trial_numbers,
        default=(0,),
        metavar="TRIALS",
        help="futures whose single trees results.nc keeps, such as 0,1,2 (trunk, crop, fruit, clusters by year); the "
        "first is drawn as a map; none: of none (default 0)",
    )
    add_out(parser, "results.nc, summary.json, report.html, figures/", "write into a folder that holds another run")
    parser.add_argument("--resume", action="store_true", help="go on with an interrupted run in the folder of --out")
    parser.add_argument(
        "--second-opinion",
        action="store_true",
        help="run the plan again under the other weather method and set the headline bands side by side",
    )
    add_answer_arguments(parser, "print the long tables too, by leaf and year and of risk")


def execute(options: argparse.Namespace) -> int:
    """Simulate the plan, save the run when a folder is given, and print the headline table."""
    import orchardsim
    from orchardsim.core.errors import InputError
    from orchardsim.core.pool import worker_pool
    from orchardsim.report.run.page import report_files, write_report
    from orchardsim.results.folder import OutputFolder
    from orchardsim.results.store import RESULTS_FILE, RUN, SUMMARY_FILE, dump_summary, open_results
    from orchardsim.results.summary import summary_document
    from orchardsim.simulation.partial import run_differs

    if options.resume and options.out is None:
        raise InputError("--resume", "needs --out with the folder of the interrupted run")
    plan = orchardsim.load_plan(options.plan)
    if options.weather is not None:
        plan = plan.with_record(options.weather)
    if options.futures == "known":
        plan = plan.with_known_futures()
    jobs = [_job(plan, options)]
    if options.second_opinion:
        jobs.append(_job(_other_plan(plan, options), options))
    with contextlib.ExitStack() as stack:
        stack.enter_context(worker_pool(options.jobs))  # the same processes simulate and draw
        place = options.out
        if place is None:
            with unbroken():
                place = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="orchardsim-")))
                stack.enter_context(kept(lambda: NOT_KEPT, lambda: shutil.rmtree(place)))
        folder = OutputFolder(
            place,
            RUN,
            names=[RESULTS_FILE, SUMMARY_FILE, *report_files()],
            force=options.force,
            resume=options.resume,
            identity=jobs[0].identity | {"second_opinion": options.second_opinion},
            differs=run_differs,
            say=lambda line: warn(f"{place}: {line}"),
        )
        open_for(stack, folder, lambda: NOT_KEPT if options.out is None else _unfinished(folder))
        if folder.complete:
            warn(f"{place}: this run is finished; nothing is left to do")
        elif not folder.holds(RESULTS_FILE):
            _simulate(jobs, folder, options)
        with open_results(folder.place) as dataset:
            text = _text(dataset, options)
            if not folder.complete:
                folder.write_text(SUMMARY_FILE, dump_summary(summary_document(dataset)))
                if options.out is not None:
                    write_report(folder)
                folder.finish()
        print(text)
        if options.out is not None:
            tell(f"saved in {options.out}: sheet.pdf, report.html, summary.json, results.nc, figures/")
        if not options.json:
            print_closing(options.out is not None, everything=options.all)
    return 0


def _unfinished(folder: OutputFolder) -> str:
    """What a stopped run leaves in its folder."""
    from orchardsim.results.store import RESULTS_FILE

    if folder.finished:
        return f"the run is saved in {folder.place}"
    if folder.holds(RESULTS_FILE):
        return f"the results are saved in {folder.place}; --resume finishes page and pictures"
    if folder.unfinished(PARTS[0][0]):
        return f"finished futures are kept in {folder.place}; go on with --resume"
    return "no futures were finished yet"


def _text(dataset: xarray.Dataset, options: argparse.Namespace) -> str:
    """What is printed of a run."""
    from orchardsim.report import first_screen, headline_table
    from orchardsim.report.run.second_opinion import second_opinion_lines
    from orchardsim.report.run_formats import RunFormats
    from orchardsim.results import attribute, dump_summary, summary_document

    if options.json:
        return dump_summary(summary_document(dataset)).rstrip("\n")
    lines = [first_screen(dataset, whole=options.all), *(["", headline_table(dataset)] if options.all else [])]
    if options.second_opinion:
        lines += ["", *second_opinion_lines(attribute(dataset, "second_opinion"), RunFormats.of(dataset.attrs))]
    return "\n".join(lines)


def _job(plan: Plan, options: argparse.Namespace) -> RunJob:
    from orchardsim.simulation.run import RunJob

    return RunJob(plan, options.trials, options.years, options.seed, options.seasons, options.single_trees)


def _other_plan(plan: Plan, options: argparse.Namespace) -> Plan:
    """The plan of the second opinion; refused where there is none."""
    from orchardsim.core.errors import InputError
    from orchardsim.simulation.run import other_weather_method

    if options.seasons == "record":
        raise InputError(
            "--second-opinion", "compares two ways of drawing futures; found --seasons record, allowed: sampled"
        )
    return other_weather_method(plan)


def _simulate(jobs: list[RunJob], folder: OutputFolder, options: argparse.Namespace) -> None:
    """Run what is not kept yet, with progress bars, and write the results whole."""
    import json

    from orchardsim.report.run.second_opinion import second_opinion_document
    from orchardsim.results.folder import WORKROOM
    from orchardsim.results.store import CHUNK_TRIALS, RESULTS_FILE, add_attributes, open_results, write_netcdf
    from orchardsim.simulation.partial import PartialRun

    runs = []
    for job, (prefix, part) in zip(jobs, PARTS, strict=False):
        run = PartialRun(folder, job.trials, prefix)
        heading = f"{job.plan.title}{part and ', second opinion'}: {job.trials} futures of {job.years} years"
        with _kept_trials(run, part, options), progress(heading, job.trials) as done:
            job.run_kept(run, options.jobs, done)
        runs.append(run)
    with _kept_trials(runs[-1], PARTS[len(runs) - 1][1], options):
        if len(jobs) == 1:
            folder.write(RESULTS_FILE, lambda path: write_netcdf(path, jobs[0].pieces(runs[0], CHUNK_TRIALS)))
            return
        other = folder.write(
            f"{WORKROOM}/second_opinion.nc", lambda path: write_netcdf(path, jobs[1].pieces(runs[1], CHUNK_TRIALS))
        )

        def write(path: Path) -> None:
            write_netcdf(path, jobs[0].pieces(runs[0], CHUNK_TRIALS))
            with open_results(path) as dataset, open_results(other) as second:
                document = second_opinion_document(dataset, second)
            add_attributes(path, {"second_opinion": json.dumps(document)})

        folder.write(RESULTS_FILE, write)


def _kept_trials(run: PartialRun, part: str, options: argparse.Namespace) -> contextlib.AbstractContextManager[None]:
    """What is said of the trials when the run is stopped."""
    if options.out is None:
        return contextlib.nullcontext()

    def words() -> str:
        if not run.kept and not part:
            return "no futures were finished yet"
        return f"{run.kept:,} of {run.trials:,} futures{part} kept in {options.out}; go on with --resume"

    return kept(words, run.folder.close)
