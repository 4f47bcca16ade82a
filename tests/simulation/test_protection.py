"""Frost protection in whole runs: what it takes is booked and paid, and its failures cost crops."""

from __future__ import annotations

import copy

import numpy as np
import pytest

import orchardsim
from orchardsim.core.labels import TASKS
from orchardsim.season.frost import PROTECTION
from tests.simulation.small_plan import CONFIGS, SMALL

TRIALS, YEARS = 12, 6


def protected(**site: object) -> orchardsim.plan.Plan:  # type: ignore[name-defined]
    table = copy.deepcopy(SMALL)
    table["block"][0] |= {"night_offset": "-2 K", **site}
    return orchardsim.load_plan(table, base=CONFIGS)


def simulate(**site: object):  # type: ignore[no-untyped-def]
    return orchardsim.simulate(protected(**site), trials=TRIALS, years=YEARS, seed=3)


@pytest.fixture(scope="module")
def runs():
    """The block in a hollow: bare, with machines that never fail, with machines that always do."""
    return (
        simulate(),
        simulate(protection="wind_machine", protection_failure=0.0),
        simulate(protection="wind_machine", protection_failure=1.0),
    )


def test_what_protection_takes_is_booked_and_paid(runs):
    bare, sure, _ = runs
    method, label = (
        PROTECTION["wind_machine"],
        "wires/Gala" if "wires/Gala" in sure.block.values else sure.block.values[0],
    )
    block = sure.sel(block=label)
    nights, hours = block["protection_nights"].values, block["protection_hours"].values
    hectares = float(block["planted_area"]) / 1e4
    assert nights.sum() > 0 and (nights[:, 0] == 0).all()
    np.testing.assert_allclose(block["protection_fuel"], hours * method.fuel_rate * hectares)
    labour = block["labour_hours"].isel(task=TASKS.index("frost_protection")).values
    np.testing.assert_allclose(labour, (nights * method.labour_night + hours * method.labour_hour) * hectares)
    np.testing.assert_array_equal(bare["protection_fuel"].values, 0)
    # The farm's fuel is the blocks'; nights do not add up over blocks.
    blocks = [name for name in sure.block.values if name != "shared"]
    np.testing.assert_allclose(
        sure["protection_fuel"].sum("block"), sure["protection_fuel"].sel(block=blocks).sum("block")
    )
    assert np.isnan(sure["protection_nights"].sel(block="shared")).all()


def test_failure_brings_the_unprotected_kill_and_protection_the_lesser(runs):
    bare, sure, failing = ({"kill": run["frost_kill"].isel(block=0).values} for run in runs)
    np.testing.assert_array_equal(failing["kill"], bare["kill"])
    assert (sure["kill"] <= bare["kill"]).all() and (sure["kill"] < bare["kill"]).any()


def test_failures_come_as_often_as_stated_and_cost_a_whole_spring(runs):
    bare, sure, _ = (run["frost_kill"].isel(block=0).values for run in runs)
    half = simulate(protection="wind_machine", protection_failure=0.5)["frost_kill"].isel(block=0).values
    told_apart = bare > sure
    as_bare, as_sure = half[told_apart] == bare[told_apart], half[told_apart] == sure[told_apart]
    assert (as_bare ^ as_sure).all()
    # n springs at one half: four standard errors, a false alarm in less than 1 in 15,000.
    assert abs(as_bare.mean() - 0.5) <= 4 * 0.5 / np.sqrt(told_apart.sum())
