"""Runs beside published budgets, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from orchardsim.core.numbers import percent
from orchardsim.core.units import ACRE, BUSHEL, HECTARE
from orchardsim.report.run_formats import RunFormats
from orchardsim.results.published import (
    BIN_BUSHELS,
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


PRICE_FALL = 0.05
"""1; fall of the fruit price over the mature years from which it is told (wording only)."""


def published_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """The middle beside published budgets of close plantings, and why it lies outside where it does."""
    found = beside_published(dataset)
    if found is None:
        return []
    payback = "not paid back" if np.isinf(found.payback) else f"paid back in year {found.payback:.0f}"
    rate = "none" if np.isneginf(found.rate) else percent(found.rate, 1)
    area = formats.area_name

    def margin(value: float) -> str:
        return formats.money(value / ACRE * formats.area_size)

    def bins(value: float) -> str:
        return f"{value:,.0f}"

    said = [
        f"Published budgets of close plantings: {margin(MARGIN[0])} to {margin(MARGIN[1])} per {area} in a mature year "
        f"after all cost, IRR {percent(RETURN[0])} to {percent(RETURN[1])}, paid back in year {PAYBACK[0]} to "
        f"{PAYBACK[1]}.",
        f"Here the middle is {margin(found.margin)}{_outside(found.margin, MARGIN, margin)}, IRR {rate}"
        f"{_points(found.rate)}, {payback}.",
    ]
    if found.within:
        return said
    bin_text = f"a bin of {BIN_BUSHELS} bushels" if formats.us else f"a bin of {BIN_BUSHELS * BUSHEL:.0f} kg"
    budgets = f"(budgets: {bins(BUDGET_COST[0])} to {bins(BUDGET_COST[1])})"
    if found.bushels < BUDGET_YIELD[0]:
        low, high = (crop_text(value, formats) for value in BUDGET_YIELD)
        said += [
            f"Why: the crop is {crop_text(found.bushels, formats)} {_crop_unit(formats)}; budgets count on {low} to "
            f"{high}.",
            f"At {low} a mature year would leave {margin(found.margin_at_budget_yield)} per {area}, and {bin_text} "
            f"would cost {formats.money(found.cost_at_budget_yield)} before packing {budgets}.",
        ]
    else:
        said.append(
            f"Why: {bin_text} costs {formats.money(found.cost)} before packing {budgets} and brings "
            f"{formats.money(found.net_price)} after it."
        )
    if found.price_change < -PRICE_FALL:
        said.append(
            f"Fresh fruit brings {percent(-found.price_change)} less in the last mature years than from year "
            f"{found.first_mature_year:.0f}, the first, on; budgets hold one year's price."
        )
    return said


def published_gap(found: Mapping[str, Beside | None], formats: RunFormats) -> str:
    """One sentence on plans beside published budgets: how far off, in yield or in cost; empty where none is told of.

    ``found``: by label of the plan, "the middle" for one by itself.
    """
    said = [f"{label} {_gap(one, formats)}" for label, one in found.items() if one is not None]
    if not said:
        return ""
    budgets = (
        f"Published budgets pay back in year {PAYBACK[0]} to {PAYBACK[1]} "
        f"(IRR {100 * RETURN[0]:.0f}-{percent(RETURN[1])}) with "
        f"{crop_text(BUDGET_YIELD[0], formats)}-{crop_text(BUDGET_YIELD[1], formats)} "
        f"{_crop_unit(formats)}"
    )
    return f"{budgets}; here {', '.join(said)}."


def crop_text(bushels: float, formats: RunFormats) -> str:
    """A crop of so many bushels an acre in the shown unit."""
    return f"{bushels:,.0f}" if formats.us else f"{bushels * BUSHEL / ACRE * HECTARE / 1000:.0f}"


def _crop_unit(formats: RunFormats) -> str:
    return "bushels an acre" if formats.us else "t/ha"


def _gap(found: Beside, formats: RunFormats) -> str:
    if found.within:
        return "lies within"
    falls = (
        f" and its fresh price ends {percent(-found.price_change)} below year {found.first_mature_year:.0f}'s"
        if found.price_change < -PRICE_FALL
        else ""
    )
    if found.bushels < BUDGET_YIELD[0]:
        return f"picks {crop_text(found.bushels, formats)}{falls}"
    return f"picks {crop_text(found.bushels, formats)} and has {formats.money(found.cost)} a bin to pay before packing"


def _outside(value: float, bounds: tuple[float, float], text: Callable[[float], str]) -> str:
    if value < bounds[0]:
        return f" ({text(bounds[0] - value)} below)"
    return f" ({text(value - bounds[1])} above)" if value > bounds[1] else ""


def _points(rate: float) -> str:
    """How far a rate of return lies outside what is published, in points."""
    if not np.isfinite(rate):
        return ""
    return _outside(100 * rate, (100 * RETURN[0], 100 * RETURN[1]), lambda points: f"{points:.1f} points")
