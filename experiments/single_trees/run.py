"""What single trees do over 25 years: trunk, crop, bloom and blank years.

    python experiments/single_trees/run.py --out DIR

One trial of a whole plan (invented northern place of experiments/score): Gala and Honeycrisp on M.9 at 1.1 x 3.65 m, thinned to
the catalogue's targets or never. Each grey line is a tree that stands from planting to the end; three are picked out.
"""  # noqa: E501

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.score.trials import Group, Trial, run_trial

YEARS = 25
WAYS = {
    "Gala, own target": ("Gala", ""),
    "Gala, never thinned": ("Gala", '"unthinned"'),
    "Honeycrisp, own target": ("Honeycrisp", ""),
    "Honeycrisp, never thinned": ("Honeycrisp", '"unthinned"'),
}
SHOWN = (("trunk_area", "trunk [cm2]"), ("crop_mass", "crop [kg]"), ("flower_clusters", "flower clusters"))
BLANK = 0.1
"""Share of a tree's mean crop below which a year counts as blank (assumption)."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    figure, axes = plt.subplots(len(WAYS), len(SHOWN), figsize=(13, 12), layout="constrained", sharex=True)
    lines = [
        f"{'':28s} {'trees':>5s} {'trunk 25: 5, 50, 95 %':>24s} {'crop/year [kg]':>15s} {'blank years a tree':>19s}"
    ]
    for line, (name, (cultivar, target)) in zip(axes, WAYS.items(), strict=True):
        plan = Trial("single trees", cultivar, "tall_spindle", "feathered", 1.1, 3.65, [Group("M.9", "M.9", target, 4)],
                     40, years=YEARS)  # fmt: skip
        found = run_trial(plan, 1, single=1)
        trunk, crop = found.trees("trunk_area")[0], found.trees("crop_mass")[0]
        stands = np.all(np.diff(trunk, axis=0) >= -1e-3, axis=0) & (trunk[-1] > 0)
        for plot, (what, label) in zip(line, SHOWN, strict=True):
            values = found.trees(what)[0][:, stands]
            leaf = np.arange(1, YEARS + 1)
            plot.plot(leaf, values, color="0.75", linewidth=0.5)
            order = np.argsort(trunk[-1, stands])
            for at, colour in zip((0.1, 0.5, 0.9), ("#b5532b", "#2b6a8f", "#5b8c3a"), strict=True):
                plot.plot(leaf, values[:, order[int(at * (len(order) - 1))]], color=colour, linewidth=1.5)
            plot.set(ylabel=label, title=name, xlabel="leaf")
        mature = crop[5:, stands]
        blank = (mature < BLANK * mature.mean(axis=0)).sum(axis=0).mean()
        low, middle, high = np.percentile(trunk[-1, stands], [5, 50, 95])
        lines.append(
            f"{name:28s} {stands.sum():5d} {low:8.0f}{middle:8.0f}{high:8.0f} {mature.mean():15.1f} {blank:19.1f}"
        )
    figure.savefig(options.out / "single_trees.png", dpi=110)
    (options.out / "table.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
