"""Vole guards, deer fences and fire blight's cankers: what they save and what they cost in a run."""

from __future__ import annotations

import copy

import numpy as np
import pytest

import orchardsim
from orchardsim.economy.blocks import establishment_schedule
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_traits import uncut_strikes
from tests.simulation.small_plan import CONFIGS, SMALL

TRIALS, YEARS, SEED = 6, 8, 3


def plan_with(fence: str = "built", **tables: object):
    table = copy.deepcopy(SMALL)
    table.update(tables)
    table["block"][0]["fence"] = fence
    return orchardsim.load_plan(table, base=CONFIGS)


def run(fence: str = "built", **tables: object):
    return orchardsim.simulate(plan_with(fence, **tables), trials=TRIALS, years=YEARS, seed=SEED, futures="known")


def lost(found, cause: str) -> float:
    return float(found.trees_lost.sel(cause=cause).sum("block").sum())


def test_guards_stop_voles_and_are_paid_for():
    """The guard's price for each tree planted and replanted, and a minute of work for each; nothing else in year 1."""
    many = {"vole": "0.2 /year"}
    bare, guarded = run(hazards=many), run(hazards={**many, "vole_guards": True})
    assert lost(guarded, "voles") < 0.5 * lost(bare, "voles")
    costs = plan_with().costs
    trees = float(bare.trees_planted.sum("block").isel(trial=0).sum())
    paid = {name: one.ledger.sel(ledger_item="planting").sum("block").isel(year=1).values for name, one in
            (("bare", bare), ("guarded", guarded))}  # fmt: skip
    hours = trees / 60
    wage = costs.wage * (1 + costs.labour_charges)
    assert paid["bare"] - paid["guarded"] == pytest.approx(trees * costs.trunk_guard + hours * wage, rel=1e-6)
    worked = [one.labour_hours.sel(task="planting").sum("block").isel(year=1).values for one in (bare, guarded)]
    assert worked[1] - worked[0] == pytest.approx(hours, rel=1e-6)


def test_guards_are_in_the_schedule_that_check_prints():
    bare, guarded = plan_with(), plan_with(hazards={"vole_guards": True})

    def planting(plan):
        found = establishment_schedule(plan.money, plan.costs, plan.finance, 6)
        return sum(one.amount for one in found if one.item == "planting")

    trees = sum(block.geometry.trees for block in bare.blocks)
    assert planting(guarded) - planting(bare) >= trees * bare.costs.trunk_guard


def test_a_fence_keeps_deer_out_and_is_paid_for_only_where_it_is_built():
    deer = {"deer": "0.3 /year"}
    built, stands, none = (run(fence, hazards=deer) for fence in ("built", "stands", "none"))
    assert lost(built, "deer") == lost(stands, "deer") < 0.2 * lost(none, "deer")
    spent = [
        float(-one.ledger.sel(ledger_item="fence").sum("block").isel(trial=0).sum()) for one in (built, stands, none)
    ]
    assert spent[0] > 0
    assert spent[1:] == [0, 0]


def test_cankers_left_uncut_bring_more_blight():
    """No carry-over where all strikes are cut, and none to tell where none are; cutting takes hours."""
    prone = {"blight_strike": 0.9, "blight_days_scale": "6 day"}

    def blight(**keys: object):
        return run(hazards={**prone, **keys})

    left, cut = blight(blight_sanitation=0.0), blight(blight_sanitation=1.0)
    no_carry = blight(blight_sanitation=0.0, blight_carry=0.0)
    assert lost(left, "fire_blight") > lost(no_carry, "fire_blight") > 0
    clean = blight(blight_sanitation=1.0, blight_carry=0.0)
    assert np.array_equal(clean.trees_lost.values, cut.trees_lost.values)
    hours = [float(one.labour_hours.sel(task="upkeep").sum("block").sum()) for one in (left, cut)]
    free = blight(blight_sanitation=1.0, blight_cut_minutes="0 minute")
    assert hours[1] > float(free.labour_hours.sel(task="upkeep").sum("block").sum())


def test_uncut_strikes_by_hand():
    """A tenth of the trees struck each year, half of the strikes cut: 5 %, 7.5 %, ... towards 10 % carry cankers."""
    hazards = Hazards(blight_sanitation=0.5)
    carried, found = np.zeros(1), []
    for _ in range(30):
        carried = uncut_strikes(hazards, np.array([0.1]), carried)
        found.append(float(carried[0]))
    assert found[:2] == pytest.approx([0.05, 0.075])
    assert found[-1] == pytest.approx(0.1, rel=1e-6)
