"""How often ``compare`` names a winner where there is none, and how often a rare disaster hides behind good luck.

Plans without a true difference: one plan simulated under several seeds of the trees' own draws, so that seasons and
prices are the same and tree luck is not; each plan's trials are centred on the same mean. Tables of 60 trials are drawn
from them with replacement. A second set has lost ten times its spread in one future of a hundred, in every plan alike.

Usage: ``python experiments/false_winners/run.py --out DIR``
"""

from __future__ import annotations

import argparse
import itertools
import json
from pathlib import Path

import numpy as np

import orchardsim
from orchardsim.analysis.compare import difference, measure_limit
from orchardsim.analysis.risk_drivers import SOURCES
from orchardsim.results.comparison import Measure, Pair, decide
from orchardsim.risk.bands import wilson_interval
from orchardsim.risk.comparison import luck_order

PLAN = Path(__file__).parents[2] / "configs" / "keep_old_block.toml"
POOL, YEARS, TRIALS, TABLES = 400, 20, 60, 10_000
TREE_PROCESSES = tuple(name for source in ("losses", "trees", "crews and nursery") for name in SOURCES[source])


def pool(plans: int) -> np.ndarray:
    """NPV (plan, trial) of one plan under other luck of its trees, centred."""
    plan = orchardsim.load_plan(PLAN)
    values = [
        orchardsim.simulate(
            plan, trials=POOL, years=YEARS, seed=1, jobs=2, process_seeds=dict.fromkeys(TREE_PROCESSES, 100 + number)
        )["npv"].values
        for number in range(plans)
    ]
    found = np.stack(values)
    return found - found.mean(axis=1, keepdims=True)


def winner_named(values: np.ndarray, rng: np.random.Generator) -> bool:
    """Whether a table of these values (plan, trial) names a best plan."""
    measure = Measure("npv", "NPV", "", "money", "high", values=values)
    limit = measure_limit(measure, rng)
    order = luck_order(values[0], values[1], rng, resamples=2)
    pairs = [
        Pair(one, other, "npv", {"npv": difference(measure, one, other, limit)}, order, order, (), float("nan"), None)
        for one, other in itertools.combinations(range(len(values)), 2)
    ]
    return decide(values.mean(axis=1), pairs).best is not None


def share(count: int, of: int) -> dict[str, float]:
    """A share with its 95 % interval."""
    found = wilson_interval(count, of)
    return {"share": round(found.value, 4), "low": round(found.low, 4), "high": round(found.high, 4)}


def halves_named(values: np.ndarray) -> bool:
    """A weaker rule: the first half names the best, the second tells it from its rival, whatever the sign."""
    half = values.shape[1] // 2
    chosen = values[:, :half].mean(axis=1).argmax()
    gaps = np.delete(values[chosen, half:] - values[:, half:], chosen, axis=0)
    score = gaps.mean(axis=1) / (gaps.std(axis=1, ddof=1) / np.sqrt(gaps.shape[1]))
    rival = gaps.mean(axis=1).argmin()
    return bool(abs(score[rival]) > {1: 1.96, 2: 2.2414}.get(len(gaps), 2.5))


def main() -> None:
    """Draw the tables and write ``false_winners.json``."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--tables", type=int, default=TABLES)
    options = parser.parse_args()
    rng = np.random.default_rng(7)
    everything = pool(4)
    found: dict[str, object] = {"plan": PLAN.name, "pool": POOL, "trials": TRIALS, "tables": options.tables}
    for name, disaster in (("as simulated", 0.0), ("with a disaster of 1 % in every plan", 10.0)):
        rows = {}
        for count in (2, 3, 4):
            named = before = 0
            for _ in range(options.tables):
                values = everything[:count, rng.integers(0, POOL, TRIALS)]
                if disaster:
                    struck = rng.random((count, TRIALS)) < 0.01
                    values = values - disaster * everything.std() * struck
                named += winner_named(values, rng)
                before += halves_named(values)
            rows[f"{count} plans"] = {
                "winner named": share(named, options.tables),
                "chosen on one half, told from the other": share(before, options.tables),
            }
        found[name] = rows
    hidden = told = 0
    for _ in range(options.tables // 8):
        base = everything[0, rng.integers(0, POOL, TRIALS)]
        struck = rng.random(TRIALS) < 0.01
        order = luck_order(base + 0.5 * everything.std() - 10 * everything.std() * struck, base, rng, resamples=200)
        hidden += order.first_order
        told += order.first_order and order.unseen < 0.01
    found["first-order dominance broken by a disaster of 1 %"] = {
        "order told, with its caution": share(hidden, options.tables // 8),
        "claimed for outcomes as rare as the disaster": share(told, options.tables // 8),
    }
    options.out.mkdir(parents=True, exist_ok=True)
    text = json.dumps(found, indent=2)
    (options.out / "false_winners.json").write_text(text + "\n", encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
