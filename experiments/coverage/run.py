"""Do the stated intervals cover? Many small runs against a big one, on a block of ten trees.

    python experiments/coverage/run.py --out DIR [--runs 200] [--trials 200] [--jobs 1]

Each small run has its own seed. Its 95 % intervals (value plus and minus 1.96 standard errors for percent points, mean
and expected shortfall; Wilson's interval of chances; intervals of percent points from two order statistics; intervals
of paired differences between two plans, over 50 trials) are asked whether they hold the value of one big run of
another seed. About 95 % should. The big run's own error is left in: with 30 times the trials it takes some 0.4 points
off. About a quarter of an hour of one core at the 200 trials that ``orchardsim run`` has by default, ten minutes with
``--trials 50``, where the far ends of a spread, which rest on two or three trials, cover less. An interrupted
experiment goes on where it stopped, as long as the program has not changed.
"""

from __future__ import annotations

import argparse
import functools
import hashlib
import json
import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from tqdm import tqdm

import orchardsim
from orchardsim.analysis.compare import compare_results
from orchardsim.plan import Plan, load_plan
from orchardsim.results import headlines
from orchardsim.results.comparison import Comparison
from orchardsim.results.statistics import STATISTICS, describe
from orchardsim.risk.bands import quantile_interval, wilson_interval
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
        if np.isnan(one.values).any():
            continue  # a number of those trials alone that have it (debt service): a small run may have none of them
        statistics, _ = describe(one.values, worst=one.worst, whole=one.whole)
        for name, value in zip(STATISTICS, statistics, strict=True):
            if np.isfinite(value) and (one.has_mean or name != "mean"):
                found[("standard error", name, *one.path)] = float(value)
    npv = dataset["npv"].values
    found[("chance", "npv below zero")] = float((npv < 0).mean())
    for share in QUANTILES:
        found[("order statistics", f"npv p{100 * share:g}")] = float(np.quantile(npv, share))
    for key in PAIRED:
        paired = compared.pairs[0].differences[key]
        found[("paired mean", key)] = paired.centre
        found[("paired chance", key)] = paired.chance_better.value
    return found


def intervals(dataset: Any, compared: Comparison) -> dict[tuple[str, ...], tuple[float, float]]:
    """Every 95 % interval of a small run."""
    found: dict[tuple[str, ...], tuple[float, float]] = {}
    for one in headlines(dataset):
        statistics, errors = describe(one.values, worst=one.worst, whole=one.whole)
        for name, value, error in zip(STATISTICS, statistics, errors, strict=True):
            found[("standard error", name, *one.path)] = (value - NORMAL * error, value + NORMAL * error)
    npv = dataset["npv"].values
    chance = wilson_interval(int((npv < 0).sum()), npv.size)
    found[("chance", "npv below zero")] = (chance.low, chance.high)
    for share in QUANTILES:
        low, high = quantile_interval(npv, share)
        found[("order statistics", f"npv p{100 * share:g}")] = (float(low), float(high))
    for key in PAIRED:
        paired = compared.pairs[0].differences[key]
        found[("paired mean", key)] = (paired.low, paired.high)
        found[("paired chance", key)] = (paired.chance_better.low, paired.chance_better.high)
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


class Kept:
    """Finished small runs of this experiment, so that an interrupted one goes on where it stopped.

    Parameters
    ----------
    path : pathlib.Path
        First line: what is run. Then the truths, then one line for each finished run.
    identity : mapping
        Anything else in the file is of another experiment, or of another state of the program, and is begun anew.
    """

    def __init__(self, path: Path, identity: dict[str, Any]) -> None:
        self.path = path
        self.true: dict[tuple[str, ...], float] | None = None
        self.hits: dict[int, list[bool]] = {}
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        if lines and json.loads(lines[0]) == identity:
            if len(lines) > 1:
                self.true = {tuple(key): value for key, value in json.loads(lines[1])}
            for line in lines[2:]:
                if line.endswith("]"):  # a line that was cut off is done again
                    seed, *hits = json.loads(line)
                    self.hits[seed] = hits
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(json.dumps(identity) + "\n", encoding="utf-8")

    def _add(self, content: Any) -> None:
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(content) + "\n")

    def add_truths(self, true: dict[tuple[str, ...], float]) -> None:
        """Keep the values of the big run."""
        self.true = true
        self._add([[list(key), value] for key, value in true.items()])

    def add_run(self, seed: int, hits: list[bool]) -> None:
        """Keep which intervals of a small run held their value."""
        self.hits[seed] = hits
        self._add([seed, *hits])


def program() -> str:
    """Fingerprint of the program's own files: a run of another state is not gone on with."""
    found = hashlib.sha256()
    for path in sorted(Path(orchardsim.__file__).parent.rglob("*")):
        if path.suffix in (".py", ".toml"):
            found.update(path.read_bytes())
    return found.hexdigest()


def main() -> None:
    """Run and write ``coverage_<trials>.json``."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    plans = [small_plan(1.0), small_plan(1.25)]
    pairs = min(PAIRS, options.trials)
    identity = {"program": program(), "plans": [plan.hash for plan in plans], "trials": options.trials, "years": YEARS}
    kept = Kept(options.out / f"coverage_{options.trials}.part", identity)
    if kept.true is None:
        print(f"the big run: {BIG * options.trials} trials", file=sys.stderr)
        kept.add_truths(truths(*run(plans, BIG * options.trials, BIG * pairs, BIG_SEED)))
    true = kept.true or {}
    missing = [seed for seed in range(options.runs) if len(kept.hits.get(seed, ())) != len(true)]
    one_run = functools.partial(small_run, plans, options.trials, true)
    bar = tqdm(total=options.runs, initial=options.runs - len(missing), unit=" runs", file=sys.stderr, mininterval=5)
    with bar, ProcessPoolExecutor(options.jobs, mp_context=get_context("spawn")) as pool:
        tasks = {pool.submit(one_run, seed): seed for seed in missing}
        for done in as_completed(tasks):
            kept.add_run(tasks[done], done.result())
            bar.update()
    hits = {key: [kept.hits[seed][place] for seed in range(options.runs)] for place, key in enumerate(true)}
    document = {
        "runs": options.runs,
        "trials_of_a_run": options.trials,
        "trials_of_the_big_run": BIG * options.trials,
        "trials_of_a_paired_difference": pairs,
        "years": YEARS,
        "level": 0.95,
        "coverage": summary(hits, options.runs),
    }
    (options.out / f"coverage_{options.trials}.json").write_text(
        json.dumps(document, indent=1) + "\n", encoding="utf-8"
    )
    kept.path.unlink()
    for name, row in document["coverage"].items():
        print(f"{name:45s} {100 * row['coverage']:6.1f} % ± {100 * row['standard_error']:.1f}")


def small_run(plans: list[Plan], trials: int, true: dict[tuple[str, ...], float], seed: int) -> list[bool]:
    """Whether each interval of one small run holds its value, in the order of ``true``."""
    found = intervals(*run(plans, trials, min(PAIRS, trials), seed))
    return [holds(found[key], value) for key, value in true.items()]


def holds(interval: tuple[float, float], value: float) -> bool:
    """Whether an interval holds a value, rounding forgiven."""
    slack = 1e-9 * max(abs(value), 1.0)
    return bool(interval[0] - slack <= value <= interval[1] + slack)


if __name__ == "__main__":
    main()
