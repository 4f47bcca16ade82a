"""``[futures]``: what a plan may narrow or fix, and one clear line where it cannot."""

from __future__ import annotations

import numpy as np
import pytest

import orchardsim
from orchardsim.core.errors import InputError
from orchardsim.core.futures import Doubt
from tests.simulation.small_plan import small_plan


def test_levels_are_narrowed_and_fixed():
    plan = small_plan(
        futures={
            "site_growth": "known 1.2",
            "price_drift": {"middle": 0.01},
            "hazard_level": {"fire blight": {"middle": 1.0, "spread": 0.1}},
            "pack_out": "known",
        }
    )
    doubt = plan.futures.doubt
    assert doubt("site_growth", "any") == Doubt(1.2, 0.0)
    assert doubt("price_drift") == Doubt(0.01, 0.010)
    assert doubt("hazard_level", "fire_blight") == Doubt(1.0, 0.1)
    assert doubt("hazard_level", "voles").spread > 0.1
    assert doubt("pack_out").spread == 0
    keys = [one.key for one in plan.assumptions]
    assert "futures.fruit_set.spread" in keys and "futures.pack_out.spread" not in keys


@pytest.mark.parametrize(
    ("futures", "words"),
    [
        ({"site_grwth": "known"}, "futures.site_grwth: unknown level .*site_growth"),
        ({"site_growth": "known much"}, "futures.site_growth: found 'known much', expected"),
        ({"site_growth": 1.2}, "futures.site_growth: found 1.2, expected"),
        ({"site_growth": {"middle": -1}}, r"futures.site_growth.middle: found -1, allowed 0.2 to 5"),
        ({"site_growth": {"spread": -0.1}}, r"futures.site_growth.spread: found -0.1, allowed 0 to 1"),
        ({"price_level": {"spread": float("nan")}}, "price_level.spread: found nan, allowed 0 to 1"),
        ({"price_level": {"spread": "wide"}}, "price_level.spread: found 'wide', expected a number"),
        ({"price_level": {"Galla": "known"}}, "price_level.Galla: unknown cultivar .*Gala"),
        ({"hazard_level": {"comets": "known"}}, "hazard_level.comets: unknown cause"),
        ({"hazard_level": {"fire blight": "known", "fire_blight": "known"}}, "the level stands twice"),
        ({"cost_level": {"middle": 1.0, "width": 0.1}}, "cost_level.width: unknown key"),
    ],
)
def test_what_cannot_be_gets_one_line(futures, words):
    with pytest.raises(InputError, match=words) as caught:
        small_plan(futures=futures)
    assert "\n" not in str(caught.value)


def test_a_trial_meets_its_levels_and_known_runs_meet_none():
    plan = small_plan()
    found = orchardsim.simulate(plan, trials=3, years=4)
    known = orchardsim.simulate(plan, trials=3, years=4, futures="known")
    assert np.ptp(found["level_site_growth"].isel(block=0).values) > 0
    np.testing.assert_array_equal(known["level_site_growth"].isel(block=0).values, 1.0)
    np.testing.assert_array_equal(found["harvest_year"].values, known["harvest_year"].values)
