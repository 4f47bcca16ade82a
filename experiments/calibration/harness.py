"""The trees alone through mean seasons: the model's own year without losses, weather or crews."""

from __future__ import annotations

import dataclasses
import functools
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import address
from orchardsim.core.handover import COVER_LEVELS, Reach
from orchardsim.core.labels import FRESH
from orchardsim.core.streams import Streams
from orchardsim.trees import model as trees
from orchardsim.trees.block import BlockModel
from orchardsim.trees.parameters import (
    BlockPlan,
    Cultivar,
    Layout,
    Physiology,
    Stock,
    Training,
    TreeGrade,
    TreesOfGroup,
)
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.variation import YearDraws, draw_year

T = TypeVar("T")
CATALOGUE = Path(__file__).parents[2] / "orchardsim" / "catalogue"


def load_physiology(**changes: float) -> Physiology:
    """Shared parameters from the catalogue, some of them changed."""
    with (CATALOGUE / "physiology.toml").open("rb") as stream:
        table = tomllib.load(stream)
    values = {name: float(row["value"]) for name, row in table.items()}
    return Physiology(**{**values, **changes})


@dataclass(frozen=True)
class Climate:
    """Mean drivers of a place and cultivar by phase: radiation [MJ/m2], degree days [K day], factors [1]."""

    radiation: tuple[float, float, float, float]
    degree_days: tuple[float, float, float, float]
    temperature_factor: tuple[float, float, float, float]
    water_factor: float = 1.0
    chill_fraction: float = 1.0
    frost_kill: float = 0.06
    pollination_hours: float = 44.0
    early_heat: float = 840.0


NORTH = {
    "Gala": Climate((338, 552, 680, 298), (545, 642, 1112, 425), (0.82, 0.99, 0.99, 0.91)),
    "Honeycrisp": Climate((324, 552, 779, 199), (546, 642, 1274, 262), (0.83, 0.99, 0.99, 0.87)),
    "late": Climate((333, 551, 882, 95), (550, 642, 1423, 111), (0.83, 0.99, 0.99, 0.77)),
}
"""Means over 20 seasons of the season room for experiments/score/north.toml: 43 degrees north, invented normals."""


def climate_of(plan: BlockPlan) -> Climate:
    """The northern climate as the cultivar that the block is named for sees it."""
    return NORTH.get(plan.name, NORTH["late"])


def season_of(climate: Climate, trials: int, groups: int) -> SeasonForTrees:
    """A mean season for every trial."""
    return season_by_group([climate] * groups, trials)


def season_by_group(climates: Sequence[Climate], trials: int) -> SeasonForTrees:
    """A mean season for every trial, with a climate for each row group."""

    def full(*values: float | Sequence[float]) -> NDArray[np.float64]:
        one = np.array(values, dtype=float)
        return np.broadcast_to(one, (trials, len(climates), *one.shape[1:])).copy()

    seen = {field.name for field in dataclasses.fields(Climate)} - {"water_factor"}
    water = np.array([one.water_factor for one in climates])[:, None, None]
    return SeasonForTrees(
        sunburn_fraction=full(0.0),
        water_factor=np.broadcast_to(water, (trials, len(climates), 4, len(COVER_LEVELS))).copy(),
        **{name: full(*(getattr(one, name) for one in climates)) for name in seen},
    )


def entry(file: str, name: str, kind: type[T], **changes: object) -> T:
    """An entry of the catalogue, some of its numbers changed."""
    with (CATALOGUE / f"{file}.toml").open("rb") as stream:
        row = tomllib.load(stream)[name]
    names = {field.name for field in dataclasses.fields(kind)}  # type: ignore[arg-type]
    values = {key: _plain(cell["value"]) for key, cell in row.items() if key in names}
    return kind(**{**values, **changes})


