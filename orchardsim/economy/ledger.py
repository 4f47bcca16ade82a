"""The farm's cash flows by item, block and quarter of each year, and its bank account."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import QUARTERS
from orchardsim.core.errors import IdentityError
from orchardsim.core.handover import FarmQuantities
from orchardsim.core.labels import FROST_PROTECTION, SHARED, TASKS
from orchardsim.core.ledger_items import ITEM, LEDGER_ITEMS, columns_of
from orchardsim.economy.account import (
    Account,
    before_interest,
    remaining_value,
    run_account,
    tax_before_interest,
    tax_on_more_income,
)
from orchardsim.economy.blocks import BlockMoney, material_outlays
from orchardsim.economy.insurance import insurance_flows
from orchardsim.economy.items import MATERIAL_QUARTERS, OUTLET_ITEM, TASK_PAY
from orchardsim.economy.parameters import OUTLETS, Costs, Finance, IdleLand, Market
from orchardsim.economy.payments import (
    KNOWN,
    CostLevels,
    by_leaf,
    growth,
    paid_with_deposit,
    spread,
    spread_payments,
    worth_a_year_later,
    young_share,
)
from orchardsim.economy.prices import FRESH_OUTLETS, PricePaths, Sales, price_luck, sell

Array = NDArray[np.float64]
EVEN = (0.25,) * len(QUARTERS)


@dataclass(frozen=True)
class Ledger:
    """Money in (positive) and out (negative).

    Attributes
    ----------
    flows : (trial, year, quarter, block, ledger item) [money]
        What belongs to no block stands under the last label; a sum over the block axis is the farm.
    labels : tuple of str
        Labels of the block axis, "shared" last.
    new : (block,)
        Whether each block is planted in the plan; the others stand before year 0.
    account : Account
        Of the farm, with own cash, loan, draw and tax.
    receivable : (trial, block) [money]
        Owed at the end of the last year by outlets and insurers, less what is owed to them; in no item.
    fresh_receivable : (trial,) [money]
        The part of it that fresh outlets owe for fruit, their charges not taken off.
    receivable_tax : (trial,) [money]
        Income tax on ``receivable`` when it comes in.
    opening_fresh : (trial, year) [money]
        Part of the fresh sales that was received for the crop of the year before year 0.
    project_tax : (trial, year) [money]
        Income tax as it would be without interest.
    remaining_value : (trial,) [money]
        Worth of the living blocks at the end of the last year, after income tax on what it lies above the outlays not
        yet written off.
    remaining_by_block : (trial, block) [money]
        Worth of each block then, before income tax.
    sales : Sales
        What was sold where.
    family_hours : (trial, year) [hour]
        Hours that the family worked.
    family_labour_value : (trial, year) [money]
        What those hours would have cost, paid or not.
    price_luck : (trial, year) [1]
        Wholesale price over the plan's, without the part that follows the region's crop.
    """

    flows: Array
    labels: tuple[str, ...]
    new: NDArray[np.bool_]
    account: Account
    receivable: Array
    fresh_receivable: Array
    receivable_tax: Array
    opening_fresh: Array
    project_tax: Array
    remaining_value: Array
    remaining_by_block: Array
    sales: Sales
    family_hours: Array
    family_labour_value: Array
    price_luck: Array

    def yearly(self) -> Array:
        """Money by block, year and item: (trial, year, block, ledger item)."""
        return self.flows.sum(axis=2)

    def farm_by_year(self) -> Array:
        """Money of the whole farm by year and item: (trial, year, ledger item)."""
        return self.yearly().sum(axis=2)

    def net_cash_flow(self) -> Array:
        """Sum of all items by year, interest included: (trial, year, block)."""
        return self.yearly().sum(axis=-1)

    def project_cash_flow(self) -> Array:
        """The farm's yearly flow before interest, with what is still owed to it in the last year: (trial, year).

        Financing is left out because discounting already charges for the use of money; so income tax is that of a farm
        without interest, or interest would shield twice.
        """
        flows = self.cash_flow_before_tax() - self.project_tax
        flows[:, -1] -= self.receivable_tax
        return flows

    def cash_flow_before_tax(self) -> Array:
        """:meth:`project_cash_flow` without any income tax: (trial, year)."""
        yearly = self.farm_by_year()
        flows: Array = yearly.sum(axis=-1) - yearly[..., columns_of("financing")].sum(axis=-1)
        flows[:, -1] += self.receivable.sum(axis=1)
        return flows


class _Books:
    """A farm's ledger while it is written: what is booked, the terms of money, and what they stand at by year.

    ``index``, ``packing``, ``storing`` and ``wages`` are costs, charges and wages over those that the plan states,
    (trial, year) [1]; ``prices`` is inflation alone, (year,).
    """

    def __init__(
        self,
        quantities: FarmQuantities,
        blocks: Sequence[BlockMoney],
        costs: Costs,
        market: Market,
        finance: Finance,
        paths: PricePaths,
        levels: CostLevels,
    ) -> None:
        trials, years, count = quantities.harvested_mass.shape
        if count != len(blocks):
            raise ValueError(f"{len(blocks)} blocks of money for {count} blocks of quantities")
        self.quantities, self.blocks, self.years = quantities, blocks, years
        self.costs, self.market, self.finance = costs, market, finance
        self.flows = np.zeros((trials, years, len(QUARTERS), count + 1, len(LEDGER_ITEMS)))
        cost_growth = growth(costs.cost_trend, finance, years)
        self.packing, self.storing, self.index = (
            np.outer(each, cost_growth) for each in (levels.packing, levels.storage, levels.costs)
        )
        self.wages = np.outer(levels.wages, growth(costs.wage_trend, finance, years))
        self.wages *= (1 + levels.wage_growth[:, None]) ** np.arange(years)
        self.prices = growth(0.0, finance, years)
        self.cultivars = [block.cultivar for block in blocks]
        self.sales = sell(
            quantities.packed_mass,
            paths,
            market,
            self.cultivars,
            storage_share=costs.storage_share,
            storage_limit=costs.storage_limit,
            relative_price=quantities.pass_price * quantities.size_price,
            storage_shrink=[market.fruit[name].storage_shrink for name in self.cultivars],
            years_planted=[block.year_planted for block in blocks],
        )
        # share of the harvest that customers pick: what they buy, and what they waste
        own, harvested = self.sales.mass[..., OUTLETS.index("pick_your_own")], quantities.harvested_mass
        picked = own / np.maximum(1.0 - market.waste_pick_your_own, 1e-9)
        self.customer_share = np.minimum(picked / np.where(harvested > 0, harvested, np.inf), 1.0)
        self.owed, self.fresh_owed = np.zeros((trials, count)), np.zeros((trials, count))
        self.opening_fresh = np.zeros((trials, years))

    def pay(
        self, item: str, row: int, yearly: Array | float, quarters: Sequence[float], index: Array | None = None
    ) -> None:
        """Book yearly costs of a block (-1: of the farm), in the plan's money, times an index, that of costs."""
        level = self.index if index is None else index
        self.flows[:, :, :, row, ITEM[item]] -= spread(np.atleast_2d(yearly * level), quarters)

    def book_establishment(self) -> None:
        """Planting and building, removal of blocks, and the farm's own overhead."""
        quantities, finance, years, flows, index = self.quantities, self.finance, self.years, self.flows, self.index
        labels = {block.label: row for row, block in enumerate(self.blocks)} | {SHARED: len(self.blocks)}
        for outlay in material_outlays(self.blocks, self.costs, finance, years):
            if outlay.item != "trees":
                amount = outlay.amount * index[:, outlay.year]
                flows[:, outlay.year, outlay.quarter, labels[outlay.label], ITEM[outlay.item]] -= amount
        for row, block in enumerate(self.blocks):
            planted = quantities.trees_planted[:, :, row]
            extra = np.zeros_like(planted)
            if 0 <= block.year_planted < years:
                extra[:, block.year_planted] = block.extra_trees
            trees = np.zeros_like(planted)
            for delivered, (number, price) in zip((planted, extra), block.first_trees(), strict=True):
                ordered = np.zeros_like(planted)
                if block.year_planted >= 0 and max(block.order_year, 0) < years:
                    ordered[:, max(block.order_year, 0)] = number
                trees += paid_with_deposit(ordered, delivered, price, finance.deposit_share)
            flows[:, :, 0, row, ITEM["trees"]] -= trees * index
            if block.removal_year is not None and 0 <= block.removal_year < years:
                removal = self.costs.old_orchard_removal * block.geometry.gross_area * index[:, block.removal_year]
                flows[:, block.removal_year, 3, row, ITEM["old_orchard_removal"]] -= removal
        self.pay("overhead", -1, self.costs.overhead_farm, EVEN)

    def book_labour(self) -> tuple[Array, Array]:
        """Wages of all tasks; hours that the family worked, and what they would have cost, both (trial, year)."""
        hours, costs = self.quantities.labour_hours, self.costs
        charges = 1.0 + costs.labour_charges
        task_wage = np.array([getattr(costs, TASK_PAY[task].wage) for task in TASKS])
        own_tasks = [column for column, task in enumerate(TASKS) if task != "picking"]
        eligible = hours[..., own_tasks].sum(axis=(2, 3))
        family_share = np.minimum(costs.family_hours / np.where(eligible > 0, eligible, np.inf), 1.0)
        value = (hours[..., own_tasks] * task_wage[own_tasks]).sum(axis=(2, 3)) * family_share * self.wages * charges
        paid_share = np.ones_like(family_share) if costs.family_labour_priced else 1.0 - family_share
        for column, task in enumerate(TASKS):
            for row in range(len(self.blocks)):
                if task == "picking":
                    pay = self._picking_pay(row) * charges
                else:
                    pay = hours[:, :, row, column] * task_wage[column] * paid_share * charges
                self.pay(TASK_PAY[task].item, row, pay, TASK_PAY[task].quarters, self.wages)
        return family_share * eligible, value

    def _picking_pay(self, row: int) -> Array:
        costs, crew_share = self.costs, 1.0 - self.customer_share[:, :, row]
        hourly = self.quantities.labour_hours[:, :, row, TASKS.index("picking")] * crew_share * costs.wage_picking
        if costs.picking_pay == "hourly":
            return hourly
        bins = self.quantities.harvested_mass[:, :, row] * crew_share / costs.bin_mass
        return np.maximum(bins * (costs.picking_bin + self.market.fruit[self.cultivars[row]].picking_premium), hourly)

    def book_yearly_costs(self) -> None:
        """What standing blocks and their land ask for in a year, labour and harvest aside."""
        quantities, costs = self.quantities, self.costs
        for row, block in enumerate(self.blocks):
            leaf, geometry, pay = quantities.leaf[:, row], block.geometry, functools.partial(self.pay, row=row)
            grown = (leaf >= 1).astype(float)
            held = ((leaf != -999) & (np.arange(self.years) >= block.land_from_year)).astype(float)
            planted, gross = geometry.planted_area, geometry.gross_area
            share = young_share(leaf, geometry.trees / planted, costs)
            saved = 1.0 - costs.scab_share * (1.0 - block.scab)
            materials = by_leaf(costs.materials, leaf) * saved * share * planted
            pay("materials", yearly=materials, quarters=MATERIAL_QUARTERS)
            sprays = grown * costs.blight_sprays * block.blight_control * share * planted
            pay("blight_sprays", yearly=sprays, quarters=(0, 1, 0, 0))
            running = grown * costs.machine_running * share * planted
            pay("upkeep", yearly=running, quarters=TASK_PAY["upkeep"].quarters)
            pay("upkeep", yearly=grown * costs.machine_ownership * planted, quarters=EVEN)
            pay("overhead", yearly=grown * (costs.overhead_area + costs.management) * gross, quarters=EVEN)
            pay("land_charge", yearly=held * costs.land_charge * gross, quarters=EVEN)
            water = quantities.irrigation_depth[:, :, row] * planted * costs.water
            pay("water_and_fuel", yearly=water, quarters=(0, 0.2, 0.8, 0))
            wear, fuel = _running(block.protection, costs)
            protection = quantities.protection_hours[:, :, row] * planted * wear
            protection = protection + quantities.protection_fuel[:, :, row] * fuel
            pay("water_and_fuel", yearly=protection, quarters=(0, 1, 0, 0))
            kept = quantities.spares_on_hand[:, :, row] * costs.spare_upkeep
            pay("replacement_trees", yearly=kept, quarters=(0, 0.3, 0.7, 0))
            care = costs.replant_care + (costs.trunk_guard if block.guarded else 0.0)
            pay("replacement_trees", yearly=quantities.trees_replanted[:, :, row] * care, quarters=(0.5, 0.5, 0, 0))
            price = block.tree_price if block.replacement_price is None else block.replacement_price
            at_once = quantities.spot_bought[:, :, row]
            ordered, bought = quantities.trees_ordered[:, :, row], quantities.spares_bought[:, :, row] - at_once
            spares = paid_with_deposit(ordered, bought, price, self.finance.deposit_share)
            spares = spares + at_once * (price if block.spot_price is None else block.spot_price)
            pay("replacement_trees", yearly=spares, quarters=(1, 0, 0, 0))

    def book_idle_land(self, idle: Sequence[IdleLand]) -> None:
        """What land without trees costs and brings; it belongs to no block."""
        costs = self.costs
        for land in idle:
            self.pay("land_charge", -1, (costs.land_charge - land.yearly_margin) * land.gross_area, EVEN)
            if costs.land_bought:
                self.flows[:, 0, 0, -1, ITEM["land"]] -= costs.land_price * land.gross_area * self.index[:, 0]

    def book_sales(self) -> None:
        """Sales and the charges that go with them, and the overhead of picking."""
        quantities, costs = self.quantities, self.costs
        charges = {
            "direct": costs.direct_handling,
            "pick_your_own": costs.pick_your_own_handling,
            "processing": costs.processing_haul,
            "juice": costs.processing_haul,
        }
        for row, block in enumerate(self.blocks):
            fruit = self.market.fruit[block.cultivar]
            charges["wholesale"] = fruit.packing if np.isfinite(fruit.packing) else costs.packing
            for name in OUTLETS:
                self._book_outlet(row, name, charges[name])
            bins = quantities.harvested_mass[:, :, row] * (1.0 - self.customer_share[:, :, row]) / costs.bin_mass
            self.flows[:, :, 3, row, ITEM["picking"]] -= bins * costs.picking_overhead * self.index

    def _book_outlet(self, row: int, name: str, handling: float) -> None:
        """What an outlet pays for a block's fruit, less its charges: a packer keeps them back from what it pays."""
        sales, column, fresh = self.sales, OUTLETS.index(name), name in FRESH_OUTLETS
        share = 1.0 - self.market.fruit[self.cultivars[row]].sales_levy if fresh else 1.0
        revenue = sales.revenue[:, :, row, column] * self.prices * share
        storage = self.costs.storage * sales.stored[:, :, row] if name == "wholesale" else 0.0
        charge = sales.mass[:, :, row, column] * handling * self.packing + storage * self.storing
        year_later = worth_a_year_later(self.finance)
        place = functools.partial(spread_payments, paid=self.market.outlets[name].paid, year_later=year_later)
        crop = _crop_before(self.quantities, row, self.blocks[row])
        for item, amount, level in (
            (OUTLET_ITEM[name], revenue, self.prices[None]),
            ("packing_and_storage", -charge, self.packing),
        ):
            before = None if crop is None else crop * _of_the_year_before(amount, level, self.quantities, row)
            received, later = place(amount, before=before)
            self.flows[:, :, :, row, ITEM[item]] += received
            self.owed[:, row] += later
            if fresh and item == OUTLET_ITEM[name]:
                self.fresh_owed[:, row] += later
                if before is not None:
                    self.opening_fresh += place(np.zeros_like(amount), before=before)[0].sum(axis=2)

    def book_insurance(self) -> None:
        """Premiums, indemnities and aid, where the farm is insured."""
        terms, year_later = self.finance.insurance, worth_a_year_later(self.finance)
        if terms is not None:
            flows, later = insurance_flows(self.quantities, self.blocks, self.market, terms, self.prices, year_later)
            self.flows[:, :, :, :-1, ITEM["insurance"]] += flows
            self.owed += later


