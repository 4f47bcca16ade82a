"""What the economy room needs to know of one row group of a block."""

from __future__ import annotations

import dataclasses
from typing import Final, NamedTuple

from orchardsim.core.geometry import Geometry
from orchardsim.core.support import bill_of_materials
from orchardsim.economy.blocks import BlockMoney
from orchardsim.economy.parameters import Market, SprayNeed
from orchardsim.operations.support import support_hours
from orchardsim.plan.farm_terms import StatedBlock, StatedGroup, first_stated
from orchardsim.plan.pollination import Pollinizer
from orchardsim.season.parameters import BlockSite
from orchardsim.trees.parameters import Training

ORDER_LEAD: Final = 2
"""Years from order to a finished nursery tree ([press_preplanting]: read)."""


class TreePrices(NamedTuple):
    """Price of a tree of a row group, of its extra pollinizers, and of a tree at short notice [money/tree]."""

    tree: float
    extra: float
    spot: float | None


def tree_prices(block: StatedBlock, group: StatedGroup, extra: list[Pollinizer]) -> TreePrices:
    """What trees cost: as the block states, or by grade and terms with the cultivar's royalty.

    Raises InputError if neither the block nor a price list states a price.
    """
    table, market = block.table, block.farm.sections.market
    unit = f"{block.farm.filler.context.currency}/tree"
    terms = block.farm.tree_price.get(group.tree_grade)
    late = 1 + (terms.late_premium if terms is not None else 0.0)
    if table.tree_price is not None:
        price = extra_price = table.tree_price
        spot = price * (late if table.trees_bought == "contract" else 1.0)
    else:
        if terms is None:
            raise block.fault(
                "tree_price",
                f"missing, and [tree_price.{group.tree_grade}] states none; expected for example "
                f'tree_price = "9 {unit}"',
            )
        fruit = market.fruit.get(group.cultivar)
        bare = terms.price * (late if table.trees_bought == "late" else 1.0)
        royalty = fruit.royalty if fruit is not None else 0.0
        price, spot = bare + royalty, terms.price * late + royalty
        extra_price = bare + _mean_royalty(extra, market)
        if not block.established:
            source = f"price of a {group.tree_grade} tree, {table.trees_bought} terms, with the"
            block.note(f"tree_price ({group.label})", price, unit, f"{source} cultivar's royalty", "computed")
            if extra:
                source = f"{source} pollinizers' own royalty"
                block.note("tree_price (extra pollinizers)", extra_price, unit, source, "computed")
    if table.replacement_price is not None:
        spot = table.replacement_price * late
    return TreePrices(price, extra_price, spot)


def block_money(
    block: StatedBlock,
    group: StatedGroup,
    trees: int,
    geometry: Geometry,
    training: Training,
    site: BlockSite,
    extra: list[Pollinizer],
) -> BlockMoney:
    """Size, prices, timing and installations of one row group; extra pollinizers are bought with the first group.

    An extra pollinizer costs a tree of that group's grade with the royalty of its own cultivar; a price that the block
    states holds for it too.
    """
    table, sections = block.table, block.farm.sections
    added = sum(pollinizer.trees for pollinizer in extra)
    rows = len(group.rows)
    prices = tree_prices(block, group, extra)
    order_year = first_stated(table.order_year, max(table.year_planted - ORDER_LEAD, 0))
    if table.order_year is None and not block.established:
        source = "two years before planting, not before year 0 [press_preplanting]"
        block.note("order_year", order_year, "year of the plan", source, "read")
    bill = bill_of_materials(sections.support, rows, geometry.row_length, trees + added, training.support)
    return BlockMoney(
        label=group.label,
        geometry=dataclasses.replace(geometry, rows=rows, trees=trees),
        cultivar=group.cultivar,
        tree_price=prices.tree,
        year_planted=table.year_planted,
        order_year=min(order_year, table.year_planted),
        support_leaf=training.support_leaf,
        removal_year=table.year_removed,
        planned_removal_leaf=table.planned_removal_leaf,
        replacement_price=table.replacement_price,
        spot_price=prices.spot,
        extra_tree_price=prices.extra if added else None,
        extra_trees=added,
        support=bill,
        support_height=training.height_limit,
        clears_old_orchard=table.clears_old_orchard,
        fallow_years=table.fallow_years,
        land_from_year=first_stated(table.land_from_year, 0),
        irrigated=site.irrigated,
        netting=site.netting,
        fenced=table.fence == "built",
        guarded=sections.hazards.vole_guards,
        scab=block.entry("cultivar", group.cultivar, SprayNeed).scab,
        blight_control=sections.hazards.blight_control,
        protection=site.protection,
        crop_before=table.last_crop * trees if block.established and table.last_crop is not None else None,
        planting_hours=0.0 if block.established else (trees + added) / sections.work_rates.planting,
        support_hours=0.0 if block.established else support_hours(bill, sections.support_rates),
        yield_history=tuple(value * rows / geometry.rows for value in table.yield_history),
    )


def _mean_royalty(extra: list[Pollinizer], market: Market) -> float:
    """Royalty of a block's extra pollinizers [money/tree]: their own cultivars', none where no price list holds one."""
    trees = sum(each.trees for each in extra)
    fruit = [(each.trees, market.fruit.get(each.cultivar)) for each in extra]
    return sum(number * known.royalty for number, known in fruit if known is not None) / trees if trees else 0.0
