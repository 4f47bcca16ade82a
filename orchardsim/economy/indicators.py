"""Per trial measures of a plan's money: what it is worth, when it pays back, how deep the debt goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import QUARTERS
from orchardsim.core.ledger_items import ITEM, columns_of
from orchardsim.economy.account import before_interest, draw_bearable
from orchardsim.economy.finance import (
    discounted_payback_year,
    equivalent_annual_annuity,
    irr,
    mirr,
    npv,
    payback_year,
)
from orchardsim.economy.items import OUTLET_ITEM
from orchardsim.economy.ledger import Ledger
from orchardsim.economy.parameters import OUTLETS, Finance
from orchardsim.economy.payments import growth, lending_rates
from orchardsim.economy.prices import FRESH_OUTLETS

Array = NDArray[np.float64]
FRESH_ITEMS = sorted({ITEM[OUTLET_ITEM[name]] for name in FRESH_OUTLETS})


@dataclass(frozen=True)
class Indicators:
    """Measures per trial; name, dims, unit and meaning of each stand in :data:`orchardsim.core.variables.RESULTS`.

    Value and rates of return are of the yearly flows before interest, with what is still owed at the end; discounting
    already charges for the use of money. Rates of return and paybacks are nan where nothing is invested; where other
    blocks stand already they are of the new planting's own flows (:func:`investment_flows`). Where NPV is zero at
    several rates, ``irr`` is the one nearest zero. Paybacks are not before half of all that is invested is spent.
    ``peak_borrowing_year`` and ``_quarter`` are 0 where there is no debt, ``debt_service_cover`` is nan where
    nothing was due. ``break_even_price`` scales all fresh prices alike, before income tax and with insurance as it is;
    nan where no fresh fruit is sold.
    """

    npv: Array
    npv_by_block: Array
    npv_without_remaining_value: Array
    irr: Array
    irr_roots: NDArray[np.int64]
    irr_without_remaining_value: Array
    mirr: Array
    payback_year: Array
    discounted_payback_year: Array
    equivalent_annual_annuity: Array
    establishment_cost: Array
    remaining_value: Array
    peak_borrowing: Array
    peak_borrowing_year: NDArray[np.int64]
    peak_borrowing_quarter: NDArray[np.int64]
    negative_years: NDArray[np.int64]
    debt_service_cover: Array
    break_even_price: Array
    household_draw_bearable: Array


def peak_debt(debt: Array) -> tuple[Array, NDArray[np.int64], NDArray[np.int64]]:
    """Largest debt, with the year and quarter in which it is first reached.

    ``debt``, (trial, year, quarter) [money].
    """
    flat = debt.reshape(debt.shape[0], -1)
    where = flat.argmax(axis=1)
    return flat.max(axis=1), where // len(QUARTERS), where % len(QUARTERS)


def indicators(ledger: Ledger, finance: Finance) -> Indicators:
    """Measures of each trial.

    The remaining value is added to the flow of the last year.
    """
    flows = ledger.project_cash_flow()
    years = flows.shape[1]
    rate = finance.discount_rate
    value = npv(rate, _with_worth(flows, ledger.remaining_value))
    peak, year, quarter = peak_debt(ledger.account.debt)
    yearly = ledger.farm_by_year()
    net = yearly.sum(axis=-1)
    interest = -yearly[..., ITEM["interest"]]
    due = interest + ledger.account.principal
    cover = np.where(due > 0, (net + interest) / np.where(due > 0, due, 1.0), np.nan)
    reinvest = finance.reinvest_rate or rate
    own, own_flows, own_worth = investment_flows(ledger)
    own_with_value = _with_worth(own_flows, own_worth)
    internal = irr(own_with_value)
    # Pulling trees alone is no investment.
    outlays = [column for column in columns_of("capital") if column != ITEM["old_orchard_removal"]]
    spent = np.cumsum(np.maximum(-own[..., outlays], 0.0).sum(axis=2), axis=1)
    invested = spent[:, -1] > 0
    # What standing blocks earn before pays nothing back: little is bought yet.
    bought = (spent >= 0.5 * spent[:, -1:]).argmax(axis=1)

    def of_investment(values: Array) -> Array:
        return np.where(invested, values, np.nan)

    def paid_back(values: Array) -> Array:
        return of_investment(np.maximum(values, bought))

    return Indicators(
        npv=value,
        npv_by_block=_by_block(ledger, rate, value),
        npv_without_remaining_value=npv(rate, flows),
        irr=of_investment(internal.rate),
        irr_roots=np.where(invested, internal.roots, 0),
        irr_without_remaining_value=of_investment(irr(own_flows).rate),
        mirr=of_investment(mirr(own_with_value, lending_rates(finance)[0], reinvest)),
        payback_year=paid_back(payback_year(own.sum(axis=-1))),
        discounted_payback_year=paid_back(discounted_payback_year(rate, own_flows)),
        equivalent_annual_annuity=equivalent_annual_annuity(rate, max(years - 1, 1), value),
        establishment_cost=-npv(rate, yearly[..., columns_of("capital")].sum(axis=-1)),
        remaining_value=ledger.remaining_value,
        peak_borrowing=peak,
        peak_borrowing_year=year,
        peak_borrowing_quarter=quarter,
        negative_years=(net < 0).sum(axis=1),
        debt_service_cover=cover,
        break_even_price=break_even_price(ledger, finance),
        household_draw_bearable=draw_bearable(before_interest(ledger.flows, finance), finance),
    )


def investment_flows(ledger: Ledger) -> tuple[Array, Array, Array]:
    """What a plan's investment pays and earns: the whole farm, or, where other blocks stand, the new planting alone.

    Earnings of standing blocks pay no new planting back. Its own flows are before interest, income tax and what only
    the farm pays, as ``npv_by_block`` is.

    Returns
    -------
    (trial, year, ledger item), (trial, year), (trial,)
        Money by item; the flow before interest, with what is still owed in the last year; the worth at the end.
    """
    if ledger.new.all() or not ledger.new.any():
        return ledger.farm_by_year(), ledger.project_cash_flow(), ledger.remaining_value
    own = ledger.yearly()[:, :, :-1][:, :, ledger.new].sum(axis=2)
    flows = _with_worth(own.sum(axis=-1), ledger.receivable[:, ledger.new].sum(axis=1))
    return own, flows, ledger.remaining_by_block[:, ledger.new].sum(axis=1)


def _with_worth(flows: Array, worth: Array) -> Array:
    """Yearly flows with a worth that comes in at the end, (trial, year)."""
    found = flows.copy()
    found[:, -1] += worth
    return found


def _by_block(ledger: Ledger, rate: float, value: Array) -> Array:
    """Net present value of each block's own flows, with what is owed to it and its worth; the rest is shared."""
    flows = ledger.yearly()[:, :, :-1].sum(axis=3)
    flows[:, -1] += ledger.receivable + ledger.remaining_by_block
    own = npv(rate, flows.transpose(0, 2, 1))
    return np.concatenate([own, (value - own.sum(axis=1))[:, None]], axis=1)


