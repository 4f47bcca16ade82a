"""The study that ships with the plans is read, and states what it asks."""

from __future__ import annotations

from orchardsim.plan.study import load_study
from tests.plan.examples import CONFIGS


def test_the_shipped_study_is_a_factorial_on_the_demo() -> None:
    found = load_study(CONFIGS / "studies" / "stock_by_spacing.toml")
    assert [(one.name, len(one.levels)) for one in found.factors] == [("stock", 3), ("spacing", 2)]
    assert {group.stock_name for cell in found.cells for group in cell.plan.groups} == {"M.9", "G.935", "MM.106"}
