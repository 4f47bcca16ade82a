"""The trees alone through the years, with mean or noisy season drivers: fast enough to calibrate with."""

from __future__ import annotations

import dataclasses
import functools
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import address
from orchardsim.core.handover import COVER_LEVELS
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
    Thinning,
    Training,
    TreeGrade,
    TreesOfGroup,
)
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.variation import draw_year

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

    def full(value: float | Sequence[float]) -> NDArray[np.float64]:
        return np.broadcast_to(np.asarray(value, float), (trials, groups, *np.shape(value))).copy()

    return SeasonForTrees(
        chill_fraction=full(1.0),
        frost_kill=full(climate.frost_kill),
        pollination_hours=full(climate.pollination_hours),
        early_heat=full(climate.early_heat),
        sunburn_fraction=full(0.0),
        radiation=full(climate.radiation),
        degree_days=full(climate.degree_days),
        temperature_factor=full(climate.temperature_factor),
        water_factor=np.full((trials, groups, 4, len(COVER_LEVELS)), climate.water_factor),
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
    site_growth: float = 1.0,
    rows: int = 6,
    trees_per_row: int = 40,
    thinning: Thinning | None = None,
    latitude: float = 43.0,
) -> BlockPlan:
    """A block of row groups that differ in their stock; ``rows`` rows of each."""
    count = len(stocks)
    name = scion if isinstance(scion, str) else "other"
    scion = cultivar(scion) if isinstance(scion, str) else scion
    layout = Layout(
        rows=rows * count,
        trees_per_row=trees_per_row,
        trees=rows * count * trees_per_row,
        row_spacing=row_spacing,
        tree_spacing=tree_spacing,
        row_direction=0.0,
        group=tuple(np.repeat(np.arange(count), rows).tolist()),
    )
    return BlockPlan(
        name=name,
        layout=layout,
        groups=tuple(
            TreesOfGroup(
                label=f"stock {i}",
                stock=one,
                cultivar=scion,
                grade=tree,
                training=system,
                crop_load_target=tuple(target),
                pollen_distance=5.0,
                pollen_overlap=0.97,
            )
            for i, one in enumerate(stocks)
        ),
        year_planted=0,
        site_growth=site_growth,
        thinning=thinning or Thinning(),
        latitude=latitude,
    )


def with_targets(plan: BlockPlan, targets: Sequence[tuple[float, ...]]) -> BlockPlan:
    """The same block with a crop target of its own for each row group."""
    groups = (
        dataclasses.replace(group, crop_load_target=target) for group, target in zip(plan.groups, targets, strict=True)
    )
    return dataclasses.replace(plan, groups=tuple(groups))


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
    tree_output: bool = False,
    even: bool = False,
) -> Run:
    """Plant a block and let the trees through ``years`` seasons without losses.

    ``even`` sets every spread between trees to zero: the mean tree.
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
    done = np.ones((trials, model.groups))
    for year in range(years):
        draws = draw_year(address(streams, "trees", "trial", range(trials), year), model.positions)
        pruning_hours = np.zeros((trials, model.groups))
        if year == 0:
            model.plant(state, draws)
        else:
            pruning_hours = trees.ask_dormant_work(model, state).pruning_hours
        trees.apply_pruning(model, state)
        bloom = trees.bloom_to_closed_canopy(model, state, season, draws)
        trees.apply_thinning(model, state, done, done * 0)
        trees.closed_canopy_to_harvest(model, state, season)
        trees.ask_harvest_work(model, state)
        trees.apply_summer_pruning(model, state, season)
        picked = trees.apply_picking(model, state, np.ones((trials, model.groups, model.pass_count)), done * 0)
        trees.harvest_to_leaf_fall(model, state, season)
        row = trees.observe(model, state)
        row["fresh_share"] = picked.packed_mass[..., FRESH].sum(-1) / np.maximum(picked.harvested_mass, 1e-9)
        row["best_share"] = picked.packed_mass[..., 0] / np.maximum(picked.harvested_mass, 1e-9)
        row["pruning_hours"] = pruning_hours
        row["excess"] = bloom.excess
        row["leaf_light"] = model.total(state.leaf_light) / model.group_trees
        rows.append({**row, **trees.dry_matter_budget(model, state)})
        if tree_output:
            per_tree.append(trees.tree_output(state))
    values = {name: np.stack([row[name] for row in rows]) for name in rows[0]}
    kept = {name: np.stack([one[name] for one in per_tree]) for name in per_tree[0]} if per_tree else {}
    return Run(values, kept, trees.biennial_index(model, state), model)
