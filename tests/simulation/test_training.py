"""Every part of a training system changes the result in the direction that orchardists expect.

A small plan runs twice with the same seasons and random numbers; one key of the system differs. Directions are common
practice in the trade, no source needed; that branches bent below the horizontal bloom earlier and that feathered trees
ask for water within two weeks is read (Michigan State University Extension; Good Fruit Grower).
"""

from __future__ import annotations

import copy
import functools
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pytest

import orchardsim
from orchardsim.core.labels import CAUSES, TASKS
from orchardsim.core.ledger_items import ITEM
from orchardsim.core.parameters import parameters_of
from orchardsim.core.streams import Streams
from orchardsim.plan.catalogue import entries
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.trial_range import run_trials
from orchardsim.trees.parameters import Training
from tests.simulation.small_plan import CONFIGS, SMALL
from tests.simulation.test_couplings import changed

TRIALS, YEARS, SEED = 10, 8, 5
LEAF_1 = 1
"""Year of the plan in which the small plan's trees are in leaf 1."""


@functools.cache
def seasons():
    made = build_library(plan_with({}), Streams(SEED), range(TRIALS), YEARS, "sampled")
    return changed(made, frost_kill=lambda one: 0 * one, chill_fraction=lambda one: one * 0 + 1)


def plan_with(system: dict[str, Any], **block: Any):
    table = copy.deepcopy(SMALL)
    table["training_system"] = {"mine": {"like": "tall_spindle", **system}}
    # a full crop allowed from leaf 1 on, so that what is stripped would have been fruit
    table["block"][0] |= {"training": "mine", "crop_load_target": [6, 6], **block}
    # enough storms for the few trees of the small plan
    table["hazards"] = {"wind": "0.02 /year"}
    return orchardsim.load_plan(table, base=CONFIGS)


@functools.cache
def run(key: str, value: Any, grade: str = "feathered") -> dict[str, np.ndarray]:
    """Results of the plan with one key of the system changed; a tuple is a list by leaf."""
    written = list(value) if isinstance(value, tuple) else value
    if key.endswith("_minutes"):
        written = {"value": written, "unit": "minute"}
    plan = plan_with({key: written}, tree_grade=grade)
    arrays = run_trials(plan, range(TRIALS), YEARS, SEED, "sampled", seasons())
    return {name: values for name, values in arrays.items() if values.ndim >= 3}


def total(name: str, first: int = 0, last: int = YEARS, of: int | None = None) -> Callable[[dict], float]:
    """Sum of a variable over trials, row groups and years first to last - 1, of one label of its last dimension."""

    def measure(result: dict[str, np.ndarray]) -> float:
        values = result[name] if of is None else result[name][..., of]
        return float(np.nansum(values[:, first:last]))

    return measure


def leaf(number: int) -> tuple[int, int]:
    return LEAF_1 + number - 1, LEAF_1 + number


class Case(NamedTuple):
    key: str
    usual: Any
    other: Any
    what: str
    measure: Callable[[dict], float]
    more: bool
    grade: str = "feathered"


