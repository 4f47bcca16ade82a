"""The farm's bank account, its income tax, and the worth of what stands at the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import FarmQuantities
from orchardsim.core.ledger_items import ITEM, LEDGER_ITEMS, columns_of
from orchardsim.economy.blocks import BlockMoney, inherited_area
from orchardsim.economy.finance import annuity_factor, level_payment
from orchardsim.economy.parameters import Costs, Finance, IdleLand, Tax
from orchardsim.economy.payments import growth, lending_rates

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Account:
    """The running account.

    Attributes
    ----------
    balance : (trial, year, quarter) [money]
        At the end of the quarter; below 0 is credit drawn.
    debt : (trial, year, quarter) [money]
        Credit drawn and term loan outstanding.
    interest, tax : (trial, year, quarter) [money]
        Paid in the quarter, positive.
    principal : (year,) [money]
        Principal paid back on the term loan.
    """

    balance: Array
    debt: Array
    interest: Array
    tax: Array
    principal: Array


class BeforeInterest(NamedTuple):
    """What the farm takes in and spends before interest and income tax.

    Attributes
    ----------
    cash : (trial, year, quarter) [money]
        Net flow.
    deductible : (trial, year) [money]
        The part of the year's net flow that is income (capital outlays left out).
    written_off : (trial, year) [money]
        Depreciation of the year.
    """

    cash: Array
    deductible: Array
    written_off: Array

    @property
    def income(self) -> Array:
        """Taxable income of a year without interest, (trial, year) [money]."""
        return self.deductible - self.written_off


def before_interest(flows: Array, finance: Finance) -> BeforeInterest:
    """The farm's flows (trial, year, quarter, block, ledger item) without interest and tax."""
    farm = flows.sum(axis=3)
    cash = farm.sum(axis=-1) - farm[..., columns_of("financing")].sum(axis=-1)
    capital = farm[..., columns_of("capital")].sum(axis=(2, 3))
    depreciable = -farm[..., [ITEM[row.name] for row in LEDGER_ITEMS if row.written_off]].sum(axis=(2, 3))
    written_off = depreciation(depreciable, finance.tax.depreciation_years) if finance.tax else np.zeros_like(capital)
    return BeforeInterest(cash, cash.sum(axis=2) - capital, written_off)


def depreciation(outlays: Array, years_of_life: float) -> Array:
    """Straight-line depreciation of yearly outlays, from the year they are made: (trial, year) [money].

    Parameters
    ----------
    outlays : (trial, year) [money]
        Positive.
    years_of_life : float [year]
        Rounded to whole years.
    """
    life = max(round(years_of_life), 1)
    written_off = np.zeros_like(outlays)
    for year in range(outlays.shape[1]):
        written_off[:, year : year + life] += outlays[:, year : year + 1] / life
    return written_off


def run_account(farm: BeforeInterest, finance: Finance, opening_cash: Array | None = None) -> Account:
    """Run the account quarter by quarter: interest on credit drawn, term loan, household draw, income tax.

    Parameters
    ----------
    opening_cash : (trial,) [money], optional
        Own cash at the start by trial, in place of the one in ``finance``.

    Notes
    -----
    Interest of a quarter is charged on the credit drawn at the end of the quarter before, at
    (1 + rate)^(1/4) - 1; in a real basis the rates are the lender's less inflation
    (:func:`orchardsim.economy.payments.lending_rates`).

    The term loan is drawn at the start and paid in level amounts at each year's end. Income
    tax falls due in the last quarter on income less interest and depreciation; losses are carried forward if so set.
    """
    income, (trials, years, quarters) = farm.income, farm.cash.shape
    credit_rate, term_rate = lending_rates(finance)
    quarterly = (1.0 + credit_rate) ** (1.0 / quarters) - 1.0
    payment = level_payment(term_rate, finance.loan_years, finance.loan_amount)
    balance, debt, interest, tax = (np.zeros((trials, years, quarters)) for _ in range(4))
    principals = np.zeros(years)
    start = np.full(trials, finance.opening_cash) if opening_cash is None else opening_cash
    account = start + finance.loan_amount
    carried = np.zeros(trials)
    loan = finance.loan_amount
    for year in range(years):
        for quarter in range(quarters):
            due = quarterly * np.maximum(-account, 0.0)
            if quarter == quarters - 1:
                if year < finance.loan_years and finance.loan_amount > 0:
                    due = due + loan * term_rate
                    principal = payment - loan * term_rate
                    principals[year] = principal
                    account = account - principal
                    loan = max(loan - principal, 0.0)
                if finance.tax is not None:
                    taxed = income[:, year] - interest[:, year].sum(axis=1) - due
                    tax[:, year, quarter], carried = income_tax(taxed, carried, finance.tax)
            interest[:, year, quarter] = due
            account = (
                account + farm.cash[:, year, quarter] - due - tax[:, year, quarter] - finance.household_draw / quarters
            )
            balance[:, year, quarter] = account
            debt[:, year, quarter] = np.maximum(-account, 0.0) + loan
    return Account(balance, debt, interest, tax, principals)


