"""An invented farm for the money tests: the catalogue's costs and prices, and plain quantities by leaf."""

from __future__ import annotations

import dataclasses
import functools
import tomllib
from importlib.resources import files
from typing import Any

import numpy as np

from orchardsim.core.geometry import Geometry
from orchardsim.core.handover import FarmQuantities
from orchardsim.core.labels import GRADES, TASKS
from orchardsim.core.ledger_items import ITEM
from orchardsim.core.parameters import parameters_of
from orchardsim.core.streams import Streams
from orchardsim.core.support import SupportDesign, bill_of_materials
from orchardsim.core.units import convert
from orchardsim.economy.blocks import BlockMoney
from orchardsim.economy.indicators import Indicators, indicators
from orchardsim.economy.ledger import Ledger, cash_flows
from orchardsim.economy.parameters import Costs, Finance, FruitPrice, Insurance, Market, Outlet, TreePrice
from orchardsim.economy.prices import draw_prices
from orchardsim.plan.filling import brought, sourced


def catalogue(name: str) -> dict[str, Any]:
    return tomllib.loads(files("orchardsim").joinpath("catalogue", name).read_text(encoding="utf-8"))


def fill(cls: type, table: dict[str, Any], section: str = "costs") -> Any:
    """Any parameter dataclass from its catalogue table, converted to the field's unit, bounds checked."""
    values: dict[str, Any] = {}
    for name, info in parameters_of(cls).items():
        if name not in table:
            continue
        entry = table[name]

        def number(value: float, unit: str = entry["unit"], wanted: str = info.unit) -> float:
            return convert(value, unit, wanted, currency="USD")

        value = brought(sourced(entry, "catalogue", name), f"{section}.{name}", 2024).value
        values[name] = tuple(number(part) for part in value) if isinstance(value, list) else number(value)
        for part in np.atleast_1d(values[name]):
            assert info.low is None or part >= info.low, name
            assert info.high is None or part <= info.high, name
    for name in ("price_year", "planned_removal_leaf", "mature_leaf", "young_leaves"):
        if name in values:
            values[name] = int(values[name])
    return cls(**values)


@functools.cache
def costs() -> Costs:
    return fill(Costs, catalogue("costs.toml")["costs"])


@functools.cache
def _finance() -> Finance:
    return fill(Finance, catalogue("costs.toml")["finance"])


def finance(**changes: Any) -> Finance:
    return dataclasses.replace(_finance(), **changes)


def insurance(**changes: Any) -> Insurance:
    return dataclasses.replace(fill(Insurance, catalogue("costs.toml")["insurance"]), **changes)


def tree_price(grade: str) -> TreePrice:
    return fill(TreePrice, catalogue("costs.toml")["tree_price"][grade])


@functools.cache
def market() -> Market:
    table = catalogue("prices.toml")
    return dataclasses.replace(
        fill(Market, table["market"]),
        outlets={name: fill(Outlet, entry) for name, entry in table["outlet"].items()},
        fruit={name: fill(FruitPrice, entry) for name, entry in table["fruit"].items()},
    )


def still_market(paid: tuple[float, ...] | None = None, **outlets: dict[str, float]) -> Market:
    """The catalogue's market without any price movement, with changes by outlet; ``paid``: how all of them pay."""
    m = market()
    still = {"price_cv": 0.0, "flexibility": 0.0} | ({"paid": paid} if paid else {})
    return dataclasses.replace(
        m,
        outlets={
            name: dataclasses.replace(outlet, **still | outlets.get(name, {})) for name, outlet in m.outlets.items()
        },
        fruit={name: dataclasses.replace(fruit, price_cv=0.0, premium_erosion=0.0) for name, fruit in m.fruit.items()},
    )


def block(
    label: str = "north",
    *,
    row_spacing: float = 3.5,
    tree_spacing: float = 1.0,
    rows: int = 20,
    row_length: float = 150.0,
    support: str = "wires",
    cultivar: str = "Gala",
    price: float = 9.0,
    **changes: Any,
) -> BlockMoney:
    per_row = int(row_length / tree_spacing)
    geometry = Geometry(rows, per_row, rows * per_row, row_spacing, tree_spacing, 0.06 * row_length)
    bill = bill_of_materials(SupportDesign(), rows, row_length, geometry.trees, support)
    return BlockMoney(label, geometry, cultivar, price, support=bill, **changes)


