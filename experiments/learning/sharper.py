"""The plan that `fit` writes, in run, compare, study and spares: how much narrower each answer is than before.

The measurements are configs/first_row_measurements.csv. Both plans meet the same trials, so widths differ by what was
learned alone. All is invented.

Usage: ``python experiments/learning/sharper.py --out DIR [--trials 100] [--parts run compare study spares]``
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.analysis.compare import compare
from orchardsim.analysis.spares import spares
from orchardsim.analysis.study import study
from orchardsim.cli.main import main as command
from orchardsim.plan import Plan
from orchardsim.plan.keys import with_keys
from orchardsim.plan.reading import read_toml

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.learning.rows import PLAN

PARTS = ("run", "compare", "study", "spares")
YEARS, WIDE = 20, "1.25 m"
KEY = "block.next_rows.tree_spacing"
Band = dict[str, float]


def band(values: NDArray[np.float64], digits: int = 0) -> Band:
    """Points of 5 and 95 %, the width between, and its standard error by resampling trials."""
    rng = np.random.default_rng(1)
    low, high = np.percentile(values, (5, 95))
    drawn = rng.choice(values, (500, len(values)))
    error = np.diff(np.percentile(drawn, (5, 95), axis=1), axis=0).std()
    return {
        name: round(float(value), digits)
        for name, value in (("p05", low), ("p95", high), ("width", high - low), ("error_of_width", error))
    }


def by_run(plan: Plan, trials: int) -> dict[str, Band]:
    """Trunks and crop of the rows to come, and the farm's money."""
    found = orchardsim.simulate(plan, trials=trials, years=YEARS, seed=1, jobs=2)
    rows = found.sel(block="next_rows")
    picked = rows["harvested_mass"].sel(year=slice(0, 8)).sum("year")
    return {
        "trunk area in year 6 [cm2]": band(rows["trunk_area_mean"].sel(year=6).values, 1),
        "picked of the rows to year 8 [t]": band(picked.values / 1e3, 1),
        "NPV [USD]": band(found["npv"].values),
    }


def by_compare(path: Path, trials: int) -> dict[str, Band]:
    """Money of the plan's spacing over a wider one."""
    wide = orchardsim.load_plan(with_keys(read_toml(path), {KEY: WIDE, "title": "wider"}, "wide"), base=path.parent)
    found = compare([orchardsim.load_plan(path), wide], trials=trials, years=YEARS, seed=1, jobs=2)
    values = found.measures["npv"].values
    return {f"NPV over that of {WIDE} [USD]": band(values[0] - values[1])}


def by_study(path: Path, trials: int) -> dict[str, Band]:
    """Money of two cells."""
    found = study(
        {
            "title": "spacing", "plan": str(path), "trials": trials, "known_trials": 0, "years": YEARS,
            "factor": [{"name": "spacing", "key": KEY, "levels": ["1.0 m", WIDE]}],
        },
        jobs=2,
    )  # fmt: skip
    early = found["picked_early"]
    return {f"picked to year 10 at {name} [kg/ha]": band(early.sel(spacing=name).values) for name in ("1.0 m", WIDE)}


def by_spares(path: Path, trials: int) -> dict[str, object]:
    """What a refilled gap brings, and trees lost in the rows to come."""
    found = spares(orchardsim.load_plan(path), trials=trials, years=YEARS, seed=1, jobs=2)
    worth = next(one for one in found.worth if one.label == "next_rows")
    lost = next((one.lost for one in found.clustering if one.label == "next_rows"), None)
    return {
        "a gap refilled in leaf 2 brings [USD]": round(float(worth.worth[0])),
        "error of it": round(float(worth.error[0]), 1),
        "trees lost": None if lost is None else band(np.asarray(lost, dtype=np.float64)),
    }


def main() -> None:
    """Fit, run the parts with both plans, write the numbers; what other parts found before stays."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=100)
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    rows = PLAN.with_name("first_row_measurements.csv")
    if command(["fit", str(PLAN), str(rows), "--out", str(options.out / "fit"), "--force"]):
        raise SystemExit("the fit failed")
    plans = {"before": PLAN, "measured": options.out / "fit" / PLAN.name}
    answers: dict[str, Callable[[Path], object]] = {
        "run": lambda path: by_run(orchardsim.load_plan(path), options.trials),
        "compare": lambda path: by_compare(path, options.trials),
        "study": lambda path: by_study(path, options.trials),
        "spares": lambda path: by_spares(path, options.trials),
    }
    path = options.out / "sharper.json"
    found = json.loads(path.read_text()) if path.exists() else {}
    for part in options.parts:
        found[part] = {which: answers[part](plan) for which, plan in plans.items()} | {"trials": options.trials}
    path.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
