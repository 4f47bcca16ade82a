"""The rows of the headline table, as numbers in shown units; the terminal and the page both print these."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM
from orchardsim.core.numbers import number
from orchardsim.report.show import Show
from orchardsim.results import cumulative_yield, of_farm, yield_by_leaf
from orchardsim.results.doubts import OpenLevelsOfRun
from orchardsim.results.headline import CUMULATIVE_LEAVES, invests
from orchardsim.results.risk_numbers import peak_seasons
from orchardsim.results.statistics import STATISTICS, describe

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Side

POINTS = tuple(STATISTICS.index(name) for name in ("p5", "p50", "p95"))


@dataclass(frozen=True)
class Band:
    """5, 50 and 95 % points of a number with the Monte Carlo standard error of each."""

    low: float
    middle: float
    high: float
    low_error: float
    middle_error: float
    high_error: float


@dataclass(frozen=True)
class YieldRow:
    """Yield of one leaf, in shown units; ``land`` is the planted area [m2] that it rests on."""

    leaf: int
    years: tuple[int, ...]
    land: float
    band: Band
    boxes: float
    bins: float


@dataclass(frozen=True)
class MoneyRow:
    """A headline number of the whole run; ``known``: 5 and 95 % points were the open levels known."""

    name: str
    meaning: str
    band: tuple[str, str, str]
    error: str
    known: tuple[str, str] | None = None
    larger: str = ""


WEAK: Final = 0.2
"""Standard error as a share of the value above which a point is marked (wording only)."""
WEAK_NOTE: Final = (
    "~ before a low number: its own standard error is more than a fifth of it; it rests on few seasons, so more "
    "trials, or a longer weather record, would move it."
)


def weak(found: Band) -> bool:
    """Whether the 5 % point is too unsure to be read as it stands."""
    return bool(found.low_error > WEAK * abs(found.low))


def low_text(found: Band, digits: int) -> str:
    """The 5 % point, marked where it is weak."""
    return f"{'~' if weak(found) else ''}{number(found.low, digits)}"


def band(values: NDArray[np.float64], *, whole: bool = False, worst: Side = "low") -> Band:
    """5, 50 and 95 % points over trials with their standard errors."""
    statistics, errors = describe(values, worst=worst, whole=whole)
    low, middle, high = POINTS
    return Band(*(float(statistics[i]) for i in (low, middle, high)), *(float(errors[i]) for i in (low, middle, high)))


def yield_rows(dataset: xarray.Dataset, block: str, show: Show) -> list[YieldRow]:
    """Yield by leaf of a block or the farm."""
    table = yield_by_leaf(dataset, block)
    rows = []
    for column, leaf in enumerate(table.leaves):
        values = table.values[:, column]
        middle = float(np.median(values))
        rows.append(
            YieldRow(
                int(leaf),
                table.years[column],
                float(table.area[column]),
                band(show.yield_value(values)),
                show.boxes(middle),
                show.bins(middle),
            )
        )
    return rows


def flow_bands(dataset: xarray.Dataset) -> list[tuple[int, Band, float]]:
    """Year, net cash flow of the farm, and the middle of the summed cash flow."""
    flow = of_farm(dataset, "net_cash_flow").values
    summed = np.median(flow.cumsum(axis=1), axis=0)
    return [
        (int(year), band(flow[:, position]), float(summed[position]))
        for position, year in enumerate(dataset["year"].values)
    ]


def money_rows(dataset: xarray.Dataset, show: Show) -> list[MoneyRow]:
    """Trees lost and replanted, peak borrowing, payback, present value and rate of return."""
    years = dataset.sizes["year"]
    rows = []
    row = functools.partial(_row, levels=OpenLevelsOfRun.of(dataset))
    table = yield_by_leaf(dataset, FARM)
    for leaf in CUMULATIVE_LEAVES:
        total = cumulative_yield(table, leaf)
        if total is not None:
            unit = show.yield_unit
            rows.append(row(f"picked to leaf {leaf}", unit, show.yield_value(total), lambda x: f"{x:,.1f}"))
    for name, label in (("trees_lost", "trees lost"), ("trees_replanted", "trees replanted")):
        counts = of_farm(dataset, name)
        total = counts.sum([dim for dim in counts.dims if dim != "trial"]).values.astype(np.float64)
        rows.append(row(label, f"whole farm, {years} years", total, lambda x: f"{x:,.0f}", whole=True))
    money = show.money
    rows.append(row("peak borrowing", "deepest debt at a quarter's end", dataset["peak_borrowing"].values, money))
    seasons = peak_seasons(dataset)
    usual = max(seasons, key=lambda name: seasons[name]) if seasons else ""
    peak = f"mostly in {usual} ({100 * seasons[usual]:.0f} % of trials that borrow)" if usual else ""
    rows.append(row("year of the peak", peak, dataset["peak_borrowing_year"].values, lambda x: f"{x:.0f}", whole=True))
    negative = dataset["negative_years"].values
    rows.append(row("years with negative cash flow", "of the whole farm", negative, lambda x: f"{x:.0f}", whole=True))
    for name, label, meaning in (
        ("payback_year", "payback year", "summed cash flow stays above zero"),
        ("discounted_payback_year", "discounted payback", "the same, later money valued less, interest left out"),
    ):
        values = dataset[name].values
        if not invests(dataset):
            continue
        rows.append(row(label, meaning, values, lambda x: "never" if np.isinf(x) else f"{x:.0f}", whole=True))
    rows.append(row("NPV", "with the blocks' remaining value", dataset["npv"].values, money))
    rows.append(
        row(
            "NPV without it",
            "blocks worth nothing at the end",
            dataset["npv_without_remaining_value"].values,
            money,
        )
    )
    rows.append(
        row("annuity", "level yearly amount worth as much as NPV", dataset["equivalent_annual_annuity"].values, money)
    )
    for name, label, meaning in (
        ("irr", "IRR", "per year, with the blocks' remaining value"),
        ("irr_without_remaining_value", "IRR without it", "blocks worth nothing at the end"),
    ):
        if not invests(dataset):
            continue
        rows.append(
            row(
                label,
                meaning,
                dataset[name].values,
                lambda x: "none" if np.isinf(x) else f"{100 * x:.1f} %",
                error_text=lambda x: f"{100 * x:.1f} points",
            )
        )
    price = dataset["break_even_price"].values
    if not np.isnan(price).all():
        meaning = f"{show.price_unit} packed, at which NPV without remaining value is 0"
        rows.append(row("break-even price", meaning, price[~np.isnan(price)], show.price))
    return rows


def _row(
    name: str,
    meaning: str,
    values: NDArray[np.float64],
    text: Callable[[float], str],
    *,
    whole: bool = False,
    error_text: Callable[[float], str] | None = None,
    levels: OpenLevelsOfRun | None = None,
) -> MoneyRow:
    found = band(np.asarray(values, dtype=np.float64), whole=whole)

    def error(value: float) -> str:
        if not np.isfinite(value):
            return "not bounded"
        if error_text is not None:
            return str(error_text(value))
        return f"{value:.1f}" if whole else str(text(value))

    doubts = None if levels is None else levels.doubts(np.asarray(values, dtype=np.float64))
    known = None if doubts is None else band(doubts.known, whole=whole)
    return MoneyRow(
        name,
        meaning,
        (text(found.low), text(found.middle), text(found.high)),
        error(found.middle_error),
        None if known is None else (text(known.low), text(known.high)),
        "" if doubts is None else doubts.larger,
    )
