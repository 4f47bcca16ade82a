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
from orchardsim.core.variables import RESULTS, Variable
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import cumulative_yield, of_farm, yield_by_leaf
from orchardsim.results.doubts import OpenLevelsOfRun
from orchardsim.results.farm import OF_INVESTMENT, parts_of_farm
from orchardsim.results.headline import CUMULATIVE_LEAVES, over_run
from orchardsim.results.risk_numbers import peak_seasons
from orchardsim.results.statistics import STATISTICS, describe

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Side

OF_NEW: Final = "new planting's "
"""Before the name of a number that is not the whole farm's."""
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

    @property
    def year_text(self) -> str:
        """The year or years of the plan in which the leaf is met."""
        return str(self.years[0]) if len(self.years) == 1 else f"{self.years[0]}-{self.years[-1]}"


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
    "~ before a low number: its own standard error is more than a fifth of it. It rests on few seasons, so more "
    "futures, or a longer weather record, would move it."
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


def yield_rows(dataset: xarray.Dataset, block: str, formats: RunFormats) -> list[YieldRow]:
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
                band(formats.yield_value(values)),
                formats.boxes(middle),
                formats.bins(middle),
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


def money_rows(dataset: xarray.Dataset, formats: RunFormats) -> list[MoneyRow]:
    """Yields, then every headline number of the whole run that the variable table names, in its order."""
    levels = OpenLevelsOfRun.of(dataset)
    mixed = bool(parts_of_farm(dataset))
    rows = []
    table = yield_by_leaf(dataset, FARM)
    for leaf in CUMULATIVE_LEAVES:
        total = cumulative_yield(table, leaf)
        if total is not None:
            shown = formats.yield_value(total)
            # as many digits behind the point as the error deserves, one at most
            text = functools.partial(number, digits=int(band(shown).middle_error < 10))
            rows.append(_row(f"picked to leaf {leaf}", formats.yield_unit, shown, text, text, levels))
    for variable in RESULTS.values():
        if variable.headline not in ("run", "trial") or variable.name not in dataset:
            continue
        if variable.headline == "trial":
            values = np.asarray(dataset[variable.name].values, dtype=np.float64)
        elif variable.over_blocks != "none":
            values = over_run(dataset, variable, FARM)
        else:
            continue  # what does not add over blocks has no number of the farm
        if np.isnan(values).all():
            continue
        text = functools.partial(formats.value_text, variable)
        error = functools.partial(formats.error_text, variable)
        note = _note(dataset, variable, formats)
        name = OF_NEW + variable.title if mixed and variable.name in OF_INVESTMENT else variable.title
        rows.append(_row(name, note, values, text, error, levels, whole=variable.whole))
    return rows


def _note(dataset: xarray.Dataset, row: Variable, formats: RunFormats) -> str:
    """What stands beside a number: the table's own words, with what only the run knows."""
    if row.headline == "run":
        return row.note or f"whole farm, {dataset.sizes['year']} years"
    if row.display == "price":
        return f"{formats.price_unit} {row.note}"
    if row.name == "peak_borrowing_year":
        seasons = peak_seasons(dataset)
        usual = max(seasons, key=lambda name: seasons[name]) if seasons else ""
        return f"mostly in {usual} ({100 * seasons[usual]:.0f} % of futures that borrow)" if usual else ""
    return row.note


def _row(
    name: str,
    meaning: str,
    values: NDArray[np.float64],
    text: Callable[[float], str],
    error_text: Callable[[float], str],
    levels: OpenLevelsOfRun | None,
    *,
    whole: bool = False,
) -> MoneyRow:
    found = band(values, whole=whole)
    doubts = None if levels is None else levels.doubts(values)
    known = None if doubts is None else band(doubts.known, whole=whole)
    return MoneyRow(
        name,
        meaning,
        (text(found.low), text(found.middle), text(found.high)),
        error_text(found.middle_error) if np.isfinite(found.middle_error) else "not bounded",
        None if known is None else (text(known.low), text(known.high)),
        "" if doubts is None else doubts.larger,
    )
