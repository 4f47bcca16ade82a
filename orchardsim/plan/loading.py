"""``load_plan``: from a TOML file or a mapping to a resolved plan."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.futures import Futures
from orchardsim.core.labels import TASKS
from orchardsim.core.parameters import parameters_of
from orchardsim.core.units import CURRENCIES
from orchardsim.economy.parameters import OUTLETS, Costs, FruitPrice, IdleLand, Market, TreePrice
from orchardsim.economy.prices import check_market
from orchardsim.operations.parameters import (
    Crew,
    check_capacity,
    check_crews,
    check_replacement,
)
from orchardsim.plan.blocks import check_training, crop_cultivars, resolve_blocks, tree_grades
from orchardsim.plan.catalogue import KINDS, Catalogue, CropTarget, EntryTable, likeness
from orchardsim.plan.farm_terms import FarmTerms
from orchardsim.plan.filling import CATALOGUE_CURRENCY, Filler
from orchardsim.plan.formats import PlanFormats
from orchardsim.plan.futures import read_futures
from orchardsim.plan.keys import with_keys
from orchardsim.plan.learned import carrying_learned
from orchardsim.plan.model import SECTIONS, BlockBase, PackingTable, PlanBase, PlanTable, Sections
from orchardsim.plan.plan import Plan, ResolvedBlock
from orchardsim.plan.quantities import UnitContext
from orchardsim.plan.raw import RawTable, catalogue_file, made, subtable
from orchardsim.plan.reading import check_content, read_toml
from orchardsim.plan.scenarios import BASE, in_scenario, scenario_changes, without_scenarios
from orchardsim.plan.sense import order_doubts, price_doubts
from orchardsim.plan.tables import Table, stated_values, validated
from orchardsim.plan.weather import weather_settings

FOLLOWING_WAGES: Final = ("wage_skilled", "wage_picking")
"""Wages that a plan leaves unsaid follow the general one that it states."""


def load_plan(source: str | Path | RawTable, *, base: str | Path | None = None) -> Plan:
    """Read, check and resolve a planting plan.

    Raises InputError: one line naming file, key, what was found and what is allowed.

    Parameters
    ----------
    source : path or mapping
        A TOML file, or its content as nested dictionaries.
    base : path, optional
        Folder that a weather record's path is relative to; the plan file's own folder where there is one.
    """
    if isinstance(source, Mapping):
        path, raw = None, dict(source)
    else:
        path = Path(source)
        raw = read_toml(path)
    folder = Path(base) if base is not None else (path.parent if path is not None else Path())
    where = str(path) if path is not None else "plan"
    check_content(raw, where)
    return _scenarios(raw, path, where, folder)[0]


def load_scenarios(source: str | Path) -> list[Plan]:
    """A plan and each of its scenarios (tables ``[scenario.name]``), in the order of the file.

    ``source``: a TOML file. Raises InputError: one line naming file, scenario and key; also where the plan holds no
    scenario.
    """
    path = Path(source)
    raw, where = read_toml(path), str(path)
    check_content(raw, where)
    plans = _scenarios(raw, path, where, path.parent)
    if len(plans) < 2:
        raise InputError(
            where,
            "found one plan without scenarios to compare; allowed two or more plan files, or one with tables "
            "[scenario.name] of keys that differ",
        )
    return [dataclasses.replace(plans[0], scenario=BASE), *plans[1:]]


def _scenarios(raw: RawTable, path: Path | None, where: str, folder: Path) -> list[Plan]:
    """The plan and its scenarios, each read and checked whole."""
    bare = without_scenarios(raw)
    plans = [_read(bare, path, where, folder)]
    for name, changes in scenario_changes(raw, where).items():
        place = in_scenario(where, name)
        plan = _read(with_keys(bare, changes, place), path, place, folder)
        plans.append(dataclasses.replace(plan, scenario=name, title=f"{plan.title}: {name}"))
    return plans


def _read(raw: RawTable, path: Path | None, where: str, folder: Path) -> Plan:
    """A plan from its tables, scenarios left out."""
    currency = raw.get("currency")
    context = UnitContext(currency=currency if isinstance(currency, str) and currency in CURRENCIES else "USD")
    packing = raw.get("packing", {})
    if isinstance(packing, Mapping):
        masses = validated(PackingTable, packing, where, context, "packing")
        context = UnitContext(context.currency, {"bin": masses.bin_mass, "box": masses.box_mass})
    table = validated(PlanTable, raw, where, context)
    if not table.block and not table.idle_land:
        raise InputError(where, "block: missing; allowed: one or more [[block]] tables, or [[idle_land]]")
    return _resolve(table, path, where, folder, context)


def _resolve(table: PlanBase, path: Path | None, where: str, folder: Path, context: UnitContext) -> Plan:
    filler = Filler(where, context, table.price_year, _usd_rate(table, where))
    _note_farm_defaults(table, filler)
    weather = weather_settings(table, filler, folder)
    catalogue = Catalogue({kind: table.own(kind) for kind in KINDS}, filler)
    _check_names(table, catalogue, filler)
    sold = sorted(set().union(*(crop_cultivars(block) for block in table.block)))
    sections = _sections(table, sold, filler)
    tree_price = _tree_prices(table, filler)
    if sections.hazards.vole_guards:
        sections = dataclasses.replace(sections, work_rates=sections.work_rates.with_guards())
    crews = tuple(
        filler.fill(Crew, f"crews {number}", crew) for number, crew in enumerate(table.crews or [None], start=1)
    )
    check_replacement(f"{where}: replacement", sections.replacement)
    refill = table.replacement.named("group") if table.replacement is not None else {}
    farm = FarmTerms(table.site, catalogue, filler, sections, tree_price, refill)
    blocks, warnings = resolve_blocks(table.block, farm)
    _check_prices(blocks, sections.market, sold, where)
    check_crews(f"{where}: crews", crews, [task for task in TASKS if task not in ("frost_protection", "upkeep")])
    formats = PlanFormats(table.units, table.currency, weather.latitude, table.packing.box_mass)
    doubts = price_doubts(sections.market, sections.costs, sold, _usual_prices(table, sold, filler), formats)
    warnings = [*doubts, *warnings, *_doubts(table, sections, blocks, crews, where)]
    idle = tuple(filler.fill(IdleLand, f"idle_land {number}", land) for number, land in enumerate(table.idle_land, 1))
    plan = Plan(
        path=path,
        title=table.title,
        site_name=table.site.name,
        units=table.units,
        currency=table.currency,
        price_year=table.price_year,
        bin_mass=table.packing.bin_mass,
        box_mass=table.packing.box_mass,
        weather=weather,
        blocks=blocks,
        crews=crews,
        tree_price=tree_price,
        futures=_futures(table, blocks, filler),
        assumptions=tuple(filler.assumed.values()),
        warnings=tuple(warnings),
        stated=tuple(stated_values(table)),
        idle_land=idle,
        calendar_year=table.calendar_year,
        **vars(sections),
    )
    return carrying_learned(plan, table.futures, folder)


def _check_names(table: PlanBase, catalogue: Catalogue, filler: Filler) -> None:
    """Stop on names that nothing would read, and on entries of the plan's own that lack something.

    The blocks' own names come first: a price under the same misspelt name follows from them.
    """
    for number, block in enumerate(table.block, start=1):
        _check_block_names(block, f"block {number}", catalogue)
    for name in table.market.named("outlets") if table.market is not None else ():
        if name not in OUTLETS:
            raise InputError(
                filler.where,
                f"market.outlets.{name}: unknown outlet {name!r}, {nearest_names(name, OUTLETS)} "
                f"(allowed: {', '.join(OUTLETS)})",
            )
    for name in table.market.named("fruit") if table.market is not None else ():
        catalogue.require("cultivar", name, f"market.fruit.{name}")
    for name in table.named("tree_price"):
        catalogue.require("tree_grade", name, f"tree_price.{name}")
    # Entries that no block uses are checked too, without their numbers counting as assumed.
    everything = Catalogue(catalogue.own, filler.apart())
    for kind, own in catalogue.own.items():
        for name in own:
            for cls in KINDS[kind][1]:
                if cls is not CropTarget:
                    entry = everything.get(kind, name, cls, kind)
                    check_training(entry, name, filler.where)


def _check_block_names(block: BlockBase, path: str, catalogue: Catalogue) -> None:
    """Stop on a name of a block, its groups or its pollinizers that stands in no catalogue."""
    parts: list[tuple[Table, str]] = [(block, path)]
    parts += [(group, f"{path}.group {number}") for number, group in enumerate(block.group, start=1)]
    parts += [(each, f"{path}.pollinizer {number}") for number, each in enumerate(block.pollinizer, start=1)]
    kinds = {
        "cultivar": "cultivar",
        "rootstock": "rootstock",
        "tree_grade": "tree_grade",
        "training": "training_system",
    }
    for part, where in parts:
        for key, kind in kinds.items():
            name = getattr(part, key, None)
            if name is not None:
                catalogue.require(kind, name, f"{where}.{key}")


def _doubts(
    table: PlanBase,
    sections: Sections,
    blocks: Sequence[ResolvedBlock],
    crews: Sequence[Crew],
    where: str,
) -> list[str]:
    """What is legal but looks wrong, over the blocks together."""
    doubts = order_doubts(sections.replacement, [group.trees for block in blocks for group in block.groups])
    doubts += check_capacity(f"{where}: crews", crews, busiest_hours(blocks))
    if table.currency == CATALOGUE_CURRENCY and table.usd_rate not in (None, 1.0):
        doubts.append(f"usd_rate = {table.usd_rate:g} is not used: the plan's currency is the US dollar")
    return doubts


def _usd_rate(table: PlanBase, where: str) -> float:
    """Money of the plan's currency for one US dollar, in which the catalogue's prices and costs are."""
    if table.currency == CATALOGUE_CURRENCY:
        return 1.0
    if table.usd_rate is None:
        raise InputError(
            where,
            f"usd_rate: missing; prices and costs that the plan does not state come in US dollars: state how many "
            f"{table.currency} buy one, such as usd_rate = 0.9",
        )
    return table.usd_rate


def _note_farm_defaults(table: PlanBase, filler: Filler) -> None:
    """What the top of the plan and its site leave to the program."""
    for key in ("bin_mass", "box_mass"):
        if key not in table.packing.model_fields_set:
            filler.note(
                f"packing.{key}",
                getattr(table.packing, key),
                "kg",
                "United States apple crop insurance provisions, 7 CFR 457.158",
                "read",
            )
    if "price_year" not in table.model_fields_set:
        filler.note("price_year", table.price_year, "1", "year of the catalogue's prices", "assumption")
    for key, unit, reason in (
        ("site_growth", "1", "research mean"),
        ("replant_site", "flag", "new ground"),
        ("pollen_nearby", "m", "other apples or crabs stand near most orchards"),
    ):
        if key not in table.site.model_fields_set:
            filler.note(f"site.{key}", getattr(table.site, key), unit, reason, "assumption")


def _sections(table: PlanBase, sold: Sequence[str], filler: Filler) -> Sections:
    """The stages' parameters of each section: as stated, else from the catalogue, else by default."""
    built_in = {name: section_catalogue(name) for name in SECTIONS}
    own = {"bin_mass": table.packing.bin_mass}
    supplied: dict[str, RawTable] = {
        "costs": {**own, **_following_wages(table.costs, built_in["costs"], own, filler)},
        "finance": {"price_year": table.price_year},
    }
    # Only the prices of what the plan grows, or speaks of, are part of it.
    priced = sorted({*sold, *(table.market.named("fruit") if table.market is not None else ())})
    prices = _priced_as(subtable(built_in["market"], "fruit"), priced, table.own("cultivar"))
    built_in["market"] = {**built_in["market"], "fruit": prices}
    return made(
        Sections,
        {
            name: filler.fill(cls, name, getattr(table, name), built_in[name], "catalogue", given=supplied.get(name))
            for name, cls in SECTIONS.items()
        },
    )


