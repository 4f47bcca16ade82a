"""Which item of the ledger each task and outlet belongs to, and in which quarter of the year it is paid."""

from __future__ import annotations

from typing import NamedTuple


class TaskPay(NamedTuple):
    """Item of a task's pay in the ledger, its wage in ``Costs``, and the share paid by quarter (common practice)."""

    item: str
    wage: str
    quarters: tuple[float, float, float, float]


TASK_PAY = {
    "planting": TaskPay("planting", "wage", (1.0, 0.0, 0.0, 0.0)),
    "support_building": TaskPay("support", "wage", (0.0, 1.0, 0.0, 0.0)),
    "replanting": TaskPay("replacement_trees", "wage", (1.0, 0.0, 0.0, 0.0)),
    "training": TaskPay("training", "wage_skilled", (0.0, 0.5, 0.5, 0.0)),
    "dormant_pruning": TaskPay("pruning", "wage_skilled", (1.0, 0.0, 0.0, 0.0)),
    "summer_pruning": TaskPay("pruning", "wage_skilled", (0.0, 0.0, 1.0, 0.0)),
    "thinning": TaskPay("thinning", "wage", (0.0, 1.0, 0.0, 0.0)),
    "picking": TaskPay("picking", "wage_picking", (0.0, 0.0, 0.0, 1.0)),
    "frost_protection": TaskPay("water_and_fuel", "wage", (0.0, 1.0, 0.0, 0.0)),
    "upkeep": TaskPay("upkeep", "wage", (0.1, 0.35, 0.35, 0.2)),
}
MATERIAL_QUARTERS = (0.15, 0.45, 0.35, 0.05)
"""Share of yearly materials by quarter. Common practice, no source."""
OUTLET_ITEM = {
    "direct": "direct_sales",
    "pick_your_own": "direct_sales",
    "wholesale": "fresh_sales",
    "processing": "processing_sales",
    "juice": "processing_sales",
}
