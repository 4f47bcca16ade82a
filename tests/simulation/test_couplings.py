"""What one room hands to the next has its effect: each test fails where the coupling is switched off.

The same small plan runs twice with the same random numbers; one driver, one piece of work or one hazard differs. Only
directions are asserted: they are common practice in the trade, no source needed.
"""

from __future__ import annotations

import copy
import dataclasses

import numpy as np
import pytest

import orchardsim
from orchardsim.core.futures import Doubt, Futures
from orchardsim.core.handover import COVER_LEVELS
from orchardsim.core.labels import GRADES
from orchardsim.core.streams import Streams
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.step import Step, inserted
from orchardsim.simulation.trial_range import run_trials
from orchardsim.simulation.year import YEAR
from tests.simulation.small_plan import CONFIGS, SMALL, small_plan

TRIALS, YEARS, SEED = 3, 7, 3
LAST = YEARS - 1
FRESH = [GRADES.index(name) for name in ("extra_fancy", "fancy")]


@pytest.fixture(scope="module")
def plan():
    return small_plan()


@pytest.fixture(scope="module")
def library(plan):
    """Seasons without frost and with chill and water in plenty, so that one thing at a time can go wrong."""
    made = build_library(plan, Streams(SEED), range(TRIALS), YEARS, "sampled")
    return changed(made, frost_kill=lambda one: 0 * one, chill_fraction=lambda one: one * 0 + 1)


def changed(library, **changes):
    """The library with drivers of every season and row group passed through functions."""
    drivers = tuple(
        tuple(
            dataclasses.replace(one, **{name: change(getattr(one, name)) for name, change in changes.items()})
            for one in block
        )
        for block in library.drivers
    )
    return dataclasses.replace(library, drivers=drivers)


def run(plan, library, years=YEARS, steps=YEAR):
    """Result variables of the plan's row groups, (trial, year, label), and money's shared part."""
    arrays = run_trials(plan, range(TRIALS), years, SEED, "sampled", library, steps=steps)
    return {name: values for name, values in arrays.items() if values.ndim >= 3}


@pytest.fixture(scope="module")
def usual(plan, library):
    return run(plan, library)


def fresh_share(result, year=LAST):
    packed = result["packed_mass"][:, year]
    return packed[..., FRESH].sum(-1) / packed.sum(-1)


def made_late(after, name, days):
    """A year in which a task is done in full, but late."""

    def run_late(tile, year):
        for block in tile.standing:
            setattr(block.done, name, np.full_like(block.alive, days))

    return inserted(YEAR, after, Step("come_late", run_late, ("standing", "alive"), (f"done.{name}",)))


def test_late_thinning_lowers_next_years_bloom(plan, library, usual):
    assert usual["labour_hours"][:, LAST - 1, :, :].sum() > 0
    late = run(plan, library, steps=made_late("do_thinning", "thinned_late", 40.0))
    # the fruit of the first thinned year stays small (cells had divided in the crowd); buds under it are fewer
    first = int(np.argmax((usual["flower_clusters"] != late["flower_clusters"]).any(axis=(0, 2))))
    assert (late["crop_mass"][:, first - 1] < usual["crop_mass"][:, first - 1]).all()
    assert (late["flower_clusters"][:, first] < usual["flower_clusters"][:, first]).all()


def test_late_picking_loses_fruit_and_softens_the_rest(plan, library, usual):
    late = run(plan, library, steps=made_late("do_harvest_work", "picked_late", 21.0))
    np.testing.assert_allclose(late["crop_mass"][:, LAST], usual["crop_mass"][:, LAST], rtol=1e-6)
    assert (late["harvested_mass"][:, LAST] < 0.95 * usual["harvested_mass"][:, LAST]).all()
    assert (fresh_share(late) < fresh_share(usual) - 0.02).all()
    best = [
        result["packed_mass"][:, LAST, :, FRESH[0]] / result["packed_mass"][:, LAST].sum(-1) for result in (late, usual)
    ]
    assert (best[0] < best[1]).all()


def test_frost_lowers_the_crop(plan, library, usual):
    frosts = changed(library, frost_kill=lambda one: 0 * one + 0.9)
    assert run(plan, frosts)["fruit_number"][:, LAST].sum() < 0.6 * usual["fruit_number"][:, LAST].sum()
    np.testing.assert_allclose(run(plan.with_known_futures(), frosts)["frost_kill"], 0.9)


