"""The variable table: one row per result variable; all that any room needs to know of it stands here.

Results, summaries, headline numbers, tables and pictures take name, dims, unit, bounds, meaning, label, worst side and
the way it adds over blocks from here. A new result is a row here and the line that fills it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.glossary import term

Side = Literal["low", "high"]
OverBlocks = Literal["sum", "tree mean", "fruit mean", "area mean", "none"]
Writer = Literal["plan", "weather", "year", "whole run", "money", "single trees", "futures"]
Headline = Literal["none", "run", "year", "trial"]
Shown = Literal["number", "percent", "money", "price", "year", "mass"]

WEIGHTS: Final[dict[OverBlocks, str]] = {
    "tree mean": "trees_alive",
    "fruit mean": "fruit_number",
    "area mean": "planted_area",
}
"""Way of adding over blocks -> the variable that weighs the blocks."""


@dataclass(frozen=True)
class Variable:
    """One row of the table.

    Attributes
    ----------
    unit : str
        "currency" stands for the plan's.
    meaning : str
        One line: what it is.
    writer : {"plan", "weather", "year", "whole run", "money", "single trees", "futures"}
        What fills it: the plan itself, the weather sample, the year loop, the end of the loop, the economy, or the
        trials whose single trees are kept; "futures": the open levels that a trial met.
    low, high : float or None
        Hard bounds; None = unbounded.
    whole : bool
        A whole number.
    over_blocks : {"sum", "tree mean", "fruit mean", "area mean", "none"}
        How blocks make the farm. What sums is 0 under the label ``shared`` unless the farm itself has some; what does
        not sum is missing there.
    worst : {"low", "high"}
        Side of the bad outcomes.
    worst_means : str
        That side in words; needed where there is a headline.
    infinite : float or None
        The only infinite value allowed: it stands for "never" (inf) or "none" (-inf).
    has_mean : bool
        Whether a mean over trials makes sense.
    headline : {"none", "run", "year", "trial"}
        The headline numbers made of it: one for each block and the farm over the whole run (a sum of what adds up, else
        the mean of the years), one for each year of the farm, or the trial's own value.
    note : str
        A few words beside the label in tables.
    shown : str
        Kind of display; see :attr:`display`.
    """

    name: str
    dims: tuple[str, ...]
    unit: str
    meaning: str
    writer: Writer
    low: float | None = None
    high: float | None = None
    whole: bool = False
    may_be_missing: bool = False
    over_blocks: OverBlocks = "none"
    worst: Side = "low"
    worst_means: str = ""
    infinite: float | None = None
    has_mean: bool = True
    headline: Headline = "none"
    note: str = ""
    shown: Shown | None = None

    @property
    def title(self) -> str:
        """The name for people."""
        return term(self.name)

    @property
    def display(self) -> Shown:
        """How values are written: by the unit, unless the row says otherwise."""
        if self.shown is not None:
            return self.shown
        by_unit: dict[str, Shown] = {"currency": "money", "currency/kg": "price", "year": "year", "kg": "mass"}
        if self.unit in by_unit:
            return by_unit[self.unit]
        return "percent" if self.unit == "1" and not self.whole else "number"

    @property
    def infinite_word(self) -> str:
        """The word for an infinite value."""
        return "none" if self.infinite == -math.inf else "never"


YEAR: Final = ("trial", "year")
BLOCK: Final = ("trial", "year", "block")
TREE: Final = ("tree_trial", "year", "tree")
"""Single trees, kept for the trials asked for."""


def _table(*rows: Variable) -> dict[str, Variable]:
    table = {row.name: row for row in rows}
    if len(table) != len(rows):
        raise ValueError("a variable stands twice in the table")
    for row in rows:
        if row.headline != "none" and not row.worst_means:
            raise ValueError(f"{row.name} makes a headline, so its worst side needs words")
        if "block" not in row.dims and row.over_blocks != "none":
            raise ValueError(f"{row.name} has no block dim to add over")
    return table


def _levels() -> list[Variable]:
    """One variable for each open level."""
    dims = {"farm": ("trial",), "cause": ("trial", "cause")}
    return [
        Variable(f"level_{row.name}", dims.get(row.scope, ("trial", "block")), row.unit, row.meaning, "futures")
        for row in OPEN_LEVELS.values()
    ]


RESULTS: Final = _table(
    Variable("harvest_year", YEAR, "1", "calendar year of the record that the season is taken from", "weather",
             whole=True),
    Variable("leaf", ("year", "block"), "1", "growing season of the block's first planting; 0 or less before it",
             "plan", whole=True),
    Variable("trees_planted", BLOCK, "1", "trees planted in the block's first planting", "year", 0, whole=True,
             over_blocks="sum"),
    Variable("trees_alive", BLOCK, "1", "living trees at leaf fall", "year", 0, whole=True, over_blocks="sum"),
    Variable("trees_lost", (*BLOCK, "cause"), "1", "trees that died, by cause", "year", 0, whole=True,
             over_blocks="sum", worst="high", worst_means="many trees lost", headline="run"),
    Variable("trees_removed", BLOCK, "1", "living trees grubbed out by plan", "year", 0, whole=True, over_blocks="sum",
             worst="high"),
    Variable("trees_replanted", BLOCK, "1", "gaps filled", "year", 0, whole=True, over_blocks="sum", worst="high",
             worst_means="many trees replanted", headline="run"),
    Variable("trees_ordered", BLOCK, "1", "trees ordered from the nursery", "year", 0, whole=True, over_blocks="sum",
             worst="high"),
    Variable("spares_on_hand", BLOCK, "1", "replacement trees held at leaf fall", "year", 0, whole=True,
             over_blocks="sum"),
    Variable("trunk_area_mean", BLOCK, "cm2", "mean trunk cross-sectional area of living trees at leaf fall", "year",
             0, 3000, may_be_missing=True, over_blocks="tree mean"),
    Variable("canopy_height_mean", BLOCK, "m", "mean height of living trees", "year", 0, 12, may_be_missing=True,
             over_blocks="tree mean"),
    Variable("light_interception", BLOCK, "1", "share of the season's light that the block's trees stop, gaps included",
             "year", 0, 1, over_blocks="area mean"),
    Variable("bloom_day", BLOCK, "day", "full bloom, day of the biological year (0 = 1 October; 1 April in the south)",
             "year", 0, 457),
    Variable("frost_kill", BLOCK, "1", "share of flowers killed by frost", "year", 0, 1, worst="high"),
    Variable("hail_fraction", BLOCK, "1", "share of the fruit marked by hail", "year", 0, 1, over_blocks="fruit mean",
             worst="high"),
    Variable("crop_load_mean", BLOCK, "cm-2",
             "fruit at harvest per trunk area at the end of that season, mean over living trees", "year", 0, 200,
             may_be_missing=True, over_blocks="tree mean"),
    Variable("flower_clusters", BLOCK, "1", "flower clusters at bloom, before frost", "year", 0, over_blocks="sum"),
    Variable("fruit_number", BLOCK, "1", "fruit on the trees at harvest", "year", 0, over_blocks="sum"),
    Variable("fruit_mass_mean", BLOCK, "g", "mean mass of a fruit at harvest", "year", 0, 900, may_be_missing=True,
             over_blocks="fruit mean"),
    Variable("crop_mass", BLOCK, "kg", "fruit grown to harvest", "year", 0, over_blocks="sum"),
    Variable("harvested_mass", BLOCK, "kg", "fruit picked", "year", 0, over_blocks="sum"),
    Variable("packed_mass", (*BLOCK, "grade"), "kg", "picked fruit by grade; the rest is culled", "year", 0,
             over_blocks="sum"),
    Variable("boxed_mass", (*BLOCK, "box_count"), "kg",
             "fresh fruit packed by number of fruit in the plan's box; sums to the fresh grades of packed_mass", "year",
             0, over_blocks="sum"),
    Variable("biennial_index", ("trial", "block"), "1",
             "mean over trees of the biennial bearing index from leaf 5 on (Hoblyn et al. 1936)", "whole run", 0, 1,
             may_be_missing=True, worst="high"),
    Variable("pass_price", BLOCK, "1", "wholesale price of the fruit picked over the stated price, by picking pass",
             "year", 0, 3),
    Variable("size_price", BLOCK, "1",
             "wholesale price of the fresh fruit over that of count 100, by number of fruit in a carton of 40 lb",
             "year", 0, 3),
    Variable("storage_loss", BLOCK, "kg", "stored fresh fruit that dried up or decayed in the store", "money", 0,
             over_blocks="sum", worst="high"),
    Variable("storage_surplus", BLOCK, "kg",
             "fruit that was to wait in the store, found no room and was sold for processing or juice", "money", 0,
             over_blocks="sum", worst="high"),
    Variable("labour_hours", (*BLOCK, "task"), "hour", "hours of work by task", "year", 0, over_blocks="sum",
             worst="high"),
    Variable("labour_undone", (*BLOCK, "task"), "hour",
             "hours of work that was wanted in the year and not done in it", "year", 0, over_blocks="sum",
             worst="high"),
    Variable("labour_carried", (*BLOCK, "task"), "hour",
             "of the undone hours those that the next year's work inherits; the others are dropped", "year", 0,
             over_blocks="sum", worst="high"),
    Variable("irrigation_depth", BLOCK, "mm", "water applied, frost protection included", "year", 0,
             over_blocks="area mean", worst="high"),
    Variable("protection_hours", BLOCK, "hour", "hours of frost protection", "year", 0, over_blocks="sum",
             worst="high"),
    Variable("protection_nights", BLOCK, "1", "nights on which frost protection ran", "year", 0, whole=True,
             worst="high"),
    Variable("protection_water", BLOCK, "mm", "water used for frost protection", "year", 0, over_blocks="area mean",
             worst="high"),
    Variable("protection_fuel", BLOCK, "L", "fuel used for frost protection", "year", 0, over_blocks="sum",
             worst="high"),
    Variable("ledger", (*BLOCK, "ledger_item"), "currency", "money in (positive) and out (negative) by item", "money",
             over_blocks="sum"),
    Variable("net_cash_flow", BLOCK, "currency", "sum of the ledger's items", "money", over_blocks="sum",
             worst_means="money out", headline="year"),
    Variable("account_balance", ("trial", "year", "quarter"), "currency",
             "balance of the farm's account at the end of each quarter; below 0 is credit drawn", "money"),
    Variable("tree_leaf", TREE, "1",
             "growing season of the tree that stands there at leaf fall; 0 where none does", "single trees", 0),
    Variable("tree_trunk_area", TREE, "cm2", "trunk cross-sectional area at leaf fall", "single trees", 0, 3000),
    Variable("tree_height", TREE, "m", "height at leaf fall", "single trees", 0, 8),
    Variable("tree_crop_mass", TREE, "kg", "fruit grown to harvest", "single trees", 0),
    Variable("tree_fruit_number", TREE, "1", "fruit at harvest", "single trees", 0),
    Variable("tree_flower_clusters", TREE, "1", "flower clusters at bloom, before frost", "single trees", 0),
    Variable("planted_area", ("block",), "m2", "land under the trees' own spacing", "plan", 0, over_blocks="sum"),
    Variable("gross_area", ("block",), "m2", "land with headlands", "plan", 0, over_blocks="sum"),
    Variable("debt_service_cover", YEAR, "1",
             "cash flow before interest over interest and principal; missing where nothing was due", "money",
             may_be_missing=True, worst_means="little earned for what falls due", headline="year", shown="number"),
    Variable("peak_borrowing", ("trial",), "currency", "largest debt at the end of any quarter", "money", 0,
             worst="high", worst_means="a high borrowing", headline="trial", note="deepest debt at a quarter's end"),
    Variable("peak_borrowing_year", ("trial",), "year", "year of the largest debt", "money", 0, whole=True,
             worst="high", worst_means="a late peak: debt grows for longer", headline="trial"),
    Variable("peak_borrowing_quarter", ("trial",), "1",
             "quarter of that year: 0 winter, 1 spring, 2 summer, 3 autumn", "money", 0, 3, whole=True),
    Variable("negative_years", ("trial",), "1", "years with a negative net cash flow, interest included", "money", 0,
             whole=True, worst="high", worst_means="many years with negative cash flow", headline="trial",
             note="of the whole farm"),
    Variable("payback_year", ("trial",), "year",
             "first year from which the summed net cash flow stays at or above zero, not before half of what is "
             "invested is spent; of the new planting's own flow, before tax and interest, where other blocks stand "
             "already; inf if never; missing where nothing is invested", "money", may_be_missing=True,
             whole=True, worst="high", worst_means="a late payback, or never", infinite=math.inf, has_mean=False,
             headline="trial", note="summed cash flow stays above zero"),
    Variable("discounted_payback_year", ("trial",), "year",
             "first year from which the summed discounted cash flow before interest stays at or above zero; inf if "
             "never; of the new planting's own flow where other blocks stand; missing where nothing is invested",
             "money", may_be_missing=True, whole=True,
             worst="high", worst_means="a late payback, or never", infinite=math.inf,
             has_mean=False, headline="trial",
             note="the same, later money valued less, interest left out"),
    Variable("npv", ("trial",), "currency",
             "net present value at year 0 of the cash flow before interest, with the remaining value of living blocks",
             "money", worst_means="a low value", headline="trial",
             note="with the blocks' remaining value"),
    Variable("npv_by_block", ("trial", "block"), "currency",
             "net present value of each block by itself, before income tax and what only the farm pays; that is shared",
             "money", over_blocks="sum"),
    Variable("npv_without_remaining_value", ("trial",), "currency",
             "net present value at year 0 of the cash flow before interest, living blocks worth nothing at the end",
             "money", worst_means="a low value", headline="trial",
             note="blocks worth nothing at the end"),
    Variable("equivalent_annual_annuity", ("trial",), "currency",
             "level yearly amount from year 1 on that is worth as much as npv", "money", worst_means="a low value",
             headline="trial", note="level yearly amount worth as much as NPV"),
    Variable("irr", ("trial",), "1", "internal rate of return; of the new planting's own flow, before tax, where "
             "other blocks stand already; -inf where there is none; missing where nothing is invested", "money",
             may_be_missing=True, worst_means="a low rate, or none", infinite=-math.inf,
             has_mean=False, headline="trial",
             note="per year, with the blocks' remaining value"),
    Variable("irr_without_remaining_value", ("trial",), "1",
             "internal rate of return as irr, living blocks worth nothing at the end; -inf where there is none; "
             "missing where nothing is invested", "money", may_be_missing=True,
             worst_means="a low rate, or none", infinite=-math.inf, has_mean=False, headline="trial",
             note="blocks worth nothing at the end"),
    Variable("irr_roots", ("trial",), "1", "number of rates at which the value of the flow that irr is of is zero",
             "money", 0, whole=True),
    Variable("break_even_price", ("trial",), "currency/kg",
             "packed price of fresh fruit at which npv_without_remaining_value is zero, before income tax", "money",
             may_be_missing=True, worst="high", worst_means="a high price needed", headline="trial",
             note="packed, at which NPV without remaining value is 0"),
    Variable("household_draw_bearable", ("trial",), "currency",
             "largest level yearly draw that leaves no debt at the end and stays within a stated credit line", "money",
             0, worst_means="little left to live on", headline="trial",
             note="largest level yearly one that leaves no debt at the end"),
    Variable("establishment_cost", ("trial",), "currency",
             "present value of what is spent on land, planting, building and machines", "money", worst="high"),
    Variable("sold_mass", (*YEAR, "outlet", "grade"), "kg", "fruit of the year's harvest by outlet and grade", "money",
             0),
    Variable("sold_revenue", (*YEAR, "outlet", "grade"), "currency",
             "what it brings, paid now or later, before packing, selling charges and levies", "money", 0),
    Variable("price_luck", YEAR, "1",
             "wholesale price over the plan's, mean over labels, without the part that follows the region's crop",
             "money", 0),
    Variable("family_hours", YEAR, "hour", "hours that the family worked", "money", 0),
    Variable("family_labour_value", YEAR, "currency",
             "what the family's hours cost at the plan's wages, whether they are paid or not", "money", 0),
    *_levels(),
)  # fmt: skip
"""Result variables. What belongs to no block stands under the block label ``shared``."""