def _following_wages(stated: Table | None, catalogue: RawTable, own: RawTable, filler: Filler) -> dict[str, float]:
    """Unstated wages in the catalogue's proportion to a stated ``costs.wage`` [money/hour], noted as derived."""
    wage = stated.stated(("wage",)).get("wage") if stated is not None else None
    if stated is None or not isinstance(wage, float):
        return {}
    usual = filler.apart().fill(Costs, "costs", None, catalogue, given=own)
    wages: dict[str, float] = {}
    for name in FOLLOWING_WAGES:
        if name not in stated.model_fields_set and usual.wage > 0:
            ratio = getattr(usual, name) / usual.wage
            wages[name] = ratio * wage
            source = f"{ratio:.4g} of the stated wage of general work, as in the catalogue"
            filler.note(f"costs.{name}", wages[name], parameters_of(Costs)[name].unit, source, "derived")
    return wages


def _usual_prices(table: PlanBase, sold: Sequence[str], filler: Filler) -> dict[str, float]:
    """The catalogue's prices of the best grade by cultivar, in the plan's money [money/kg]."""
    prices = _priced_as(subtable(section_catalogue("market"), "fruit"), sold, table.own("cultivar"))
    apart = filler.apart()
    return {
        name: apart.fill(FruitPrice, f"market.fruit.{name}", None, subtable(prices, name)).wholesale_extra_fancy
        for name in prices
    }


