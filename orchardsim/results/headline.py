"""The headline numbers of a run, one value per trial each: what the summary, the table and comparisons speak of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM
from orchardsim.core.units import HECTARE
from orchardsim.core.variables import RESULTS, Side, Variable
from orchardsim.results.farm import block_labels, by_trial, of_farm, of_label

if TYPE_CHECKING:
    import xarray

CUMULATIVE_LEAVES: Final = (5, 10)
"""Leaves to which yield is summed: the usual marks of the young and the full orchard."""


@dataclass(frozen=True)
class Headline:
    """One headline number.

    Attributes
    ----------
    path : tuple of str
        Where it stands in the summary: group, then block, then leaf, year or cause as far as they apply.
    values : array, (trial,)
        nan in trials that have no such number (no debt in a year, so no cover of it).
    worst : {"low", "high"}
        Side of the bad outcomes.
    worst_means : str
        That side in words.
    whole : bool
        Values are whole numbers.
    has_mean : bool
        Whether a mean makes sense.
    infinite_word : str
        What an infinite value is called.
    """

    path: tuple[str, ...]
    unit: str
    values: NDArray[np.float64]
    worst: Side
    worst_means: str
    whole: bool = False
    has_mean: bool = True
    infinite_word: str = "never"

    @property
    def name(self) -> str:
        """One name, unique within a run: the path joined by dots."""
        return ".".join(self.path)

    @property
    def by_step(self) -> bool:
        """Whether it is one of many, by leaf or year."""
        return self.path[0].endswith(("_by_leaf", "_by_year"))


@dataclass(frozen=True)
class LeafYield:
    """Yield per planted area of a block, or of the farm with its blocks aligned by leaf.

    Attributes
    ----------
    leaves : int array, (leaf,)
    years : tuple of tuples of int
        Years of the plan in which each leaf is met.
    area : float array, (leaf,) [m2]
        Planted area that has this leaf within the run.
    values : float array, (trial, leaf) [kg/ha]
    """

    block: str
    leaves: NDArray[np.int64]
    years: tuple[tuple[int, ...], ...]
    area: NDArray[np.float64]
    values: NDArray[np.float64]


def invests(dataset: xarray.Dataset) -> bool:
    """Whether the plan invests anything; one that only keeps what stands has no payback and no rate of return."""
    return not bool(np.isnan(dataset["payback_year"].values).all())


def yield_by_leaf(dataset: xarray.Dataset, block: str) -> LeafYield:
    """Picked fruit per hectare planted, by leaf [kg/ha].

    Under ``farm`` each leaf sums the blocks that reach it within the run, over the planted area of those blocks.
    """
    members = block_labels(dataset) if block == FARM else [block]
    mass: dict[int, NDArray[np.float64]] = {}
    area: dict[int, float] = {}
    years: dict[int, set[int]] = {}
    for label in members:
        leaf = dataset["leaf"].sel(block=label).values
        planted = float(dataset["planted_area"].sel(block=label))
        harvested = dataset["harvested_mass"].sel(block=label).values
        for position in np.flatnonzero(leaf >= 1):
            number = int(leaf[position])
            mass[number] = mass.get(number, 0.0) + harvested[:, position]
            area[number] = area.get(number, 0.0) + planted
            years.setdefault(number, set()).add(int(dataset["year"].values[position]))
    leaves = sorted(mass)
    areas = np.array([area[leaf] for leaf in leaves])
    columns = [mass[leaf] / (area[leaf] / HECTARE) for leaf in leaves]
    values = np.stack(columns, axis=1) if columns else np.empty((dataset.sizes["trial"], 0))
    return LeafYield(
        block, np.array(leaves, dtype=np.int64), tuple(tuple(sorted(years[leaf])) for leaf in leaves), areas, values
    )


def cumulative_yield(table: LeafYield, leaf: int) -> NDArray[np.float64] | None:
    """Yield summed over leaf 1 to ``leaf`` [kg/ha], or None where the run does not hold all of them.

    For a farm whose blocks do not all reach that leaf, None as well: a sum over changing land would mislead.
    """
    wanted = np.arange(1, leaf + 1)
    if not np.isin(wanted, table.leaves).all():
        return None
    columns = np.searchsorted(table.leaves, wanted)
    if not np.allclose(table.area[columns], table.area.max()):
        return None
    total: NDArray[np.float64] = table.values[:, columns].sum(axis=1)
    return total


def headlines(dataset: xarray.Dataset) -> Iterator[Headline]:
    """Every headline number, in the order in which the summary lists them: yields, then the variable table's rows."""
    yield from _yields(dataset)
    for row in RESULTS.values():
        if row.name in dataset:
            yield from _of_row(dataset, row)


def _yields(dataset: xarray.Dataset) -> Iterator[Headline]:
    tables = {label: yield_by_leaf(dataset, label) for label in (*block_labels(dataset), FARM)}
    for label, table in tables.items():
        for column, leaf in enumerate(table.leaves):
            path = ("yield_per_area_by_leaf", label, str(leaf))
            yield Headline(path, "kg/ha", table.values[:, column], "low", "a small crop")
    for leaf in CUMULATIVE_LEAVES:
        for label, table in tables.items():
            total = cumulative_yield(table, leaf)
            if total is not None:
                yield Headline((f"cumulative_yield_to_leaf_{leaf}", label), "kg/ha", total, "low", "a small crop")


def _of_row(dataset: xarray.Dataset, row: Variable) -> Iterator[Headline]:
    if row.headline == "run":
        for label in (*block_labels(dataset), *([FARM] if row.over_blocks != "none" else [])):
            yield _headline(dataset, row, (row.name, label), over_run(dataset, row, label))
    elif row.headline == "year":
        values = of_farm(dataset, row.name).transpose("trial", "year").values
        for position, year in enumerate(dataset["year"].values):
            yield from _some(dataset, row, (f"{row.name}_by_year", str(year)), values[:, position])
    elif row.headline == "trial":
        yield from _some(dataset, row, (row.name,), dataset[row.name].values)


def over_run(dataset: xarray.Dataset, row: Variable, label: str) -> NDArray[np.float64]:
    """A variable of a block or of the farm over the whole run: a sum of what adds up, else the mean of the years."""

    def whole(some: xarray.Dataset) -> xarray.DataArray:
        values = of_label(some, row.name, label)
        if row.over_blocks == "sum":
            return values.sum([dim for dim in values.dims if dim != "trial"])
        return values.mean("year")

    return by_trial(dataset, [row.name], whole)


def _some(
    dataset: xarray.Dataset, row: Variable, path: tuple[str, ...], values: NDArray[np.floating]
) -> Iterator[Headline]:
    # No debt in a year, so no cover of it; no fresh fruit, so no price of it; nothing invested, so no return.
    if not np.isnan(values).all():
        yield _headline(dataset, row, path, values)


def _headline(dataset: xarray.Dataset, row: Variable, path: tuple[str, ...], values: NDArray[np.floating]) -> Headline:
    return Headline(
        path,
        row.unit.replace("currency", str(dataset.attrs["currency"])),
        np.asarray(values, dtype=np.float64),
        row.worst,
        row.worst_means,
        row.whole,
        row.has_mean,
        row.infinite_word,
    )
