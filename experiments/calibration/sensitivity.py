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
from types import SimpleNamespace

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from scipy.stats import sobol_indices, uniform

sys.path.insert(0, str(Path(__file__).parent))
from cases import spindle, tree_swing
from fit import FREE
from harness import block, climate_of, cultivar, grade, load_physiology, season_of, stock, training

from orchardsim.core.draws import address
from orchardsim.core.parameters import parameters_of
from orchardsim.core.streams import Streams
from orchardsim.trees import bearing
from orchardsim.trees import model as trees
from orchardsim.trees.block import BlockModel
from orchardsim.trees.parameters import BlockPlan, Physiology
from orchardsim.trees.training import Ages
from orchardsim.trees.variation import draw_year

NAMES = (
    *FREE,
    "regrowth",
    "source_exponent",
    "pruning_regrowth",
    "early_canopy",
    "late_canopy",
    "early_fruit_share",
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


class VariedBlock(BlockModel):
    """A block whose trials differ in when their trees come into bearing, which a plain block holds in one table."""

    def by_leaf(self, table: np.ndarray, ages: Ages, out: np.ndarray) -> np.ndarray:
        """As the plain block's, bearing by each trial's own parameters."""
        if table is not self.next_bearing:
            return super().by_leaf(table, ages, out)
        rate = self.physiology.bearing_rate
        out[...] = bearing.bearing_share(np.float32(ages.usual + 1), self.half_bloom_leaf, rate)
        return out


def walk(plan: BlockPlan, base: Physiology, varied: dict[str, np.ndarray], years: int) -> tuple[np.ndarray, np.ndarray]:
    """Run a block of mean trees with one parameter set per trial.

    The formulas broadcast, so a parameter may be an array over (trial, 1): thousands of sets run as trials of one tile.

    Parameters
    ----------
    varied : dict of array, (trial,)

    Returns
    -------
    crop, trunk_area : array, (year, trial, tree) [kg], [cm2]
    """
    trials = len(next(iter(varied.values())))
    spreads = ("site_spread", "tree_spread", "set_spread", "block_set_spread", "thinning_spread")
    base = dataclasses.replace(base, **dict.fromkeys(spreads, 0.0))
    model = VariedBlock(plan, base)
    column = {name: values.astype(np.float32)[:, None] for name, values in varied.items()}
    p = SimpleNamespace(**{**dataclasses.asdict(base), **column})
    stock_, scion = plan.groups[0].stock, plan.groups[0].cultivar
    model.physiology = p
    model.vigor = (stock_.vigor / p.vigor_reference) ** p.vigor_exponent * np.float32(scion.vigor)
    model.half_bloom_leaf = model.half_bloom_leaf + (
        p.bearing_offset - base.bearing_offset + (p.bearing_vigor - base.bearing_vigor) * np.float32(stock_.vigor)
    )
    annual = np.float32(1 - scion.biennial)
    model.inhibiting_crop = p.inhibiting_crop_biennial + annual * (
        p.inhibiting_crop_annual - p.inhibiting_crop_biennial
    )
    state = model.new_state(trials)
    season = season_of(climate_of(plan), trials, 1)
    draws = draw_year(address(Streams(1), "trees", "", [0] * trials, 0), model.positions)
    draws.normal.fill(0)
    draws.block_normal.fill(0)
    done = np.ones((trials, 1))
    crops, trunks = [], []
    for year in range(years):
        if year:
            trees.ask_dormant_work(model, state)
        else:
            model.physiology = base
            model.plant(state, draws)
            model.physiology = p
            state.reserves *= p.leaf_per_trunk * p.first_leaf_canopy / (base.leaf_per_trunk * base.first_leaf_canopy)
            # the model picks the trees in their first leaf one by one: here these are all trees
            p.first_leaf_canopy = np.repeat(p.first_leaf_canopy, model.positions)
        trees.apply_pruning(model, state)
        trees.bloom_to_closed_canopy(model, state, season, draws)
        p.first_leaf_canopy = 1.0
        trees.apply_thinning(model, state, done, done * 0)
        trees.closed_canopy_to_harvest(model, state, season)
        trees.ask_harvest_work(model, state)
        trees.apply_summer_pruning(model, state, season)
        trees.harvest_to_leaf_fall(model, state, season)
        crops.append(state.last_crop.copy())
        trunks.append(state.trunk_area.copy())
    return np.stack(crops), np.stack(trunks)


def outputs(base: Physiology, points: np.ndarray, growth: float) -> np.ndarray:
    """The five figures (figure, set) of parameter sets (parameter, set)."""
    varied = dict(zip(NAMES, points, strict=True))
    plan = spindle(growth, rows=3, trees_per_row=6)
    crop, trunk = walk(plan, base, varied, 10)
    tonnes = crop.mean(-1) / (plan.layout.row_spacing * plan.layout.tree_spacing) * 10
    swinging = dataclasses.replace(cultivar("Jonathan"), biennial=1.0, fruit_mass_potential=0.18)
    wood, system = stock("M.26"), training("vertical_axis", pruning=(0.02,))
    other = block([wood], swinging, grade("whip"), system, 1.5, 4.0, (0, 0, math.inf), rows=3, trees_per_row=6)
    biennial, _ = walk(other, base, varied, 10)
    found = [
        tonnes[:5].sum(0),
        tonnes[7:].mean(0),
        trunk[9].mean(-1),
        tonnes[1:3].sum(0),
        [tree_swing(biennial[4:10, t : t + 1]) for t in range(points.shape[1])],
    ]
    return np.array(found, dtype=float)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--samples", type=int, default=1024, help="power of 2; runs samples x (parameters + 2) models")
    parser.add_argument("--growth", type=float, default=1.5)
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
        parts = np.array_split(points, -(-points.shape[1] // 512), axis=1)
        return np.concatenate([outputs(base, part, chosen.growth) for part in parts], axis=1)

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
