"""``orchardsim spares``: how many replacement trees to hold and order, and when."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from orchardsim.cli.answer import add_answer_arguments, print_answer
from orchardsim.cli.folders import folder_name, output_folder
from orchardsim.cli.progress import progress, tell
from orchardsim.cli.run import whole_number


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument(
        "--trials",
        type=whole_number(8, 1_000_000),
        default=200,
        help="simulated futures; half choose the policy, half report on it (default 200)",
    )
    parser.add_argument("--years", type=whole_number(3, 80), default=20, help="years counted from year 0 (default 20)")
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of all random draws (default 1)"
    )
    parser.add_argument(
        "--jobs", type=whole_number(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument(
        "--out", type=folder_name, metavar="DIR", help="folder for spares.json, spares.html and figures/"
    )
    parser.add_argument("--force", action="store_true", help="write into a folder that holds another search")
    add_answer_arguments(parser, "print the long tables too, and lines for the plan")


def execute(options: argparse.Namespace) -> int:
    """Search, print the answer, and save it when a folder is given."""
    from orchardsim.analysis.spares import check_spares, spares
    from orchardsim.plan import load_plan
    from orchardsim.report.spares.page import spares_files, write_spares
    from orchardsim.report.spares.table import spares_screen, spares_text
    from orchardsim.results.spares import KIND, spares_document

    plan = load_plan(options.plan)
    check_spares(plan, options.trials, options.years)
    half = options.trials // 2
    heading = (
        f"{plan.title}: policies chosen on {half} trials of {options.years} years, told from {options.trials - half}; "
        "takes about eight times as long as a run of as many trials"
    )
    with output_folder(options, KIND, spares_files()) as folder:
        with progress(heading, 100) as done:
            found = spares(
                plan,
                trials=options.trials,
                years=options.years,
                seed=options.seed,
                jobs=options.jobs,
                progress=done,
            )
        if folder is not None:
            write_spares(folder, found)
    print_answer(
        options,
        screen=lambda: spares_screen(found),
        everything=lambda: spares_text(found),
        document=lambda: spares_document(found),
    )
    if options.out is not None:
        tell(f"saved in {options.out}: spares.html, spares.json, figures/")
    return 0
