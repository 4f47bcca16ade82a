"""What money needs to know of each block, and what its establishment costs and when."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from orchardsim.core.geometry import Geometry
from orchardsim.core.labels import SHARED
from orchardsim.core.numbers import percent
from orchardsim.core.support import NOTHING, BillOfMaterials, support_year
from orchardsim.economy.parameters import Costs, Finance

SAME_LAND = 0.05
"""Share by which gross areas of the same land may differ between two blocks' layouts (assumption)."""


@dataclass(frozen=True)
class BlockMoney:
    """What money needs to know of one label.

    Attributes
    ----------
    label : str
        Label on the block axis.
    geometry : Geometry
    cultivar : str
        Name under which ``Market.fruit`` holds its prices.
    tree_price : float [money/tree]
        Price of the nursery tree as bought (contract or late), royalty included.
    year_planted : int
        Year of the plan; below 0 for an established block.
    order_year : int
        Year in which the trees are ordered; a deposit due before year 0 is paid in year 0.
    support_leaf : int
        Leaf by which the support stands; 0 or 1: in the planting year.
    removal_year : int or None
        Year after whose harvest the block is pulled, if the plan says so.
    clears_old_orchard : bool
        An old orchard, not itself a block of the plan, is pulled before planting; on inherited land nothing is.
    fallow_years : int
        Whole years between clearing and planting.
    land_from_year : int
        First year in which the land is charged to this label, and in which it is paid where land is bought. Land that
        labels pulled by then leave comes free of price and clearing (:func:`inherited_area`).
    irrigated, netting, fenced : bool
        What is installed for this label.
    guarded : bool
        Trees planted get trunk guards.
    scab : float [1]
        Of the cultivar: :class:`~orchardsim.economy.parameters.SprayNeed`.
    blight_control : float [1]
        Share of blossom infections by fire blight that paid sprays prevent.
    protection : str
        Frost protection: "none", or one of :data:`~orchardsim.core.labels.FROST_PROTECTION`.
    planting_hours, support_hours : float [hour]
        Hours that planting and support are expected to take, for :func:`establishment_schedule` only.
    yield_history : tuple of float [kg]
        Crops of the years before year 0, oldest first, for crop insurance.
    planned_removal_leaf : int or None
        Leaf at whose end this block is to be pulled; None: as ``Finance`` says.
    replacement_price : float or None [money/tree]
        Price of a replacement tree, often dearer in small lots; None: ``tree_price``.
    spot_price : float or None [money/tree]
        Price of a replacement tree bought at short notice, paid on delivery; None: as other replacement trees.
    extra_trees : int
        Trees of the first planting that take no planting position (pollinizers between the others), which the simulated
        count of trees planted leaves out.
    support : BillOfMaterials
    support_height : float [m]
    extra_tree_price : float or None [money/tree]
        Price of the extra pollinizer trees; None: ``tree_price``.
    crop_before : float or None [kg]
        Crop of the year before year 0 of a standing block, of which some is paid in the run; None: the mean of its
        first years in the run.
    """

    label: str
    geometry: Geometry
    cultivar: str
    tree_price: float
    year_planted: int = 0
    order_year: int = 0
    support_leaf: int = 0
    removal_year: int | None = None
    clears_old_orchard: bool = False
    fallow_years: int = 0
    land_from_year: int = 0
    irrigated: bool = True
    netting: bool = False
    fenced: bool = True
    protection: str = "none"
    planting_hours: float = 0.0
    support_hours: float = 0.0
    yield_history: tuple[float, ...] = ()
    planned_removal_leaf: int | None = None
    replacement_price: float | None = None
    spot_price: float | None = None
    extra_tree_price: float | None = None
    guarded: bool = False
    scab: float = 1.0
    blight_control: float = 0.0
    extra_trees: int = 0
    support: BillOfMaterials = NOTHING
    support_height: float = 3.0
    crop_before: float | None = None

    @property
    def trees(self) -> int:
        """Trees of the first planting, extra trees included."""
        return self.geometry.trees + self.extra_trees

    @property
    def support_year(self) -> int:
        """Year in which the support is bought and built."""
        return support_year(self.year_planted, self.support_leaf)

    def first_trees(self) -> tuple[tuple[float, float], ...]:
        """Number and price of the trees of the first planting: those in the rows' positions, then extra ones."""
        price = self.tree_price if self.extra_tree_price is None else self.extra_tree_price
        return ((self.geometry.trees, self.tree_price), (self.extra_trees, price))


