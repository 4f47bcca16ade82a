"""How well `fit` learns from a first row: calibration, recovery, misspecified rows, and choices that it changes.

Rows of configs/first_row.toml are simulated at known levels and measured with tape, count and scale: girths in two
autumns, flower clusters, fruit set, fruit counts, yield and fruit mass of the second leaf. The choices are those of a
grower with the plan's options (three tree spacings, or nothing more) at several price levels, before and after sixty
trees of a row on weak, middling and strong ground. All rows and prices are invented.

Usage: ``python experiments/learning/run.py --out DIR``
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
from pathlib import Path

import numpy as np
from scipy.stats import chi2

import orchardsim
from orchardsim.analysis.decision import (
    NOT_PLANTED,
    base_tables,
    money_of,
    normals_of,
    option_tables,
    options_of,
    shift_of,
)
from orchardsim.analysis.learning import Table, learn, learned_of, levels_of_parts, table_of
from orchardsim.analysis.self_check import Calibration, calibrate
from orchardsim.analysis.sights import Seen, seen_of
from orchardsim.core.futures import Doubt
from orchardsim.plan import Plan
from orchardsim.plan.coming import without_coming
from orchardsim.plan.keys import with_keys
from orchardsim.plan.measurements import parse_measurements
from orchardsim.plan.reading import read_toml
from orchardsim.simulation.replay import Replay

PLAN = Path(__file__).parents[2] / "configs" / "first_row.toml"
CALIBRATED, BINS, TRUE_GROWTH, PRICES = 300, 10, (0.7, 1.0, 1.4), (1.0, 1.3, 1.6)
SURE = {"stock_by_site": 1.0, "cultivar_by_site": 1.0, "fruit_set": 1.0, "fruit_size": 1.0}


def measured_row(plan: Plan, trees: int, everything: bool = True) -> Seen:
    """Which trees are measured, and how well; the values are replaced."""
    per_row = plan.blocks[0].plan.layout.trees_per_row
    rows = [(1 + tree // per_row, 1 + tree % per_row) for tree in range(trees)]
    lines = [f"{year}-11-18,first_row,{r},{t},trunk_girth,90,mm" for year in (2019, 2020) for r, t in rows]
    if everything:
        for month, measure in (("04", "flower_clusters"), ("06", "fruit_set"), ("08", "fruit_count")):
            lines += [f"2020-{month}-08,first_row,{r},{t},{measure},20," for r, t in rows[::3]]
        lines += ["2020-08-20,first_row,,,yield,400,kg", "2020-08-20,first_row,,,fruit_mass,200,g"]
    text = "date,block,row,tree,measure,value,unit\n" + "\n".join(lines)
    return seen_of(plan, parse_measurements(text, plan, "rows").rows, "rows")


def grown_at(plan: Plan, seen: Seen, levels: dict[str, float], seed: int) -> Seen:
    """What is seen of a row that grew at known levels, with the errors of reading."""
    stated = {name: {"": Doubt(value, 0.0)} for name, value in levels.items()}
    futures = dataclasses.replace(plan.futures, stated={**plan.futures.stated, **stated})
    values = Replay(dataclasses.replace(plan, futures=futures), seen.sights, seed).run(range(1)).values[0]
    return dataclasses.replace(seen, values=values)


class Learner:
    """Learns from many rows of one plan and one way of measuring: the rows to learn from are grown once."""

    def __init__(self, plan: Plan, seen: Seen) -> None:
        self.replay = Replay(plan, seen.sights, 1)
        self.table: Table = table_of(self.replay, range(2000))

    def answer(self, seen: Seen):
        """What a row leaves open."""
        return learn(self.replay.plan, seen, self.table, np.random.default_rng(1))

    def growth(self, seen: Seen) -> np.ndarray:
        """Growth of the row's trees, drawn."""
        answer = self.answer(seen)
        spread = math.sqrt(0.30**2 + 0.10**2 + 0.06**2)
        return np.exp(spread * levels_of_parts(self.replay.plan, answer.parts, answer.found.draws)[:, 0])


def calibration(found: Calibration) -> list[dict[str, object]]:
    """Ranks of each level in bins, their chi-square's chance, and coverage of 90 % bands."""
    rows = []
    for column, name in enumerate(found.names):
        counts = np.histogram(found.ranks[:, column], bins=BINS, range=(0, 1))[0]
        expected = len(found.ranks) / BINS
        chance = chi2.sf(((counts - expected) ** 2 / expected).sum(), BINS - 1)
        rows.append(
            {
                "level": name,
                "ranks": counts.tolist(),
                "chance": round(float(chance), 3),
                "covered_90": round(float(found.covered(0.9)[column]), 3),
                "spread_left": round(float(found.spreads[:, column].mean()), 3),
            }
        )
    return rows


def recovery() -> list[dict[str, object]]:
    """Growth learned from girths of 20, 60 and 200 trees on weak and strong ground."""
    plan = orchardsim.load_plan(with_keys(read_toml(PLAN), {"block.first_row.trees": 210}, "x"), base=PLAN.parent)
    found = []
    for trees in (20, 60, 200):
        seen = measured_row(plan, trees, everything=False)
        learner = Learner(plan, seen)
        for truth in TRUE_GROWTH:
            draws = [
                learner.growth(grown_at(plan, seen, {**SURE, "site_growth": truth}, seed)) for seed in range(50, 60)
            ]
            bands = np.percentile(draws, (5, 50, 95), axis=1)
            found.append(
                {
                    "trees": trees,
                    "true": truth,
                    "middle": round(float(bands[1].mean()), 3),
                    "band_width": round(float((bands[2] - bands[0]).mean()), 3),
                    "inside_90_of_10": int(((bands[0] < truth) & (truth < bands[2])).sum()),
                }
            )
    return found