def test_a_place_with_colder_nights_loses_more_flowers(plan, library):
    """One level of cold nights for winter and spring: a colder place than the plan's is struck harder, and not less."""
    frosts = changed(library, frost_kill=lambda one: 0 * one + 0.5)
    known = plan.futures.stated
    killed = [
        run(dataclasses.replace(plan, futures=Futures({**known, "winter_cold": {"": Doubt(level, 0.0)}})), frosts, 2)
        for level in (-1.0, 0.0, 1.0)
    ]
    colder, usual, warmer = (float(one["frost_kill"].max()) for one in killed)
    assert colder > usual > warmer > 0 and usual == pytest.approx(0.5)


def test_fruit_that_outlived_a_frost_is_marked(plan, library, usual):
    frosted = changed(library, frost_kill=lambda one: 0 * one + 0.9)
    unmarked = dataclasses.replace(plan, physiology=dataclasses.replace(plan.physiology, frost_russet=0.0))
    marked, clean = run(plan, frosted), run(unmarked, frosted)
    np.testing.assert_array_equal(marked["fruit_number"], clean["fruit_number"])
    assert (fresh_share(marked) < 0.97 * fresh_share(clean)).all()
    # without frost there is nothing to mark
    np.testing.assert_array_equal(run(unmarked, library)["packed_mass"], usual["packed_mass"])


def test_lack_of_chill_lowers_bloom(plan, library, usual):
    weak = run(plan, changed(library, chill_fraction=lambda one: 0 * one + 0.5))
    assert (weak["flower_clusters"][:, 3] < 0.8 * usual["flower_clusters"][:, 3]).all()


def test_poor_bee_weather_lowers_the_crop(plan, library, usual):
    poor = run(plan, changed(library, pollination_hours=lambda one: 0 * one + 0.5))
    few, enough = poor["fruit_number"][:, 3], usual["fruit_number"][:, 3]
    # where more sets than the target it is thinned to that: less is missing there
    assert few.mean() < 0.7 * enough.mean()


def test_drought_lowers_growth_and_crop_at_the_blocks_own_cover(plan, library, usual):
    dry = run(plan, changed(library, water_factor=lambda one: 0.5 * one))
    assert (dry["trunk_area_mean"][:, LAST] < 0.9 * usual["trunk_area_mean"][:, LAST]).all()
    assert (dry["crop_mass"][:, 1:].sum(axis=1) < 0.85 * usual["crop_mass"][:, 1:].sum(axis=1)).all()

    # Trees that cover less than a level meet nothing of what a stand at the next level goes through.
    cover = np.nanmax(usual["light_interception"], axis=(0, 2))
    below = max(level for level in COVER_LEVELS[:-1] if (cover >= level).any())

    def at_high_cover(factor):
        factor = factor.copy()
        factor[..., list(COVER_LEVELS).index(below) + 1 :] = 0.0
        return factor

    last = run(plan, changed(library, water_factor=at_high_cover))
    young = cover < below
    assert 1 < young.sum() < YEARS
    np.testing.assert_array_equal(last["crop_mass"][:, young], usual["crop_mass"][:, young])
    assert (last["crop_mass"][:, LAST] < usual["crop_mass"][:, LAST]).any()


def test_water_factor_lies_on_the_line_between_cover_levels(plan):
    from orchardsim.trees.block import BlockModel

    model = BlockModel(plan.blocks[0].plan, plan.physiology)
    factor = np.broadcast_to(np.array([1.0, 0.9, 0.7, 0.4, 0.1]), (3, 2, 5))
    cover = np.array([[0.0, 0.1], [0.33, 0.6], [0.75, 0.99]])
    expected = np.interp(cover, COVER_LEVELS, factor[0, 0])  # beyond the last level its own value
    np.testing.assert_allclose(model.water(factor, cover), expected)


def test_cold_or_hot_days_lower_growth(plan, library, usual):
    poor = run(plan, changed(library, temperature_factor=lambda one: 0.6 * one))
    assert (poor["trunk_area_mean"][:, LAST] < 0.95 * usual["trunk_area_mean"][:, LAST]).all()
    assert (poor["crop_mass"][:, 1:].sum(axis=1) < 0.9 * usual["crop_mass"][:, 1:].sum(axis=1)).all()