def _tree_prices(table: PlanBase, filler: Filler) -> dict[str, TreePrice]:
    """Prices of the grades of nursery tree that the plan buys."""
    bought = sorted(set().union(*(tree_grades(block) for block in table.block)))
    built_in = _priced_as(section_catalogue("tree_price"), bought, table.own("tree_grade"))
    own_prices = table.named("tree_price")
    return {
        name: filler.fill(TreePrice, f"tree_price.{name}", own_prices.get(name), subtable(built_in, name), "catalogue")
        for name in bought
        if name in own_prices or name in built_in
    }


def _futures(table: PlanBase, blocks: Sequence[ResolvedBlock], filler: Filler) -> Futures:
    groups = [group for block in blocks for group in block.groups]
    keys = {
        "block": [block.name for block in blocks],
        "rootstock": [group.stock_name for group in groups],
        "cultivar": [group.cultivar_name for group in groups],
    }
    stated = any("site_growth" in each.model_fields_set for each in (table.site, *table.block))
    return read_futures(table.futures, keys, ("site_growth",) if stated else (), filler)


def busiest_hours(blocks: Iterable[ResolvedBlock]) -> dict[str, float]:
    """Hours by task of the year that asks for most of it, all trees alive; picking and thinning follow the crop."""
    hours: dict[str, float] = defaultdict(float)
    planting: dict[int, float] = defaultdict(float)
    for block in blocks:
        training, trees = block.plan.training, block.geometry.trees
        for task, minutes in (
            ("training", training.training_minutes),
            ("dormant_pruning", training.pruning_minutes),
            ("summer_pruning", training.summer_pruning_minutes),
        ):
            hours[task] += trees * max(minutes) / 60
        hours["support_building"] += sum(group.money.support_hours for group in block.groups)
        planting[block.year_planted] += sum(group.money.planting_hours for group in block.groups)
    return {**hours, "planting": max(planting.values(), default=0.0)}