@dataclass(frozen=True)
class Outlay:
    """One payment of the establishment: ``amount`` is positive money out; ``how`` says how it is computed."""

    year: int
    quarter: int
    label: str
    item: str
    amount: float
    how: str


def support_cost(bill: BillOfMaterials, height: float, costs: Costs) -> dict[str, tuple[float, float]]:
    """Number and money of the parts of a support; parts of which there are none are left out.

    A relative cost only: size posts, anchors and spacing to local practice and a licensed design.

    ``height``, float [m].

    Returns: part -> (number or metres, money).
    """
    if not bill.end_posts:
        return {"stakes": (bill.stakes, bill.stakes * costs.stake)} if bill.stakes else {}
    taller = max(height - 3.0, 0.0) * costs.post_height_charge
    posts = bill.line_posts + bill.end_posts
    return {
        "line posts": (bill.line_posts, bill.line_posts * (costs.line_post + taller)),
        "end posts": (bill.end_posts, bill.end_posts * (costs.end_post + taller)),
        "anchors": (bill.anchors, bill.anchors * costs.anchor),
        "wire": (bill.wire, bill.wire * costs.wire),
        "clips": (bill.clips, bill.clips * costs.clip),
        "post driving": (posts, posts * costs.support_machine),
    }


def clearing_time(block: BlockMoney) -> tuple[int, int]:
    """Year and quarter in which an old orchard is pulled: the autumn before planting, or the first quarter."""
    year = block.year_planted - 1 - block.fallow_years
    return (year, 3) if year >= 0 else (0, 0)


def inherited_area(blocks: Sequence[BlockMoney]) -> tuple[float, ...]:
    """Land of each label that an earlier label of the plan, pulled before, leaves to it [m2 gross].

    A label whose ``land_from_year`` lies after year 0 takes over what labels pulled by then leave, first come, first
    served, in the order of that year; it pays neither price nor clearing for it again. Land beyond that is new.
    """
    left = {
        row: block.geometry.gross_area
        for row, block in sorted(enumerate(blocks), key=lambda pair: pair[1].removal_year or 0)
        if block.removal_year is not None
    }
    inherited = [0.0] * len(blocks)
    for row, block in sorted(enumerate(blocks), key=lambda pair: pair[1].land_from_year):
        if block.land_from_year <= 0:
            continue
        wanted = block.geometry.gross_area
        for other, area in left.items():
            pulled = blocks[other].removal_year
            if other == row or pulled is None or pulled > block.land_from_year:
                continue
            taken = min(area, wanted - inherited[row])
            left[other] -= taken
            inherited[row] += taken
        # Areas of the same land differ by the rounding of rows and headlands.
        if inherited[row] > (1 - SAME_LAND) * wanted:
            inherited[row] = wanted
    return tuple(inherited)


def _block_outlays(block: BlockMoney, costs: Costs, finance: Finance, inherited: float) -> list[Outlay]:
    outlays: list[Outlay] = []
    geometry, label, planted = block.geometry, block.label, block.year_planted

    def add(year: int, quarter: int, item: str, amount: float, how: str) -> None:
        if amount:
            outlays.append(Outlay(year, quarter, label, item, amount, how))

    new_land = geometry.gross_area - inherited
    if costs.land_bought:
        add(
            block.land_from_year,
            0,
            "land",
            costs.land_price * new_land,
            f"{new_land:.0f} m2 gross x {costs.land_price:.4g}/m2",
        )
    if planted < 0:
        return outlays
    before = (planted - 1, 3) if planted > 0 else (0, 0)
    if block.clears_old_orchard:
        add(
            *clearing_time(block),
            "old_orchard_removal",
            costs.old_orchard_removal * new_land,
            f"{new_land:.0f} m2 gross x {costs.old_orchard_removal:.4g}/m2",
        )
    add(
        *before,
        "site_preparation",
        costs.site_preparation * geometry.gross_area,
        f"{geometry.gross_area:.0f} m2 gross x {costs.site_preparation:.4g}/m2",
    )
    for number, price in block.first_trees():
        deposit = number * price * finance.deposit_share
        count = f"{number:.0f} trees x {price:.4g}"
        add(max(block.order_year, 0), 0, "trees", deposit, f"deposit: {count} x {percent(finance.deposit_share)}")
        add(planted, 0, "trees", number * price - deposit, f"rest on delivery: {count}")
    planting = costs.planting_materials + costs.planting_machine + (costs.trunk_guard if block.guarded else 0.0)
    add(planted, 0, "planting", planting * block.trees, f"{block.trees:.0f} trees x {planting:.4g} (no labour)")
    for part, (number, money) in support_cost(block.support, block.support_height, costs).items():
        add(block.support_year, 1, "support", money, f"{part}: {number:.0f}")
    for year, quarter, item, area, price in _installations(block, costs):
        add(year, quarter, item, price * geometry.planted_area, f"{area} x {price:.4g}/m2")
    return outlays


