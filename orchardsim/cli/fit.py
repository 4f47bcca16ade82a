"""``orchardsim fit``: what measured trees say of the plan's open levels."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.closing import print_closing
from orchardsim.cli.folders import folder_name, output_folder
from orchardsim.cli.progress import tell
from orchardsim.cli.run import whole_number


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
    parser.add_argument("--force", action="store_true", help="replace what another fit left in the folder")
    parser.add_argument("--json", action="store_true", help="print the findings as JSON instead of the tables")
    parser.add_argument("--all", action="store_true", help="print every level, also those that nothing was learned of")


def execute(options: argparse.Namespace) -> int:
    """Learn, print, and save when a folder is given."""
    from orchardsim.analysis.fit import fit
    from orchardsim.core.files import read_bytes
    from orchardsim.plan import load_plan
    from orchardsim.plan.learned import read_learned
    from orchardsim.plan.reading import EXPECTED, LARGEST_FILE, read_toml
    from orchardsim.report.fit.page import write_fit
    from orchardsim.report.fit.words import fit_table
    from orchardsim.results import dump_summary
    from orchardsim.results.fit import FIT_FILE, FIT_PAGE, KIND, LEARNED_FILE, fit_document

    plan = load_plan(options.plan)
    learned = read_toml(options.plan).get("futures", {}).get("learned")
    before = read_learned(options.plan.parent / learned, plan.where) if learned is not None else None
    with output_folder(options, KIND, [FIT_FILE, FIT_PAGE, LEARNED_FILE, options.plan.name]) as folder:
        found = fit(
            plan, options.measurements, seed=options.seed, before=before, say=tell,
        )  # fmt: skip
        if folder is not None:
            text = read_bytes(options.plan, EXPECTED, LARGEST_FILE).decode("utf-8-sig")
            record = _record(options.plan, options.out)
            written = {options.plan.name: found.plan_text(text, record=record), LEARNED_FILE: found.learned.text()}
            write_fit(folder, found.findings, written)
    print(
        dump_summary(fit_document(found.findings))
        if options.json
        else fit_table(found.findings, everything=options.all)
    )
    if not options.json:
        print()
        print_closing(options.out is not None)
    if options.out is not None:
        tell(
            f"saved in {options.out}: {options.plan.name} (carries what was learned in {LEARNED_FILE}; run, compare, "
            f"spares and study read it), {FIT_PAGE}, {FIT_FILE}"
        )
    return 0


def _record(plan: Path, out: Path) -> str | None:
    """Path of the plan's own weather record as seen from the folder; None for a bundled one, or none."""
    import os

    from orchardsim.plan.reading import read_toml
    from orchardsim.weather.bundled import RECORDS

    record = read_toml(plan).get("weather", {}).get("record")
    if record is None or record in RECORDS:
        return None
    return Path(os.path.relpath(plan.parent / record, out)).as_posix()
