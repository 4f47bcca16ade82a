"""Every number of a stock and of a cultivar changes the result in the direction that orchardists expect.

A small plan runs twice with the same seasons and random numbers; one trait differs. Causes of loss are made frequent so
that a few trees show them. Directions are common practice in the trade, no source needed.
"""

from __future__ import annotations

import copy
import functools
from typing import Any, Final, NamedTuple

import numpy as np
import pytest

import orchardsim
from orchardsim.core.labels import CAUSES, GRADES
from orchardsim.core.ledger_items import ITEM
from orchardsim.core.parameters import parameters_of
from orchardsim.core.streams import Streams
from orchardsim.economy.parameters import SprayNeed
from orchardsim.plan.catalogue import CropTarget
from orchardsim.season.parameters import Phenology
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.trial_range import run_trials
from orchardsim.trees.parameters import Cultivar, Stock
from tests.simulation.small_plan import CONFIGS, SMALL

TRIALS, YEARS, SEED = 6, 7, 5
MINE: Final = 0
"""Place of the row group whose stock and cultivar are tried."""
BASE: Final = {"rootstock": "M.9", "cultivar": "Gala"}
PRICES: Final = {
    name: f"{price} USD/kg"
    for name, price in (
        ("wholesale_extra_fancy", 1.2), ("wholesale_fancy", 1.0), ("processing", 0.2), ("juice", 0.1),
        ("direct", 4.0), ("pick_your_own", 3.0),
    )
}  # fmt: skip
PLANS: Final[dict[str, dict[str, Any]]] = {
    "usual": {},
    "unthinned": {"block": {"crop_load_target": "unthinned"}},
    "short of pickers": {
        "crews": [{"name": "alone", "workers": 1, "hours_per_day": "0.25 hour", "days_per_week": "2 day"}]
    },
    # every cause of loss made frequent, on old apple ground, without a support
    "rough": {
        "hazards": {
            "life_dwarf": "5 leaf", "life_size": "5 leaf", "old_age": "0.1 /year", "blight_strike": 0.5,
            "crown_rot": "0.05 /year", "replant": "0.3 /year",
            "root_width": "8 K", "acclimation_kill": "5 K", "wind": "0.01 /year", "trunk_injury": "0.1 /year",
            "woolly_aphid": "0.1 /year",
        },
        "futures": {"winter_cold": {"middle": -8.0, "spread": 0.0}},
        "training_system": {"free": {"like": "tall_spindle", "support": "none"}},
        "block": {"training": "free", "replant_site": True},
    },
}  # fmt: skip


class Case(NamedTuple):
    kind: str
    key: str
    value: Any
    of: str
    more: bool
    plan: str = "usual"
    column: int | None = None


def dies(kind: str, key: str, value: Any, cause: str, more: bool) -> Case:
    return Case(kind, key, value, "trees_lost", more, "rough", CAUSES.index(cause))


def packed(key: str, value: Any, grade: str, more: bool, plan: str = "usual") -> Case:
    return Case("cultivar", key, value, "packed_mass", more, plan, GRADES.index(grade))


