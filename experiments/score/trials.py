"""The published trials as plan files, run through ``load_plan`` and ``simulate`` like any other plan."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from orchardsim.plan import load_plan
from orchardsim.simulation import simulate

RESEARCH_MEAN, GOOD_GROWER = 1.0, 1.57
"""The two site growth levels, fixed for all rows."""
BY_TRUNK_ALONE = 'fruit_per_land = "500 /m2"'
"""Thinning of trials of crop loads and densities: what the land is meant to bear sets no limit."""
HEAD = """title = "{title}"
units = "metric"
currency = "USD"
[site]
latitude = "43 degree"
elevation = "150 m"
irrigated = true
row_direction = 0
site_growth = {growth}
[weather]
warming = {{ value = [{warming}], unit = "K" }}
[weather.normals]
temperature_max = {{ value = [-1, 0, 6, 13, 20, 25, 27.5, 26.5, 22, 15, 8, 2], unit = "degC" }}
temperature_min = {{ value = [-9, -9, -4, 2, 8, 13, 16, 15, 11, 5, 0, -6], unit = "degC" }}
rain = {{ value = [50, 45, 65, 75, 80, 90, 85, 80, 85, 80, 75, 60], unit = "mm" }}
wet_days = [12, 10, 12, 12, 12, 11, 10, 10, 10, 12, 13, 13]
"""
"""Monthly normals of a northern apple region from memory, with the weather room's assumed year-to-year spread."""


@dataclass(frozen=True)
class Group:
    """Rows of one stock and crop target; without a target the cultivar's own holds."""

    name: str
    stock: str
    target: str
    rows: int = 2


@dataclass(frozen=True)
class Trial:
    """A trial block."""

    title: str
    cultivar: str
    training: str
    grade: str
    tree_spacing: float
    row_spacing: float
    groups: Sequence[Group]
    trees_per_row: int = 40
    growth: float = RESEARCH_MEAN
    thinning: str = ""
    entries: str = ""
    years: int = 20
    options: dict[str, str] = field(default_factory=dict)

    def text(self, warming: float = 0.0) -> str:
        """The plan file."""
        head = HEAD.format(title=self.title, growth=self.growth, warming=", ".join([str(warming)] * 12))
        lines = [
            head,
            "[[block]]",
            'name = "trial"',
            f'training = "{self.training}"',
            f'tree_grade = "{self.grade}"',
            f'cultivar = "{self.cultivar}"',
            f'row_spacing = "{self.row_spacing} m"',
            f'tree_spacing = "{self.tree_spacing} m"',
            f'row_length = "{self.tree_spacing * self.trees_per_row + 0.01:.2f} m"',
            "year_planted = 0",
        ]
        for group in self.groups:
            lines += [
                "[[block.group]]",
                f'name = "{group.name}"',
                f'rootstock = "{group.stock}"',
                f"rows = {group.rows}",
            ]
            if group.target:
                lines.append(f"crop_load_target = {group.target}")
        lines += ["[[block.pollinizer]]", 'cultivar = "crab"', "every_tree = 10", "every_row = 2"]
        if self.thinning:
            lines += ["[block.thinning]", self.thinning]
        return "\n".join(lines) + "\n" + self.entries


@dataclass(frozen=True)
class Outcome:
    """Results of a trial: (trial, year, group) arrays and, where asked for, single trees (trial, year, tree)."""

    data: xr.Dataset
    labels: tuple[str, ...]
    land: NDArray[np.float64]
    rows: int

    def of(self, name: str) -> NDArray[np.float64]:
        """A variable over (trial, year, group)."""
        return self.data[name].sel(block=list(self.labels)).values

    def tonnes(self) -> NDArray[np.float64]:
        """Picked fruit [t/ha] of the trees' own land, (trial, year, group)."""
        return self.of("harvested_mass") / self.land * 10

    def per_tree(self) -> NDArray[np.float64]:
        """Crop per living tree [kg], (trial, year, group)."""
        return self.of("crop_mass") / np.maximum(self.of("trees_alive"), 1)

    def trees(self, name: str) -> NDArray[np.float64]:
        """Single trees of the first trials (trial, year, tree), NaN before planting and where a tree was replaced."""
        return self.data[f"tree_{name}"].values.astype(float)


def run_trial(trial: Trial, trials: int, *, seed: int = 11, warming: float = 0.0, single: int = 0) -> Outcome:
    """Run a trial block through the same way as a plan file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trial.toml"
        path.write_text(trial.text(warming), encoding="utf-8")
        plan = load_plan(path)
    # the two site levels are fixed: nothing else is open but luck
    data = simulate(
        plan, trials=trials, years=trial.years, seed=seed, single_trees=tuple(range(single)), futures="known"
    )
    block = plan.blocks[0]
    area = trial.tree_spacing * trial.row_spacing
    return Outcome(data, block.labels, np.array([group.trees for group in block.groups]) * area, block.geometry.rows)
