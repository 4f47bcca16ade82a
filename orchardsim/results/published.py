"""A close planting's middle future beside published budgets, and why it lies outside where it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.core.labels import FRESH_GRADES
from orchardsim.core.ledger_items import items_of
from orchardsim.core.units import ACRE, BUSHEL
from orchardsim.results.farm import block_labels, by_trial, of_farm
from orchardsim.results.headline import invests

if TYPE_CHECKING:
    import xarray

MARGIN: Final = (-4000.0, 4000.0)
"""Mature year after all cost [USD of 2024 per acre]; derived from Washington budgets and losses of 2011 to 2025 and
from budgets of Michigan State University 2025 and Rutgers 1996, packed fruit. Good Honeycrisp years reach 9,000."""
RETURN: Final = (0.03, 0.11)
"""Real internal rate of return [1/year]: 0.075 to 0.111 of five systems over 20 years (Robinson et al. 2005,
HortScience 40:1128, read); down to 0.03 by full-cost break-evens since (derived)."""
PAYBACK: Final = (8, 13)
"""Year in which a planting has earned back its money: 10 to 13 (Robinson et al. 2005), 8 to 9 (Washington budgets);
read."""
BUDGET_YIELD: Final = (1000.0, 1200.0)
"""Bushels an acre of a mature planting in budgets: Honeycrisp and Gala (Michigan State University 2025, read in the
trade press)."""
BUDGET_COST: Final = (163.0, 211.0)
"""Full cost before packing [USD per bin of 20 bushels]: Gala at 1,200, Honeycrisp at 1,000 bushels an acre (Michigan
State University 2025, read in the trade press)."""
CLOSE: Final = 0.1235
"""Trees per m2 from which a planting counts as close: 500 an acre (definition of these budgets)."""
MATURE_LEAF: Final = 8
"""Leaf from which a close planting crops in full (common practice: leaf 6 to 8)."""
LEAST_MATURE: Final = 3
"""Mature years that a run must hold to be set beside budgets (our own choice)."""
BIN_BUSHELS: Final = 20
"""Bushels in a bin of these budgets."""


@dataclass(frozen=True)
class Beside:
    """Middle of the trials beside published budgets.

    Attributes
    ----------
    margin, margin_at_budget_yield : float [currency per acre]
        Mean mature year after all cost, the establishment shared over the run; and with the lowest budgeted yield at
        the run's own prices, packing and picking.
    rate, payback : float
        Medians; the rate is -inf and the payback inf where there is none.
    bushels : float [1/acre]
        Picked in a mature year, median of trials.
    cost, cost_at_budget_yield, net_price : float [currency per bin of 20 bushels]
        Full cost before packing, at the run's and at the lowest budgeted yield; receipts less packing and storage.
    price_change : float [1]
        What a kilogram of fresh fruit brings in the last mature years over the first, less 1: budgets hold one year's
        price.
    first_mature_year : float [year]
        First year of the plan in which all blocks are mature.
    """

    margin: float
    margin_at_budget_yield: float
    rate: float
    payback: float
    bushels: float
    cost: float
    cost_at_budget_yield: float
    net_price: float
    price_change: float = 0.0
    first_mature_year: float = 0.0

    @property
    def within(self) -> bool:
        """Whether all three measures lie within what is published."""
        return bool(
            MARGIN[0] <= self.margin <= MARGIN[1]
            and RETURN[0] <= self.rate <= RETURN[1]
            and PAYBACK[0] <= self.payback <= PAYBACK[1]
        )


def beside_published(dataset: xarray.Dataset) -> Beside | None:
    """The run beside published budgets; None where they say nothing of it.

    They are of close plantings in real dollars: another currency, money with inflation, standing blocks, wide plantings
    and runs of fewer than three mature years are left out.
    """
    attrs = dataset.attrs
    if attrs["currency"] != "USD" or attrs["real_or_nominal"] != "real" or not invests(dataset):
        return None
    labels = block_labels(dataset)
    leaf = dataset["leaf"].sel(block=labels).transpose("year", "block").values
    area = dataset["planted_area"].sel(block=labels).values
    trees = dataset["trees_planted"].sel(block=labels).sum("year").transpose("trial", "block").values[0]
    mature = np.flatnonzero((leaf >= MATURE_LEAF).all(axis=1))
    if (leaf[0] > 1).any() or mature.size < LEAST_MATURE or (trees < CLOSE * area).any():
        return None
    acres = float(area.sum()) / ACRE

    flows = by_trial(dataset, ["ledger"], lambda some: of_farm(some, "ledger").isel(year=mature).mean("year"))
    items = [str(item) for item in dataset["ledger_item"].values]

    def yearly(names: list[str]) -> np.ndarray:
        found: np.ndarray = flows[:, [items.index(name) for name in names]].sum(axis=1) / acres
        return found

    years, rate = dataset.sizes["year"], float(attrs["discount_rate"])
    share = rate / (1 - (1 + rate) ** -years) if rate else 1 / years
    capital = share * dataset["establishment_cost"].values / acres
    margin = yearly(items_of("sales", "running")) - capital
    picked = of_farm(dataset, "harvested_mass").transpose("trial", "year").values[:, mature].mean(axis=1) / acres
    bushels = np.maximum(picked / BUSHEL, 1e-9)
    receipts = yearly(items_of("sales")) + yearly(["packing_and_storage"])
    picking = -yearly(["picking"])
    by_fruit = (receipts - picking) / bushels
    more = margin + by_fruit * (BUDGET_YIELD[0] - bushels)
    bins, full = bushels / BIN_BUSHELS, BUDGET_YIELD[0] / BIN_BUSHELS
    return Beside(
        margin=float(np.median(margin)),
        margin_at_budget_yield=float(np.median(more)),
        rate=float(np.median(dataset["irr"].values)),
        payback=float(np.median(dataset["payback_year"].values)),
        bushels=float(np.median(bushels)),
        cost=float(np.median((receipts - margin) / bins)),
        cost_at_budget_yield=float(np.median((receipts - margin + picking * (BUDGET_YIELD[0] / bushels - 1)) / full)),
        net_price=float(np.median(receipts / bins)),
        price_change=_price_change(dataset, mature),
        first_mature_year=float(mature[0]),
    )


def _price_change(dataset: xarray.Dataset, mature: np.ndarray) -> float:
    """Growth of the price of fresh fruit from the first mature years to the last, median over trials [1]."""
    first, last = mature[:LEAST_MATURE], mature[-LEAST_MATURE:]

    def by_year(name: str) -> np.ndarray:
        return by_trial(dataset, [name], lambda some: some[name].sel(grade=list(FRESH_GRADES)).sum(("outlet", "grade")))

    revenue, mass = by_year("sold_revenue"), by_year("sold_mass")
    early, late = (revenue[:, some].sum(axis=1) / np.maximum(mass[:, some].sum(axis=1), 1e-9) for some in (first, last))
    sells = (early > 0) & (late > 0)
    return float(np.median(late[sells] / early[sells]) - 1) if sells.any() else 0.0
