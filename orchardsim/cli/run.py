"""``orchardsim run``: the main job."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import xarray

    from orchardsim.plan import Plan

PARTIAL: Final = "partial"
PARTIAL_SECOND: Final = "partial_second_opinion"
"""Folders, within that of the run, of the units finished so far."""


def whole_number(low: int, high: int):  # type: ignore[no-untyped-def]
    """Argument type: a whole number within bounds."""

    def read(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f"found {text!r}, expected a whole number") from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"found {value}, allowed {low} to {high}")
        return value

    return read


def trial_numbers(text: str) -> tuple[int, ...]:
    """Argument type: trial numbers with commas between."""
    parts = [part.strip() for part in text.split(",")]
    if not all(part.isdigit() for part in parts):
        raise argparse.ArgumentTypeError(f"found {text!r}, expected trial numbers with commas between, such as 0,1,2")
    return tuple(sorted({int(part) for part in parts}))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument(
        "--trials", type=whole_number(2, 1_000_000), default=200, help="simulated futures (default 200)"
    )
    parser.add_argument("--years", type=whole_number(2, 80), default=20, help="years counted from year 0 (default 20)")
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of all random draws (default 1)"
    )
    parser.add_argument(
        "--jobs", type=whole_number(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument("--weather", type=Path, metavar="FILE", help="station record to use instead of the plan's")
    parser.add_argument(
        "--seasons",
        choices=("record", "sampled"),
        default="sampled",
        help="'record' replays the record's own years in order; 'sampled' (default) draws futures from them",
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="folder for results.nc, summary.json, report.html, figures/"
    )
    parser.add_argument(
        "--single-trees",
        type=trial_numbers,
        default=(),
        metavar="TRIALS",
        help="trials whose single trees results.nc keeps as well, such as 0,1,2 (trunk, crop, fruit, clusters by year)",
    )
    parser.add_argument("--force", action="store_true", help="write into a folder that holds another run")
    parser.add_argument("--resume", action="store_true", help="go on with an interrupted run in the folder of --out")
    parser.add_argument(
        "--second-opinion",
        action="store_true",
        help="run the plan again under the other weather method and set the headline bands side by side",
    )
    parser.add_argument("--json", action="store_true", help="print the summary as JSON instead of the table")


def execute(options: argparse.Namespace) -> int:
    """Simulate the plan, print the headline table, and save the run when a folder is given."""
    import orchardsim
    from orchardsim.core.errors import InputError
    from orchardsim.results import dump_summary, prepare_run_folder, summary_document, write_run
    from orchardsim.simulation.run import check_run

    if options.resume and options.out is None:
        raise InputError("--resume", "needs --out with the folder of the interrupted run")
    plan = orchardsim.load_plan(options.plan)
    if options.weather is not None:
        plan = plan.with_record(options.weather)
    other = _other_plan(plan, options) if options.second_opinion else None
    if options.out is not None:
        prepare_run_folder(options.out, force=options.force, resume=options.resume)
    check_run(plan, options.trials, options.years, options.single_trees)
    dataset = _simulate(plan, options, PARTIAL, resume=options.resume)
    if other is not None:
        import json

        from orchardsim.report.second_opinion import second_opinion_document

        # An interrupted run may not have come as far as its second part.
        begun = options.out is not None and (options.out / PARTIAL_SECOND / "run.json").is_file()
        second = _simulate(other, options, PARTIAL_SECOND, resume=options.resume and begun)
        dataset.attrs["second_opinion"] = json.dumps(second_opinion_document(dataset, second))
    summary = summary_document(dataset)
    if options.json:
        print(dump_summary(summary), end="")
    else:
        from orchardsim.report import headline_table, plain_sentences

        print(headline_table(dataset))
        print()
        for sentence in plain_sentences(dataset):
            print(sentence)
        if other is not None:
            from orchardsim.report.second_opinion import second_opinion_lines
            from orchardsim.report.show import Show

            print()
            for line in second_opinion_lines(summary["second_opinion"], Show.of(dataset)):
                print(line)
    if options.out is None:
        if not options.json:
            print("\nNothing was saved; add --out DIR for the report, the pictures and all numbers.")
        return 0
    from orchardsim.report import write_report

    write_run(options.out, dataset, summary, force=options.force or options.resume)
    write_report(options.out)
    for name in (PARTIAL, PARTIAL_SECOND):
        shutil.rmtree(options.out / name, ignore_errors=True)
    print(f"saved in {options.out}: report.html, summary.json, results.nc, figures/", file=sys.stderr)
    return 0


def _other_plan(plan: Plan, options: argparse.Namespace) -> Plan:
    """The plan of the second opinion; refused where there is none."""
    from orchardsim.core.errors import InputError
    from orchardsim.simulation.run import other_weather_method

    if options.seasons == "record":
        raise InputError(
            "--second-opinion", "compares two ways of drawing futures; found --seasons record, allowed: sampled"
        )
    return other_weather_method(plan)


def _simulate(plan: Plan, options: argparse.Namespace, folder: str, *, resume: bool) -> xarray.Dataset:
    """One run with its progress bar; its finished units are kept until all is saved."""
    from tqdm import tqdm

    import orchardsim

    part = ", second opinion" if folder == PARTIAL_SECOND else ""
    print(f"{plan.title}{part}: {options.trials} trials of {options.years} years", file=sys.stderr)
    with tqdm(total=options.trials, unit=" trials", file=sys.stderr, leave=False, mininterval=0.2) as bar:
        return orchardsim.simulate(
            plan,
            trials=options.trials,
            years=options.years,
            seed=options.seed,
            jobs=options.jobs,
            seasons=options.seasons,
            single_trees=options.single_trees,
            progress=bar.update,
            partial=options.out / folder if options.out is not None else None,
            resume=resume,
            keep_partial=True,
        )
