"""Struck runs: from the shared trajectory and from the start, with nothing changed, and what frosts do."""

from __future__ import annotations

import copy
import dataclasses

import numpy as np
import pytest

import orchardsim
from orchardsim.analysis.bad_seasons import BAD_SEASONS, BadSeason, Change
from orchardsim.analysis.prepared_shocks import prepare_shocks
from orchardsim.core.streams import Streams
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.shocks import Outcome, Shock, outcome_of, run_shocks
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from tests.simulation.small_plan import CONFIGS, SMALL, small_plan

TRIALS, YEARS, SEED = range(5), 11, 3
FIELDS = [each.name for each in dataclasses.fields(Outcome)]
BY_NAME = {bad.name: bad for bad in BAD_SEASONS}


def lossy_plan():
    """The small plan with losses enough that orders are always on their way, beside an old block."""
    table = copy.deepcopy(SMALL)
    table["block"].append(copy.deepcopy(table["block"][0]) | {"name": "old", "year_planted": -7})
    table["replacement"] = {"last_refill_leaf": 20, "lead_time": "3 year", "minimum_order": 1, "order_multiple": 1}
    table["hazards"] = {"vole": "0.05 1/year"}
    return orchardsim.load_plan(table, base=CONFIGS)


@pytest.fixture(scope="module")
def plan():
    return lossy_plan()


@pytest.fixture(scope="module")
def library(plan):
    return build_library(plan, Streams(SEED), TRIALS, YEARS, "sampled")


def test_a_strike_that_changes_nothing_is_the_usual_run(plan, library):
    shocks = [
        Shock(range(year, year + 1), seasons={year: library.sample.season_rows[:, year]}) for year in (0, 4, YEARS - 1)
    ]
    found = run_shocks(plan, library, shocks, TRIALS, YEARS, SEED)
    for name in FIELDS:
        values = getattr(found, name)
        for run in range(1, len(shocks) + 1):
            np.testing.assert_array_equal(values[run], values[0], err_msg=name)


def test_the_usual_run_is_the_plans_own(plan, library):
    found = run_shocks(plan, library, [Shock(range(3, 4), hail=0.5)], TRIALS, YEARS, SEED)
    own = orchardsim.simulate(plan, trials=len(TRIALS), years=YEARS, seed=SEED)
    np.testing.assert_array_equal(found.trees_alive[0], own.trees_alive.sum("block"))
    np.testing.assert_array_equal(found.harvested_mass[0], own.harvested_mass.sum("block"))
    np.testing.assert_array_equal(found.net_cash_flow[0], own.net_cash_flow.sum("block"))
    np.testing.assert_array_equal(found.present_cash[0], own.npv_without_remaining_value)


@pytest.mark.parametrize("bad", BAD_SEASONS, ids=lambda bad: bad.name)
def test_from_the_shared_trajectory_as_from_the_start(plan, library, bad):
    """Every bad season: a copy that goes on in year 5 is the run that is walked whole with the same shock."""
    ready = prepare_shocks(plan, library, bad, [5])
    shared = run_shocks(plan, ready.library, ready.shocks, TRIALS, YEARS, SEED)
    totals, streams, (shock,) = Totals(len(TRIALS), YEARS, plan.labels), Streams(SEED), ready.shocks
    tile = shock.befall(Tile(plan, ready.library, streams, TRIALS, YEARS, totals, TRIALS.start), totals)
    tile.run()
    whole = outcome_of(plan, [(totals, tile.library, shock)], TRIALS, streams)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(shared, name)[1], getattr(whole, name)[0], err_msg=name)


def test_orders_wait_on_in_a_copied_yard(plan, library):
    """The plan keeps orders open, so the test above would notice an order that a copy forgets."""
    own = orchardsim.simulate(plan, trials=len(TRIALS), years=YEARS, seed=SEED)
    for trial in TRIALS:
        ordered = own.trees_ordered.sum("block").values[trial]
        assert ordered[2:5].sum() > 0
        assert own.trees_replanted.sum("block").values[trial, 5:].sum() > 0


def test_no_delivery_leaves_gaps_open(plan, library):
    ready = prepare_shocks(plan, library, BY_NAME["nursery_failure"], [5])
    shock = dataclasses.replace(ready.shocks[0], transplant_loss=0.0)
    found = run_shocks(plan, ready.library, [shock], TRIALS, YEARS, SEED)
    assert found.trees_alive[1, :, 5:7].sum() < found.trees_alive[0, :, 5:7].sum()
    np.testing.assert_array_equal(found.trees_alive[1, :, :5], found.trees_alive[0, :, :5])


