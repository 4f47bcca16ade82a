"""``orchardsim levels``: one open level at a time, prices against yields, and the chances of losing."""

from __future__ import annotations

import argparse
from pathlib import Path

from orchardsim.cli.answer import add_answer_arguments, print_answer
from orchardsim.cli.folders import folder_name, output_folder
from orchardsim.cli.progress import progress, tell
from orchardsim.cli.run import whole_number


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="plan file (TOML)")
    parser.add_argument(
        "--trials", type=whole_number(4, 100_000), default=40, help="simulated futures of each look (default 40)"
    )
    parser.add_argument("--years", type=whole_number(2, 80), default=20, help="years counted from year 0 (default 20)")
    parser.add_argument(
        "--seed", type=whole_number(0, 2**63 - 1), default=1, help="seed of all random draws (default 1)"
    )
    parser.add_argument(
        "--out", type=folder_name, metavar="DIR", help="folder for levels.json, levels.html and figures/"
    )
    parser.add_argument("--force", action="store_true", help="write into a folder that holds another look")
    add_answer_arguments(parser)


def execute(options: argparse.Namespace) -> int:
    """Look at every open level, print the tables, and save them when a folder is given."""
    from orchardsim.analysis.levels import levels_size, look_at_levels
    from orchardsim.plan import load_plan
    from orchardsim.report.levels.page import levels_files, write_levels
    from orchardsim.report.levels.words import levels_screen, levels_text
    from orchardsim.results.levels import KIND, levels_document

    plan = load_plan(options.plan)
    heading = f"{plan.title}: open levels, {options.trials} trials of {options.years} years"
    with output_folder(options, KIND, levels_files()) as folder:
        with progress(heading, options.trials * levels_size(plan)) as done:
            found = look_at_levels(plan, trials=options.trials, years=options.years, seed=options.seed, progress=done)
        if folder is not None:
            write_levels(folder, found)
    print_answer(
        options,
        screen=lambda: levels_screen(found),
        everything=lambda: levels_text(found),
        document=lambda: levels_document(found),
    )
    if options.out is not None:
        tell(f"saved in {options.out}: levels.html, levels.json, figures/")
    return 0