def test_a_winter_that_trees_survive_slows_their_growth(plan, library):
    """Cold injury on or off at the same winters, which the roots of M.9 (the first row group) feel."""
    plan = plan.with_known_futures()  # no place is colder than another
    cold = changed(library, soil_temperature_min=lambda one: 0 * one - 8.1)
    results = [
        run(dataclasses.replace(plan, hazards=dataclasses.replace(plan.hazards, cold_injury=share)), cold)
        for share in (0.0, 0.5)
    ]
    assert all((result["trees_alive"][:, LAST, 0] > 10).all() for result in results)
    spared, hurt = (result["trunk_area_mean"][:, LAST, 0] for result in results)
    assert (hurt < spared).all()


def test_hail_sends_fresh_fruit_to_processing(library):
    shares = {}
    results = {}
    for storms in (0.0, 4.0):
        table = copy.deepcopy(SMALL)
        table["block"][0] |= {"hail_storms": f"{storms} /year", "hail_damage": 0.3}
        results[storms] = run(orchardsim.load_plan(table, base=CONFIGS), library)
        shares[storms] = fresh_share(results[storms])
    marked = results[4.0]["hail_fraction"][:, LAST]
    assert (marked > 0.05).any() and not results[0.0]["hail_fraction"][:, 1:].any()
    np.testing.assert_array_equal(results[0.0]["harvested_mass"], results[4.0]["harvested_mass"])
    np.testing.assert_allclose(shares[4.0], shares[0.0] * (1 - marked), rtol=1e-6)


def test_boxes_hold_the_fresh_fruit_and_their_count_follows_the_box(plan, library, usual):
    # Fruit is neither made nor lost in the box; the same fruit is fewer to a lighter box, so counts fall.
    lighter = run(small_plan(packing={"box_mass": "36 lb"}), library)
    for result in (usual, lighter):
        fresh = result["packed_mass"][..., FRESH].sum(-1)
        np.testing.assert_allclose(result["boxed_mass"].sum(-1), fresh, rtol=1e-9)
        assert fresh[:, LAST].min() > 0
    np.testing.assert_array_equal(lighter["packed_mass"], usual["packed_mass"])
    larger = [result["boxed_mass"][:, LAST].cumsum(-1) for result in (usual, lighter)]
    assert (larger[1] >= larger[0] - 1e-6).all()
    assert larger[1].sum() > 1.02 * larger[0].sum()


def test_warm_nights_pale_the_fruit_and_rots_take_it(plan, library, usual):
    """Red pigment forms in cool nights (MSU 2019, read); rotten fruit is not packed fresh (definition)."""
    best = {}
    for name, nights in (("cool", 10.0), ("warm", 22.0)):
        packed = run(plan, changed(library, ripening_night=lambda one, nights=nights: 0 * one + nights))["packed_mass"]
        best[name] = packed[:, LAST, :, FRESH[0]] / packed[:, LAST][..., FRESH].sum(-1)
    assert (best["warm"] < best["cool"]).all()
    # the open level of pack-out moves log odds, so the share taken is a fifth only where it is known
    rotten, sound = (
        run(plan.with_known_futures(), changed(library, rot_fraction=lambda one, share=share: 0 * one + share))[
            "packed_mass"
        ][:, LAST]
        for share in (0.2, 0.0)
    )
    np.testing.assert_allclose(rotten[..., FRESH].sum(-1), 0.8 * sound[..., FRESH].sum(-1), rtol=1e-6)


def test_a_spray_takes_more_off_in_a_hungry_week(library):
    """Cloud and warm nights after the spray make it take more (Robinson and Lakso 2011, memory)."""
    table = copy.deepcopy(SMALL)
    table["block"][0]["thinning"] = {"method": "chemical"}
    sprayed = orchardsim.load_plan(table, base=CONFIGS)
    hungry, fed = (
        run(sprayed, changed(library, spray_balance=lambda one, now=now: 0 * one + now))["fruit_number"]
        for now in (-0.4, 0.4)
    )
    first = np.flatnonzero((hungry != fed).any(axis=(0, 2)))[0]
    hungry, fed = hungry[:, first], fed[:, first]
    assert (hungry <= fed).all()
    assert hungry.sum() < 0.9 * fed.sum()
