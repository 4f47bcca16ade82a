"""From what was simulated to money: quantities, prices, the farm's ledger and its indicators."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import FarmQuantities
from orchardsim.core.streams import Streams
from orchardsim.core.variables import RESULTS
from orchardsim.economy.indicators import indicators
from orchardsim.economy.ledger import Ledger, cash_flows
from orchardsim.economy.payments import growth
from orchardsim.economy.prices import draw_prices
from orchardsim.plan import Plan
from orchardsim.simulation import balances
from orchardsim.simulation.futures import Levels, draw_future
from orchardsim.simulation.totals import Totals

Array = NDArray[np.float64]
REMOVED: Final = -999
"""Leaf number of a block that has been grubbed out."""


def block_leaf(plan: Plan, years: int) -> NDArray[np.int64]:
    """Growing season of each label's first planting by year, (year, label)."""
    columns = []
    for block in plan.blocks:
        leaf = np.arange(years) - block.year_planted + 1
        if block.plan.year_removed is not None:
            leaf[np.arange(years) > block.plan.year_removed] = REMOVED
        columns += [leaf] * len(block.labels)
    return np.stack(columns, axis=1) if columns else np.empty((years, 0), dtype=np.int64)


def farm_quantities(plan: Plan, totals: Totals) -> FarmQuantities:
    """All physical quantities that money follows from."""
    results = totals.arrays
    other: dict[str, Any] = {
        "leaf": block_leaf(plan, results["trees_alive"].shape[1]),
        "trees_lost": results["trees_lost"].sum(axis=-1),
    }
    names = [field.name for field in fields(FarmQuantities)]
    return FarmQuantities(**{name: results[name] for name in names if name in results} | other)


def farm_ledger(
    plan: Plan,
    totals: Totals,
    trials: Sequence[int],
    streams: Streams,
    region: Array,
    price_factor: Array | float = 1.0,
    levels: Levels | None = None,
) -> Ledger:
    """The ledger of simulated trials, at the prices and cost levels that these trials meet.

    Parameters
    ----------
    trials : sequence of int
        Trial number of each row of ``totals``; a number may stand more than once.
    region : array, (trial, year) [1]
        Crop of the region relative to its mean.
    price_factor : array, (trial, year) or 1, or float [1]
        On all prices that were drawn.
    levels : Levels, optional
        Of these trials, where they are drawn already.

    Raises
    ------
    IdentityError
        If the items do not sum to the net cash flow.
    """
    prices = draw_prices(streams, trials, plan.market, region, [money.cultivar for money in plan.money])
    levels = draw_future(plan, streams, trials) if levels is None else levels
    own = {name: column for column, name in enumerate(money.cultivar for money in plan.money)}
    by_cultivar = levels.prices(region.shape[1])[:, :, [own[name] for name in prices.cultivars]]
    prices = prices.times(by_cultivar[..., None, None]).times(np.asarray(price_factor)[..., None, None, None])
    quantities = farm_quantities(plan, totals)
    ledger = cash_flows(
        quantities, plan.money, plan.costs, plan.market, plan.finance, prices, levels.costs, plan.idle_land
    )
    balances.check_ledger(ledger.yearly(), ledger.net_cash_flow())
    sales = ledger.sales
    uses = {"sold": sales.mass.sum(axis=-1), "unsold": sales.unsold, "lost in store": sales.storage_loss}
    balances.check_flow("packed fruit", quantities.packed_mass.sum(axis=-1), uses, 1e-9)
    return ledger


def money_results(
    plan: Plan, totals: Totals, trials: Sequence[int], streams: Streams, region: Array, levels: Levels
) -> dict[str, NDArray[Any]]:
    """Result variables of the economy, one row for each trial."""
    ledger = farm_ledger(plan, totals, trials, streams, region, levels=levels)
    measures = indicators(ledger, plan.finance)
    level = growth(0.0, plan.finance, ledger.account.balance.shape[1])[None, :, None, None]
    results: dict[str, NDArray[Any]] = {
        "ledger": ledger.yearly(),
        "net_cash_flow": ledger.net_cash_flow(),
        "account_balance": ledger.account.balance,
        "sold_mass": ledger.sales.mass_by_grade,
        "sold_revenue": ledger.sales.revenue_by_grade * level,
        "storage_surplus": ledger.sales.no_room,
        "storage_loss": ledger.sales.storage_loss,
    }
    for name, row in RESULTS.items():
        if row.writer == "money" and name not in results:
            results[name] = getattr(measures if hasattr(measures, name) else ledger, name)
    return results
