"""What the open levels of a plan do to its money one at a time, prices against yields, and the chances of losing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from orchardsim.core.numbers import percent
from orchardsim.results.written import plain

TAIL: Final = 0.05
"""Chance beyond either end of a level's range (definition of this table)."""


@dataclass(frozen=True)
class Swing:
    """One open level at its two ends, all others at their middle.

    Attributes
    ----------
    low, middle, high : float
        Value of the level; of several keys (cultivars, blocks, causes) the first.
    npv_low, npv_high : float [money]
        Mean NPV with the level at its low and high end.
    error : float [money]
        Standard error of their difference, from the same trials.
    """

    name: str
    meaning: str
    low: float
    middle: float
    high: float
    unit: str
    npv_low: float
    npv_high: float
    error: float
    narrowed_by: str

    @property
    def width(self) -> float:
        """How far the two ends lie apart [money]."""
        return abs(self.npv_high - self.npv_low)


@dataclass(frozen=True)
class PriceByYield:
    """Mean NPV at all prices and all yields times a factor.

    Attributes
    ----------
    prices, yields : tuple of float [1]
        Factors.
    npv : tuple of tuple of float [money]
        By yield, then price.
    break_even : tuple of float [money/kg]
        Price of fresh fruit, mean over what is sold, at which NPV is zero, by yield; nan where none is.
    fresh_price : float [money/kg]
        That price in the plan.
    """

    prices: tuple[float, ...]
    yields: tuple[float, ...]
    npv: tuple[tuple[float, ...], ...]
    break_even: tuple[float, ...]
    fresh_price: float


@dataclass(frozen=True)
class Losing:
    """An outcome that loses, and in how many trials it came.

    Attributes
    ----------
    trials : int
        Trials with this outcome.
    of : int
        Trials in which it could come.
    """

    name: str
    trials: int
    of: int

    @property
    def chance(self) -> float:
        """Share of trials; nan where it could not come."""
        return self.trials / self.of if self.of else float("nan")


@dataclass(frozen=True)
class LevelsFound:
    """All that is found for one plan.

    Attributes
    ----------
    attributes : mapping
        Of the plan: title, units, currency, price year, box and bin, seasons.
    trials, years, seed : int
    npv : float [money]
        Mean NPV with all levels at their middle.
    npv_error : float [money]
    swings : tuple of Swing
        Widest first.
    losing : tuple of Losing
        In futures in which the levels are open.
    debt_not_covered : tuple of (int, int)
        By year: trials in which the cash flow before interest is below interest and principal due, and trials in which
        any were due.
    """

    attributes: Mapping[str, Any]
    trials: int
    years: int
    seed: int
    npv: float
    npv_error: float
    swings: tuple[Swing, ...]
    price_by_yield: PriceByYield
    losing: tuple[Losing, ...]
    debt_not_covered: tuple[tuple[int, int], ...]


def levels_document(found: LevelsFound) -> dict[str, Any]:
    """The findings as plain JSON values, 6 significant digits."""
    document: dict[str, Any] = plain(found)
    document["definitions"] = {
        "swing": f"ends of a level beyond which it lies with a chance of {percent(TAIL)} on either side; all keys of a "
        "level (cultivars, blocks, causes) move together",
        "price_by_yield": "all prices of fruit, and all fruit picked with its picking hours, times a factor; levels at "
        "their middle",
        "debt_not_covered": "cash flow before interest below interest and principal due in that year",
    }
    return document