def reserve_needed(farm: BeforeInterest, finance: Finance, steps: int = 50) -> Array:
    """Smallest own cash at the start with which the account never falls below the credit line: (trial,) [money].

    ``finance``: without a stated ``credit_line`` there is no credit at all; its ``opening_cash`` is not used.

    Found by halving: more cash at the start means a higher balance in every quarter, since it saves interest.
    """
    credit = finance.credit_line if np.isfinite(finance.credit_line) else 0.0
    cash = farm.cash
    # So much cash that nothing is ever borrowed, and of it what the lowest balance leaves untouched: enough whatever
    # interest and tax do, also where a real rate is below zero and debt shrinks by itself.
    plenty = np.abs(cash).sum(axis=(1, 2)) + finance.household_draw * cash.shape[1] + finance.loan_amount * 10.0
    plenty += np.abs(farm.deductible).sum(axis=1) + np.abs(farm.written_off).sum(axis=1)
    lowest = run_account(farm, finance, plenty).balance.min(axis=(1, 2))

    def short(opening: Array) -> NDArray[np.bool_]:
        return np.asarray(run_account(farm, finance, opening).balance.min(axis=(1, 2)) < -credit)

    return _halved(np.zeros(len(cash)), np.maximum(plenty - lowest, 0.0), short, steps)[1]


def draw_bearable(farm: BeforeInterest, finance: Finance, steps: int = 30) -> Array:
    """Largest level household draw that leaves no debt at the end: (trial,) [money/year].

    The ``household_draw`` of ``finance`` is not used. Where a credit line is stated, the account stays within it as
    well. 0 where not even a farm without a draw does so.

    Found by halving: each unit drawn lowers the balance of every later quarter by at least as much. No draw above all
    flows shared over the years can be borne, since debts cost interest and balances earn none.
    """
    trials, years, quarters = farm.cash.shape
    most = finance.opening_cash + finance.loan_amount + farm.cash.sum(axis=(1, 2))
    even = np.full((years, quarters), 1.0 / quarters)
    without = replace(finance, household_draw=0.0)

    def borne(draw: Array) -> NDArray[np.bool_]:
        account = run_account(farm._replace(cash=farm.cash - draw[:, None, None] * even), without)
        last, owed = account.balance[:, -1, -1], account.debt[:, -1, -1]
        loan_left = owed - np.maximum(-last, 0.0)
        return np.asarray((last >= loan_left) & (account.balance.min(axis=(1, 2)) >= -finance.credit_line))

    none = np.zeros(trials)
    return np.where(borne(none), _halved(none, np.maximum(most / years, 0.0), borne, steps)[0], 0.0)


def _halved(low: Array, high: Array, rise: Callable[[Array], NDArray[np.bool_]], steps: int) -> tuple[Array, Array]:
    """Ends of the stretches up to whose point ``rise`` holds, halved so many times."""
    for _ in range(steps):
        middle = 0.5 * (low + high)
        rises = rise(middle)
        low, high = np.where(rises, middle, low), np.where(rises, high, middle)
    return low, high


def income_tax(income: Array, carried: Array, terms: Tax) -> tuple[Array, Array]:
    """Tax on a year's income after losses carried forward, and the losses left: both (trial,) [money]."""
    used = np.minimum(np.maximum(income, 0.0), carried)
    due = terms.rate * (np.maximum(income, 0.0) - used)
    if not terms.carry_forward:
        return due, carried
    return due, carried - used + np.maximum(-income, 0.0)


