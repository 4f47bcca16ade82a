"""Which shared parameters move yield, trunk area and bearing most: Sobol indices (Saltelli et al. 2010), scipy.

    python experiments/calibration/sensitivity.py --out DIR [--samples 1024]

A tall spindle block of mean trees (Gala on M.9, good grower) over 10 leaves, and a biennial cultivar left unthinned.
Each parameter is uniform over +-20 % of its value, cut at its bounds: what is compared is leverage, not knowledge.
Writes sensitivity.json and sensitivity.png.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from scipy.stats import sobol_indices, uniform

sys.path.insert(0, str(Path(__file__).parent))
from cases import spindle, tree_swing
from fit import FREE
from harness import block, cultivar, grade, load_physiology, run_trees, stock, training

from orchardsim.core.parameters import parameters_of
from orchardsim.trees.parameters import Physiology

NAMES = (
    *FREE,
    "source_exponent",
    "pruning_regrowth",
    "early_canopy",
    "late_canopy",
    "reserve_share",
    "first_leaf_canopy",
)
OUTPUTS = (
    "yield leaves 1-5",
    "yield leaves 8-10",
    "trunk area leaf 10",
    "first bearing (leaf 2-3)",
    "swing, unthinned",
)


def outputs(physiology: Physiology, growth: float) -> list[float]:
    """The five figures of one parameter set."""
    one = run_trees(spindle(growth, rows=3, trees_per_row=8), physiology, 10, trials=1, even=True)
    tonnes = one.yield_per_hectare()[:, 0, 0]
    swinging = dataclasses.replace(cultivar("Jonathan"), biennial=1.0, fruit_mass_potential=0.18)
    plan = block(
        [stock("M.26")],
        swinging,
        grade("whip"),
        training("vertical_axis", pruning=(0.02,)),
        1.5,
        4.0,
        (0, 0, math.inf),
        rows=3,
        trees_per_row=8,
    )
    other = run_trees(plan, physiology, 10, trials=1, tree_output=True)
    return [
        float(tonnes[:5].sum()),
        float(tonnes[7:].mean()),
        float(one.values["trunk_area_mean"][9, 0, 0]),
        float(tonnes[1:3].sum()),
        tree_swing(other.trees["crop_mass"][4:10]),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--samples", type=int, default=1024, help="power of 2; runs samples x (parameters + 2) models")
    parser.add_argument("--growth", type=float, default=1.55)
    chosen = parser.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    base, info = load_physiology(), parameters_of(Physiology)
    spans = []
    for name in NAMES:
        value = getattr(base, name)
        low, high = sorted((0.8 * value, 1.2 * value))
        low, high = max(low, info[name].low or -math.inf), min(high, info[name].high or math.inf)
        spans.append((low, high - low))

    def run(points: np.ndarray) -> np.ndarray:
        found = [
            outputs(dataclasses.replace(base, **dict(zip(NAMES, point.tolist(), strict=True))), chosen.growth)
            for point in points.T
        ]
        return np.array(found).T

    dists = [uniform(*span) for span in spans]
    indices = sobol_indices(func=run, n=chosen.samples, dists=dists, rng=np.random.default_rng(1))
    total = np.asarray(indices.total_order)
    first = np.asarray(indices.first_order)
    width = max(map(len, NAMES))
    print(" " * width + "".join(f"{output:>28s}" for output in OUTPUTS) + "   (total index; first order in brackets)")
    order = np.argsort(-total.max(axis=0))
    for j in order:
        print(
            f"{NAMES[j]:{width}s}" + "".join(f"{total[i, j]:17.2f} ({first[i, j]:6.2f})  " for i in range(len(OUTPUTS)))
        )
    (chosen.out / "sensitivity.json").write_text(
        json.dumps(
            {
                "parameters": NAMES,
                "outputs": OUTPUTS,
                "total": total.tolist(),
                "first": first.tolist(),
                "samples": chosen.samples,
            },
            indent=1,
        ),
        encoding="utf-8",
    )
    figure, axes = plt.subplots(figsize=(9, 7), layout="constrained")
    image = axes.imshow(total[:, order].T, cmap="Blues", vmin=0, vmax=0.8, aspect="auto")
    axes.set_xticks(range(len(OUTPUTS)), OUTPUTS, rotation=20, ha="right")
    axes.set_yticks(range(len(NAMES)), [NAMES[j] for j in order])
    for row, j in enumerate(order):
        for i in range(len(OUTPUTS)):
            if total[i, j] >= 0.03:
                axes.text(i, row, f"{total[i, j]:.2f}", ha="center", va="center", fontsize=8)
    axes.set_title(f"Total Sobol index, each parameter +-20 % (n = {chosen.samples})")
    figure.colorbar(image, shrink=0.6)
    figure.savefig(chosen.out / "sensitivity.png", dpi=110)


if __name__ == "__main__":
    main()
