"""Blocks of single trees through mean seasons, all work done in time: fast enough to fit and to score with.

A planting is one block with a row of trees for each treatment (stock, cultivar, target). It walks the model's own
years, with random numbers that are fixed beforehand, so that a change in a figure comes from a change in a parameter.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from experiments.calibration.harness import NORTH, block_of, cultivar, grade, grow_to_harvest, season_by_group
from orchardsim.trees import growth
from orchardsim.trees.block import BlockModel
from orchardsim.trees.model import harvest_to_leaf_fall
from orchardsim.trees.parameters import BlockPlan, Physiology, Stock, Thinning, Training
from orchardsim.trees.state import TreeState
from orchardsim.trees.variation import BLOCK_NORMALS, YearDraws

Float = NDArray[np.float32]
FULL_SEASON = 1250.0
"""MJ/m2 of photosynthetically active radiation that a northern season brings from bud break on (derived)."""
LONG = 8
"""Years from which a planting meets good and bad years of its block."""
WOOD_MASS: Final = np.vectorize(growth.wood_mass, otypes=[np.float32])


@dataclasses.dataclass(frozen=True)
class Treatment:
    """One row of trees: its stock, cultivar and crop target."""

    stock: Stock
    cultivar: str
    target: tuple[float, ...]


def block(
    treatments: Sequence[Treatment],
    system: Training,
    tree: str,
    tree_spacing: float,
    row_spacing: float,
    *,
    trees: int = 48,
    rows: int = 1,
    loads: bool = False,
) -> BlockPlan:
    """A block with ``rows`` rows of ``trees`` trees for each treatment.

    ``loads`` is a trial of crop loads: the fruit that the land is meant to bear sets no limit.
    """
    kinds = [(one.stock, cultivar(one.cultivar), one.target) for one in treatments]
    thinning = Thinning(fruit_per_land=500.0) if loads else Thinning()
    spacing = (row_spacing, tree_spacing)
    return block_of(treatments[0].cultivar, kinds, grade(tree), system, spacing, (rows, trees), thinning=thinning)


class Planting:
    """A block with its random numbers drawn; :meth:`run` grows it with a set of shared parameters."""

    def __init__(self, plan: BlockPlan, names: Sequence[str], years: int, seed: int, *, shade: float = 1.0) -> None:
        self.plan, self.years, self.seed, self.shade = plan, years, seed, shade
        self.copies = len(plan.groups)
        season = season_by_group([NORTH.get(name, NORTH["late"]) for name in names], 1)
        self.season = dataclasses.replace(season, radiation=season.radiation * shade)
        rng = np.random.default_rng(seed)
        each = plan.layout.positions // self.copies
        quality = rng.standard_normal(each)
        normal = rng.standard_normal((years, each))
        normal[0] = quality
        # treatments share their draws: differences between them are theirs alone
        self.normal = np.tile(normal, self.copies).astype(np.float32)
        # trials of a few years are read off middling seasons: one year's luck of the block is not a treatment's
        self.block_normal = np.zeros((years, BLOCK_NORMALS))
        self.block_normal[:, 0] = rng.standard_normal(years) * (years > LONG)

    def run(self, physiology: Physiology, level: float | None = None) -> Log:
        """Grow the planting; ``level`` replaces its site level."""
        p, plan = physiology, self.plan
        if level is not None:
            plan = dataclasses.replace(plan, site_growth=level)
        if plan.layout.rows == self.copies:
            # a row for each treatment: its neighbours across the alley are taken to be like it
            p = dataclasses.replace(p, room_across=0.0)
        model = BlockModel(plan, p)
        # shaded spurs: buds need the same light above the cloth's share
        model.numbers = model.numbers._replace(shade_half=np.float32(p.shade_half / self.shade))
        state = model.new_state(1)
        # the same patches under the rows of each treatment, with a mean of 1
        soil = model.draw_persistent([np.random.default_rng(self.seed)])[:, : model.positions // self.copies]
        state.site_vigor[...] = np.tile(soil / soil.mean(), self.copies)
        years = []
        for year in range(self.years):
            draws = YearDraws(self.normal[year][None], self.block_normal[year][None])
            grow_to_harvest(model, state, self.season, draws, plant=year == 0)
            harvest_to_leaf_fall(model, state, self.season)
            years.append(seen(model, state))
        return Log(model, {name: np.concatenate([one[name] for one in years]) for name in years[0]})


def seen(model: BlockModel, trees: TreeState) -> dict[str, Float]:
    """What is kept of every tree at leaf fall of a year, (1, position)."""
    fixed = trees.source * model.expand(trees.totals["radiation"]) - trees.unused
    return {
        "crop": trees.last_crop.copy(),
        "number": trees.fruit_number.copy(),
        "set": trees.fruit_number + trees.sprayed + trees.thinned,
        "trunk": trees.trunk_area.copy(),
        "clusters": trees.flower_clusters.copy(),
        "stopped": trees.stopped.copy(),
        "height": trees.height.copy(),
        "fruit_dry": trees.fruit_dry_mass + trees.thinned_mass,
        "pruning": trees.pruning_minutes.copy(),
        "leaf_area": trees.leaf_area.copy(),
        "leaf_paid": trees.leaf_paid.copy(),
        "shoots": trees.shoot_leaf.copy(),
        "shoot_share": trees.shoot_leaf / np.maximum(trees.leaf_area, np.float32(1e-9)),
        # what wood respires is fixed and no dry matter
        "made": fixed - np.float32(model.physiology.wood_upkeep) * trees.wood,
    }


class Log:
    """Yearly numbers of every tree, by name, (year, tree) for one treatment."""

    def __init__(self, model: BlockModel, kept: dict[str, Float]) -> None:
        self.model, self.kept = model, kept

    def of(self, name: str, group: int = 0) -> Float:
        if name == "wood_mass":
            p = self.model.physiology
            return np.asarray(WOOD_MASS(self.of("trunk", group), p.wood_mass, p.wood_exponent), dtype=np.float32)
        return self.kept[name][:, self.model.position_group == group]

    def mean(self, name: str, group: int = 0) -> Float:
        return self.of(name, group).mean(axis=1)

    def tonnes(self, group: int = 0) -> Float:
        """Yield [t/ha] by year, off the trees' own land."""
        return self.mean("crop", group) / self.model.land * 10

    def light(self, group: int = 0) -> Float:
        """Share of the light stopped."""
        return self.mean("stopped", group) / self.model.land
