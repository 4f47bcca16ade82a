"""What a plan's file leaves unsaid about money, and how it follows what the file states."""

from __future__ import annotations

from typing import Any

import pytest

from orchardsim.plan.loading import load_plan
from tests.plan.examples import changed


def status(plan: Any, key: str) -> str | None:
    return next((each.status for each in plan.assumptions if each.key == key), None)


def test_unstated_wages_follow_the_stated_one() -> None:
    """Half as much again for general work: half as much again for pruners and pickers, unless they are stated."""
    plain = load_plan(changed()).costs
    plan = load_plan(changed(("costs.wage", f"{1.5 * plain.wage} USD/hour")))
    assert plan.costs.wage_skilled == pytest.approx(1.5 * plain.wage_skilled)
    assert plan.costs.wage_picking == pytest.approx(1.5 * plain.wage_picking)
    assert status(plan, "costs.wage_skilled") == status(plan, "costs.wage_picking") == "derived"
    plan = load_plan(changed(("costs.wage", "31 USD/hour"), ("costs.wage_picking", "25 USD/hour")))
    assert plan.costs.wage_picking == 25
    assert status(plan, "costs.wage_picking") is None
    assert plan.costs.wage_skilled == pytest.approx(31 * plain.wage_skilled / plain.wage)