def _running(protection: str, costs: Costs) -> tuple[float, float]:
    """Wear of a way of frost protection [money/m2/hour], and price of its fuel [money/L]."""
    if protection == "none":
        return 0.0, 0.0
    fuel = FROST_PROTECTION[protection].fuel
    return getattr(costs, f"{protection}_running"), getattr(costs, fuel) if fuel else 0.0


CROPS_BEFORE = 5
"""First years whose mean crop stands for that of the year before the run, where the plan states none (assumption)."""


def _crop_before(quantities: FarmQuantities, row: int, block: BlockMoney) -> Array | None:
    """Crop of a standing block in the year before year 0: (trial,) [kg]; None for a block that had none."""
    if quantities.leaf[0, row] < 2:
        return None
    if block.crop_before is not None:
        return np.full(len(quantities.harvested_mass), block.crop_before)
    standing = quantities.leaf[:CROPS_BEFORE, row] >= 1
    mean: Array = quantities.harvested_mass[:, :CROPS_BEFORE, row][:, standing].mean(axis=1)
    return mean


def _of_the_year_before(amount: Array, level: Array, quantities: FarmQuantities, row: int) -> Array:
    """What a kilogram picked in the year before year 0 brought or cost: as in the trial's own years, (trial,)."""
    picked = quantities.harvested_mass[:, :, row].sum(axis=1)
    yearly = level[:, 1] / level[:, 0] if level.shape[1] > 1 else np.ones(len(level))
    mean = (amount / level).sum(axis=1) / np.where(picked > 0, picked, np.inf)
    before: Array = mean * level[:, 0] / yearly
    return before


