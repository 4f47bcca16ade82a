"""Scenarios of a plan: tables ``[scenario.name]`` of keys that differ from the plan that holds them."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.core.text import quoted
from orchardsim.plan.raw import RawTable

TABLE: Final = "scenario"
BASE: Final = "as planned"
"""Name of the plan itself beside its scenarios."""
MOST: Final = 11
"""Scenarios that stand side by side with their plan; as many plans as a comparison takes (our own choice)."""
WHOLE: Final = ("value", "middle", "spread")
"""Keys by which a table is a value, not a table of keys."""
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def without_scenarios(raw: RawTable) -> dict[str, object]:
    """The plan's tables without its scenarios."""
    return {key: value for key, value in raw.items() if key != TABLE}


def in_scenario(where: str, name: str) -> str:
    """File and scenario, for messages."""
    return f"{where} [{TABLE}.{name}]"


def scenario_changes(raw: RawTable, where: str) -> dict[str, dict[str, object]]:
    """Scenario -> dotted key -> value.

    Keys may be written as TOML nests them, ``costs.packing = "0.3 USD/lb"``, or in quotes, ``"costs.packing"``. Raises
    InputError if there are too many, or one is no table or changes nothing.
    """
    scenarios = raw.get(TABLE, {})
    if not isinstance(scenarios, Mapping):
        raise InputError(where, f"{TABLE}: found {quoted(scenarios)}, expected tables [{TABLE}.name]")
    if len(scenarios) > MOST:
        raise InputError(where, f"{TABLE}: found {len(scenarios)} scenarios, allowed at most {MOST}")
    changes: dict[str, dict[str, object]] = {}
    for name, table in scenarios.items():
        if not isinstance(table, Mapping):
            raise InputError(where, f"{TABLE}.{name}: found {quoted(table)}, expected a table of keys that differ")
        if name == BASE:
            raise InputError(where, f"{TABLE}.{name}: the plan itself has this name; allowed: another")
        changes[name] = dict(_flat(table, ""))
        if not changes[name]:
            raise InputError(where, f"{TABLE}.{name}: found nothing that differs; expected a key of the plan in it")
    return changes


def _flat(table: RawTable, path: str) -> list[tuple[str, object]]:
    flat: list[tuple[str, object]] = []
    for key, value in table.items():
        written = (not path and "." in key) or _BARE.fullmatch(key)
        dotted = key if written else json.dumps(key)
        full = f"{path}.{dotted}" if path else dotted
        if isinstance(value, Mapping) and value and not any(word in value for word in WHOLE):
            flat += _flat(value, full)
        else:
            flat.append((full, value))
    return flat