def _installations(block: BlockMoney, costs: Costs) -> Iterator[tuple[int, int, str, str, float]]:
    """Year, quarter, item, area in words and price [money/m2] of what is installed on the planted land."""
    area = f"{block.geometry.planted_area:.0f} m2"
    if block.irrigated:
        yield block.year_planted, 0, "irrigation_system", f"{area} planted", costs.irrigation_area
    if block.protection != "none":
        price = getattr(costs, block.protection)
        yield block.year_planted, 1, "protection_equipment", f"{block.protection}: {area}", price
    if block.netting:
        yield block.year_planted + 1, 1, "protection_equipment", f"nets: {area}", costs.net


def _farm_outlays(blocks: Sequence[BlockMoney], costs: Costs, years: int) -> list[Outlay]:
    outlays: list[Outlay] = []
    new = [block for block in blocks if block.year_planted >= 0]
    if not new:
        return outlays
    first = min(block.year_planted for block in new)
    if any(block.irrigated for block in new) and costs.irrigation_source:
        outlays.append(
            Outlay(first, 0, SHARED, "irrigation_system", costs.irrigation_source, "pump, source and filter")
        )
    fenced = sum(block.geometry.gross_area for block in new if block.fenced)
    length = costs.fence_length or costs.fence_shape * 4 * math.sqrt(fenced)
    if fenced and length * costs.fence:
        outlays.append(Outlay(first, 0, SHARED, "fence", length * costs.fence, f"{length:.0f} m x {costs.fence:.4g}/m"))
    machines = [(first, costs.machines, "machines")]
    narrow = [block.year_planted for block in new if block.geometry.row_spacing < costs.narrow_row]
    if narrow:
        machines.append((min(narrow), costs.narrow_machines, f"rows closer than {costs.narrow_row:.3g} m"))
    for start, money, how in machines:
        life = max(round(costs.machine_life), 1)
        for year in range(start, years, life):
            if money:
                outlays.append(Outlay(year, 0, SHARED, "machines", money, how))
    return outlays


def material_outlays(blocks: Sequence[BlockMoney], costs: Costs, finance: Finance, years: int) -> list[Outlay]:
    """Payments of the establishment that no simulated quantity decides: everything but labour.

    ``years``: years of the plan; machines are replaced within them.
    """
    outlays = [
        outlay
        for block, inherited in zip(blocks, inherited_area(blocks), strict=True)
        for outlay in _block_outlays(block, costs, finance, inherited)
    ]
    return [outlay for outlay in outlays + _farm_outlays(blocks, costs, years) if outlay.year < years]


def establishment_schedule(
    blocks: Sequence[BlockMoney], costs: Costs, finance: Finance, years: int = 6
) -> list[Outlay]:
    """What the establishment costs, by year, label and item, with expected labour, in order of payment.

    Amounts are in the money of the price year, before trends and inflation.

    ``years``: years listed from year 0 on.
    """
    outlays = material_outlays(blocks, costs, finance, years)
    pay = costs.wage * (1 + costs.labour_charges)
    for block in blocks:
        if block.year_planted < 0:
            continue
        for year, quarter, item, hours in (
            (block.year_planted, 0, "planting", block.planting_hours),
            (block.support_year, 1, "support", block.support_hours),
        ):
            if hours and year < years:
                outlays.append(
                    Outlay(year, quarter, block.label, item, hours * pay, f"labour: {hours:.0f} h x {pay:.4g}")
                )
    return sorted(outlays, key=lambda outlay: (outlay.year, outlay.quarter))


def credit_shortfall(outlays: Sequence[Outlay], finance: Finance) -> tuple[int, float] | None:
    """First year in which the establishment alone asks for more than cash, loan and credit line, and by how much.

    Returns the year and the missing money, at the end of that year and before any sales or yearly costs.

    Parameters
    ----------
    outlays : sequence of Outlay
        As :func:`establishment_schedule` gives.
    finance : Finance
        An infinite credit line is not stated.
    """
    if math.isinf(finance.credit_line):
        return None
    means = finance.opening_cash + finance.loan_amount + finance.credit_line
    spent = 0.0
    for year in range(max((outlay.year for outlay in outlays), default=-1) + 1):
        spent += sum(outlay.amount for outlay in outlays if outlay.year == year)
        if spent > means:
            return year, spent - means
    return None
