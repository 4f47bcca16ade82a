"""One open level at a time, prices against yields, and the chances of losing, in common futures."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.labels import OUTLETS
from orchardsim.economy.indicators import Indicators, indicators
from orchardsim.economy.ledger import Ledger
from orchardsim.plan import Plan
from orchardsim.results.levels import TAIL, LevelsFound, Losing, PriceByYield, Swing
from orchardsim.risk.bands import mean
from orchardsim.simulation.run import check_run
from orchardsim.simulation.same_futures import (
    SameFutures,
    middle_of,
    present_value,
    with_level,
    with_yield,
)
from orchardsim.simulation.totals import Totals

Array = NDArray[np.float64]
MONEY_LEVELS: Final = frozenset(
    {"price_level", "price_drift", "packing_charge", "storage_charge", "cost_level", "wage_level", "wage_growth"}
)
"""Levels that move no tree and no fruit."""
PRICES: Final = (0.6, 0.8, 0.9, 1.0, 1.1, 1.2, 1.4)
YIELDS: Final = (0.5, 0.7, 0.85, 1.0, 1.15, 1.3, 1.5)


def open_levels(plan: Plan) -> list[str]:
    """Levels of which the plan leaves something open."""
    return [name for name in OPEN_LEVELS if middle_of(plan, name).spread > 0]


def levels_size(plan: Plan) -> int:
    """Trial walks that :func:`look_at_levels` asks for each trial."""
    return 2 + 2 * sum(name not in MONEY_LEVELS for name in open_levels(plan))


def ends(plan: Plan, name: str) -> tuple[float, float, float]:
    """Low end, middle and high end of a level."""
    row, doubt = OPEN_LEVELS[name], middle_of(plan, name)
    step = float(-ndtri(TAIL)) * doubt.spread
    if row.family == "lognormal":
        return doubt.middle * float(np.exp(-step)), doubt.middle, doubt.middle * float(np.exp(step))
    return doubt.middle - step, doubt.middle, doubt.middle + step


def look_at_levels(
    plan: Plan, *, trials: int, years: int, seed: int, progress: Callable[[int], Any] | None = None
) -> LevelsFound:
    """Every open level at its ends, prices against yields, and how plans lose.

    ``progress``: told how many trials were walked. Raises InputError if the plan cannot be run so.
    """
    check_run(plan, trials, years)
    say = progress or (lambda walked: None)
    futures = SameFutures(plan, trials, years, seed)
    known = plan.with_known_futures()
    usual = futures.walked(known)
    say(trials)
    base = futures.values(known, usual)
    swings = []
    for name in open_levels(plan):
        low, middle, high = ends(plan, name)
        pair = []
        for value in (low, high):
            changed = with_level(known, name, value)
            if name in MONEY_LEVELS:
                totals = usual
            else:
                totals = futures.walked(changed)
                say(trials)
            pair.append(futures.values(changed, totals))
        row, apart = OPEN_LEVELS[name], pair[1] - pair[0]
        swings.append(
            Swing(name, row.meaning, low, middle, high, row.unit, float(pair[0].mean()), float(pair[1].mean()),
                  float(mean(apart).standard_error), row.narrowed_by)
        )  # fmt: skip
    ledger = futures.ledger(plan, futures.walked(plan))
    money = indicators(ledger, plan.finance)
    say(trials)
    return LevelsFound(
        attributes={**plan.terms, "latitude": plan.weather.latitude},
        trials=trials,
        years=years,
        seed=seed,
        npv=float(base.mean()),
        npv_error=float(mean(base).standard_error),
        swings=tuple(sorted(swings, key=lambda swing: -swing.width)),
        price_by_yield=price_by_yield(futures, known, usual),
        losing=_losing(plan, ledger, money),
        debt_not_covered=tuple(
            (int((cover < 1).sum()), int((~np.isnan(cover)).sum())) for cover in money.debt_service_cover.T
        ),
    )  # fmt: skip


def price_by_yield(futures: SameFutures, plan: Plan, totals: Totals) -> PriceByYield:
    """Mean NPV over factors on all prices and on the yield, and the price at which it is zero at each yield.

    NPV is all but linear in a factor on prices (what a block is worth at the end has a floor), so the break-even price
    is found between the two factors that hold it, or along the line of the nearest two.
    """
    table = []
    for share in YIELDS:
        scaled = with_yield(totals, share)
        table.append([float(futures.values(plan, scaled, price).mean()) for price in PRICES])
    ledger = futures.ledger(plan, totals)
    column = [OUTLETS.index(name) for name in ("direct", "pick_your_own", "wholesale")]
    mass, money = ledger.sales.mass[..., column].sum(), ledger.sales.revenue[..., column].sum()
    price = float(money / mass) if mass > 0 else float("nan")
    even = tuple(price * zero_between(PRICES, row) for row in table)
    return PriceByYield(PRICES, YIELDS, tuple(map(tuple, table)), even, price)


def zero_between(factors: tuple[float, ...], values: list[float]) -> float:
    """Factor at which values that rise with it are zero, straight between points and beyond their ends.

    Examples
    --------
    >>> zero_between((0.5, 1.0, 2.0), [-30.0, -10.0, 30.0]), zero_between((1.0, 2.0), [10.0, 30.0])
    (1.25, 0.5)
    """
    place = int(np.clip(np.searchsorted(np.asarray(values), 0.0), 1, len(values) - 1))
    (x0, x1), (y0, y1) = factors[place - 1 : place + 1], values[place - 1 : place + 1]
    return x0 - y0 * (x1 - x0) / (y1 - y0) if y1 != y0 else float("nan")


def _losing(plan: Plan, ledger: Ledger, money: Indicators) -> tuple[Losing, ...]:
    """Outcomes that lose, with the trials in which they came."""
    balance = ledger.account.balance
    trials, years = balance.shape[:2]
    invested = ~np.isnan(money.payback_year)
    uncovered = np.asarray((money.debt_service_cover < 1).any(axis=1))
    asked = np.asarray((~np.isnan(money.debt_service_cover)).any(axis=1))

    def losing(name: str, came: NDArray[np.bool_], could: NDArray[np.bool_] | None = None) -> Losing:
        of = np.ones(trials, dtype=bool) if could is None else could
        return Losing(name, int((came & of).sum()), int(of.sum()))

    outcomes = [
        losing(f"NPV below zero at {100 * plan.finance.discount_rate:g} %", present_value(ledger, plan) < 0),
        losing("money not earned back within the run", np.isinf(money.payback_year), invested),
        losing("no return on what was invested (IRR below zero, or none)", ~(money.irr >= 0), invested),
        losing("in debt at the end of the run", balance[:, -1, -1] < 0),
        losing("debt service not covered in some year", uncovered, asked),
        losing("more years with cash going out than coming in", money.negative_years > years / 2),
    ]
    if math.isfinite(plan.finance.credit_line):
        beyond = money.peak_borrowing - plan.finance.loan_amount > plan.finance.credit_line
        outcomes.append(losing("more borrowed than the credit line holds", beyond))
    return tuple(outcomes)
