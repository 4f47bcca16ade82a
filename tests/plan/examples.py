"""A small plan as nested dictionaries, for the tests of the plan room."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

CONFIGS = Path(__file__).parents[2] / "configs"
DEMO = CONFIGS / "demo.toml"

_BASE: dict[str, Any] = {
    "title": "test plan",
    "units": "metric",
    "currency": "USD",
    "site": {"latitude": "34.68 degree", "elevation": "250 m"},
    "weather": {"record": "bundled", "normals": {"rain": {"value": [100] * 12, "unit": "mm"}}},
    "block": [
        {
            "name": "north",
            "cultivar": "Gala",
            "rootstock": "M.9",
            "training": "tall_spindle",
            "row_spacing": "3.5 m",
            "tree_spacing": "1 m",
            "net_area": "0.7 ha",
            "row_length": "100 m",
        }
    ],
}


def base() -> dict[str, Any]:
    """A fresh copy of the small plan."""
    return copy.deepcopy(_BASE)


def changed(*changes: tuple[str, Any]) -> dict[str, Any]:
    """The small plan with changes at dotted paths; ``block`` means its first block, a value of None drops the key."""
    plan = base()
    for path, value in changes:
        table: Any = plan
        *parents, last = path.split(".")
        for part in parents:
            table = table.setdefault(part, {}) if isinstance(table, dict) else table
            if isinstance(table, list):
                table = table[0]
        if value is None:
            table.pop(last, None)
        else:
            table[last] = value
    return plan
