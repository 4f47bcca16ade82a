"""What drives the risk: whole streams swapped, one source at a time."""

from __future__ import annotations

import numpy as np
import pytest

import orchardsim
from orchardsim.analysis.risk_drivers import LEVELS, RECORD_RAIN, SOURCES, risk_drivers
from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.streams import Streams
from tests.simulation.small_plan import small_plan


def test_own_seeds_change_their_process_alone():
    plain, swapped = Streams(1), Streams(1, {"price": 2})
    for process, other in (("price", Streams(2)), ("loss", plain)):
        draws = swapped.at(process, "x", trial=3).random(5)
        np.testing.assert_array_equal(draws, other.at(process, "x", trial=3).random(5))
    assert not np.array_equal(swapped.at("price").random(5), plain.at("price").random(5))


def test_the_sources_are_all_that_a_run_draws():
    """With every source taken from seed 2, seed 1 gives the results of seed 2; with none, its own.

    The rain that fills a record is drawn once for all trials and follows the run's seed unless it is swapped.
    """
    plan = small_plan()
    everything = {process: 2 for processes in SOURCES.values() for process in processes}
    swapped = orchardsim.simulate(plan, trials=3, years=7, seed=1, process_seeds=everything)
    second = orchardsim.simulate(plan, trials=3, years=7, seed=2)
    for name in ("npv", "peak_borrowing", "trees_lost", "harvested_mass", "harvest_year", "ledger"):
        np.testing.assert_array_equal(swapped[name].values, second[name].values)


def test_a_swapped_source_leaves_the_others_alone():
    plan = small_plan()
    base = orchardsim.simulate(plan, trials=3, years=7, seed=1)
    prices = orchardsim.simulate(plan, trials=3, years=7, seed=1, process_seeds={"price": 2})
    np.testing.assert_array_equal(base["harvested_mass"].values, prices["harvested_mass"].values)
    assert (base["npv"].values != prices["npv"].values).all()
    losses = orchardsim.simulate(plan, trials=3, years=7, seed=1, process_seeds=dict.fromkeys(SOURCES["losses"], 2))
    np.testing.assert_array_equal(base["harvest_year"].values, losses["harvest_year"].values)
    assert not np.array_equal(base["trees_lost"].values, losses["trees_lost"].values)


def test_every_open_level_is_a_source():
    assert sorted(level for levels in LEVELS.values() for level in levels) == sorted(OPEN_LEVELS)


def test_levels_scale_wages_and_other_costs_and_leave_sales_alone():
    """In each trial one factor for all years: pay of training by the first, materials and trees by the second."""
    known = orchardsim.simulate(small_plan(), trials=3, years=7, futures="known")["ledger"].sum("block")
    plan = small_plan(futures={"wage_level": "known 1.3", "cost_level": "known 0.8"})
    found = orchardsim.simulate(plan, trials=3, years=7, futures="known")["ledger"].sum("block")
    for item, factor in (("training", 1.3), ("materials", 0.8), ("trees", 0.8), ("fresh_sales", 1.0)):
        before, after = known.sel(ledger_item=item).values, found.sel(ledger_item=item).values
        np.testing.assert_allclose(after, before * factor, rtol=1e-9, atol=1e-9)


def test_shares_are_found_for_every_source():
    """Every source has both shares with their intervals; the ledger's known outlay makes no share negative in total."""
    found = risk_drivers(small_plan(), trials=8, years=6)
    assert set(found.shares) == {"npv", "peak_borrowing"}
    for by_source in found.shares.values():
        assert list(by_source) == list(SOURCES)
        for one in by_source.values():
            assert one.total >= 0
            assert one.first_order_low <= one.first_order_high
    assert found.spread["npv"] > 0
    assert RECORD_RAIN in SOURCES["weather"]
    document = found.document()
    assert document["trials"] == 8
    assert set(document["shares"]["npv"]) == {*SOURCES, "interaction"}


@pytest.mark.slow
def test_without_price_swings_prices_drive_nothing():
    """All price variation switched off in the plan: swapping the price stream must change no trial at all."""
    still = {"price_cv": "0 1"}
    outlets = {name: still for name in ("direct", "pick_your_own", "wholesale", "processing", "juice")}
    market = {
        "other_crop_sd": "0 1", "outlets": outlets, "fruit": {"Gala": still, "Honeycrisp": still}
    }  # fmt: skip
    found = risk_drivers(small_plan(market=market), trials=64, years=10)
    assert found.shares["npv"]["prices"].total == pytest.approx(0.0, abs=1e-12)
    # Total shares of all sources add to 1 at least (Homma and Saltelli 1996); here less what 64 trials leave to noise.
    assert sum(share.total for share in found.shares["npv"].values()) > 0.8
