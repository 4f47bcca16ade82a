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

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.calibration.cases import GALA, GOOD_GROWER, swing
from experiments.calibration.harness import (
    ALL_IN_TIME,
    Care,
    block,
    climate_of,
    cultivar,
    grade,
    grow_to_harvest,
    load_physiology,
    pick,
    season_of,
    stock,
    training,
)
from orchardsim.core.draws import address
from orchardsim.core.labels import FRESH
from orchardsim.core.parameters import parameters_of
from orchardsim.core.streams import Streams
from orchardsim.trees import model as trees
from orchardsim.trees.block import BlockModel
from orchardsim.trees.parameters import BlockPlan, Physiology
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.variation import draw_year

TRIALS = 4
STEP = 0.1
SHOWN = 0.01
"""Elasticities below this are left blank in the table."""


@dataclasses.dataclass(frozen=True)
class Walk:
    """Crop [kg] and trunk area [cm2] (year, trial, tree); fruit mass [g], shares of the pack-out, clusters (year,)."""

    crop: NDArray[np.float32]
    trunk: NDArray[np.float32]
    fruit: NDArray[np.float64]
    fresh: NDArray[np.float64]
    best: NDArray[np.float64]
    pressed: NDArray[np.float64]
    bloom: NDArray[np.float64]


def walk(
    plan: BlockPlan,
    physiology: Physiology,
    years: int,
    season: SeasonForTrees,
    care: Care = ALL_IN_TIME,
    gaps_in_leaf: int = 0,
) -> Walk:
    """Let a block grow under one season year after year; every fourth tree is gone from leaf ``gaps_in_leaf`` on."""
    model = BlockModel(plan, physiology)
    streams = Streams(1)
    state = model.new_state(TRIALS)
    state.site_vigor[...] = model.draw_persistent([streams.at("soil", "block", trial=t) for t in range(TRIALS)])
    rows: dict[str, list[np.ndarray]] = {name: [] for name in (field.name for field in dataclasses.fields(Walk))}
    for year in range(years):
        draws = draw_year(address(streams, "trees", "block", range(TRIALS), year), model.positions)
        if year + 1 == gaps_in_leaf:
            dead = np.zeros((TRIALS, model.positions), dtype=bool)
            dead[:, 1::4] = True
            model.kill(state, dead)
        grow_to_harvest(model, state, season, draws, plant=year == 0, care=care)
        picked = pick(model, state, season, care)
        trees.harvest_to_leaf_fall(model, state, season)
        seen = trees.observe(model, state)
        mass = np.maximum(picked.harvested_mass.sum(), 1e-9)
        rows["crop"].append(state.last_crop.copy())
        rows["trunk"].append(state.trunk_area.copy())
        rows["fruit"].append(np.nanmean(seen["fruit_mass_mean"]) if mass > 1e-6 else np.float64(0))
        rows["fresh"].append(picked.packed_mass[..., FRESH].sum() / mass)
        rows["best"].append(picked.packed_mass[..., 0].sum() / mass)
        rows["pressed"].append(picked.packed_mass[..., 3].sum() / mass)
        rows["bloom"].append(seen["flower_clusters"].sum())
    return Walk(**{name: np.stack(values) for name, values in rows.items()})


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


def poor_season() -> SeasonForTrees:
    """A season with frost, little chill and few hours of bee weather."""
    season = season_of(climate_of(poor_block()), TRIALS, 1)
    return dataclasses.replace(
        season,
        chill_fraction=season.chill_fraction * 0.85,
        frost_kill=season.frost_kill * 0 + 0.4,
        pollination_hours=season.pollination_hours * 0 + 6.0,
    )


def figures(p: Physiology) -> dict[str, float]:
    """What the grower sees of the three blocks."""
    plan = kept_block()
    land = plan.layout.tree_spacing * plan.layout.row_spacing
    kept = walk(plan, p, 10, season_of(climate_of(plan), TRIALS, 1))
    tonnes = kept.crop.mean(axis=(1, 2)) / land * 10
    free = walk(kept_block((0.0, math.inf)), p, 10, season_of(climate_of(plan), TRIALS, 1))
    north = season_of(climate_of(lone_block()), TRIALS, 1)
    lone = walk(lone_block(), p, 10, north)
    late = walk(lone_block(5.0), p, 10, north, Care(late=30.0))
    care = Care(thinned=0.7, late=20.0, pruned=0.6, summer_pruned=0.5)
    poor = walk(poor_block(), p, 8, poor_season(), care, gaps_in_leaf=4)
    standing = poor.trunk[-1] > 0
    return {
        "kept: yield 1-5": tonnes[:5].sum(),
        "yield 8-10": tonnes[7:].mean(),
        "trunk 10": kept.trunk[9].mean(),
        "crop 2-3": tonnes[1:3].sum(),
        "fruit mass": kept.fruit[7:].mean(),
        "fresh": kept.fresh[7:].mean(),
        "girth CV": float(np.sqrt(kept.trunk[9]).std() / np.sqrt(kept.trunk[9]).mean()),
        "pressed": kept.pressed[7:].mean(),
        "free: bloom 10": free.bloom[9],
        "alone: swing": swing(lone.crop[4:10].reshape(6, -1)),
        "late: bloom 5-10": late.bloom[4:10].mean(),
        "poor: crop 1-8": poor.crop.sum(axis=0)[standing].mean(),
        "trunk 8": poor.trunk[-1][standing].mean(),
        "fresh 8": poor.fresh[7],
        "best 8": poor.best[7],
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
