"""Do the stated intervals cover? Many small runs against a big one, on a block of ten trees.

    python experiments/coverage/run.py --out DIR [--runs 200] [--trials 200]

Each small run has its own seed. Its 95 % intervals (value plus and minus 1.96 standard errors for percent points, mean
and expected shortfall; Wilson's interval of chances; intervals of percent points from two order statistics; intervals
of paired differences between two plans, over 50 trials) are asked whether they hold the value of one big run of
another seed. About 95 % should. The big run's own error is left in: with 30 times the trials it takes some 0.4 points
off. About seven minutes of one core at the 200 trials that ``orchardsim run`` has by default; with ``--trials 50`` two,
and then the far ends of a spread, which rest on two or three trials, cover less.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np
from tqdm import tqdm

from orchardsim.analysis.compare import compare_results, difference
from orchardsim.plan import Plan, load_plan
from orchardsim.results import headlines
from orchardsim.results.comparison import Comparison
from orchardsim.results.statistics import STATISTICS, describe
from orchardsim.risk.bands import chance_below, quantile_interval
from orchardsim.simulation import simulate

YEARS = 10
BIG = 30
"""Trials of the big run over those of a small one."""
PAIRS = 50
"""Trials of a small run whose differences between two plans are looked at."""
NORMAL = 1.959964
BIG_SEED = 10_000
PAIRED = ("npv", "peak_borrowing", "picked_per_area", "hours_per_area")
QUANTILES = (0.05, 0.5, 0.95)


def small_plan(tree_spacing: float) -> Plan:
    """Two rows of an invented block on the bundled record, five metres long."""
    return load_plan(
        {
            "title": "ten trees (invented)",
            "units": "metric",
            "currency": "USD",
            "price_year": 2024,
            "site": {"latitude": "34.68 degree", "irrigated": True, "night_offset": "1.5 K"},
            "weather": {"record": "bundled", "normals": {"rain": ["100 mm"] * 12, "wet_days": [9] * 12}},
            "block": [
                {
                    "name": "block",
                    "training": "tall_spindle",
                    "row_spacing": "3.5 m",
                    "tree_spacing": f"{tree_spacing} m",
                    "row_length": "5 m",
                    "year_planted": 1,
                    "group": [
                        {"name": "Gala", "rows": 1, "cultivar": "Gala", "rootstock": "M.9"},
                        {"name": "Honeycrisp", "rows": 1, "cultivar": "Honeycrisp", "rootstock": "G.935"},
                    ],
                }
            ],
        }
    )


def run(plans: list[Plan], trials: int, pairs: int, seed: int) -> tuple[Any, Comparison]:
    """First plan's results, and the first trials of both compared."""
    first = simulate(plans[0], trials=trials, years=YEARS, seed=seed)
    second = simulate(plans[1], trials=pairs, years=YEARS, seed=seed)
    return first, compare_results(plans, [first.isel(trial=slice(pairs)), second], seed)


def truths(dataset: Any, compared: Comparison) -> dict[tuple[str, ...], float]:
    """Values of the big run under the names that :func:`intervals` uses."""
    found: dict[tuple[str, ...], float] = {}
    for one in headlines(dataset):
        if np.unique(one.values).size == 1:
            continue  # nothing is uncertain: the first outlay, a payback that never comes within the years
        statistics, _ = describe(one.values, worst=one.worst, whole=one.whole)
        for name, value in zip(STATISTICS, statistics, strict=True):
            if np.isfinite(value) and (one.has_mean or name != "mean"):
                found[("standard error", name, *one.path)] = float(value)
    npv = dataset["npv"].values
    found[("chance", "npv below zero")] = float((npv < 0).mean())
    for share in QUANTILES:
        found[("order statistics", f"npv p{100 * share:g}")] = float(np.quantile(npv, share))
    for key in PAIRED:
        one = difference(compared.measures[key], 0, 1, 0.95)
        found[("paired mean", key)] = one.centre
        found[("paired chance", key)] = one.chance_better.value
    return found


def intervals(dataset: Any, compared: Comparison) -> dict[tuple[str, ...], tuple[float, float]]:
    """Every 95 % interval of a small run."""
    found: dict[tuple[str, ...], tuple[float, float]] = {}
    for one in headlines(dataset):
        statistics, errors = describe(one.values, worst=one.worst, whole=one.whole)
        for name, value, error in zip(STATISTICS, statistics, errors, strict=True):
            found[("standard error", name, *one.path)] = (value - NORMAL * error, value + NORMAL * error)
    npv = dataset["npv"].values
    chance = chance_below(npv)
    found[("chance", "npv below zero")] = (chance.low, chance.high)
    for share in QUANTILES:
        low, high = quantile_interval(npv, share)
        found[("order statistics", f"npv p{100 * share:g}")] = (float(low), float(high))
    for key in PAIRED:
        one = difference(compared.measures[key], 0, 1, 0.95)
        found[("paired mean", key)] = (one.low, one.high)
        found[("paired chance", key)] = (one.chance_better.low, one.chance_better.high)
    return found


def summary(hits: dict[tuple[str, ...], list[bool]], runs: int) -> dict[str, Any]:
    """Coverage by kind and by statistic; standard errors from the spread between runs, which are independent."""

    def coverage(keys: list[tuple[str, ...]]) -> dict[str, Any]:
        by_run = np.array([hits[key] for key in keys], dtype=float).mean(axis=0)
        return {
            "coverage": round(float(by_run.mean()), 4),
            "standard_error": round(float(by_run.std(ddof=1) / np.sqrt(runs)), 4),
            "intervals_per_run": len(keys),
        }

    groups: dict[str, list[tuple[str, ...]]] = defaultdict(list)
    for key in hits:
        groups["all"].append(key)
        groups[key[0]].append(key)
        if key[0] == "standard error":
            groups[f"{key[0]}: {key[1]}"].append(key)
            groups[f"headline: {key[2]}"].append(key)
    return {name: coverage(keys) for name, keys in sorted(groups.items())}


def main() -> None:
    """Run and write ``coverage_<trials>.json``."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--trials", type=int, default=200)
    options = parser.parse_args()
    plans = [small_plan(1.0), small_plan(1.25)]
    true = truths(*run(plans, BIG * options.trials, BIG * PAIRS, BIG_SEED))
    hits: dict[tuple[str, ...], list[bool]] = {key: [] for key in true}
    for seed in tqdm(range(options.runs), unit=" runs", file=sys.stderr, mininterval=10):
        found = intervals(*run(plans, options.trials, min(PAIRS, options.trials), seed))
        for key, value in true.items():
            low, high = found[key]
            slack = 1e-9 * max(abs(value), 1.0)
            hits[key].append(bool(low - slack <= value <= high + slack))
    document = {
        "runs": options.runs,
        "trials_of_a_run": options.trials,
        "trials_of_the_big_run": BIG * options.trials,
        "trials_of_a_paired_difference": min(PAIRS, options.trials),
        "years": YEARS,
        "level": 0.95,
        "coverage": summary(hits, options.runs),
    }
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / f"coverage_{options.trials}.json").write_text(
        json.dumps(document, indent=1) + "\n", encoding="utf-8"
    )
    for name, row in document["coverage"].items():
        print(f"{name:45s} {100 * row['coverage']:6.1f} % ± {100 * row['standard_error']:.1f}")


if __name__ == "__main__":
    main()
