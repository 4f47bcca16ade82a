"""How well `fit` learns from a first row: calibration, recovery, and rows that are not what the plan says.

Rows of configs/first_row.toml are simulated at known levels and measured with tape, count and scale: girths in two
autumns, flower clusters, fruit set, fruit counts, yield and fruit mass of the second leaf. All rows are invented.

Usage: ``python experiments/learning/run.py --out DIR [--parts calibration recovery misspecified]``
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.stats import chi2

import orchardsim
from orchardsim.analysis.learning import levels_of_parts
from orchardsim.plan import Plan
from orchardsim.plan.keys import with_keys
from orchardsim.plan.reading import read_toml

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.learning.rows import PLAN, SURE, Learner, grown_at, measured_row
from experiments.learning.self_check import Calibration, calibrate

CALIBRATED, SEEDS, BINS, TRUE_GROWTH = 120, (1, 2), 10, (0.7, 1.0, 1.4)
"""Rows of each seed whose levels are known, seeds, bins of the histograms, growth of the rows that are recovered."""
UNEXPECTED = 1.645
"""Standard deviations, the end of a 90 % band, beyond which ``fit`` asks to make sure of stock and units."""
PARTS = ("calibration", "recovery", "misspecified")


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
                "growth_called_unexpected": bool(abs(levels[:, 0].mean()) > UNEXPECTED),
                "growth": [round(float(v), 2) for v in (levels[:, 0].mean(), levels[:, 0].std())],
                "fruit_set": [round(float(v), 2) for v in (levels[:, 1].mean(), levels[:, 1].std())],
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


def joined(found: Sequence[Calibration]) -> Calibration:
    """Rows of several seeds together."""
    arrays = {key: np.concatenate([getattr(one, key) for one in found]) for key in ("ranks", "spreads", "errors")}
    return Calibration(found[0].names, **arrays, conflicts=sum(one.conflicts for one in found))


def main() -> None:
    """Run the parts, write numbers and picture; what other parts found before stays."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    path = options.out / "learning.json"
    document = json.loads(path.read_text()) if path.exists() else {}
    plan = orchardsim.load_plan(PLAN)
    if "calibration" in options.parts:
        found = joined([calibrate(plan, measured_row(plan, 60), CALIBRATED, seed=seed) for seed in SEEDS])
        draw(found, options.out)
        document |= {
            "calibration": calibration(found),
            "rows": len(found.ranks),
            "false_conflicts": found.conflicts,
        }
    if "recovery" in options.parts:
        document["recovery"] = recovery()
    if "misspecified" in options.parts:
        document["misspecified"] = misspecified(plan)
    path.write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
