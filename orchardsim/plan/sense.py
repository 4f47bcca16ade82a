"""What a plan may state by its types and bounds, and yet makes no sense: refused, or told as a warning."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from orchardsim.core.geometry import Geometry
from orchardsim.economy.parameters import Costs, FruitPrice, Market
from orchardsim.operations.parameters import Replacement
from orchardsim.plan.formats import PlanFormats
from orchardsim.plan.model import BlockBase
from orchardsim.season.parameters import BlockSite

LARGEST_SPACING_RATIO: Final = 12.0
"""1; row spacing over tree spacing, or the reverse. Trees at 0.5 m in rows of 3 m have 6; 12 is our own limit."""
YEARLY_TRUNK: Final = 60.0
"""cm2 a year; more trunk area than an apple tree adds in the mean of its years (assumption; seedlings: some 25)."""
LARGEST_CROP: Final = 30.0
"""kg/m2; more fruit than any orchard has borne: 300 t/ha (assumption: the best modern orchards reach 100 to 150)."""
LEAST_LEFT: Final = 0.15
"""1; share of the best grade's price left by packing, storing and picking, below which a warning asks (our own limit;
the catalogue's Gala keeps 0.36, Rome Beauty, its lowest, 0.17)."""
CHEAP: Final = 0.75
"""1; share of the catalogue's price of the best grade below which a warning asks (our own limit)."""
DEAR: Final = 3.0
"""1; times the catalogue's price above which a warning asks (our own limit; Honeycrisp has 1.5 times Gala's)."""
LARGEST_LOAD: Final = 4.0
"""kg/cm2; more crop than a trunk carries (assumption: 6 to 12 fruit of 0.2 kg per cm2 are a usual to a heavy crop)."""


Faults = Iterator[tuple[str, str]]
"""Key of a block, and what is wrong with it."""


def block_faults(table: BlockBase) -> Faults:
    """Years, spacings, trunks, crops and pollinizers of a block that cannot be."""
    planted = table.year_planted
    established = planted < 0
    if table.year_removed is not None and table.year_removed <= planted:
        yield "year_removed", f"found {table.year_removed}, allowed: later than year_planted = {planted}"
    if not established:
        for key in ("trunk_area", "last_crop", "yield_history"):
            if getattr(table, key) not in (None, []):
                yield (
                    key,
                    f"stated for a block planted in year {planted}; allowed: only for an established block, with "
                    "year_planted below 0",
                )
    if table.order_year is not None and table.order_year > planted:
        yield "order_year", f"found {table.order_year}, allowed: at most year_planted = {planted}"
    ratio = table.row_spacing / table.tree_spacing
    if not 1 / LARGEST_SPACING_RATIO <= ratio <= LARGEST_SPACING_RATIO:
        yield (
            "tree_spacing",
            f"found {table.tree_spacing:g} m in rows {table.row_spacing:g} m apart, a ratio of "
            f"{max(ratio, 1 / ratio):.3g}; allowed at most {LARGEST_SPACING_RATIO:g}",
        )
    if table.year_removed is not None and table.year_removed < 0:
        yield "year_removed", f"found {table.year_removed}, but the plan begins in year 0; allowed 0 or later"
    if table.land_from_year is not None and table.land_from_year > max(planted, 0):
        yield (
            "land_from_year",
            f"found {table.land_from_year}, after year_planted = {planted}; allowed at most the year of planting",
        )
    if not established and table.fallow_years > max(planted - 1, 0):
        yield (
            "fallow_years",
            f"found {table.fallow_years}, but only {max(planted - 1, 0)} whole years lie between year 0 and "
            f"year_planted = {planted}; allowed at most that, or a later year_planted",
        )
    if established:
        yield from _tree_faults(table, -planted)
    yield from _pollinizer_faults(table)


def _tree_faults(table: BlockBase, leaf: int) -> Faults:
    if table.trunk_area is not None and table.trunk_area > YEARLY_TRUNK * leaf:
        yield (
            "trunk_area",
            f"found {table.trunk_area:g} cm2 after {leaf} seasons; allowed at most {YEARLY_TRUNK * leaf:g} cm2 "
            f"({YEARLY_TRUNK:g} a year)",
        )
    if table.last_crop is None:
        return
    most = LARGEST_CROP * table.row_spacing * table.tree_spacing
    if table.last_crop > most:
        yield (
            "last_crop",
            f"found {table.last_crop:g} kg/tree, {10 * table.last_crop * LARGEST_CROP / most:.3g} t/ha at this "
            f"spacing; allowed at most {most:.3g} kg/tree ({10 * LARGEST_CROP:g} t/ha)",
        )
    if table.trunk_area is not None and table.last_crop > LARGEST_LOAD * table.trunk_area:
        yield (
            "last_crop",
            f"found {table.last_crop:g} kg/tree on a trunk of {table.trunk_area:g} cm2; allowed at most "
            f"{LARGEST_LOAD * table.trunk_area:.3g} kg/tree ({LARGEST_LOAD:g} kg/cm2)",
        )


