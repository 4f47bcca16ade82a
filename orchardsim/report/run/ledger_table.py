"""The ledger by item on the page: means over trials, so that columns add up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.core.numbers import MISSING, number
from orchardsim.core.units import CARTON
from orchardsim.report.run_formats import RunFormats
from orchardsim.results.block_results import outlet_sales
from orchardsim.results.farm import by_trial, farm_mean, of_farm, over_trials

if TYPE_CHECKING:
    import xarray

SINGLE_YEARS: Final = 7
"""Years that stand alone, from year 0; later ones share columns (layout only)."""
STEP: Final = 5
LEDGER_NOTE: Final = (
    "Means over futures, money in above zero and out below. The yearly means of an item add up; middle futures do not. "
    "Fruit is counted when it is paid, so some of a crop's money stands in the next year, and that of the last "
    "crop beyond the run. The same by block, trial and year: ledger in results.nc."
)


def spans(years: int) -> list[tuple[int, int]]:
    """First and last year of each column.

    Examples
    --------
    >>> spans(15)
    [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4), (5, 5), (6, 6), (7, 11), (12, 14)]
    """
    found = [(year, year) for year in range(min(years, SINGLE_YEARS))]
    found += [(first, min(first + STEP, years) - 1) for first in range(SINGLE_YEARS, years, STEP)]
    return found


def ledger_cells(dataset: xarray.Dataset) -> list[list[str]]:
    """A head, a row for each item that is ever booked, the net flow and its standard error.

    Columns are years, means of a year where a column spans several, and the sum of all years.
    """
    ledger = farm_mean(dataset, "ledger").transpose("year", "ledger_item").values
    booked = over_trials(dataset, ["ledger"], lambda some: (some[["ledger"]] != 0).any(("block", "year")))[
        "ledger"
    ].values
    columns = spans(len(ledger))
    head = ["item"]
    head += [f"year {first}" if first == last else f"a year of {first}-{last}" for first, last in columns]
    cells = [[*head, "all years"]]
    for place, item in enumerate(dataset["ledger_item"].values):
        if booked[place]:
            cells.append([term(str(item)), *_row(ledger[:, place], columns)])
    net = by_trial(dataset, ["ledger"], lambda some: of_farm(some, "ledger").sum("ledger_item"))
    cells.append(["net", *_row(net.mean(axis=0), columns)])
    if len(net) > 1:
        parts = [net[:, first : last + 1].mean(axis=1) for first, last in columns] + [net.sum(axis=1)]
        cells.append(["± of the net", *(f"{part.std(ddof=1) / np.sqrt(part.size):,.0f}" for part in parts)])
    return cells


def _row(yearly: np.ndarray, columns: list[tuple[int, int]]) -> list[str]:
    amounts = [float(yearly[first : last + 1].mean()) for first, last in columns] + [float(yearly.sum())]
    return [number(amount) if round(amount) else MISSING for amount in amounts]


BALANCE_NOTE: Final = (
    "Account at the end of each quarter in {currency}, all money in and out so far; below zero is debt. The first "
    "number is the middle future, the low one what one future in twenty falls below; standard errors "
    "from the number of futures at most {middle:,.0f} and {low:,.0f}. Quarters: winter from {first}, then spring, "
    "summer, autumn."
)
BALANCE_YEARS: Final = 8
"""Years of which the quarters are shown, from year 0 (layout only)."""


def balance_note(dataset: xarray.Dataset) -> str:
    """What stands in the table of quarters: unit, meaning, and the largest standard error of each kind of number."""
    from orchardsim.risk.bands import quantile

    balance = _balance(dataset)
    middle, low = (float(np.nanmax(quantile(balance, share).standard_error)) for share in (0.5, 0.05))
    first = "October" if float(dataset.attrs["latitude"]) >= 0 else "April"
    return BALANCE_NOTE.format(currency=dataset.attrs["currency"], middle=middle, low=low, first=first)


def balance_cells(dataset: xarray.Dataset) -> list[list[str]]:
    """A head, then for each of the first years the middle trial's account and the one in twenty below, by quarter."""
    low, middle = np.quantile(_balance(dataset), [0.05, 0.5], axis=0)
    head = ["year"]
    for quarter in dataset["quarter"].values:
        head += [str(quarter), "low"]
    cells = [head]
    for place, year in enumerate(dataset["year"].values[:BALANCE_YEARS]):
        pairs = zip(middle[place], low[place], strict=True)
        cells.append([str(int(year)), *(number(amount) for pair in pairs for amount in pair)])
    return cells


def _balance(dataset: xarray.Dataset) -> np.ndarray:
    """Account of the years that are shown, (trial, year, quarter)."""
    values = dataset["account_balance"].isel(year=slice(BALANCE_YEARS)).transpose("trial", "year", "quarter").values
    return np.asarray(values)


SALES_NOTE: Final = (
    "Means over futures and mature years of the whole farm. The price is all revenue over all fruit sold there, before "
    "packing, selling charges and levies. It holds the lower price of what is beyond an outlet's volume. A carton "
    "holds 40 lb."
)


def sales_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """Fruit, price and money by outlet and grade in a mature year, with a head; empty where nothing is sold."""
    rows = outlet_sales(dataset)
    if not rows:
        return []
    mass = "bins a year" if formats.us else "t a year"
    size = formats.bin_mass if formats.us else 1000.0
    # United States fruit is quoted by the carton of 40 lb; the plan's box may hold another mass
    carton = [f"{formats.currency}/carton"] if formats.us else []
    cells = [
        ["outlet", "grade", mass, "of the fruit sold", formats.price_unit, *carton, f"{formats.currency} a year", "±"]
    ]
    for row in rows:
        cells.append(
            [
                term(row.outlet),
                term(row.grade),
                f"{row.mass / size:,.1f}",
                f"{100 * row.share:.1f} %",
                formats.price(row.price),
                *([f"{row.price * CARTON:,.2f}"] if formats.us else []),
                f"{row.revenue:,.0f}",
                f"{row.revenue_error:,.0f}",
            ]
        )
    return cells


def ledger_part(dataset: xarray.Dataset, formats: RunFormats) -> dict[str, Any]:
    """Items, quarters and outlets, for the page."""
    return {
        "ledger": ledger_cells(dataset),
        "ledger_note": LEDGER_NOTE,
        "balance": balance_cells(dataset),
        "balance_note": balance_note(dataset),
        "sales": sales_cells(dataset, formats),
        "sales_note": SALES_NOTE,
    }
