"""What plans are compared by: one number per trial of the whole plan, each with its unit and better side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.glossary import term
from orchardsim.core.labels import FARM, FRESH_GRADES, SHARED
from orchardsim.core.ledger_items import items_of
from orchardsim.core.units import HECTARE
from orchardsim.plan import Plan
from orchardsim.results.farm import whole_farm
from orchardsim.results.headline import CUMULATIVE_LEAVES, cumulative_yield, yield_by_leaf
from orchardsim.results.study import MeasureFacts

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

EARLY_YEAR: Final = 10
"""Year up to which picked fruit is summed to compare plans by the calendar."""


def _table(*rows: MeasureFacts) -> dict[str, MeasureFacts]:
    return {row.key: row for row in rows}


MEASURES: Final = _table(
    MeasureFacts("npv", term("npv"), "at year 0, with the blocks' remaining value", "money", "high"),
    MeasureFacts("npv_without_remaining_value", term("npv_without_remaining_value"),
                 "trees and land count nothing then", "money", "high"),
    MeasureFacts("irr", term("irr"), "per year", "1/year", "high", False),
    MeasureFacts("payback_year", term("payback_year"), "summed cash flow stays above zero", "year", "low", False),
    MeasureFacts("peak_borrowing", term("peak_borrowing"), "deepest debt at a quarter's end", "money", "low"),
    MeasureFacts("outlay", "money invested", "present value of planting, building and machines", "money", "low"),
    MeasureFacts("npv_per_area", "NPV per area", "of land with headlands", "money/ha", "high"),
    MeasureFacts("borrowing_per_area", "peak borrowing per area", "of land with headlands", "money/ha", "low"),
    MeasureFacts("npv_per_money", "NPV per money invested", "of planting and building", "money/money", "high"),
    MeasureFacts("npv_per_hour", "NPV per hour", "of all work on the trees, wages already paid", "money/hour", "high"),
    MeasureFacts("picked_per_area", "picked in all years", "per land with headlands", "kg/ha", "high"),
    MeasureFacts("picked_early", f"picked to year {EARLY_YEAR}", "per land with headlands", "kg/ha", "high"),
    *(MeasureFacts(f"cumulative_yield_to_leaf_{leaf}", f"picked to leaf {leaf}", "per planted land", "kg/ha", "high")
      for leaf in CUMULATIVE_LEAVES),
    MeasureFacts("picked_per_hour", "picked per hour", "of all work on the trees", "kg/hour", "high"),
    MeasureFacts("hours_per_area", "hours of work", "all years, per land with headlands", "hour/ha", "low"),
    MeasureFacts("trees_lost_share", "trees lost", "all years, per tree planted at first", "1", "low"),
)  # fmt: skip
"""What plans are compared by."""

MATURE_LEAF: Final = 9
"""Leaf from which a close planting counts as mature: full crops come in leaf 5 to 8 (common practice)."""
YOUNG_LEAF: Final = 3
"""Leaf up to which a lost tree is nearly always replanted (common practice)."""

STUDY_MEASURES: Final = MEASURES | _table(
    MeasureFacts("light_stopped", "light stopped", "most of any year, mean over planted land", "1", "high"),
    MeasureFacts("fresh_share", term("pack_out"), "extra fancy and fancy of picked fruit, all years", "1", "high"),
    MeasureFacts("fruit_mass", "fruit mass", "mean of all picked years", "g", "high"),
    MeasureFacts("thinning_hours", "hours of thinning", "all years", "hour", "low"),
    MeasureFacts("pruning_hours", "hours of dormant pruning", "all years", "hour", "low"),
    MeasureFacts("mature_yield", f"yield from leaf {MATURE_LEAF} on", "picked a year, per planted land", "kg/ha",
                 "high"),
    MeasureFacts("lost_young", f"trees lost to leaf {YOUNG_LEAF}", "per tree planted at first", "1", "low"),
)  # fmt: skip
"""What cells of a study are compared by."""


def study_values(plan: Plan, dataset: xarray.Dataset) -> dict[str, Array]:
    """Further measures of a run, key -> (trial,); nan where there is no such number."""
    area = dataset["planted_area"].fillna(0)
    light = dataset["light_interception"].fillna(0)
    picked = dataset["harvested_mass"].sum(["year", "block"]).values
    number = dataset["fruit_number"].sum(["year", "block"]).values
    fresh = dataset["packed_mass"].sel(grade=list(FRESH_GRADES)).sum(["year", "block", "grade"]).values
    hours = dataset["labour_hours"].sum(["year", "block"])
    some = picked > 0
    table = yield_by_leaf(dataset, FARM)
    mature = table.values[:, table.leaves >= MATURE_LEAF]
    members = [label for label in dataset["block"].values if label != SHARED]
    leaf = dataset["leaf"].sel(block=members).values
    lost = dataset["trees_lost"].sel(block=members).sum("cause").values
    trees = sum(block.geometry.trees for block in plan.blocks)
    young = np.where((leaf >= 1) & (leaf <= YOUNG_LEAF), lost, 0).sum(axis=(1, 2))
    none = np.full(picked.shape, np.nan)
    return {
        "light_stopped": ((light * area).sum("block") / area.sum("block")).max("year").values.astype(np.float64),
        "fresh_share": np.divide(fresh, picked, out=none.copy(), where=some),
        "fruit_mass": np.divide(
            1000 * dataset["crop_mass"].sum(["year", "block"]).values, number, out=none.copy(), where=number > 0
        ),
        "thinning_hours": hours.sel(task="thinning").values.astype(np.float64),
        "pruning_hours": hours.sel(task="dormant_pruning").values.astype(np.float64),
        "mature_yield": mature.mean(axis=1) if mature.size else none,
        "lost_young": young / trees if trees else none,
    }


def what_measures_read(dataset: xarray.Dataset) -> xarray.Dataset:
    """Only what measures and comparisons read, so that many plans fit in memory."""
    names = [
        "harvest_year", "harvested_mass", "labour_hours", "trees_lost", "ledger", "net_cash_flow", "leaf",
        "planted_area", "gross_area", "price_luck", "npv", "npv_without_remaining_value", "irr", "payback_year",
        "peak_borrowing", "trees_planted", "establishment_cost", "sold_mass", "sold_revenue",
    ]  # fmt: skip
    return dataset[names]


def plan_values(plan: Plan, dataset: xarray.Dataset) -> dict[str, Array]:
    """Every measure of a run, key -> (trial,) in the measure's unit; nan where the plan has no such number."""
    trials = dataset.sizes["trial"]
    farm = whole_farm(dataset)
    hectares = plan.gross_area / HECTARE
    npv = farm["npv"].values
    spent = -farm["ledger"].sel(ledger_item=items_of("capital")).sum("ledger_item").values
    discount = (1 + plan.finance.discount_rate) ** np.arange(spent.shape[1])
    # Rounded to a millionth of the currency, so that an outlay that does not vary shows no spread of rounding.
    outlay = np.round((spent / discount).sum(axis=1), 6)
    hours = farm["labour_hours"].sum(["year", "task"]).values
    picked = farm["harvested_mass"].values
    table = yield_by_leaf(dataset, FARM)
    trees = sum(block.geometry.trees for block in plan.blocks)
    nothing = np.full(trials, np.nan)
    values: dict[str, Array] = {
        name: farm[name].values.astype(np.float64)
        for name in ("npv", "npv_without_remaining_value", "irr", "payback_year", "peak_borrowing")
    }
    planting = any(block.year_planted >= 0 for block in plan.blocks)
    if not planting:
        # The first year's costs of a kept block are no investment, and a rate on them would mislead.
        values["irr"] = nothing
    values |= {
        "outlay": outlay,
        "npv_per_area": npv / hectares,
        "borrowing_per_area": farm["peak_borrowing"].values / hectares,
        # A kept orchard invests nothing (or next to nothing: a machine's replacement), and a ratio would mislead.
        "npv_per_money": npv / outlay if (outlay > 0).all() and planting else nothing,
        "npv_per_hour": npv / hours if (hours > 0).all() else nothing,
        "picked_per_area": picked.sum(axis=1) / hectares,
        "picked_early": picked[:, : EARLY_YEAR + 1].sum(axis=1) / hectares
        if picked.shape[1] > EARLY_YEAR + 1
        else nothing,
        "picked_per_hour": picked.sum(axis=1) / hours if (hours > 0).all() else nothing,
        "hours_per_area": hours / hectares,
        "trees_lost_share": farm["trees_lost"].sum(["year", "cause"]).values / trees if trees else nothing,
    }  # fmt: skip
    for leaf in CUMULATIVE_LEAVES:
        total = cumulative_yield(table, leaf)
        values[f"cumulative_yield_to_leaf_{leaf}"] = nothing if total is None else total
    return values
