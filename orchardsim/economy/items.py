"""Which item of the ledger each task and outlet belongs to, and in which quarter of the year it is paid."""

from __future__ import annotations

TASK_ITEM = {
    "planting": "planting",
    "support_building": "support",
    "replanting": "replacement_trees",
    "training": "training",
    "dormant_pruning": "pruning",
    "summer_pruning": "pruning",
    "thinning": "thinning",
    "picking": "picking",
    "frost_protection": "water_and_fuel",
    "upkeep": "upkeep",
}
TASK_QUARTERS = {
    "planting": (1.0, 0.0, 0.0, 0.0),
    "support_building": (0.0, 1.0, 0.0, 0.0),
    "replanting": (1.0, 0.0, 0.0, 0.0),
    "training": (0.0, 0.5, 0.5, 0.0),
    "dormant_pruning": (1.0, 0.0, 0.0, 0.0),
    "summer_pruning": (0.0, 0.0, 1.0, 0.0),
    "thinning": (0.0, 1.0, 0.0, 0.0),
    "picking": (0.0, 0.0, 0.0, 1.0),
    "frost_protection": (0.0, 1.0, 0.0, 0.0),
    "upkeep": (0.1, 0.35, 0.35, 0.2),
}
"""Share of a task's pay by quarter. Common practice, no source."""
MATERIAL_QUARTERS = (0.15, 0.45, 0.35, 0.05)
"""Share of yearly materials by quarter. Common practice, no source."""
SKILLED = ("training", "dormant_pruning", "summer_pruning")
OUTLET_ITEM = {
    "direct": "direct_sales",
    "pick_your_own": "direct_sales",
    "wholesale": "fresh_sales",
    "processing": "processing_sales",
    "juice": "processing_sales",
}
