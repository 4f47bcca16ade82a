"""What the economy room needs to know of one row group of a block."""

from __future__ import annotations

import dataclasses
from typing import Final, NamedTuple

from orchardsim.core.errors import InputError
from orchardsim.core.geometry import Geometry
from orchardsim.core.support import bill_of_materials
from orchardsim.economy.blocks import BlockMoney
from orchardsim.economy.parameters import SprayNeed
from orchardsim.operations.support import support_hours
from orchardsim.plan.farm_terms import FarmTerms, StatedGroup, first_stated
from orchardsim.plan.model import BlockBase
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


def tree_prices(
    table: BlockBase, path: str, group: StatedGroup, extra: list[Pollinizer], farm: FarmTerms
) -> TreePrices:
    """What trees cost: as the block states, or by grade and terms with the cultivar's royalty.

    Raises
    ------
    InputError
        If neither the block nor a price list states a price.
    """
    filler, established = farm.filler, table.year_planted < 0
    terms = farm.tree_price.get(group.tree_grade)
    late = 1 + (terms.late_premium if terms is not None else 0.0)
    if table.tree_price is not None:
        price = extra_price = table.tree_price
        spot = price * (late if table.trees_bought == "contract" else 1.0)
    else:
        if terms is None:
            raise InputError(
                filler.where,
                f"{path}.tree_price: missing, and [tree_price.{group.tree_grade}] states none; expected for example "
                f'tree_price = "9 {filler.context.currency}/tree"',
            )
        fruit = farm.market.fruit.get(group.cultivar)
        bare = terms.price * (late if table.trees_bought == "late" else 1.0)
        royalty = fruit.royalty if fruit is not None else 0.0
        price, spot = bare + royalty, terms.price * late + royalty
        extra_price = bare + _mean_royalty(extra, farm)
        if not established:
            filler.ledger.note(
                f"{path}.tree_price ({group.label})",
                price,
                f"{filler.context.currency}/tree",
                f"price of a {group.tree_grade} tree, {table.trees_bought} terms, with the cultivar's royalty",
                "computed",
            )
        if not established and extra:
            filler.ledger.note(
                f"{path}.tree_price (extra pollinizers)",
                extra_price,
                f"{filler.context.currency}/tree",
                f"price of a {group.tree_grade} tree, {table.trees_bought} terms, with the pollinizers' own royalty",
                "computed",
            )
    if table.replacement_price is not None:
        spot = table.replacement_price * late
    return TreePrices(price, extra_price, spot)


def block_money(
    table: BlockBase,
    path: str,
    group: StatedGroup,
    trees: int,
    geometry: Geometry,
    training: Training,
    site: BlockSite,
    extra: list[Pollinizer],
    farm: FarmTerms,
) -> BlockMoney:
    """Size, prices, timing and installations of one row group; extra pollinizers are bought with the first group.

    An extra pollinizer costs a tree of that group's grade with the royalty of its own cultivar; a price that the block
    states holds for it too.
    """
    filler = farm.filler
    added = sum(pollinizer.trees for pollinizer in extra)
    rows = len(group.rows)
    established = table.year_planted < 0
    prices = tree_prices(table, path, group, extra, farm)
    order_year = table.order_year if table.order_year is not None else max(table.year_planted - ORDER_LEAD, 0)
    if table.order_year is None and not established:
        filler.ledger.note(
            f"{path}.order_year",
            order_year,
            "year of the plan",
            "two years before planting, not before year 0 [press_preplanting]",
            "read",
        )
    bill = bill_of_materials(farm.support, rows, geometry.row_length, trees + added, training.support)
    own = dataclasses.replace(geometry, rows=rows, trees=trees)
    return BlockMoney(
        label=group.label,
        geometry=own,
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
        guarded=farm.guarded,
        scab=farm.catalogue.get("cultivar", group.cultivar, SprayNeed, path).scab,
        blight_control=farm.blight_control,
        protection=site.protection,
        crop_before=table.last_crop * trees if established and table.last_crop is not None else None,
        planting_hours=0.0 if established else (trees + added) / farm.rates.planting,
        support_hours=0.0 if established else support_hours(bill, farm.support_rates),
        yield_history=tuple(value * rows / geometry.rows for value in table.yield_history),
    )


def _mean_royalty(extra: list[Pollinizer], farm: FarmTerms) -> float:
    """Royalty of a block's extra pollinizers [money/tree]: their own cultivars', none where no price list holds one."""
    trees = sum(each.trees for each in extra)
    fruit = [(each.trees, farm.market.fruit.get(each.cultivar)) for each in extra]
    return sum(number * known.royalty for number, known in fruit if known is not None) / trees if trees else 0.0
