"""The orchard as a working place: losses of two stocks in the same seasons, and one year's calendar of work.

``python experiments/working_place/run.py [--out DIR]`` prints two tables and the labour per bin (input check T20),
and writes them as ``working_place.txt``. The
losses are those of Gala on M.9 and on G.41, planted row beside row at a place with fire blight weather; the calendar
is that of one trial of the demo plan in its sixth leaf, looked after by few people so that blocks wait for them, taken
from the yard's event log, whose sums are checked.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

import orchardsim
from experiments.working_place.calendar_of_work import work_calendar
from orchardsim.core.calendar import date_text
from orchardsim.core.labels import CAUSES
from orchardsim.core.streams import Streams
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.trees.loss_clustering import dispersion

CONFIGS = Path(__file__).parents[2] / "configs"
FRUIT_TASKS = ("thinning", "picking")
CREWS = [
    {
        "name": "grower",
        "workers": 1,
        "hours_per_day": "3 hour",
        "days_per_week": "4 day",
        "tasks": ["planting", "support_building", "replanting", "training", "dormant_pruning", "summer_pruning"],
    },
    {"name": "helper", "workers": 1, "hours_per_day": "4 hour", "days_per_week": "4 day", "tasks": list(FRUIT_TASKS)},
]
"""An invented farm's few people: the grower beside another job, and one helper for fruit."""
LEAVES = ((1, 1), (2, 5), (6, 10), (11, 19))
TRIALS, YEARS, CALENDAR_YEAR = 100, 20, 6
GROWN_FROM = 7
"""First year of grown trees: year 7 is leaf 7 of the demo, planted in year 1."""
BIN = 925 * 0.45359237
"""kg: the bin of the published labour figure (925 lb)."""


def demo_table() -> dict[str, Any]:
    """The demo plan as a table."""
    return tomllib.loads((CONFIGS / "demo.toml").read_text(encoding="utf-8"))


def losses_of_two_stocks(trials: int) -> list[str]:
    """Trees lost by cause and leaf on a susceptible and a resistant stock, in the same rows and seasons."""
    table = demo_table()
    table["block"][0]["group"] = [
        {"name": stock, "rows": 6, "cultivar": "Gala", "rootstock": stock} for stock in ("M.9", "G.41")
    ]
    plan = orchardsim.load_plan(table, base=CONFIGS)
    results = orchardsim.simulate(plan, trials=trials, years=YEARS, seed=1, jobs=2)
    planted = float(results.trees_planted.isel(trial=0).sum("year").isel(block=0))
    lines = [f"Trees lost of {planted:.0f} planted, mean of {trials} trials (± standard error), Gala, same seasons"]
    lines.append(f"{'cause':20s}" + "".join(f"{f'leaf {a}-{b}' if a != b else f'leaf {a}':>15s}" for a, b in LEAVES))
    for label in plan.labels:
        lost = results.trees_lost.sel(block=label)
        lines.append(f"on {label.split('/')[1]}")
        for cause in (*CAUSES, "all"):
            own = lost.sum("cause") if cause == "all" else lost.sel(cause=cause)
            cells = []
            for first, last in LEAVES:
                sums = own.isel(year=slice(first, last + 1)).sum("year").values
                cells.append(f"{sums.mean():8.1f} ± {sums.std(ddof=1) / np.sqrt(trials):4.1f}")
            if float(own.sum()) > 0:
                lines.append(f"  {cause.replace('_', ' '):18s}" + "".join(f"{cell:>15s}" for cell in cells))
        yearly = dispersion(lost.sum("cause").values[:, 2:], planted)
        lines.append(f"  variance over mean of a year's losses: {yearly.variance_to_mean:.1f} (1 if trees died alone)")
    return lines


def hours_per_bin(trials: int) -> list[str]:
    """Labour per bin of the demo's grown trees, beside a published figure; reported, not scored."""
    results = orchardsim.simulate(orchardsim.load_plan(demo_table(), base=CONFIGS), trials=trials, years=YEARS, seed=1)
    block = [label for label in results.block.values if label != "shared"]
    grown = results.sel(block=block).isel(year=slice(GROWN_FROM, None))
    bins = grown.harvested_mass.sum(("year", "block")).values / BIN
    hours = grown.labour_hours.sum(("year", "block"))
    total = hours.sum("task").values / bins
    tasks = [(task, float((hours.sel(task=task).values / bins).mean())) for task in hours.task.values]
    return [
        f"Labour from leaf {GROWN_FROM} on, the demo with its own crews, mean of {trials} trials (± standard error)",
        f"hours per bin of 925 lb: {total.mean():.1f} ± {total.std(ddof=1) / np.sqrt(trials):.1f} ("
        + ", ".join(f"{task.replace('_', ' ')} {value:.2f}" for task, value in tasks if value >= 0.005)
        + ")",
        "published: 6.8 at 50 bins/acre (J. Haak in Good Fruit Grower, Washington, 2000s: press). What that figure",
        "takes in was not read; ours leaves out tractor work, such as mowing and spraying. Reported, not scored.",
    ]


def calendar_of_a_year() -> list[str]:
    """Who did what, where and when in one year of one trial of the demo, and what was left undone."""
    plan = orchardsim.load_plan(demo_table() | {"crews": CREWS}, base=CONFIGS)
    streams = Streams(1)
    library = build_library(plan, streams, range(1), YEARS, "sampled")
    totals = Totals(1, YEARS, plan.labels)
    tile = Tile(plan, library, streams, range(1), YEARS, totals, 0, trace=True)
    tile.run()
    log = tile.yards[0].log
    assert log is not None
    leaf = plan.blocks[0].leaf(CALENDAR_YEAR)
    season = int(library.sample.seasons.harvest_year[library.sample.season_rows[0, CALENDAR_YEAR]])
    lines = [f"Calendar of year {CALENDAR_YEAR} (leaf {leaf}, the season of {season} again), one trial of the demo"]
    people = (f"{crew.name} {crew.hours_per_day:g} h a day, {crew.days_per_week:g} days a week" for crew in plan.crews)
    lines.append(f"with few people: {'; '.join(people)}")
    head = f"{'from':8s}{'to':8s}{'task':18s}{'where':20s}{'who':12s}{'hours':>8s}{'waited, d':>11s}{'undone, h':>11s}"
    lines.append(head)
    latitude = plan.weather.latitude
    for line in work_calendar(log, CALENDAR_YEAR):
        lines.append(
            f"{date_text(line.first_day, latitude):8s}{date_text(line.last_day, latitude):8s}"
            f"{line.task.replace('_', ' '):18s}{line.label:20s}{line.crew or 'nobody':12s}{line.hours:8.1f}"
            f"{line.waited:11.0f}{line.undone:11.1f}"
        )
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=TRIALS)
    parser.add_argument("--out", type=Path, help="folder for working_place.txt")
    options = parser.parse_args()
    parts = (losses_of_two_stocks(options.trials), calendar_of_a_year(), hours_per_bin(options.trials))
    text = "\n\n".join("\n".join(part) for part in parts)
    print(text)
    if options.out is not None:
        options.out.mkdir(parents=True, exist_ok=True)
        (options.out / "working_place.txt").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
