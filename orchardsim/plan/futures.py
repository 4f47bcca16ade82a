"""``[futures]``: what the plan knows of the open levels, read and checked."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Collection, Mapping
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.futures import HAZARD_CAUSES, OPEN_LEVELS, Doubt, Futures, OpenLevel
from orchardsim.core.text import quoted
from orchardsim.plan.filling import Filler
from orchardsim.plan.raw import RawTable

KNOWN: Final = "known"
LEARNED: Final = "learned"
"""Key that names a file of what measured trees taught; see :mod:`orchardsim.plan.learned`."""
PARTS: Final = {"middle", "spread"}
EXPECTED: Final = "'known', 'known 1.2' or { middle = 1.1, spread = 0.15 }"


def read_futures(
    raw: RawTable | None, keys: Mapping[str, Collection[str]], fixed: Collection[str], filler: Filler
) -> Futures:
    """Doubts of a plan; what it leaves open is noted as assumed.

    Raises InputError, naming the level: unknown, with a distribution that cannot be, or with a middle that stands
    twice.

    Parameters
    ----------
    raw : mapping or None
        The table as written.
    keys : mapping from scope to names
        Blocks, rootstocks and cultivars of the plan.
    fixed : collection of str
        Levels whose middle another key of the plan states.
    """
    stated: dict[str, dict[str, Doubt]] = {}
    where = filler.where
    for name, value in (raw or {}).items():
        path = f"futures.{name}"
        if name == LEARNED:
            continue
        if name not in OPEN_LEVELS:
            raise InputError(where, f"{path}: unknown level {quoted(name)}, {nearest_names(name, OPEN_LEVELS)}")
        row = OPEN_LEVELS[name]
        if isinstance(value, Mapping) and value and not set(value) & PARTS:
            stated[name] = _by_key(row, value, keys, where, path)
        else:
            stated[name] = {"": _doubt(row, value, where, path)}
        if name in fixed and any(doubt.middle != row.middle for doubt in stated[name].values()):
            raise InputError(
                where,
                f"{path}: the level stands twice, here and in {name} of the site or a block; allowed: one of them",
            )
    for name, row in OPEN_LEVELS.items():
        if "" not in stated.get(name, {}):
            filler.note(f"futures.{name}.spread", row.spread, row.unit, f"{row.meaning}; {row.source}", row.status)
    return Futures(stated)


def _by_key(
    row: OpenLevel, value: RawTable, keys: Mapping[str, Collection[str]], where: str, path: str
) -> dict[str, Doubt]:
    allowed = HAZARD_CAUSES if row.scope == "cause" else tuple(dict.fromkeys(keys.get(row.scope, ())))
    doubts: dict[str, Doubt] = {}
    for written, each in value.items():
        key = written.replace(" ", "_") if row.scope == "cause" else written
        if key not in allowed:
            if not allowed:
                raise InputError(
                    where, f"{path}.{written}: unknown key; the level is one for the farm; expected {EXPECTED}"
                )
            raise InputError(
                where, f"{path}.{written}: unknown {row.scope} {quoted(written)}, {nearest_names(key, allowed)} "
                f"(allowed: {', '.join(allowed)})"
            )  # fmt: skip
        if key in doubts:
            raise InputError(where, f"{path}.{written}: the level stands twice; allowed: once")
        doubts[key] = _doubt(row, each, where, f"{path}.{written}")
    return doubts


def _doubt(row: OpenLevel, value: object, where: str, path: str) -> Doubt:
    if isinstance(value, str):
        word, _, rest = value.strip().partition(" ")
        if word == KNOWN and not rest:
            return Doubt(row.middle, 0.0)
        if word == KNOWN:
            with contextlib.suppress(ValueError):
                return Doubt(_number(float(rest), row.low, row.high, row, where, path), 0.0)
    if not isinstance(value, Mapping):
        raise InputError(where, f"{path}: found {quoted(value)}, expected {EXPECTED}")
    for key in value:
        if key not in PARTS:
            raise InputError(where, f"{path}.{key}: unknown key {quoted(key)}, {nearest_names(key, PARTS)}")
    if not value:
        raise InputError(where, f"{path}: found an empty table, expected {EXPECTED}")
    return Doubt(
        _number(value.get("middle", row.middle), row.low, row.high, row, where, f"{path}.middle"),
        _number(value.get("spread", row.spread), 0.0, row.most_spread, row, where, f"{path}.spread"),
    )


def _number(value: object, low: float, high: float, row: OpenLevel, where: str, path: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(where, f"{path}: found {quoted(value)}, expected a number")
    if not (math.isfinite(value) and low <= value <= high):
        unit = "" if row.unit == "1" else f" {row.unit}"
        raise InputError(where, f"{path}: found {value:g}, allowed {low:g} to {high:g}{unit}")
    return float(value)
