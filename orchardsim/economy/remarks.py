"""Remarks on a plan's money: what is legal but likely to surprise."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from orchardsim.core.numbers import percent
from orchardsim.core.units import HECTARE
from orchardsim.economy.blocks import BlockMoney, credit_shortfall, establishment_schedule
from orchardsim.economy.parameters import Costs, Finance, Market
from orchardsim.economy.payments import lending_rates

WIND_MACHINE_AREA: Final = 4 * HECTARE
"""m2; land that one wind machine protects, some 10 acres (memory)."""


def money_remarks(
    blocks: Sequence[BlockMoney],
    costs: Costs,
    market: Market,
    finance: Finance,
    years: int,
    picking_rate: float | None = None,
) -> list[str]:
    """One line for each thing that a user should know before trusting the plan's money.

    Parameters
    ----------
    costs, market, finance
        Parameters in the plan's currency.
    years : int
        Years of the run.
    picking_rate : float, optional [kg/hour]
        Fruit picked per labour hour; without it nothing is said of the wage floor under piece pay.
    """
    remarks: list[str] = []
    short = credit_shortfall(establishment_schedule(blocks, costs, finance, years), finance)
    if short is not None:
        remarks.append(
            f"the establishment alone asks for {short[1]:,.0f} more than cash, loan and the credit line of "
            f"{finance.credit_line:,.0f} by the end of year {short[0]}, before any sales or yearly costs"
        )
    if finance.basis == "nominal" and finance.inflation == 0:
        remarks.append("the basis is nominal, but inflation is 0: prices, costs and wages do not rise")
    if finance.basis == "real" and finance.inflation != 0:
        remarks.append(
            f"the basis is real: prices do not rise. The loan rate of {percent(finance.loan_rate, 2)}, as lenders "
            f"quote it, counts as {percent(lending_rates(finance)[0], 2)} after inflation of "
            f"{percent(finance.inflation, 2)} (finance.inflation). The discount rate must be real as well"
        )
    for name in ("direct", "pick_your_own"):
        lacking = sorted({each.cultivar for each in blocks if np.isnan(getattr(market.fruit[each.cultivar], name))})
        if market.outlets[name].volume > 0 and lacking:
            remarks.append(f"outlet {name} takes no {', '.join(lacking)}: no price is stated")
    narrow = any(each.year_planted >= 0 and each.geometry.row_spacing < costs.narrow_row for each in blocks)
    if narrow and costs.narrow_machines == 0:
        remarks.append(
            f"rows are closer than {costs.narrow_row:.2g} m, which asks for narrow machines; none are bought "
            "(costs.narrow_machines = 0)"
        )
    for each in blocks:
        remarks += _block_remarks(each, blocks, costs, finance, years)
    if costs.machine_ownership > 0 and (costs.machines > 0 or costs.narrow_machines > 0):
        remarks.append(
            "machines are bought (costs.machines, costs.narrow_machines) and their wear and capital are "
            "charged by area besides (costs.machine_ownership); state 0 for the latter where they are the same machines"
        )
    blown = sum(one.geometry.planted_area for one in blocks if one.protection == "wind_machine")
    if 0 < blown < WIND_MACHINE_AREA:
        remarks.append(
            f"wind machines are bought whole: one for some 10 acres (4 ha) would cost "
            f"{costs.wind_machine * WIND_MACHINE_AREA:,.0f}; counted are {costs.wind_machine * blown:,.0f}, by area. "
            "State costs.wind_machine so that the whole one is paid, unless neighbours share it"
        )
    if picking_rate is not None and costs.picking_pay == "piece":
        remarks += _wage_floor(blocks, costs, market, picking_rate)
    if finance.insurance is not None and finance.insurance.coverage == 0 and not finance.insurance.tree_aid:
        remarks.append("insurance is asked for, but covers nothing (coverage = 0, tree_aid = false)")
    return remarks


def _block_remarks(
    each: BlockMoney, blocks: Sequence[BlockMoney], costs: Costs, finance: Finance, years: int
) -> list[str]:
    """What to know of the land and the end of one block."""
    remarks: list[str] = []
    pulled = [other.removal_year for other in blocks if other.removal_year is not None and other is not each]
    if each.land_from_year == 0 and any(year <= each.year_planted for year in pulled):
        charged = ["rented"] * (not costs.land_bought) + ["bought"] * costs.land_bought
        charged += ["cleared of an old orchard"] * each.clears_old_orchard
        remarks.append(
            f"{each.label} is planted after another block is pulled; its land is {' and '.join(charged)} on its "
            "own account from year 0 on. If it is the same land, state land_from_year, so that nothing is paid "
            "twice"
        )
    life = finance.planned_removal_leaf if each.planned_removal_leaf is None else each.planned_removal_leaf
    last = years - each.year_planted
    if each.removal_year is None and last > life:
        remarks.append(
            f"{each.label} is in leaf {last} in the last year, past its planned removal after leaf {life}: "
            "it ends with the cost of its removal as remaining value"
        )
    elif each.removal_year is None and 0 < last < finance.mature_leaf:
        remarks.append(
            f"{each.label} is only in leaf {last} in the last year, before full bearing (leaf "
            f"{finance.mature_leaf}): its remaining value is its establishment written down"
        )
    return remarks


def _wage_floor(blocks: Sequence[BlockMoney], costs: Costs, market: Market, picking_rate: float) -> list[str]:
    """Where the hourly wage stands above piece pay, so that the piece rate decides nothing."""
    hours = costs.bin_mass / picking_rate
    hourly = hours * costs.wage_picking
    remarks = []
    for cultivar in sorted({each.cultivar for each in blocks}):
        piece = costs.picking_bin + market.fruit[cultivar].picking_premium
        if piece < hourly * (1 - 1e-9):
            remarks.append(
                f"picking of {cultivar}: the piece rate of {piece:.4g} per bin is {piece / hours:.4g} per hour at "
                f"{hours:.3g} hours a bin, below the hourly wage of {costs.wage_picking:.4g}. Pickers are paid by the "
                f"hour, {hourly:.4g} per bin (work_rates.picking, costs.picking_bin, costs.wage_picking)"
            )
    return remarks