def misspecified(plan: Plan) -> list[dict[str, object]]:
    """Rows that are not what the plan says of them."""
    seen = measured_row(plan, 60)
    learner = Learner(plan, seen)
    usual = grown_at(plan, seen, {**SURE, "site_growth": 1.0}, 77)
    frost = dataclasses.replace(usual, values=usual.values.copy())
    for place, one in enumerate(seen.sights):
        if one.measure in ("fruit_set", "fruit_count", "yield"):
            frost.values[place] = math.log(0.1 if one.measure == "yield" else 0.5)
    cases = {"as the plan says": usual, "a frost that the record lacks took the crop": frost}
    for stock, cultivar in (("MM.111", "Gala"), ("MM.111", "Honeycrisp"), ("B.9", "Gala")):
        changes = {"block.first_row.rootstock": stock, "block.first_row.cultivar": cultivar}
        other = orchardsim.load_plan(with_keys(read_toml(PLAN), changes, "x"), base=PLAN.parent)
        cases[f"in truth {cultivar} on {stock}"] = grown_at(other, seen, {**SURE, "site_growth": 1.0}, 77)
    found = []
    for name, values in cases.items():
        answer = learner.answer(values)
        levels = levels_of_parts(learner.replay.plan, answer.parts, answer.found.draws)
        found.append(
            {
                "row": name,
                "conflicts": [f"{one.family}, year {one.year}" for one in answer.conflicts],
                "errors_widened": round(answer.misfit**0.5, 2),
                "growth": [round(float(v), 2) for v in (levels[:, 0].mean(), levels[:, 0].std())],
                "fruit_set": [round(float(v), 2) for v in (levels[:, 1].mean(), levels[:, 1].std())],
            }
        )
    return found


def choices(plan: Plan, trials: int) -> list[dict[str, object]]:
    """The best of the options before and after sixty trees, by price and true ground."""
    seen = measured_row(plan, 60)
    learner = Learner(plan, seen)
    rows = {truth: grown_at(plan, seen, {**SURE, "site_growth": truth}, 91) for truth in TRUE_GROWTH}
    learned = {
        truth: learned_of(a.parts, a.found.draws) for truth, a in ((t, learner.answer(s)) for t, s in rows.items())
    }
    raw, options, found = base_tables(plan), options_of(plan, None), []
    for price in PRICES:
        priced = with_keys(raw, {"futures.price_level": {"Gala": {"middle": price}}}, "x")
        tables = [(one.name, option_tables(priced, one, plan.where)) for one in options]
        tables.append((NOT_PLANTED, without_coming(plan, priced)))
        money = money_of(plan, tables, trials=trials, years=20, seed=1, jobs=2)
        before = normals_of(plan, None, 1, range(2000))
        for truth, own in learned.items():
            shift = shift_of(money, before, normals_of(plan, own, 1, range(2000)), np.random.default_rng(1))
            best = [int(np.argmax(values)) for values in (shift.before, shift.after)]
            found.append(
                {
                    "price_over_catalogue": price,
                    "true_ground": truth,
                    "before": money.names[best[0]],
                    "after": money.names[best[1]],
                    "gain_of_changing": round(shift.after[best[1]] - shift.after[best[0]]),
                    "error": round(shift.after_error[best[1]]),
                    "changed": best[0] != best[1],
                }
            )
    return found


def draw(found: Calibration, out: Path) -> None:
    """Rank histograms of every level, with the band in which 99 % of uniform counts lie."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    from scipy.stats import binom

    rows = len(found.ranks)
    low, high = binom.ppf((0.005, 0.995), rows, 1 / BINS)
    columns = 3
    figure, axes = plt.subplots(-(-len(found.names) // columns), columns, figsize=(10, 7.5), sharex=True, sharey=True)
    for place, axis in enumerate(axes.flat):
        if place >= len(found.names):
            axis.set_axis_off()
            continue
        axis.axhspan(low, high, color="0.88")
        axis.axhline(rows / BINS, color="0.5", linewidth=0.8)
        axis.hist(found.ranks[:, place], bins=BINS, range=(0, 1), color="#3b6ea5", rwidth=0.9)
        axis.set_title(found.names[place].replace("_", " "), fontsize=9)
        axis.set_ylim(0, high * 1.4)
    figure.supxlabel("share of the draws below the true level")
    figure.supylabel(f"rows of {rows}")
    figure.tight_layout()
    figure.savefig(out / "calibration.png", dpi=110)
    plt.close(figure)


def main() -> None:
    """Run all, write numbers and picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=150, help="trials of an option")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    plan = orchardsim.load_plan(PLAN)
    found = calibrate(plan, measured_row(plan, 60), CALIBRATED)
    draw(found, options.out)
    document = {
        "calibration": calibration(found),
        "rows": CALIBRATED,
        "false_conflicts": found.conflicts,
        "recovery": recovery(),
        "misspecified": misspecified(plan),
        "choices": choices(plan, options.trials),
    }
    (options.out / "learning.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