def _not_written_off(flows: Array, written_off: Array) -> Array:
    """Capital outlays, land included, less what has been written off by the end: (trial,) [money]."""
    paid: Array = -flows[..., columns_of("capital")].sum(axis=(1, 2, 3, 4))
    return paid - written_off.sum(axis=1)


def _settle(flows: Array, finance: Finance) -> Account:
    """Run the farm's account and write its interest and tax into the ledger."""
    account = run_account(before_interest(flows, finance), finance)
    flows[:, :, :, -1, ITEM["interest"]] -= account.interest
    flows[:, :, :, -1, ITEM["income_tax"]] -= account.tax
    return account


def _taxes_of_the_project(flows: Array, owed: Array, worth: Array, finance: Finance) -> tuple[Array, Array, Array]:
    """Income tax before interest by year, and that on what is owed and on what the blocks are worth at the end.

    The blocks count as sold in the last year: their worth above the outlays not yet written off is income.
    """
    farm = before_interest(flows, finance)
    if finance.tax is None:
        return np.zeros_like(farm.income), np.zeros_like(owed), np.zeros_like(owed)
    tax, _ = tax_before_interest(farm, finance.tax)
    on_owed = tax_on_more_income(owed, farm, finance.tax)
    gain = worth - _not_written_off(flows, farm.written_off)
    return tax, on_owed, tax_on_more_income(owed + gain, farm, finance.tax) - on_owed