def _pollinizer_faults(table: BlockBase) -> Faults:
    seen: dict[tuple[str, int | None, int | None], int] = {}
    for number, rule in enumerate(table.pollinizer, start=1):
        key = (rule.cultivar, rule.every_tree, rule.every_row)
        if key in seen:
            yield (
                f"pollinizer {number}",
                f"found the same rule of {rule.cultivar!r} as in pollinizer {seen[key]}; allowed: each once",
            )
        seen[key] = number


def history_faults(table: BlockBase, geometry: Geometry) -> Faults:
    """Earlier crops that no orchard has borne."""
    most = LARGEST_CROP * geometry.planted_area
    for number, crop in enumerate(table.yield_history, start=1):
        if crop > most:
            yield (
                "yield_history",
                f"value {number} is {crop:g} kg, {10 * crop / geometry.planted_area:.3g} t/ha; allowed at most "
                f"{most:.3g} kg ({10 * LARGEST_CROP:g} t/ha)",
            )


def protection_faults(site: BlockSite) -> Faults:
    """Frost protection by water where there is none."""
    if site.protection == "overhead_sprinklers" and not site.irrigated:
        yield ("protection", "found 'overhead_sprinklers' on land with irrigated = false; allowed: irrigated = true")


def price_doubts(
    market: Market, costs: Costs, sold: Iterable[str], usual: Mapping[str, float], formats: PlanFormats
) -> list[str]:
    """Warnings on fruit that charges eat up, that is cheap or dear, or whose lower grade is dearer than a higher one.

    Parameters
    ----------
    usual : mapping of str to float [money/kg]
        The catalogue's price of the best grade by cultivar, in the plan's money.
    """
    doubts = []
    order = ("wholesale_extra_fancy", "wholesale_fancy", "processing", "juice")
    for name in sold:
        fruit = market.fruit[name]
        doubts += _odd_price(name, fruit, costs, usual.get(name, 0.0), formats)
        for better, worse in itertools.pairwise(order):
            if getattr(fruit, worse) > getattr(fruit, better):
                doubts.append(f"market.fruit.{name}: {worse} is dearer than {better}; is that meant?")
    return doubts


def _odd_price(name: str, fruit: FruitPrice, costs: Costs, usual: float, formats: PlanFormats) -> list[str]:
    """A price that charges eat up, or that is far from the catalogue's."""
    price = fruit.wholesale_extra_fancy
    packing = fruit.packing if math.isfinite(fruit.packing) else costs.packing
    piece = (costs.picking_bin + fruit.picking_premium) * (1 + costs.labour_charges) + costs.picking_overhead
    left = price - packing - costs.storage * costs.storage_share - piece / costs.bin_mass
    cheap = packing > 0 and price < CHEAP * usual
    dear = 0 < DEAR * usual < price
    if left >= LEAST_LEFT * price and not (cheap or dear):
        return []

    _, unit = formats.converted(price, "money/kg")
    now, taken, common = (f"{formats.converted(amount, 'money/kg')[0]:.3g}" for amount in (price, price - left, usual))
    if dear:
        return [f"best packed price of {name}, {now} {unit}: the catalogue has {common}; is its unit right?"]
    compared = f"; the catalogue has {common}" if cheap else ""
    return [
        f"best packed price of {name}, {now} {unit}: packing, storing and picking take {taken}"
        f"{compared}. If it is paid after packing charges, state market.fruit.{name}.packing = 0"
    ]


def order_doubts(replacement: Replacement, trees: Sequence[int]) -> list[str]:
    """Warning on a smallest order beyond what the farm could ever need."""
    total = sum(trees)
    if not total or replacement.minimum_order <= total:
        return []
    return [
        f"replacement.minimum_order: {replacement.minimum_order:,} trees, more than the {total:,} that the plan "
        "plants; no gap will be filled from the nursery unless that many are bought"
    ]
