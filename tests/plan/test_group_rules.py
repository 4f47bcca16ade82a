"""Replacement rules of single row groups: read, checked, and the same after the way from the search into a plan."""

from __future__ import annotations

import copy
import math
import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import orchardsim
from orchardsim.analysis.policy_outcomes import label_policy
from orchardsim.core.errors import InputError
from orchardsim.operations.nursery import spares_to_buy, stock_policy
from orchardsim.operations.parameters import Replacement
from orchardsim.plan import load_plan
from orchardsim.plan.describe import refill_notes
from orchardsim.report.spares.plan_lines import _table, share_text
from tests.simulation.small_plan import CONFIGS, SMALL

GALA, HONEYCRISP = "wires/Gala", "wires/Honeycrisp"


def plan_with(**groups: dict[str, object]):
    table = copy.deepcopy(SMALL)
    table["replacement"] = {"lead_time": "1 year", "last_refill_leaf": 4, "group": groups}
    return load_plan(table, base=CONFIGS)


def test_a_group_has_its_own_rules_and_the_farms_where_it_states_none():
    plan = plan_with(**{GALA: {"place": "pots", "last_refill_leaf": 7}, "wires": {"spares_at_planting": 0.1}})
    gala, honeycrisp = (group.refill for group in plan.groups)
    assert (gala.place, gala.last_refill_leaf, gala.spares_at_planting, gala.lead_time) == ("pots", 7, 0.1, 1)
    assert (honeycrisp.place, honeycrisp.last_refill_leaf, honeycrisp.spares_at_planting) == ("nursery_row", 4, 0.1)
    assert refill_notes(plan) == [
        f"Gaps of {GALA} are filled to leaf 7 of the block (stated for {GALA}).",
        f"Gaps of {HONEYCRISP} are filled to leaf 4 of the block (stated for the farm).",
    ]
    assert plan.hash != plan_with(**{GALA: {"place": "pots"}}).hash


@pytest.mark.parametrize(
    ("groups", "words"),
    [
        ({"wires/Galla": {"place": "pots"}}, "replacement.group.wires/Galla: unknown block or row group"),
        ({GALA: {"place": "none"}}, f"replacement.group.{GALA}.place: .* spares need a place"),
        ({GALA: {"lead_time": 3}}, "unknown key 'lead_time'"),
        ({GALA: {"reorder_point": 0.5}}, "order_up_to"),
    ],
)
def test_bad_group_rules_are_named(groups, words):
    with pytest.raises(InputError, match=words):
        plan_with(**groups)


def test_gaps_are_filled_by_each_groups_own_rules():
    """Gala's gaps are never filled and it keeps no spares; Honeycrisp's are, from spares of its own."""
    none = {"spares_at_planting": 0.0, "place": "none", "reorder": False, "last_refill_leaf": 0}
    plan = plan_with(**{GALA: none, HONEYCRISP: {"spares_at_planting": 0.3, "last_refill_leaf": 6}})
    found = orchardsim.simulate(plan, trials=6, years=10, seed=3)
    gala, honeycrisp = found.sel(block=GALA), found.sel(block=HONEYCRISP)
    assert float(gala.trees_lost.sum()) > 0
    assert float(gala.trees_replanted.sum() + gala.trees_ordered.sum() + gala.spares_on_hand.sum()) == 0
    assert float(honeycrisp.trees_replanted.sum()) > 0
    assert float(honeycrisp.trees_replanted.isel(year=slice(7, None)).sum()) == 0
    assert (np.diff(gala.trees_alive.values[:, 1:], axis=1) <= 0).all()


policies = st.builds(
    Replacement,
    spares_at_planting=st.floats(0.0, 0.4),
    place=st.sampled_from(["nursery_row", "pots"]),
    reorder=st.booleans(),
    reorder_point=st.floats(0.0, 0.05),
    order_up_to=st.floats(0.05, 0.2),
    last_refill_leaf=st.integers(2, 20),
)


@given(policy=policies, trees=st.integers(20, 20_000))
def test_a_policy_comes_back_from_the_lines_printed_for_it(policy, trees):
    """Whole trees bought, order levels, place and last leaf are the same after printing and reading."""
    told = label_policy("a", trees, policy)
    read = tomllib.loads("\n".join(_table(told, None)))["replacement"]["group"]["a"]
    again = label_policy("a", trees, Replacement(**read))
    if told.fills:
        assert again == told
        assert spares_to_buy(Replacement(**read), trees) == told.spares
    else:
        assert not again.fills and again.spares == 0


@given(trees=st.integers(1, 200_000), data=st.data())
def test_shares_are_turned_back_into_their_number(trees, data):
    number = data.draw(st.integers(0, trees))
    levels = Replacement(order_up_to=float(share_text(number, trees, math.ceil)))
    assert stock_policy(levels, trees).order_up_to == number
    assert round(float(share_text(number, trees, round)) * trees) == number