def cash_flows(
    quantities: FarmQuantities,
    blocks: Sequence[BlockMoney],
    costs: Costs,
    market: Market,
    finance: Finance,
    prices: PricePaths,
    levels: CostLevels = KNOWN,
    idle: Sequence[IdleLand] = (),
) -> Ledger:
    """The farm's ledger by item, block and quarter, and its bank account.

    Parameters
    ----------
    quantities : FarmQuantities
        Block axis in the order of ``blocks``.
    costs, market, finance
        Parameters in the plan's currency.
    levels : CostLevels
        Level of charges, wages and other costs in each trial; the plan's own where left out.
    idle : sequence of IdleLand
        Land without trees.

    Raises
    ------
    IdentityError
        If the account's balance is not the sum of the ledger's items, draw and loan.

    Notes
    -----
    A year's quarters are winter, spring, summer and autumn; fruit is sold in autumn and paid as its outlet pays.
    What outlets owe at the end of the last year stands in ``receivable``. A block that stands before year 0 opens with
    what is still to be received and paid for its last crop, stored fruit and its charges included.
    Interest is charged each quarter on the credit drawn at the end of the quarter before.
    """
    books = _Books(quantities, blocks, costs, market, finance, prices, levels)
    books.book_establishment()
    family_hours, family_value = books.book_labour()
    books.book_yearly_costs()
    books.book_idle_land(idle)
    books.book_sales()
    books.book_insurance()
    flows, owed = books.flows, books.owed
    account = _settle(flows, finance)
    worth_by_block = remaining_value(flows, quantities, blocks, costs, finance, books.index, idle)
    worth = worth_by_block.sum(axis=1)
    project_tax, receivable_tax, worth_tax = _taxes_of_the_project(flows, owed.sum(axis=1), worth, finance)
    ledger = Ledger(
        flows=flows,
        labels=(*(block.label for block in blocks), SHARED),
        new=np.array([block.year_planted >= 0 for block in blocks], dtype=bool),
        account=account,
        receivable=owed,
        fresh_receivable=books.fresh_owed.sum(axis=1),
        receivable_tax=receivable_tax,
        opening_fresh=books.opening_fresh,
        project_tax=project_tax,
        remaining_value=worth - worth_tax,
        remaining_by_block=worth_by_block[:, :-1],
        sales=books.sales,
        family_hours=family_hours,
        family_labour_value=family_value,
        price_luck=price_luck(prices, market, books.cultivars),
    )
    _check(ledger, finance)
    return ledger


def _check(ledger: Ledger, finance: Finance) -> None:
    """Stop where the items of all blocks do not sum to what the farm's account saw, or an amount is no number."""
    if not np.isfinite(ledger.flows).all():
        raise IdentityError("the ledger holds an amount that is no finite number")
    farm = ledger.flows.sum(axis=3)
    net = farm.sum(axis=(1, 2, 3))
    balance, debt = ledger.account.balance, ledger.account.debt
    draw = finance.household_draw * balance[0].size / len(QUARTERS)
    change = balance[:, -1, -1] - finance.opening_cash
    outstanding = debt[:, -1, -1] - np.maximum(-balance[:, -1, -1], 0.0)
    gross = np.abs(farm).sum(axis=(1, 2, 3)) + finance.loan_amount + 1.0
    if (np.abs(net - draw + outstanding - change) > 1e-9 * gross).any():
        raise IdentityError("the account's balance is not the sum of the ledger's items, draw and loan")
