"""What of a plan is still to be planted, what is young enough to tell of it, and the plan with it later or left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.plan.keys import with_keys
from orchardsim.plan.loading import load_plan
from orchardsim.plan.model import YEARS
from orchardsim.plan.plan import Plan
from orchardsim.plan.raw import RawTable, subtable, subtables

MOST_LEAF: Final = 10
"""Leaf up to which a block is young enough to be measured for what is to come."""
NOT_PLANTED: Final = "plant nothing more"
"""The way to plant that always stands beside the others."""


def coming_blocks(plan: Plan) -> list[str]:
    """Blocks that are still to be planted; raises InputError if there is none."""
    return _planted(plan, 1, YEARS[1], "none is planted in year 1 or later, so there is nothing to decide")


def young_blocks(plan: Plan) -> list[str]:
    """Blocks in the ground that are young enough to tell of what is to come; raises InputError if there is none."""
    none = f"none stands in leaf 1 to {MOST_LEAF} in year 0, so there is nothing to measure"
    return _planted(plan, 1 - MOST_LEAF, 0, none)


def _planted(plan: Plan, first: int, last: int, none: str) -> list[str]:
    names = [block.name for block in plan.blocks if first <= block.year_planted <= last]
    if not names:
        raise InputError(plan.where, f"block: {none}")
    return names


def ways_to_plant(
    plan: Plan, raw: RawTable, options: Mapping[str, RawTable], waits: Sequence[int], folder: Path
) -> dict[str, Plan]:
    """Every option after each wait, and the plan without what is to come: name -> plan, the last :data:`NOT_PLANTED`.

    Raises InputError if one cannot be read, or nothing is to come.

    Parameters
    ----------
    raw : mapping
        Tables of the plan.
    options : mapping
        Way to plant -> tables of the plan with it.
    waits : sequence of int
        Years by which all that is to come is ordered and planted later.
    folder : path
        Of the plan file.
    """
    ways = {
        f"{name}, {years} years later": with_keys(own, _planted_later(plan, own, years), plan.where)
        for years in waits
        for name, own in options.items()
    }
    plans = {}
    for name, tables in {**ways, NOT_PLANTED: _without_coming(plan, raw)}.items():
        try:
            plans[name] = load_plan(tables, base=folder)
        except InputError as error:
            raise InputError(plan.where, f"option {name}: {error.problem}") from None
    return plans


def _planted_later(plan: Plan, raw: RawTable, years: int) -> dict[str, object]:
    """Keys by which all that is to come is ordered and planted some years later."""
    changes: dict[str, object] = {}
    if not years:
        return changes
    for name in coming_blocks(plan):
        stated = next(block for block in subtables(raw, "block") if block["name"] == name)
        for key, default in (("year_planted", 1), ("order_year", None), ("land_from_year", None)):
            value = stated.get(key, default)
            if isinstance(value, int):
                changes[f"block.{name}.{key}"] = value + years
    return changes


def _without_coming(plan: Plan, raw: RawTable) -> dict[str, object]:
    """The plan's tables without what is to come."""
    blocks = coming_blocks(plan)
    rest = dict(raw)
    rest["block"] = [block for block in subtables(raw, "block") if block["name"] not in blocks]
    rules = subtable(raw, "replacement", "group")
    if rules:
        kept = {name: own for name, own in rules.items() if name.split("/")[0] not in blocks}
        rest["replacement"] = {**subtable(raw, "replacement"), "group": kept}
    return rest
