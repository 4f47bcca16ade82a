"""Monotone properties of the tree model over random cases, and formulas that hold in any unit of measure."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orchardsim.trees import bearing, canopy, fruit, grading, growth, light
from tests.trees.blocks import PHYSIOLOGY, block, grade, run_trees, stock, training

SMALL = {"rows": 2, "trees_per_row": 8}


def grown(wood, target, tree=1.2, row=3.7, years=6, scion="Gala", **more):
    """The mean tree of a small block after some years: trunk [cm2], crop summed per tree [kg] and per land [kg/m2]."""
    plan = block([wood], scion, grade("feathered"), training("tall_spindle", **more), tree, row, target, **SMALL)
    run = run_trees(plan, PHYSIOLOGY, years, even=True, trials=1)
    crop = float(run.values["crop_mass"].sum()) / 16
    return float(run.values["trunk_area_mean"][-1, 0, 0]), crop, crop / (tree * row)


# ---- more of one thing, less of another ---------------------------------------------------------------------------


@settings(max_examples=12, deadline=None)
@given(target=st.floats(2, 8), more=st.floats(1.2, 2), scion=st.sampled_from(["Gala", "Fuji", "Empire"]))
def test_a_heavier_crop_leaves_a_thinner_trunk(target, more, scion):
    # one season of it: a biennial cultivar makes up for it in the blank year that follows
    light_crop, heavy_crop = (
        grown(stock("M.9"), (0.0, 2.0, 3.0, each), years=4, scion=scion) for each in (target, more * target)
    )
    assert heavy_crop[0] <= light_crop[0] * 1.0001


@settings(max_examples=12, deadline=None)
@given(size=st.floats(0.5, 2.5), more=st.floats(1.05, 1.25), tree=st.floats(2, 5))
def test_a_more_vigorous_stock_makes_a_bigger_tree(size, more, tree):
    small, big = (
        grown(dataclasses.replace(stock("M.9"), size=each), (0.0, 4.0), tree, tree + 2)[0]
        for each in (size, size * more)
    )
    assert big > small


@settings(max_examples=12, deadline=None)
@given(tree=st.floats(0.8, 2), more=st.floats(1.2, 2))
def test_closer_trees_of_a_dwarf_bear_less_each_and_more_together(tree, more):
    close, wide = (grown(stock("M.9"), (0.0, 5.0), each, years=8) for each in (tree, tree * more))
    assert close[0] <= wide[0] * 1.0001
    assert close[1] <= wide[1] * 1.0001
    assert close[2] >= wide[2] * 0.9999


@settings(max_examples=8, deadline=None)
@given(row=st.floats(2.4, 3.2))
def test_a_vigorous_stock_crowds_where_a_dwarf_does_not(row):
    # at close spacing the yield of land stops following vigor: the strong stock's gain over M.9 is lost or reversed
    close = [grown(stock(name), (0.0, 5.0), 0.8, row, years=12)[2] for name in ("M.9", "MM.111")]
    wide = [grown(stock(name), (0.0, 5.0), 4.0, 6.0, years=12)[2] for name in ("M.9", "MM.111")]
    assert close[1] / close[0] < wide[1] / wide[0]


@settings(max_examples=8, deadline=None)
@given(kept=st.floats(0.0, 0.9), stripped=st.floats(0.0, 0.9))
def test_blossom_stripped_in_the_first_leaf_spares_the_young_tree(kept, stripped):
    left, off = (
        grown(stock("M.9"), (math.inf,), years=1, feathers_kept=kept, blossom_stripped=(each, 0.0))
        for each in (stripped, 1.0)
    )
    assert off[1] == 0
    assert off[0] >= left[0]


# ---- any unit of measure ------------------------------------------------------------------------------------------

ONE, TWO, PAIR = 1.7, 0.9, np.array([1.7, 0.6])
CASES: dict[str, tuple[Any, list[tuple[Any, dict[str, float]]], dict[str, float]]] = {
    # name: (formula of its inputs, value and unit of each input, unit of the result); a unit is a power per dimension
    "soft_minimum": (canopy.soft_minimum, [(ONE, {"m": 1}), (TWO, {"m": 1})], {"m": 1}),
    "size_of_trunk": (
        lambda trunk, size: canopy.size_of_trunk(trunk, size, 0.3), [(9.6, {"m": 2}), (1.3, {"m": 0.4})], {"m": 1},
    ),
    "room_won": (lambda a, b: canopy.room_won(a, b, 0.35), [(ONE, {"m": 2}), (TWO, {"m": 2})], {}),
    "shadow_area": (
        lambda across, along, height: canopy.shadow_area(across, along, height, 0.75, 1.05),
        [(ONE, {"m": 1}), (TWO, {"m": 1}), (3.1, {"m": 1})], {"m": 2},
    ),
    "shadow_reach": (lambda a, land: canopy.shadow_reach(a, land, 1.5), [(ONE, {"m": 2}), (TWO, {"m": 2})], {}),
    "light_stopped": (lambda leaf, land: canopy.light_stopped(leaf, land, 0.6), [(ONE, {"m": 2}), (TWO, {"m": 2})],
                      {"m": 2}),
    "two_limits": (
        lambda d, s: growth.two_limits(d, s, 0.7), [(ONE, {"kg": 1}), (TWO, {"kg": 1})], {"kg": 1},
    ),
    "shoot_share": (
        lambda load, calming: growth.shoot_share(1.2, load, calming),
        [(ONE, {"fruit": 1, "m": -2}), (TWO, {"fruit": 1, "m": -2})], {},
    ),
    "wood_mass": (
        lambda trunk, one: growth.wood_mass(trunk, one, 1.2), [(9.6, {"m": 2}), (0.08, {"kg": 1, "m": -2.4})],
        {"kg": 1},
    ),
    "trunk_wanted": (
        lambda trunk, vigor: growth.trunk_wanted(trunk, 0.7, vigor, 0.7), [(9.6, {"m": 2}), (2.0, {"m": 0.6})],
        {"m": 2},
    ),
    "kept_after_drop": (bearing.kept_after_drop, [(ONE, {"fruit": 1}), (TWO, {"fruit": 1})], {"fruit": 1}),
    "tree_term": (
        bearing.tree_term, [(ONE, {"fruit": 1, "m": -2}), (TWO, {"fruit": 1, "m": -2}), (0.6, {"fruit": 1, "m": -2})],
        {},
    ),
    "spur_term": (
        lambda crop, spurs: bearing.spur_term(crop, spurs, 0.5), [(ONE, {"fruit": 1}), (2.9, {"fruit": 1})], {},
    ),
    "pollination": (
        lambda hours, half, far, reach: bearing.pollination(hours, half, far, reach, np.array(0.7), np.array(0.1)),
        [(PAIR, {"h": 1}), (0.8, {"h": 1}), (PAIR, {"m": 1}), (1.1, {"m": 1})], {},
    ),
    "alternation": (bearing.alternation, [(ONE, {"kg": 1}), (TWO, {"kg": 1})], {}),
    "bearing_share": (
        lambda leaf, half, rate: bearing.bearing_share(leaf, half, rate),
        [(PAIR, {"leaf": 1}), (PAIR[::-1], {"leaf": 1}), (1.6, {"leaf": -1})], {},
    ),
    "share_above": (fruit.share_above, [(ONE, {"kg": 1}), (TWO, {"kg": 1}), (0.4, {"kg": 1})], {}),
    "size_spread": (
        fruit.size_spread, [(40 * PAIR, {"kg": 1}), (np.array([60.0, 60.0]), {}), (90 * PAIR**2, {"kg": 2})], {"kg": 1},
    ),
    "box_count_shares": (
        fruit.box_count_shares,
        [(0.15 * PAIR, {"kg": 1}), (0.02 * PAIR, {"kg": 1}), (19.0, {"kg": 1}), (0.1, {"kg": 1})], {},
    ),
    "early_heat_effect": (
        lambda heat, best: fruit.early_heat_effect(heat, best, 0.3), [(PAIR, {"K": 1}), (1.2, {"K": 1})], {},
    ),
    "colour_share": (
        lambda load, cost: grading.colour_share(0.4, load, 0.9, 0.3, cost, 12.0),
        [(ONE, {"fruit": 1, "m": -2}), (0.006, {"fruit": -1, "m": 2})], {},
    ),
    "bitter_pit_share": (
        lambda load, crop: grading.bitter_pit_share(load, 1.0, 0.4, crop),
        [(ONE, {"fruit": 1, "m": -2}), (4.0, {"fruit": 1, "m": -2})], {},
    ),
}  # fmt: skip


def size_of(unit, sizes):
    return math.prod(sizes[dimension] ** power for dimension, power in unit.items())


@pytest.mark.parametrize("name", CASES)
@settings(max_examples=15, deadline=None)
@given(factors=st.lists(st.floats(0.2, 5), min_size=7, max_size=7))
def test_a_formula_does_not_depend_on_the_units_of_measure(name, factors):
    """A formula that adds metres to kilograms gives another answer in feet and pounds; a sound one only rescales."""
    formula, inputs, result = CASES[name]
    sizes = dict(zip(("kg", "m", "MJ", "fruit", "h", "leaf", "K"), factors, strict=True))
    plain = formula(*(np.array(value) if np.ndim(value) else value for value, _ in inputs))
    scaled = formula(*(np.array(value) * size_of(unit, sizes) if np.ndim(value) else value * size_of(unit, sizes)
                       for value, unit in inputs))  # fmt: skip
    assert scaled == pytest.approx(plain * size_of(result, sizes), rel=2e-4, abs=1e-6)


def test_every_formula_of_growth_bearing_fruit_and_light_on_quantities_is_among_them():
    covered = set(CASES)
    plain_numbers = {
        # of plain numbers alone, or sums over them
        "competition", "shoot_drive", "light_use", "shade_term", "spur_light", "box_count_edges", "pass_shares",
        "after_hail", "kill_by_place", "set_after_frost", "spray_dose", "sprayed_off", "divided_in_crowd", "stunted",
        "expolinear",
        # of degrees Celsius against a usual night
        "night_colour",
        # of angles and places on earth
        "sun_positions", "open_alley_share", "alley_slope",
    }  # fmt: skip
    for room in (canopy, growth, bearing, fruit, light, grading):
        found = {
            name
            for name, value in vars(room).items()
            if callable(value) and getattr(value, "__module__", "") == room.__name__ and not isinstance(value, type)
        }
        assert {name for name in found if not name.startswith("_")} - covered - plain_numbers == set()
