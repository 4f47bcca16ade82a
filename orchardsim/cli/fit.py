"""``orchardsim fit``: what measured trees say of the plan's open levels."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from orchardsim.cli.answer import add_answer_arguments, print_answer
from orchardsim.cli.folders import folder_name, output_folder
from orchardsim.cli.progress import progress, tell
from orchardsim.cli.run import whole_number

if TYPE_CHECKING:
    from orchardsim.analysis.fit import Fit
    from orchardsim.results.next import NextAnswer, WaitAnswer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="planting plan (TOML) that states calendar_year")
    parser.add_argument(
        "measurements", type=Path, metavar="MEASUREMENTS.csv", help="what was measured; one row a reading"
    )
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of the simulated rows (default 1)"
    )
    parser.add_argument(
        "--out", type=folder_name, metavar="DIR", help="folder for the updated plan, what was learned, and the page"
    )
    parser.add_argument(
        "--next",
        action="store_true",
        help="also say what to measure next, and write a field sheet (runs the plan's options)",
    )
    parser.add_argument(
        "--wait", action="store_true", help="also weigh planting all now against waiting and measuring the first row"
    )
    parser.add_argument(
        "--between",
        metavar="KEY=VALUES",
        help="options to choose between: a key of the plan and a list of values (default: three tree spacings)",
    )
    parser.add_argument(
        "--trials", type=whole_number(50, 100_000), default=200, help="trials of an option (default 200)"
    )
    parser.add_argument("--years", type=whole_number(5, 80), default=20, help="years of an option's run (default 20)")
    parser.add_argument(
        "--jobs", type=whole_number(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument("--force", action="store_true", help="replace what another fit left in the folder")
    add_answer_arguments(parser, "print every level and measurement too, and the tables of --next and --wait")


def execute(options: argparse.Namespace) -> int:
    """Learn, print, and save when a folder is given."""
    from orchardsim.analysis.fit import fit
    from orchardsim.core.files import read_bytes
    from orchardsim.plan import load_plan
    from orchardsim.plan.learned import read_learned
    from orchardsim.plan.raw import subtable
    from orchardsim.plan.reading import EXPECTED, LARGEST_FILE, read_toml
    from orchardsim.report.fit.page import write_fit
    from orchardsim.report.fit.words import fit_screen, fit_text
    from orchardsim.results.fit import FIT_FILE, FIT_PAGE, KIND, LEARNED_FILE, fit_document

    plan = load_plan(options.plan)
    learned = subtable(read_toml(options.plan), "futures").get("learned")
    before = read_learned(options.plan.parent / learned, plan.where) if isinstance(learned, str) else None
    with output_folder(options, KIND, [FIT_FILE, FIT_PAGE, LEARNED_FILE, options.plan.name]) as folder:
        found = fit(
            plan, options.measurements, seed=options.seed, before=before, say=tell,
        )  # fmt: skip
        following, waiting = _decisions(options, found)
        if folder is not None:
            text = read_bytes(options.plan, EXPECTED, LARGEST_FILE).decode("utf-8-sig")
            record = _record(options.plan, options.out)
            written = {options.plan.name: found.plan_text(text, record=record), LEARNED_FILE: found.learned.text()}
            write_fit(folder, found.findings, written, following, waiting)
    print_answer(
        options,
        screen=lambda: fit_screen(found.findings, following, waiting),
        everything=lambda: fit_text(found.findings, following, waiting),
        document=lambda: fit_document(found.findings, following, waiting),
    )
    if options.out is not None:
        tell(
            f"saved in {options.out}: {options.plan.name} (carries what was learned in {LEARNED_FILE}; run, compare, "
            f"spares and study read it), {FIT_PAGE}, {FIT_FILE}"
        )
    return 0


def _decisions(options: argparse.Namespace, found: Fit) -> tuple[NextAnswer | None, WaitAnswer | None]:
    """What to measure next and what waiting is worth, as far as they are asked for."""
    from orchardsim.analysis.decision import (
        NOT_PLANTED,
        money_of,
        option_tables,
        options_of,
    )
    from orchardsim.analysis.next_measurements import next_measurements
    from orchardsim.analysis.waiting import WAITS, worth_of_waiting
    from orchardsim.plan.coming import without_coming, young_blocks

    if not (options.next or options.wait):
        return None, None
    plan, learned = found.prior, found.plan.futures.learned
    choices = options_of(plan, options.between)
    young_blocks(plan)
    runs = (len(choices) + 1 if options.next else 0) + ((len(WAITS) + 1) * len(choices) + 1 if options.wait else 0)
    how = {"trials": options.trials, "years": options.years, "seed": options.seed, "jobs": options.jobs}
    following = waiting = None
    raw = found.tables()
    with progress("simulating the options", runs * options.trials) as done:
        if options.next:
            tables = [(one.name, option_tables(raw, one, plan.where)) for one in choices]
            tables.append((NOT_PLANTED, without_coming(plan, raw)))
            money = money_of(plan, tables, progress=done, **how)
            following = next_measurements(plan, learned, money, found.next_season, seed=options.seed)
        if options.wait:
            waiting = worth_of_waiting(plan, raw, learned, choices, found.next_season, progress=done, **how)
    return following, waiting


def _record(plan: Path, out: Path) -> str | None:
    """Path of the plan's own weather record as seen from the folder; None for a bundled one, or none."""
    from orchardsim.plan.raw import subtable
    from orchardsim.plan.reading import read_toml
    from orchardsim.weather.bundled import RECORDS

    record = subtable(read_toml(plan), "weather").get("record")
    if not isinstance(record, str) or record in RECORDS:
        return None
    return Path(os.path.relpath(plan.parent / record, out)).as_posix()
