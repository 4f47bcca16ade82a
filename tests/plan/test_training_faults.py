"""A training system of the user's own is told what does not fit together."""

from __future__ import annotations

import copy

import pytest

import orchardsim
from orchardsim.core.errors import InputError
from tests.simulation.small_plan import CONFIGS, SMALL


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"training_minutes": [0]}, ".*training_minutes are all 0"),
        ({"pruning_minutes": [0]}, ".*pruning_minutes are all 0"),
        ({"support": "none", "support_leaf": 2}, "support_leaf is given"),
        ({"feathers_kept": 0, "thick_feathers_cut": False}, "thick side branches are left"),
    ],
)
def test_inconsistent_systems_are_named(change, says):
    table = copy.deepcopy(SMALL)
    if "training_minutes" in change or "pruning_minutes" in change:
        change = {key: {"value": value, "unit": "minute"} for key, value in change.items()}
    table["training_system"] = {"mine": {"like": "tall_spindle", **change}}
    table["block"][0]["training"] = "mine"
    with pytest.raises(InputError, match=f"training_system.mine: {says}"):
        orchardsim.load_plan(table, base=CONFIGS)
    table["block"][0]["training"] = "tall_spindle"  # a system that no block uses is told as well
    with pytest.raises(InputError, match=f"training_system.mine: {says}"):
        orchardsim.load_plan(table, base=CONFIGS)