CASES = [
    Case("rootstock", "size", 2.0, "trunk_area_mean", True),
    Case("rootstock", "shoots", 3.0, "crop_mass", False),
    Case("rootstock", "precocity", 3.0, "flower_clusters", False),
    Case("rootstock", "woolly_aphid", 0.0, "trunk_area_mean", True, "rough"),
    dies("rootstock", "size", 0.2, "old_age", True),
    dies("rootstock", "fire_blight", 0.1, "fire_blight", False),
    dies("rootstock", "crown_rot", 1.0, "crown_rot", True),
    dies("rootstock", "replant_tolerance", 0.9, "replant_disease", False),
    dies("rootstock", "root_hardiness", "-4 degC", "winter_cold", True),
    dies("rootstock", "early_hardening", "-8 K", "winter_cold", True),
    dies("rootstock", "union_strength", 0.4, "wind", True),
    dies("rootstock", "anchorage", 1.0, "wind", False),
    dies("rootstock", "burr_knots", 0.0, "trunk_injury", False),
    Case("cultivar", "vigor", 1.3, "trunk_area_mean", True),
    Case("cultivar", "biennial", 1.0, "flower_clusters", False, "unthinned"),
    Case("cultivar", "fruit_set", 0.5, "fruit_number", False),
    Case("cultivar", "fruit_mass_potential", "0.3 kg", "fruit_mass_mean", True),
    Case("cultivar", "self_fruitful", 1.0, "fruit_number", True),
    dies("cultivar", "fire_blight", 0.1, "fire_blight", False),
    dies("cultivar", "hardiness", "-15 degC", "winter_cold", True),
    dies("cultivar", "union_strength", 0.4, "wind", True),
    packed("bitter_pit", 1.0, "extra_fancy", False),
    packed("colour_need", 1.0, "extra_fancy", False),
    packed("colour_nights", 5.0, "extra_fancy", False),
    packed("sunburn_sensitivity", 3.0, "extra_fancy", False),
    packed("handling_defects", 3.0, "extra_fancy", False),
    packed("harvest_window", "0 day", "extra_fancy", False, "short of pickers"),
    Case("cultivar", "preharvest_drop", "0.1 /day", "harvested_mass", False, "short of pickers"),
    Case("cultivar", "ripening_spread", "15 day", "harvested_mass", True, "short of pickers"),
    Case("cultivar", "picks", 1, "harvested_mass", False, "short of pickers"),
    Case("cultivar", "chill_requirement", 105, "fruit_number", False),
    Case("cultivar", "bloom_heat", "350 K day", "bloom_day", True),
    Case("cultivar", "days_to_harvest", "150 day", "fruit_mass_mean", True),
    Case("cultivar", "scab", 0.1, "ledger", True, "usual", ITEM["materials"]),
    Case("cultivar", "crop_load_target", [0, 1], "fruit_number", False),
]
SEASONS_OWN: Final = set(parameters_of(Phenology))


def plan_with(name: str, kind: str = "", key: str = "", value: Any = None) -> Any:
    """A plan of the table with one trait of the first row group's stock or cultivar changed."""
    table = copy.deepcopy(SMALL)
    changes = copy.deepcopy(PLANS[name])
    table["block"][0] |= changes.pop("block", {})
    table |= changes
    for each, like in BASE.items():
        table[each] = {"Mine": {"like": like, **({key: value} if each == kind else {})}}
        table["block"][0]["group"][MINE] |= {each: "Mine"}
    table["market"] = {"fruit": {"Mine": PRICES}}
    return orchardsim.load_plan(table, base=CONFIGS)


def seasons_of(plan: Any) -> Any:
    return build_library(plan, Streams(SEED), range(TRIALS), YEARS, "sampled")


@functools.cache
def usual(name: str) -> tuple[Any, dict[str, np.ndarray]]:
    """Seasons and results of a plan with the traits as they are."""
    plan = plan_with(name)
    seasons = seasons_of(plan)
    return seasons, run_trials(plan, range(TRIALS), YEARS, SEED, "sampled", seasons)


def measured(case: Case, arrays: dict[str, np.ndarray]) -> float:
    values = arrays[case.of]
    return float(np.nansum(values[:, :, MINE] if case.column is None else values[:, :, MINE, ..., case.column]))


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.kind} {case.key}")
def test_a_trait_changes_the_result_as_orchardists_expect(case):
    seasons, arrays = usual(case.plan)
    plan = plan_with(case.plan, case.kind, case.key, case.value)
    own = seasons_of(plan) if case.key in SEASONS_OWN else seasons
    before = measured(case, arrays)
    after = measured(case, run_trials(plan, range(TRIALS), YEARS, SEED, "sampled", own))
    assert after > before if case.more else after < before


def test_no_number_of_the_catalogue_is_dead():
    """Every field is held to an effect above; that a triploid gives no pollen is held to one in the plan's reading."""
    tested = {kind: {case.key for case in CASES if case.kind == kind} for kind in BASE}
    assert tested["rootstock"] == set(parameters_of(Stock))
    fields = {key for each in (Cultivar, Phenology, SprayNeed, CropTarget) for key in parameters_of(each)}
    assert tested["cultivar"] | {"triploid"} == fields
