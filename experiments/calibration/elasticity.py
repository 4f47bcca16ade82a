"""How far each shared parameter of the trees moves what a grower sees: one at a time, all of them.

    python experiments/calibration/elasticity.py --out DIR

Every parameter of ``orchardsim/catalogue/physiology.toml``, also those that act only where frost strikes, weeds grow,
trees are missing or work is left undone. Invented blocks run with the same random numbers:

- kept: tall spindle of Gala on M.9, good grower, 10 leaves; and the same unthinned (free);
- alone: a biennial cultivar on M.26 that nobody thins, 10 leaves; and the same thinned a month late (late);
- poor: Honeycrisp on M.26 as free-standing whips on replant soil among weeds, with frost, little chill and bee weather,
  far pollen, late and unfinished work, every fourth tree lost in leaf 4, 8 leaves.

A figure is an elasticity: per cent that the figure changes when the parameter changes by one per cent, between 0.9 and
1.1 times its value (cut at its bounds). Leverage, not knowledge: how sure a value is stands with its source and status.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.calibration.cases import GALA, GOOD_GROWER, swing
from experiments.calibration.harness import (
    NORTH,
    Care,
    Run,
    block,
    cultivar,
    grade,
    load_physiology,
    run_trees,
    stock,
    training,
)
from orchardsim.core.parameters import parameters_of
from orchardsim.trees.parameters import BlockPlan, Physiology

STEP = 0.1
SHOWN = 0.01
"""Elasticities below this are left blank in the table."""


def kept_block(target: tuple[float, ...] = GALA) -> BlockPlan:
    """Gala on M.9 as a tall spindle."""
    tree, system = grade("feathered"), training("tall_spindle")
    plan = block(
        [stock("M.9")], "Gala", tree, system, 1.1, 3.65, GALA, site_growth=GOOD_GROWER, rows=3, trees_per_row=20
    )
    return plan.with_groups(crop_load_target=target)


def lone_block(target: float = math.inf) -> BlockPlan:
    """A biennial cultivar, by default one that nobody thins."""
    scion = dataclasses.replace(cultivar("Jonathan"), biennial=1.0, fruit_mass_potential=0.18)
    system = training("vertical_axis", pruning=(0.02,))
    return block([stock("M.26")], scion, grade("whip"), system, 1.5, 4.0, (0, 0, target), rows=3, trees_per_row=20)


def poor_block() -> BlockPlan:
    """Honeycrisp on M.26, free-standing, on bad ground and in bad hands."""
    system = training("central_leader", weed_free_strip=False, thick_feathers_cut=False)
    plan = block([stock("M.26")], "Honeycrisp", grade("whip"), system, 2.0, 4.5, (0, 0, 4.0), rows=3, trees_per_row=20)
    return dataclasses.replace(plan, replant_site=True).with_groups(pollen_distance=40.0)


POOR = dataclasses.replace(NORTH["Honeycrisp"], chill_fraction=0.85, frost_kill=0.4, pollination_hours=6.0)
"""Mean seasons with frost, little chill and few hours of bee weather."""


def figures(p: Physiology) -> dict[str, float]:
    """What the grower sees of the three blocks."""

    def grown(plan: BlockPlan, years: int = 10, **more: Any) -> Run:
        return run_trees(plan, p, years, trials=4, tree_output=True, **more)

    kept, free = grown(kept_block()), grown(kept_block((0.0, math.inf)))
    lone, late = grown(lone_block()), grown(lone_block(5.0), care=Care(late=30.0))
    care = Care(thinned=0.7, late=20.0, pruned=0.6, summer_pruned=0.5)
    poor = grown(poor_block(), 8, climate=POOR, care=care, gaps_in_leaf=4)
    tonnes, girth = kept.yield_per_hectare().mean(axis=(1, 2)), np.sqrt(kept.trees["trunk_area"][9])
    standing = poor.trees["trunk_area"][-1] > 0
    return {
        "kept: yield 1-5": tonnes[:5].sum(),
        "yield 8-10": tonnes[7:].mean(),
        "trunk 10": kept.values["trunk_area_mean"][9].mean(),
        "crop 2-3": tonnes[1:3].sum(),
        "fruit mass": kept.values["fruit_mass_mean"][7:].mean(),
        "fresh": kept.values["fresh_share"][7:].mean(),
        "girth CV": float(girth.std() / girth.mean()),
        "pressed": kept.values["juice_share"][7:].mean(),
        "free: bloom 10": free.values["flower_clusters"][9].sum(),
        "alone: swing": swing(lone.trees["crop_mass"][4:].reshape(6, -1)),
        "late: bloom 5-10": late.values["flower_clusters"][4:].sum(axis=1).mean(),
        "poor: crop 1-8": poor.trees["crop_mass"].sum(axis=0)[standing].mean(),
        "trunk 8": poor.trees["trunk_area"][-1][standing].mean(),
        "fresh 8": poor.values["fresh_share"][7].mean(),
        "best 8": poor.values["best_share"][7].mean(),
    }


def elasticities(base: Physiology, names: Sequence[str] = ()) -> dict[str, dict[str, float]]:
    """Elasticity of each figure to the shared parameters, by default to all."""
    found = {}
    known = parameters_of(Physiology)
    for name in names or known:
        info = known[name]
        value = getattr(base, name)
        if value == 0:
            continue  # no per cent of nothing
        low = max(value * (1 - STEP), info.low if info.low is not None else -math.inf)
        high = min(value * (1 + STEP), info.high if info.high is not None else math.inf)
        below, above = (figures(dataclasses.replace(base, **{name: v})) for v in (low, high))
        found[name] = {what: math.log(above[what] / below[what]) / math.log(high / low) for what in below}
    return found


def table(found: dict[str, dict[str, float]], base: Physiology) -> str:
    """The elasticities as text, parameters in the order of the catalogue."""
    info = parameters_of(Physiology)
    columns = list(next(iter(found.values())))
    width = max(map(len, found))
    lines = [f"{'':{width}s} {'value':>8s} {'bounds':>14s}  " + "  ".join(f"{column:>15s}" for column in columns)]
    for name, row in found.items():
        bounds = f"{info[name].low:g} to {info[name].high:g}"
        cells = (f"{value:15.2f}" if abs(value) >= SHOWN else f"{'.':>15s}" for value in row.values())
        lines.append(f"{name:{width}s} {getattr(base, name):8.4g} {bounds:>14s}  " + "  ".join(cells))
    lines.append(f"per cent of the figure per per cent of the parameter; . below {SHOWN}")
    still = [name for name, row in found.items() if max(map(abs, row.values())) < SHOWN]
    lines.append("below it everywhere: " + (", ".join(still) or "none"))
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    chosen = parser.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    base = load_physiology()
    found = elasticities(base)
    text = table(found, base)
    print(text)
    (chosen.out / "elasticity.txt").write_text(text + "\n", encoding="utf-8")
    rounded = {name: {what: round(value, 4) for what, value in row.items()} for name, row in found.items()}
    (chosen.out / "elasticity.json").write_text(json.dumps(rounded, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