WIND, VOLES, FAILED = (CAUSES.index(name) for name in ("wind", "voles", "transplant_failure"))
SUPPORT = ITEM["support"]
CASES = [
    Case("bending_angle", "40 degree", "120 degree", "clusters in leaf 3", total("flower_clusters", *leaf(3)), True),
    Case("bending_angle", "90 degree", "120 degree", "clusters in leaf 3", total("flower_clusters", *leaf(3)), True),
    Case("bending_leaf", 1, 3, "clusters in leaf 3", total("flower_clusters", *leaf(3)), False),
    Case("leader_headed", False, True, "height in leaf 4", total("canopy_height_mean", *leaf(4)), False),
    Case("leader_headed", False, True, "clusters in leaf 3", total("flower_clusters", *leaf(3)), False),
    Case("leader_lean", "0 degree", "25 degree", "light in leaf 3", total("light_interception", *leaf(3)), True),
    Case("feathers_kept", 0.9, 0.1, "clusters in leaf 3", total("flower_clusters", *leaf(3)), False),
    Case("feathers_kept", 0.9, 0.1, "trunk in leaf 1", total("trunk_area_mean", *leaf(1)), False),
    Case("thick_feathers_cut", True, False, "height in leaf 4", total("canopy_height_mean", *leaf(4)), False),
    Case("blossom_stripped", (0.0,), (1.0, 0.0), "crop in leaf 1", total("crop_mass", *leaf(1)), False),
    Case("blossom_stripped", (0.0,), (1.0, 0.0), "trunk in leaf 1", total("trunk_area_mean", *leaf(1)), True),
    Case("blossom_stripped", (1.0, 0.0), (1.0, 1.0, 0.0), "crop in leaf 2", total("crop_mass", *leaf(2)), False),
    Case("height_limit", "3.2 m", "2.2 m", "height at the end", total("canopy_height_mean", *leaf(7)), False),
    Case("height_limit", "3.2 m", "2.2 m", "crop at the end", total("crop_mass", *leaf(7)), False),
    Case("spread_limit", "1.6 m", "0.9 m", "light at the end", total("light_interception", *leaf(7)), False),
    Case("spread_limit", "1.6 m", "0.9 m", "crop at the end", total("crop_mass", *leaf(7)), False),
    Case("canopy_fill", 0.75, 0.5, "light at the end", total("light_interception", *leaf(7)), False),
    Case("pruning", (0.05,), (0.3,), "clusters in leaf 5", total("flower_clusters", *leaf(5)), False),
    Case("pruning", (0.05,), (0.3,), "crop at the end", total("crop_mass", *leaf(7)), False),
    Case("support", "wires", "none", "trees lost to wind", total("trees_lost", of=WIND), True),
    Case("support", "wires", "none", "cost of the support", total("ledger", of=SUPPORT), True),
    Case("support_leaf", 0, 4, "trees lost to wind", total("trees_lost", of=WIND), True),
    Case("support_leaf", 0, 4, "cost by leaf 2", total("ledger", 0, LEAF_1 + 2, of=SUPPORT), True),
    Case("weed_free_strip", True, False, "trunk in leaf 3", total("trunk_area_mean", *leaf(3)), False),
    Case("weed_free_strip", True, False, "trees lost to voles", total("trees_lost", of=VOLES), True),
    Case(
        "water_within_days", "14 day", "60 day", "transplants that fail", total("trees_lost", of=FAILED), True,
        "bench_graft",
    ),
    *(
        Case(f"{task}_minutes", (2.0,), (6.0,), "hours", total("labour_hours", of=TASKS.index(name)), True)
        for task, name in (
            ("training", "training"), ("pruning", "dormant_pruning"), ("summer_pruning", "summer_pruning"),
        )
    ),
    *(
        Case(f"{task}_minutes", (2.0,), (6.0,), "wages", total("ledger", of=ITEM[item]), False)
        for task, item in (("training", "training"), ("pruning", "pruning"), ("summer_pruning", "pruning"))
    ),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.key}: {case.what}")
def test_a_key_changes_the_result_as_orchardists_expect(case):
    usual, other = (case.measure(run(case.key, value, case.grade)) for value in (case.usual, case.other))
    if case.more:
        assert other > usual
    else:
        assert other < usual


def test_every_key_of_a_training_system_is_held_to_an_effect():
    assert {case.key for case in CASES} == set(parameters_of(Training))


def test_blossom_stripped_in_leaf_1_leaves_no_crop_in_it():
    stripped = run("blossom_stripped", (1.0, 0.0))
    assert total("crop_mass", *leaf(1))(stripped) == 0
    assert total("flower_clusters", *leaf(1))(stripped) > 0


def test_bending_has_no_effect_before_the_spring_after_it():
    early, late = (run("bending_leaf", value) for value in (1, 4))
    for number in (1, 2, 3, 4):
        same = total("flower_clusters", *leaf(number))(early) == total("flower_clusters", *leaf(number))(late)
        assert same == (number == 1)
    never = run("bending_angle", "40 degree")
    for number in (1, 2, 3, 4):
        assert total("flower_clusters", *leaf(number))(never) == total("flower_clusters", *leaf(number))(late)
    assert total("flower_clusters", *leaf(5))(never) < total("flower_clusters", *leaf(5))(late)


def test_hours_of_training_do_not_grow_trees():
    few, many = (run("summer_pruning_minutes", value) for value in ((0.5,), (3.0,)))
    np.testing.assert_array_equal(few["trunk_area_mean"], many["trunk_area_mean"])


def test_at_least_six_systems_are_built_in():
    assert {
        "tall_spindle", "vertical_axis", "slender_pyramid", "central_leader", "wide_standard", "super_spindle",
    } <= set(entries("training_system"))  # fmt: skip
