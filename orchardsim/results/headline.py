"""The headline numbers of a run, one value per trial each: what the summary, the table and comparisons speak of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM
from orchardsim.core.units import HECTARE
from orchardsim.results.dataset import block_labels

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Side

CUMULATIVE_LEAVES: Final = (5, 10)
"""Leaves to which yield is summed: the usual marks of the young and the full orchard."""

WITHOUT_MEAN: Final = frozenset({"irr", "irr_without_remaining_value", "payback_year", "discounted_payback_year"})
"""Numbers without a mean: a late payback and a missing rate have no number to average."""


@dataclass(frozen=True)
class Headline:
    """One headline number.

    Attributes
    ----------
    path : tuple of str
        Where it stands in the summary: group, then block, then leaf, year or cause as far as they apply.
    unit : str
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
    """

    path: tuple[str, ...]
    unit: str
    values: NDArray[np.float64]
    worst: Side
    worst_means: str
    whole: bool = False
    has_mean: bool = True


@dataclass(frozen=True)
class LeafYield:
    """Yield per planted area of a block, or of the farm with its blocks aligned by leaf.

    Attributes
    ----------
    block : str
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


def headlines(dataset: xarray.Dataset) -> list[Headline]:
    """Every headline number, in the order in which the summary lists them."""
    return list(_headlines(dataset))


def _headlines(dataset: xarray.Dataset) -> Iterator[Headline]:
    currency = str(dataset.attrs["currency"])
    labels = [*block_labels(dataset), FARM]
    tables = {label: yield_by_leaf(dataset, label) for label in labels}
    for label, table in tables.items():
        for column, leaf in enumerate(table.leaves):
            yield Headline(
                ("yield_per_area_by_leaf", label, str(leaf)),
                "kg/ha",
                table.values[:, column],
                "low",
                "a small crop",
            )
    for leaf in CUMULATIVE_LEAVES:
        for label, table in tables.items():
            total = cumulative_yield(table, leaf)
            if total is not None:
                yield Headline((f"cumulative_yield_to_leaf_{leaf}", label), "kg/ha", total, "low", "a small crop")
    for name, words in (("trees_lost", "many trees lost"), ("trees_replanted", "many trees replanted")):
        for label in labels:
            counts = dataset[name].sel(block=label)
            total = counts.sum([dim for dim in counts.dims if dim != "trial"]).values.astype(np.float64)
            yield Headline((name, label), "1", total, "high", words, whole=True)
    flow = dataset["net_cash_flow"].sel(block=FARM).values
    for position, year in enumerate(dataset["year"].values):
        yield Headline(("net_cash_flow_by_year", str(year)), currency, flow[:, position], "low", "money out")
    cover = dataset["debt_service_cover"].values
    for position, year in enumerate(dataset["year"].values):
        if not np.isnan(cover[:, position]).all():
            words = "little earned for what falls due"
            yield Headline(("debt_service_cover_by_year", str(year)), "1", cover[:, position], "low", words)
    for name, unit, worst, words in _PER_TRIAL:
        whole = unit == "year" or name == "negative_years"
        values = dataset[name].values.astype(np.float64)
        if np.isnan(values).all():
            continue  # no fresh fruit, so no price of it
        yield Headline((name,), unit.replace("money", currency), values, worst, words, whole, name not in WITHOUT_MEAN)


_PER_TRIAL: Final[tuple[tuple[str, str, Side, str], ...]] = (
    ("npv", "money", "low", "a low value"),
    ("npv_without_remaining_value", "money", "low", "a low value"),
    ("equivalent_annual_annuity", "money", "low", "a low value"),
    ("irr", "1", "low", "a low rate, or none"),
    ("irr_without_remaining_value", "1", "low", "a low rate, or none"),
    ("payback_year", "year", "high", "a late payback, or never"),
    ("discounted_payback_year", "year", "high", "a late payback, or never"),
    ("peak_borrowing", "money", "high", "a high borrowing"),
    ("peak_borrowing_year", "year", "high", "a late peak: debt grows for longer"),
    ("negative_years", "1", "high", "many years with money out"),
    ("household_draw_bearable", "money", "low", "little left to live on"),
    ("break_even_price", "money/kg", "high", "a high price needed"),
)
"""Numbers with one value per trial: name, unit, worst side and what that side means."""
