"""The variable table: one row per result variable, with dims, unit, bounds and meaning.

Stages, result files and outputs take names, units and meanings from here, so that a name means one thing
everywhere. ``stage`` is the room that writes the variable.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Variable:
    """One row of the table. ``low`` and ``high`` are hard bounds (None = unbounded); ``whole`` = a whole number."""

    name: str
    dims: tuple[str, ...]
    unit: str
    meaning: str
    stage: str
    low: float | None = None
    high: float | None = None
    whole: bool = False
    may_be_missing: bool = False


BLOCK: Final = ("trial", "year", "block")
TREE: Final = ("tree_trial", "year", "tree")
"""Single trees, kept for the trials asked for."""


def _table(*rows: Variable) -> dict[str, Variable]:
    table = {row.name: row for row in rows}
    if len(table) != len(rows):
        raise ValueError("a variable stands twice in the table")
    return table


RESULTS: Final = _table(
    Variable(
        "harvest_year",
        ("trial", "year"),
        "1",
        "calendar year of the record that the season is taken from",
        "weather",
        whole=True,
    ),
    Variable(
        "leaf",
        ("year", "block"),
        "1",
        "growing season of the block's first planting; 0 or less before it",
        "simulation",
        whole=True,
    ),
    Variable("trees_planted", BLOCK, "1", "trees planted in the block's first planting", "operations", 0, whole=True),
    Variable("trees_alive", BLOCK, "1", "living trees at leaf fall", "trees", 0, whole=True),
    Variable("trees_lost", (*BLOCK, "cause"), "1", "trees that died, by cause", "trees", 0, whole=True),
    Variable("trees_removed", BLOCK, "1", "living trees grubbed out by plan", "trees", 0, whole=True),
    Variable("trees_replanted", BLOCK, "1", "gaps filled", "operations", 0, whole=True),
    Variable("trees_ordered", BLOCK, "1", "trees ordered from the nursery", "operations", 0, whole=True),
    Variable("spares_on_hand", BLOCK, "1", "replacement trees held at leaf fall", "operations", 0, whole=True),
    Variable(
        "trunk_area_mean",
        BLOCK,
        "cm2",
        "mean trunk cross-sectional area of living trees at leaf fall",
        "trees",
        0,
        3000,
        may_be_missing=True,
    ),
    Variable("canopy_height_mean", BLOCK, "m", "mean height of living trees", "trees", 0, 12, may_be_missing=True),
    Variable(
        "light_interception",
        BLOCK,
        "1",
        "share of the season's light that the block's trees stop, gaps included",
        "trees",
        0,
        1,
    ),
    Variable(
        "bloom_day",
        BLOCK,
        "day",
        "full bloom, day of the biological year (0 = 1 October; 1 April in the south)",
        "season",
        0,
        457,
    ),
    Variable("frost_kill", BLOCK, "1", "share of flowers killed by frost", "season", 0, 1),
    Variable("hail_fraction", BLOCK, "1", "share of the fruit marked by hail", "season", 0, 1),
    Variable(
        "crop_load_mean",
        BLOCK,
        "cm-2",
        "fruit at harvest per trunk area at the end of that season, mean over living trees",
        "trees",
        0,
        200,
        may_be_missing=True,
    ),
    Variable("flower_clusters", BLOCK, "1", "flower clusters at bloom, before frost", "trees", 0),
    Variable("fruit_number", BLOCK, "1", "fruit on the trees at harvest", "trees", 0),
    Variable("fruit_mass_mean", BLOCK, "g", "mean mass of a fruit at harvest", "trees", 0, 900, may_be_missing=True),
    Variable("crop_mass", BLOCK, "kg", "fruit grown to harvest", "trees", 0),
    Variable("harvested_mass", BLOCK, "kg", "fruit picked", "operations", 0),
    Variable("packed_mass", (*BLOCK, "grade"), "kg", "picked fruit by grade; the rest is culled", "trees", 0),
    Variable(
        "boxed_mass",
        (*BLOCK, "box_count"),
        "kg",
        "fresh fruit packed by number of fruit in the plan's box; sums to the fresh grades of packed_mass",
        "trees",
        0,
    ),
    Variable(
        "biennial_index",
        ("trial", "block"),
        "1",
        "mean over trees of the biennial bearing index from leaf 5 on (Hoblyn et al. 1936)",
        "trees",
        0,
        1,
        may_be_missing=True,
    ),
    Variable(
        "pass_price",
        BLOCK,
        "1",
        "wholesale price of the fruit picked over the stated price, by picking pass",
        "operations",
        0,
        3,
    ),
    Variable(
        "storage_surplus",
        BLOCK,
        "kg",
        "fruit that was to wait in the store, found no room and was sold for processing or juice",
        "economy",
        0,
    ),
    Variable("labour_hours", (*BLOCK, "task"), "hour", "hours of work by task", "operations", 0),
    Variable(
        "labour_undone",
        (*BLOCK, "task"),
        "hour",
        "hours of work that was wanted in the year and not done in it",
        "operations",
        0,
    ),
    Variable(
        "labour_carried",
        (*BLOCK, "task"),
        "hour",
        "of the undone hours those that the next year's work inherits; the others are dropped",
        "operations",
        0,
    ),
    Variable("irrigation_depth", BLOCK, "mm", "water applied, frost protection included", "season", 0),
    Variable("protection_hours", BLOCK, "hour", "hours of frost protection", "season", 0),
    Variable("protection_nights", BLOCK, "1", "nights on which frost protection ran", "season", 0, whole=True),
    Variable("protection_water", BLOCK, "mm", "water used for frost protection", "season", 0),
    Variable("protection_fuel", BLOCK, "L", "fuel used for frost protection", "season", 0),
    Variable("ledger", (*BLOCK, "item"), "currency", "money in (positive) and out (negative) by item", "economy"),
    Variable("net_cash_flow", BLOCK, "currency", "sum of the ledger's items", "economy"),
    Variable(
        "account_balance",
        ("trial", "year", "quarter"),
        "currency",
        "balance of the farm's account at the end of each quarter; below 0 is credit drawn",
        "economy",
    ),
    Variable(
        "tree_leaf",
        TREE,
        "1",
        "growing season of the tree that stands there at leaf fall; 0 where none does",
        "trees",
        0,
    ),
    Variable("tree_trunk_area", TREE, "cm2", "trunk cross-sectional area at leaf fall", "trees", 0, 3000),
    Variable("tree_crop_mass", TREE, "kg", "fruit grown to harvest", "trees", 0),
    Variable("tree_fruit_number", TREE, "1", "fruit at harvest", "trees", 0),
    Variable("tree_flower_clusters", TREE, "1", "flower clusters at bloom, before frost", "trees", 0),
    Variable("planted_area", ("block",), "m2", "land under the trees' own spacing", "plan", 0),
    Variable("gross_area", ("block",), "m2", "land with headlands", "plan", 0),
    Variable(
        "npv",
        ("trial",),
        "currency",
        "net present value at year 0 of the cash flow before interest, with the remaining value of living blocks",
        "economy",
    ),
    Variable(
        "npv_without_remaining_value",
        ("trial",),
        "currency",
        "net present value at year 0 of the cash flow before interest, living blocks worth nothing at the end",
        "economy",
    ),
    Variable("irr", ("trial",), "1", "internal rate of return; -inf where there is none", "economy"),
    Variable(
        "payback_year",
        ("trial",),
        "year",
        "first year from which the summed net cash flow stays at or above zero; inf if never",
        "economy",
    ),
    Variable("peak_borrowing", ("trial",), "currency", "largest debt at the end of any quarter", "economy", 0),
    Variable("peak_borrowing_year", ("trial",), "year", "year of the largest debt", "economy", 0, whole=True),
    Variable(
        "peak_borrowing_quarter",
        ("trial",),
        "1",
        "quarter of that year: 0 winter, 1 spring, 2 summer, 3 autumn",
        "economy",
        0,
        3,
        whole=True,
    ),
    Variable(
        "discounted_payback_year",
        ("trial",),
        "year",
        "first year from which the summed discounted cash flow before interest stays at or above zero; inf if never",
        "economy",
    ),
    Variable(
        "equivalent_annual_annuity",
        ("trial",),
        "currency",
        "level yearly amount from year 1 on that is worth as much as npv",
        "economy",
    ),
    Variable(
        "irr_without_remaining_value",
        ("trial",),
        "1",
        "internal rate of return, living blocks worth nothing at the end; -inf where there is none",
        "economy",
    ),
    Variable("irr_roots", ("trial",), "1", "number of rates of return at which npv is zero", "economy", 0, whole=True),
    Variable(
        "establishment_cost",
        ("trial",),
        "currency",
        "present value of what is spent on land, planting, building and machines",
        "economy",
    ),
    Variable(
        "negative_years",
        ("trial",),
        "1",
        "years with a negative net cash flow, interest included",
        "economy",
        0,
        whole=True,
    ),
    Variable(
        "sold_mass",
        ("trial", "year", "outlet", "grade"),
        "kg",
        "fruit of the year's harvest by outlet and grade",
        "economy",
        0,
    ),
    Variable(
        "sold_revenue",
        ("trial", "year", "outlet", "grade"),
        "currency",
        "what it brings, paid now or later, before packing, selling charges and levies",
        "economy",
        0,
    ),
    Variable(
        "price_luck",
        ("trial", "year"),
        "1",
        "wholesale price over the plan's, mean over labels, without the part that follows the region's crop",
        "economy",
        0,
    ),
    Variable("family_hours", ("trial", "year"), "hour", "hours that the family worked", "economy", 0),
    Variable(
        "family_labour_value",
        ("trial", "year"),
        "currency",
        "what the family's hours cost at the plan's wages, whether they are paid or not",
        "economy",
        0,
    ),
    Variable(
        "debt_service_cover",
        ("trial", "year"),
        "1",
        "cash flow before interest over interest and principal; missing where nothing was due",
        "economy",
        may_be_missing=True,
    ),
    Variable(
        "household_draw_bearable",
        ("trial",),
        "currency",
        "largest level yearly draw that leaves no debt at the end and stays within a stated credit line",
        "economy",
        0,
    ),
    Variable(
        "break_even_price",
        ("trial",),
        "currency/kg",
        "packed price of fresh fruit at which npv_without_remaining_value is zero, before income tax",
        "economy",
        may_be_missing=True,
    ),
)
"""Result variables. Whole-farm amounts stand under the block label ``farm``."""
