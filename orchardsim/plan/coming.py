"""What of a plan is still to be planted, what is young enough to tell of it, and the plan with it later or left out."""

from __future__ import annotations

from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.plan.plan import Plan
from orchardsim.plan.raw import RawTable, subtable, subtables

MOST_LEAF: Final = 10
"""Leaf up to which a block is young enough to be measured for what is to come."""


def coming_blocks(plan: Plan) -> list[str]:
    """Blocks that are still to be planted.

    Raises InputError if there is none.
    """
    found = [block.name for block in plan.blocks if block.year_planted >= 1]
    if not found:
        raise InputError(plan.where, "block: none is planted in year 1 or later, so there is nothing to decide")
    return found


def young_blocks(plan: Plan) -> list[str]:
    """Blocks in the ground that are young enough to tell of what is to come.

    Raises InputError if there is none.
    """
    found = [block.name for block in plan.blocks if -MOST_LEAF < block.year_planted <= 0]
    if not found:
        raise InputError(
            plan.where, f"block: none stands in leaf 1 to {MOST_LEAF} in year 0, so there is nothing to measure"
        )
    return found


def planted_later(plan: Plan, raw: RawTable, years: int) -> dict[str, object]:
    """Keys by which all that is to come is ordered and planted some years later."""
    changes: dict[str, object] = {}
    for name in coming_blocks(plan):
        stated = next(one for one in subtables(raw, "block") if one["name"] == name)
        for key, default in (("year_planted", 1), ("order_year", None), ("land_from_year", None)):
            value = stated.get(key, default)
            if isinstance(value, int):
                changes[f"block.{name}.{key}"] = value + years
    return changes


def without_coming(plan: Plan, raw: RawTable) -> dict[str, object]:
    """The plan's tables without what is to come."""
    blocks = coming_blocks(plan)
    rest = dict(raw)
    rest["block"] = [one for one in subtables(raw, "block") if one["name"] not in blocks]
    rules = subtable(raw, "replacement", "group")
    if rules:
        kept = {name: own for name, own in rules.items() if name.split("/")[0] not in blocks}
        rest["replacement"] = {**subtable(raw, "replacement"), "group": kept}
    return rest
