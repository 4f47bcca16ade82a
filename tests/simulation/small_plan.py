"""A small invented plan for tests: two row groups on wires, some sixty trees."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import orchardsim

CONFIGS = Path(__file__).parents[2] / "configs"

SMALL: dict[str, Any] = {
    "title": "invented test block",
    "units": "metric",
    "currency": "USD",
    "price_year": 2024,
    "site": {"name": "invented", "latitude": "34.68 degree", "elevation": "250 m"},
    "weather": {"record": "bundled", "normals": {"rain": ["100 mm"] * 12, "wet_days": [9] * 12}},
    "block": [
        {
            "name": "wires",
            "training": "tall_spindle",
            "tree_grade": "feathered",
            "row_spacing": "3.5 m",
            "tree_spacing": "1.0 m",
            "row_length": "16 m",
            "year_planted": 1,
            "group": [
                {"name": "Gala", "rows": 2, "cultivar": "Gala", "rootstock": "M.9"},
                {"name": "Honeycrisp", "rows": 2, "cultivar": "Honeycrisp", "rootstock": "G.935"},
            ],
        }
    ],
}


def small_plan(**changes: Any) -> orchardsim.plan.Plan:  # type: ignore[name-defined]
    """The small plan with top-level tables changed or added."""
    table = copy.deepcopy(SMALL)
    table.update(changes)
    return orchardsim.load_plan(table, base=CONFIGS)
