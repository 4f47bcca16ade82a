"""When money moves: growth of prices, deposits, and outlets that pay late."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import QUARTERS
from orchardsim.core.geometry import Geometry
from orchardsim.economy.parameters import Costs, Finance

Array = NDArray[np.float64]
HARVEST_QUARTER = 3
"""Autumn."""


class CostLevels(NamedTuple):
    """Factors of a future on the plan's own costs, (trial,) [1]; ``wage_growth`` is added to its trend [1/year].

    ``packing`` and ``storage`` are charges; ``costs`` are all that are neither these nor wages.
    """

    wages: Array = np.ones(1)
    costs: Array = np.ones(1)
    packing: Array = np.ones(1)
    storage: Array = np.ones(1)
    wage_growth: Array = np.zeros(1)


KNOWN: Final = CostLevels()
"""The plan's own."""


def growth(rate: float, finance: Finance, years: int) -> Array:
    """Index by year of an amount that grows by ``rate``, and by inflation where the basis is nominal; 1 in year 0."""
    inflation = finance.inflation if finance.basis == "nominal" else 0.0
    return ((1.0 + rate) * (1.0 + inflation)) ** np.arange(years, dtype=float)


def lending_rates(finance: Finance) -> tuple[float, float]:
    """Rates of the running credit and of the term loan in the plan's basis [1/year].

    Lenders quote nominal rates; where the basis is real, (1 + rate) / (1 + inflation) - 1 is charged (Fisher's
    relation), since inflation pays back part of the debt. The level payments of a term loan then are level in real
    money, where a lender's are level in nominal money: their sum is worth the same, the first ones are too low.

    Examples
    --------
    >>> from orchardsim.economy.parameters import Finance
    >>> terms = Finance(0.05, 0.0635, 2024, 25, 0.3, 7, inflation=0.023)
    >>> [round(rate, 4) for rate in lending_rates(terms)]
    [0.0396, 0.0396]
    """
    inflation = finance.inflation if finance.basis == "real" else 0.0
    credit, term = (
        (1.0 + rate) / (1.0 + inflation) - 1.0
        for rate in (finance.loan_rate, finance.term_loan_rate or finance.loan_rate)
    )
    return credit, term


def paid_with_deposit(ordered: Array, delivered: Array, price: float, deposit_share: float) -> Array:
    """Yearly payment for trees of which a share is paid when ordered, the rest on delivery [money].

    Deposits are used up by the next deliveries; every delivered tree has cost its price in the end, and the deposit
    of an order that never comes is lost.

    Parameters
    ----------
    ordered, delivered : (trial, year) [1]
    price : float [money/tree]
    deposit_share : float [1]
    """
    payment = np.empty_like(delivered)
    credit = np.zeros(delivered.shape[0])
    for year in range(delivered.shape[1]):
        deposit = deposit_share * price * ordered[:, year]
        credit = credit + deposit
        used = np.minimum(credit, deposit_share * price * delivered[:, year])
        payment[:, year] = deposit + price * delivered[:, year] - used
        credit = credit - used
    return payment


def by_leaf(values: Sequence[float], leaf: NDArray[np.int64]) -> Array:
    """Value of each leaf, the last holding on; 0 before leaf 1 and after removal."""
    table = np.asarray(values, dtype=float)
    return np.where(leaf >= 1, table[np.clip(leaf - 1, 0, len(table) - 1)], 0.0)


def young_share(leaf: NDArray[np.int64], density: float, costs: Costs) -> Array:
    """Share of the yearly materials and machine cost that a planting's first leaves ask for [1].

    A sprayer, a spreader and a herbicide boom dose young trees by the tree; much of a wide planting's land still is
    alley. The share in leaf 1 is trees per area over ``young_density``, at least ``young_least`` and at most 1; it
    rises evenly to 1 in leaf ``young_leaves``, so that the cost of a grown planting does not depend on its spacing
    (assumption).

    Parameters
    ----------
    leaf : (year,) int
    density : float [tree/m2]
    """
    first = min(max(density / costs.young_density, costs.young_least), 1.0)
    grown = np.clip((leaf - 1) / (costs.young_leaves - 1), 0.0, 1.0)
    share: Array = first + (1.0 - first) * grown
    return share


def driving_hours(leaf: NDArray[np.int64], geometry: Geometry, costs: Costs) -> Array:
    """Hours of driving tractors over a planting, picking and planting apart: (year,) [hour].

    ``leaf``, (year,).
    """
    hours: Array = (
        costs.tractor_hours * geometry.planted_area * young_share(leaf, geometry.trees / geometry.planted_area, costs)
    )
    return hours


def spread(yearly: Array, quarters: Sequence[float] | Array) -> Array:
    """Yearly amounts (trial, year) placed on quarters by fixed shares: (trial, year, quarter)."""
    placed: Array = yearly[:, :, None] * np.asarray(quarters, dtype=float)
    return placed


def worth_a_year_later(finance: Finance) -> float:
    """What a fixed amount, paid a calendar year after it is due, is worth in the money that the ledger counts [1].

    In a real basis a late payment has lost the inflation between; in a nominal one it is the same amount.
    """
    return 1.0 / (1.0 + finance.inflation) if finance.basis == "real" else 1.0


def spread_payments(
    yearly: Array,
    paid: Sequence[float],
    year_later: float = 1.0,
    before: Array | None = None,
) -> tuple[Array, Array]:
    """Place yearly sales on quarters as the outlet pays.

    Parameters
    ----------
    yearly : (trial, year) [money]
    paid : sequence of float
        Share paid in the quarter of harvest and in each quarter after it.
    year_later : float [1]
        Worth of an amount that is paid in the next calendar year (:func:`worth_a_year_later`).
    before : (trial,), optional [money]
        Sales of the year before year 0, of which what is paid in the run is placed as well.

    Returns
    -------
    received : (trial, year, quarter) [money]
    owed : (trial,) [money]
        Not yet paid at the end of the last year, worth what it would be then.
    """
    trials, years = yearly.shape
    quarters = len(QUARTERS)
    flat = np.zeros((trials, years * quarters))
    owed = np.zeros(trials)
    for delay, share in enumerate(paid):
        for year in range(-1 if before is not None else 0, years):
            sold = before if year < 0 and before is not None else yearly[:, year]
            quarter = year * quarters + HARVEST_QUARTER + delay
            later = (min(quarter, flat.shape[1] - 1) // quarters) - year
            amount = share * sold * year_later**later
            if quarter >= flat.shape[1]:
                owed += amount
            elif quarter >= 0:
                flat[:, quarter] += amount
    return flat.reshape(trials, years, quarters), owed