@pytest.fixture(scope="module")
def frosts():
    """Late frost and two frosts from year 6 on, on the small plan, with the usual run."""
    plan = small_plan()
    streams = Streams(SEED)
    library = build_library(plan, streams, range(12), YEARS, "sampled")
    found = {}
    for name in ("late_frost", "two_frosts"):
        ready = prepare_shocks(plan, library, BY_NAME[name], [6])
        found[name] = run_shocks(plan, ready.library, ready.shocks, range(12), YEARS, SEED)
    return found


def test_a_frost_costs_its_crop_and_is_followed_by_more_bloom(frosts):
    """A blank year is followed by heavy bloom (the trade's rule on alternate bearing; common practice, no source)."""
    found = frosts["late_frost"]
    usual, shocked = found.harvested_mass[:, :, 6]
    bore = usual > 0.2 * usual.max()
    assert bore.sum() >= 6
    # Places differ in how cold a clear night is, so it is the mean loss that is heavy, not each.
    assert shocked[bore].sum() < 0.25 * usual[bore].sum()
    np.testing.assert_array_equal(found.harvested_mass[1, :, :6], found.harvested_mass[0, :, :6])
    assert (found.flower_clusters[1, bore, 7] > found.flower_clusters[0, bore, 7]).all()


def test_two_frosts_cost_at_least_one(frosts):
    """On the mean; where the second is mild, it thins, and a future may gain a little by it."""
    one, two = frosts["late_frost"], frosts["two_frosts"]
    for name in ("present_cash", "harvested_mass", "fresh_mass"):
        usual, single, double = getattr(one, name)[0], getattr(one, name)[1], getattr(two, name)[1]
        if single.ndim > 1:
            usual, single, double = usual.sum(axis=1), single.sum(axis=1), double.sum(axis=1)
        assert double.mean() <= single.mean() and (double <= single + 0.02 * np.abs(usual)).all(), name


def test_a_deeper_slump_costs_more(plan, library):
    found = run_shocks(
        plan, library, [Shock(range(6, 7), price_lost=lost) for lost in (0.0, 0.3, 0.6, 1.0)], TRIALS, YEARS, SEED
    )
    assert (np.diff(found.present_cash[1:], axis=0) < 0).all()
    assert (np.diff(found.reserve[1:], axis=0) >= -1e-6).all()
    np.testing.assert_array_equal(found.present_cash[1], found.present_cash[0])
    np.testing.assert_array_equal(found.trees_alive[4], found.trees_alive[0])
    # before it, only interest on what fruit of a year before the run brought, which goes by the run's own prices
    gap = (found.net_cash_flow[0] - found.net_cash_flow[4]).mean(axis=0)
    assert np.abs(gap[:6]).max() < 0.2 * gap[6:].max()


def test_hail_marks_the_share_that_is_stated(plan, library):
    """All fruit marked: nothing is left for the fresh grades; the crop is picked all the same."""
    found = run_shocks(plan, library, [Shock(range(6, 7), hail=share) for share in (1.0, 0.5)], TRIALS, YEARS, SEED)
    assert (found.fresh_mass[1, :, 6] == 0).all() and (found.fresh_mass[0, :, 6] > 0).all()
    own = found.fresh_mass[0, :, 6]
    assert (found.fresh_mass[2, :, 6] <= own).all()
    quiet = found.fresh_mass[2, :, 6] < 0.51 * own
    np.testing.assert_allclose(found.fresh_mass[2, quiet, 6], 0.5 * own[quiet], rtol=1e-9)
    assert quiet.any()
    np.testing.assert_array_equal(found.harvested_mass[1], found.harvested_mass[0])


def test_crews_that_stay_away_leave_fruit(plan, library):
    found = run_shocks(plan, library, [Shock(range(6, 7), crew_share=0.0)], TRIALS, YEARS, SEED)
    assert (found.harvested_mass[1, :, 6] == 0).all()
    assert (found.harvested_mass[0, :, 6] > 0).all()


def test_blight_hazard_kills_in_its_year_only_what_it_names(plan, library):
    bad = BadSeason("x", "x", "x", (Change("hazard.vole", 0.0, "m", "s"),))
    ready = prepare_shocks(plan, library, bad, [6])
    found = run_shocks(plan, ready.library, ready.shocks, TRIALS, YEARS, SEED)
    assert found.trees_lost[1, :, 6].sum() < found.trees_lost[0, :, 6].sum()
    np.testing.assert_array_equal(found.trees_lost[1, :, :6], found.trees_lost[0, :, :6])
    assert plan.hazards.vole > 0
