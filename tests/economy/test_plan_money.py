"""What a plan's file leaves unsaid about money, and how it follows what the file states."""

from __future__ import annotations

from typing import Any

import pytest

from orchardsim.operations.parameters import Crew, Replacement, WorkRates, YardParameters
from orchardsim.operations.yard import Yard
from orchardsim.plan.loading import load_plan
from tests.operations.test_yard import average_draws
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


def test_extra_pollinizers_are_priced_and_planted_as_plain_trees() -> None:
    """A crab carries no royalty: it costs the grade's bare price, and takes planting time as any tree."""
    posts = [{"cultivar": "crab", "every_tree": 10, "every_row": 2}]
    plan = load_plan(changed(("block.pollinizer", posts)))
    money, without = plan.money[0], load_plan(changed(("block.pollinizer", None))).money[0]
    bare = plan.tree_price[plan.groups[0].grade_name].price
    royalty = plan.market.fruit[money.cultivar].royalty
    assert royalty > 0
    assert money.tree_price == without.tree_price == pytest.approx(bare + royalty)
    assert money.extra_tree_price == pytest.approx(bare)
    extra = money.extra_trees
    assert extra > 0
    assert money.planting_hours - without.planting_hours == pytest.approx(extra / plan.work_rates.planting)


def test_a_tree_at_short_notice_costs_the_late_price() -> None:
    plan = load_plan(changed())
    terms = plan.tree_price[plan.groups[0].grade_name]
    money = plan.money[0]
    assert money.spot_price is not None
    assert money.spot_price - money.tree_price == pytest.approx(terms.late_premium * terms.price)
    stated = load_plan(changed(("block.replacement_price", "20 USD/tree"))).money[0]
    assert stated.spot_price == pytest.approx(20 * (1 + terms.late_premium))


def test_extra_pollinizers_take_planting_hours_in_the_run() -> None:
    """60 trees and 12 extra at 6 trees an hour: 12 hours of planting."""
    rates = WorkRates(planting=6.0)
    crew = Crew("farm", workers=20)
    yard = Yard(YardParameters(Replacement(), (crew,), {"north": 60}, rates), ("north",), average_draws(2, 1))
    yard.first_planting(0, {"north": 60}, 182, 227, {"north": 12.0})
    yard.work(0, 182, 240, [], 1.0)
    yard.close()
    assert yard.hours[0, "north", "planting"] == pytest.approx(12.0)