def _check_prices(blocks: Iterable[ResolvedBlock], market: Market, sold: Sequence[str], where: str) -> None:
    """Stop on fruit without a price, on prices that cannot be, and on those of more picking passes than there are."""
    unpriced = [name for name in sold if name not in market.fruit]
    if unpriced:
        raise InputError(
            where,
            f"market.fruit.{unpriced[0]}: missing; the catalogue holds no prices of {unpriced[0]!r}; expected "
            "a table of its prices in the plan",
        )
    check_market(market, sold, f"{where}: market")
    for block in blocks:
        for group in block.groups:
            name, cultivar = group.cultivar_name, group.cultivar
            found = market.fruit[name].pass_price
            if not 1 <= len(found) <= cultivar.picks:
                raise InputError(
                    where,
                    f"market.fruit.{name}.pass_price: found {len(found)} values, but {name} is picked in "
                    f"{cultivar.picks} passes (cultivar.{name}.picks); allowed 1 to {cultivar.picks}, first pass first",
                )


def _priced_as(prices: RawTable, names: Iterable[str], own: Mapping[str, EntryTable]) -> dict[str, object]:
    """Built-in prices of the names that a plan uses; an entry of its own has those of the entry that it is like."""
    priced: dict[str, object] = {}
    for name in names:
        chain, base = likeness(name, own)
        known = next((each for each in [*chain, base] if each in prices), None)
        if known is not None:
            priced[name] = prices[known]
    return priced


def section_catalogue(name: str) -> RawTable:
    """Built-in values of a plan section, by key."""
    costs, prices, physiology = (catalogue_file(file) for file in ("costs.toml", "prices.toml", "physiology.toml"))
    if name == "finance":
        return {**subtable(costs, "finance"), "tax": subtable(costs, "tax"), "insurance": subtable(costs, "insurance")}
    if name == "market":
        return {
            **subtable(prices, "market"), "outlets": subtable(prices, "outlet"), "fruit": subtable(prices, "fruit"),
        }  # fmt: skip
    if name == "physiology":
        return physiology
    return subtable(costs, name)