def tax_before_interest(farm: BeforeInterest, terms: Tax) -> tuple[Array, Array]:
    """Income tax (trial, year) as if no interest were paid, and the losses carried into the last year (trial,) [money].

    Discounting charges for the use of money already; the tax that interest saves would count it a second time.
    """
    income = farm.income
    tax = np.zeros_like(income)
    carried = before_last = np.zeros(len(income))
    for year in range(income.shape[1]):
        before_last = carried
        tax[:, year], carried = income_tax(income[:, year], carried, terms)
    return tax, before_last


def tax_on_more_income(more: Array, farm: BeforeInterest, terms: Tax) -> Array:
    """Tax that further income of the last year adds, or a loss saves, before interest: (trial,) [money].

    Examples
    --------
    >>> farm = BeforeInterest(np.zeros((1, 2, 4)), np.array([[-30.0, 0.0]]), np.zeros((1, 2)))
    >>> tax_on_more_income(np.array([100.0]), farm, Tax(0.2, 10.0, True)).tolist()
    [14.0]
    """
    tax, carried = tax_before_interest(farm, terms)
    return income_tax(farm.income[:, -1] + more, carried, terms)[0] - tax[:, -1]


def remaining_value(
    flows: Array,
    quantities: FarmQuantities,
    blocks: Sequence[BlockMoney],
    costs: Costs,
    finance: Finance,
    index: Array,
    idle: Sequence[IdleLand] = (),
) -> Array:
    """Worth of each living block at the end of the last year, before income tax: (trial, block + farm) [money].

    The last column is what only the farm has: idle land, less its overhead.

    Per block: the mean yearly margin of its last mature years (leaf at least ``mature_leaf``, at most
    ``remaining_years`` of them) as an annuity to the planned removal, less the removal then. A block that has not
    come into bearing is worth its establishment, written down evenly over its life. No block is worth less than
    its removal now. Bought land is worth its price. The farm's own yearly overhead is taken off over the longest
    remaining life. All in the money of the last year; later years are discounted at the real rate.

    A block that the plan pulls within the run has no value left, in the year of its removal neither; one that the
    plan pulls later (``removal_year``) lives to that year, whatever leaf removal is planned at otherwise.
    """
    trials = flows.shape[0]
    price_level = growth(0.0, finance, flows.shape[1])
    inflation = finance.inflation if finance.basis == "nominal" else 0.0
    rate = (1.0 + finance.discount_rate) / (1.0 + inflation) - 1.0
    index = np.atleast_2d(index)
    yearly = flows.sum(axis=2) * (price_level[-1] / price_level)[:, None, None]
    capital, running = columns_of("capital"), columns_of("sales", "running")
    total = np.zeros((trials, len(blocks) + 1))
    longest = 0
    inherited = inherited_area(blocks)
    if costs.land_bought:
        total[:, -1] += costs.land_price * sum(land.gross_area for land in idle) * index[:, -1]
    for row, block in enumerate(blocks):
        if costs.land_bought and block.land_from_year < flows.shape[1]:
            # Land that passes on within the plan is worth its price once, with the label that bought it.
            total[:, row] += costs.land_price * (block.geometry.gross_area - inherited[row]) * index[:, -1]
        leaf = quantities.leaf[:, row]
        last = len(leaf) - 1
        pulled = block.removal_year is not None and block.removal_year <= last
        if leaf[-1] < 1 or pulled:
            continue
        if block.removal_year is not None:
            life = int(leaf[-1]) + block.removal_year - last
        else:
            life = finance.planned_removal_leaf if block.planned_removal_leaf is None else block.planned_removal_leaf
        left = max(life - int(leaf[-1]), 0)
        longest = max(longest, left)
        mature = np.flatnonzero(leaf >= finance.mature_leaf)[-finance.remaining_years :]
        removal = costs.old_orchard_removal * block.geometry.gross_area * index[:, -1]
        if mature.size:
            margin = yearly[:, mature, row][:, :, running].sum(axis=-1).mean(axis=1)
            factor = float(annuity_factor(rate, left))
            value = margin * factor - removal * (1.0 + rate) ** -left
        else:
            spent = -yearly[:, :, row][:, :, capital].sum(axis=(1, 2))
            value = spent * left / life - removal * (1.0 + rate) ** -left
        total[:, row] += np.maximum(value, -removal)
    total[:, -1] -= costs.overhead_farm * index[:, -1] * float(annuity_factor(rate, longest))
    return total