def quantities(
    blocks: list[BlockMoney], years: int = 20, trials: int = 3, seed: int = 5, full_crop: float = 4.5
) -> FarmQuantities:
    """Crops that rise to ``full_crop`` [kg/m2] by leaf 6 and vary between trials; hours in proportion.

    Pickers pick 260 kg an hour, so that piece pay lies above the wage floor.
    """
    rng = np.random.default_rng(seed)
    shape = (trials, years, len(blocks))
    zeros = np.zeros(shape)
    leaf = np.array([[year - block.year_planted + 1 for block in blocks] for year in range(years)])
    for row, item in enumerate(blocks):
        if item.removal_year is not None:
            leaf[item.removal_year + 1 :, row] = -999
    area = np.array([item.geometry.planted_area for item in blocks])
    trees = np.array([item.geometry.trees for item in blocks])
    grown = (leaf >= 1).astype(float)
    rise = np.clip((leaf - 1) / 5, 0, 1) * grown
    mass = rise * area * full_crop * rng.uniform(0.6, 1.2, shape)
    planted = (leaf == 1) * trees * np.ones(shape)
    hours = np.zeros((*shape, len(TASKS)))
    hours[..., TASKS.index("planting")] = planted / 80
    hours[..., TASKS.index("support_building")] = planted * 0.03
    hours[..., TASKS.index("training")] = grown * trees * 0.02
    hours[..., TASKS.index("dormant_pruning")] = grown * trees * 0.04
    hours[..., TASKS.index("thinning")] = rise * trees * 0.03
    hours[..., TASKS.index("picking")] = mass / 260
    hours[..., TASKS.index("upkeep")] = grown * area * 0.002
    share = dict(extra_fancy=0.55, fancy=0.2, processing=0.1, juice=0.1)
    packed = mass[..., None] * np.array([share[grade] for grade in GRADES])
    replaced = np.where(leaf > 1, trees * 0.01, 0.0) * np.ones(shape)
    return FarmQuantities(
        leaf=leaf,
        trees_planted=planted,
        trees_replanted=replaced,
        trees_ordered=replaced,
        trees_alive=grown * trees * np.ones(shape),
        trees_lost=replaced,
        trees_removed=zeros.copy(),
        spares_bought=replaced,
        spot_bought=zeros.copy(),
        spares_on_hand=0.02 * planted,
        harvested_mass=mass,
        packed_mass=packed,
        labour_hours=hours,
        irrigation_depth=grown * 120.0 * np.ones(shape),
        protection_hours=grown * 6.0 * np.ones(shape),
        protection_fuel=grown * 50.0 * np.ones(shape),
        pass_price=np.ones(shape),
        size_price=np.ones(shape),
    )


def region(q: FarmQuantities) -> np.ndarray:
    """Crop of the region over its mean, (trial, year)."""
    return np.random.default_rng(6).uniform(0.7, 1.2, q.harvested_mass.shape[:2])


def two_blocks() -> list[BlockMoney]:
    return [
        block("north"),
        block(
            "south",
            row_spacing=7.0,
            tree_spacing=5.5,
            rows=10,
            support="none",
            cultivar="Honeycrisp",
            year_planted=2,
            order_year=0,
            clears_old_orchard=True,
        ),
    ]


def run(
    blocks: list[BlockMoney] | None = None,
    q: FarmQuantities | None = None,
    c: Costs | None = None,
    m: Market | None = None,
    f: Finance | None = None,
) -> tuple[Ledger, Indicators]:
    blocks = blocks or two_blocks()
    q = q if q is not None else quantities(blocks)
    c, m, f = c or costs(), m or market(), f or finance()
    trials = q.harvested_mass.shape[0]
    prices = draw_prices(Streams(3), range(trials), m, region(q), [each.cultivar for each in blocks])
    ledger = cash_flows(q, blocks, c, m, f, prices)
    return ledger, indicators(ledger, f)


def item(ledger: Ledger, name: str, label: int | None = None) -> np.ndarray:
    """One item of a block, or of the whole farm, by quarter."""
    flows = ledger.flows[..., ITEM[name]]
    return flows.sum(axis=3) if label is None else flows[:, :, :, label]