def _plain(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def own_target(name: str) -> tuple[float, ...]:
    """The crop target that the catalogue gives a cultivar, by leaf."""
    with (CATALOGUE / "cultivars.toml").open("rb") as stream:
        return tuple(tomllib.load(stream)[name]["crop_load_target"]["value"])


@functools.cache
def stock(name: str) -> Stock:
    return entry("rootstocks", name, Stock)


@functools.cache
def cultivar(name: str) -> Cultivar:
    return entry("cultivars", name, Cultivar)


@functools.cache
def grade(name: str) -> TreeGrade:
    return entry("tree_grades", name, TreeGrade)


def training(name: str, **changes: object) -> Training:
    return entry("training", name, Training, **changes)


def block(
    stocks: Sequence[Stock],
    scion: str | Cultivar,
    tree: TreeGrade,
    system: Training,
    tree_spacing: float,
    row_spacing: float,
    target: Sequence[float],
    *,
    rows: int = 6,
    trees_per_row: int = 40,
    **more: Any,
) -> BlockPlan:
    """A block of row groups that differ in their stock; ``rows`` rows of each; ``more`` of the plan's own fields."""
    name, scion = (scion, cultivar(scion)) if isinstance(scion, str) else ("other", scion)
    kinds = [(one, scion, tuple(target)) for one in stocks]
    return block_of(name, kinds, tree, system, (row_spacing, tree_spacing), (rows, trees_per_row), **more)


def block_of(
    name: str,
    kinds: Sequence[tuple[Stock, Cultivar, tuple[float, ...]]],
    tree: TreeGrade,
    system: Training,
    spacing: tuple[float, float],
    size: tuple[int, int],
    **more: Any,
) -> BlockPlan:
    """A block of row groups, each of a stock, a cultivar and a crop target.

    ``spacing`` [m] is between rows and trees; ``size`` is rows of each group, and trees in a row.
    """
    count, (rows, per_row) = len(kinds), size
    layout = Layout(
        rows=rows * count,
        trees_per_row=per_row,
        trees=rows * count * per_row,
        row_spacing=spacing[0],
        tree_spacing=spacing[1],
        row_direction=0.0,
        group=tuple(np.repeat(np.arange(count), rows).tolist()),
    )
    groups = (
        TreesOfGroup(
            label=str(number),
            stock=wood,
            cultivar=scion,
            grade=tree,
            training=system,
            crop_load_target=target,
            pollen_distance=5.0,
            pollen_overlap=0.97,
        )
        for number, (wood, scion, target) in enumerate(kinds)
    )
    own = {"site_growth": 1.0, "latitude": 43.0, **more}
    return BlockPlan(name=name, layout=layout, groups=tuple(groups), year_planted=0, **own)


@dataclass(frozen=True)
class Care:
    """What is done of a year's work: shares of it, and days of delay of thinning."""

    thinned: float = 1.0
    late: float = 0.0
    pruned: float = 1.0
    summer_pruned: float = 1.0


ALL_IN_TIME = Care()


def grow_to_harvest(
    model: BlockModel,
    state: TreeState,
    season: SeasonForTrees,
    draws: YearDraws,
    *,
    plant: bool,
    care: Care = ALL_IN_TIME,
) -> trees.DormantWork:
    """Let a block without losses through a year until its fruit is ripe; trees are planted in it or stand already."""
    one = np.ones((len(state.alive), model.groups))
    dormant = trees.ask_dormant_work(model, state)
    if plant:
        model.plant(state, draws)
    trees.apply_pruning(model, state, Reach(one * care.pruned, one * 0))
    trees.bloom_to_closed_canopy(model, state, season, draws)
    trees.apply_thinning(model, state, one * care.thinned, one * care.late)
    trees.closed_canopy_to_harvest(model, state, season)
    return dormant


def pick(model: BlockModel, state: TreeState, season: SeasonForTrees, care: Care = ALL_IN_TIME) -> trees.Harvest:
    """Pick all fruit when it is ripe."""
    one = np.ones((len(state.alive), model.groups))
    trees.ask_harvest_work(model, state)
    trees.apply_summer_pruning(model, state, season, Reach(one * care.summer_pruned, one * 0))
    return trees.apply_picking(model, state, np.ones((*one.shape, model.pass_count)), one * 0)


@dataclass
class Run:
    """Result variables over (year, trial, group), and per-tree arrays over (year, trial, position) if asked for."""

    values: dict[str, NDArray[np.float64]]
    trees: dict[str, NDArray[np.float32]]
    biennial_index: NDArray[np.float64]
    model: BlockModel

    def yield_per_hectare(self, name: str = "crop_mass") -> NDArray[np.float64]:
        """[t/ha] of the groups' own land, (year, trial, group)."""
        return self.values[name] / (self.model.group_trees * self.model.land) * 10


def run_trees(
    plan: BlockPlan,
    physiology: Physiology,
    years: int,
    *,
    trials: int = 2,
    seed: int = 1,
    climate: Climate | None = None,
    care: Care = ALL_IN_TIME,
    gaps_in_leaf: int = 0,
    tree_output: bool = False,
    even: bool = False,
) -> Run:
    """Plant a block and let the trees through ``years`` seasons without losses.

    ``even`` sets every spread between trees to zero: the mean tree. Every fourth tree is taken out before
    ``gaps_in_leaf``.
    """
    if even:
        spreads = ("site_spread", "tree_spread", "set_spread", "block_set_spread", "thinning_spread")
        physiology = dataclasses.replace(physiology, **dict.fromkeys(spreads, 0.0))
    model = BlockModel(plan, physiology)
    streams = Streams(seed)
    state = model.new_state(trials)
    state.site_vigor[...] = model.draw_persistent([streams.at("soil", "trial", trial=t) for t in range(trials)])
    season = season_of(climate or climate_of(plan), trials, model.groups)
    rows: list[dict[str, NDArray[np.float64]]] = []
    per_tree: list[dict[str, NDArray[np.float32]]] = []
    for year in range(years):
        draws = draw_year(address(streams, "trees", "trial", range(trials), year), model.positions)
        if year + 1 == gaps_in_leaf:
            model.kill(state, np.broadcast_to(np.arange(model.positions) % 4 == 1, state.alive.shape))
        dormant = grow_to_harvest(model, state, season, draws, plant=year == 0, care=care)
        picked = pick(model, state, season, care)
        trees.harvest_to_leaf_fall(model, state, season)
        row = trees.observe(model, state)
        share = picked.packed_mass / np.maximum(picked.harvested_mass, 1e-9)[..., None]
        row["fresh_share"] = share[..., FRESH].sum(-1)
        row["best_share"], row["juice_share"] = share[..., 0], share[..., -1]
        row["pruning_hours"] = dormant.pruning_hours
        row["leaf_light"] = model.total(state.leaf_light) / model.group_trees
        rows.append(row)
        if tree_output:
            per_tree.append(trees.tree_output(state))
    values = {name: np.stack([row[name] for row in rows]) for name in rows[0]}
    kept = {name: np.stack([one[name] for one in per_tree]) for name in per_tree[0]} if per_tree else {}
    return Run(values, kept, trees.biennial_index(model, state), model)
