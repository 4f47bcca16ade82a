"""Runs beside published budgets, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from orchardsim.core.numbers import percent
from orchardsim.report.run_formats import RunFormats
from orchardsim.results.published import (
    BUDGET_COST,
    BUDGET_YIELD,
    MARGIN,
    PAYBACK,
    RETURN,
    Beside,
    beside_published,
)

if TYPE_CHECKING:
    import xarray


def published_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """The middle beside published budgets of close plantings, and why it lies outside where it does."""
    found = beside_published(dataset)
    if found is None:
        return []
    payback = "not paid back" if np.isinf(found.payback) else f"paid back in year {found.payback:.0f}"
    rate = "none" if np.isneginf(found.rate) else percent(found.rate, 1)
    said = [
        f"Published budgets of close plantings: {formats.money(MARGIN[0])} to {formats.money(MARGIN[1])} an acre "
        "in a mature "
        f"year after all cost, IRR {percent(RETURN[0])} to {percent(RETURN[1])}, paid back in year {PAYBACK[0]} to "
        f"{PAYBACK[1]}. Here the middle is "
        f"{formats.money(found.margin)}{_outside(found.margin, MARGIN, formats.money)}, "
        f"IRR {rate}{_points(found.rate)}, {payback}."
    ]
    if found.within:
        return said
    if found.bushels < BUDGET_YIELD[0]:
        said.append(
            f"Why: {found.bushels:,.0f} bushels an acre; budgets count on {BUDGET_YIELD[0]:,.0f} to "
            f"{BUDGET_YIELD[1]:,.0f}. At {BUDGET_YIELD[0]:,.0f} a mature year would leave "
            f"{formats.money(found.margin_at_budget_yield)} an acre, and a bin of 20 bushels would cost "
            f"{formats.money(found.cost_at_budget_yield)} before packing (budgets: {BUDGET_COST[0]:,.0f} to "
            f"{BUDGET_COST[1]:,.0f})."
        )
    else:
        said.append(
            f"Why: a bin of 20 bushels costs {formats.money(found.cost)} before packing (budgets: "
            f"{BUDGET_COST[0]:,.0f} to {BUDGET_COST[1]:,.0f}) and brings {formats.money(found.net_price)} after it."
        )
    return said


def published_gap(found: Mapping[str, Beside | None], formats: RunFormats) -> str:
    """One sentence on plans beside published budgets: how far off, in yield or in cost; empty where none is told of.

    Parameters
    ----------
    found : mapping from label to Beside or None
        The label is "the middle" for a plan by itself.
    """
    said = [f"{label} {_gap(one, formats)}" for label, one in found.items() if one is not None]
    if not said:
        return ""
    budgets = (
        f"Published budgets pay back in year {PAYBACK[0]} to {PAYBACK[1]} (IRR {percent(RETURN[0])} to "
        f"{percent(RETURN[1])}) with {BUDGET_YIELD[0]:,.0f} to {BUDGET_YIELD[1]:,.0f} bushels an acre"
    )
    return f"{budgets}; here {', '.join(said)}."


def _gap(found: Beside, formats: RunFormats) -> str:
    if found.within:
        return "lies within"
    if found.bushels < BUDGET_YIELD[0]:
        return f"picks {found.bushels:,.0f}"
    return f"picks {found.bushels:,.0f} and has {formats.money(found.cost)} a bin to pay before packing"


def _outside(value: float, bounds: tuple[float, float], text: Callable[[float], str]) -> str:
    if value < bounds[0]:
        return f" ({text(bounds[0] - value)} below)"
    return f" ({text(value - bounds[1])} above)" if value > bounds[1] else ""


def _points(rate: float) -> str:
    """How far a rate of return lies outside what is published, in points."""
    if not np.isfinite(rate):
        return ""
    return _outside(100 * rate, (100 * RETURN[0], 100 * RETURN[1]), lambda points: f"{points:.1f} points")