def break_even_price(ledger: Ledger, finance: Finance) -> Array:
    """Packed price of fresh fruit at which NPV without the remaining value is zero: (trial,) [money/kg].

    NPV is linear in a factor f on all fresh prices, since fruit goes to outlets by volume and not by price: 0 = NPV +
    (f - 1) PV(fresh sales). The price is f times the present value of fresh sales over that of their mass.
    """
    rate = finance.discount_rate
    years = ledger.account.balance.shape[1]
    yearly = ledger.farm_by_year()
    before_tax = ledger.cash_flow_before_tax()
    received = yearly[..., FRESH_ITEMS].sum(axis=-1) - ledger.opening_fresh
    received[:, -1] += ledger.fresh_receivable
    fresh = npv(rate, received)
    level = growth(0.0, finance, years)
    columns = [OUTLETS.index(name) for name in FRESH_OUTLETS]
    money = npv(rate, ledger.sales.revenue[..., columns].sum(axis=(2, 3)) * level)
    mass = npv(rate, ledger.sales.mass[..., columns].sum(axis=(2, 3)) * level)
    sold = (mass > 0) & (fresh > 0)
    factor = 1.0 - npv(rate, before_tax) / np.where(sold, fresh, 1.0)
    return np.where(sold, factor * money / np.where(sold, mass, 1.0), np.nan)
