"""A run is the same whatever the number of processes, tiles and units; trials and blocks do not disturb each other."""

from __future__ import annotations

import copy

import numpy as np
import pytest
import xarray

import orchardsim
from orchardsim.core.errors import InputError
from orchardsim.core.ledger_items import LEDGER_ITEMS
from orchardsim.core.streams import Streams
from orchardsim.core.variables import RESULTS
from orchardsim.results import read_results
from orchardsim.results.folder import OutputFolder
from orchardsim.results.store import write_netcdf
from orchardsim.simulation import trial_range
from orchardsim.simulation.partial import PartialRun, run_differs
from orchardsim.simulation.run import RunJob
from orchardsim.simulation.seasons import build_library
from tests.simulation.small_plan import CONFIGS, SMALL, small_plan

YEARS = 9


@pytest.fixture(scope="module")
def plan():
    return small_plan()


@pytest.fixture(scope="module")
def result(plan):
    return orchardsim.simulate(plan, trials=6, years=YEARS, seed=3)


def test_processes_change_nothing(plan, result):
    xarray.testing.assert_identical(result, orchardsim.simulate(plan, trials=6, years=YEARS, seed=3, jobs=2))


@pytest.mark.parametrize(("tile_positions", "range_trials"), [(1, 4), (130, 5), (10**6, 1)])
def test_tiles_and_ranges_change_nothing(plan, result, monkeypatch, tile_positions, range_trials):
    monkeypatch.setattr(trial_range, "TILE_POSITIONS", tile_positions)
    monkeypatch.setattr("orchardsim.simulation.run.RANGE_TRIALS", range_trials)
    xarray.testing.assert_identical(result, orchardsim.simulate(plan, trials=6, years=YEARS, seed=3))


def test_a_trial_does_not_depend_on_how_many_others_there_are(plan, result):
    few = orchardsim.simulate(plan, trials=3, years=YEARS, seed=3)
    for name, values in few.data_vars.items():
        expected = result[name].isel(trial=slice(0, 3)) if "trial" in values.dims else result[name]
        np.testing.assert_array_equal(values.values, expected.values, err_msg=name)


def test_seeds_differ(plan, result):
    other = orchardsim.simulate(plan, trials=6, years=YEARS, seed=4)
    assert not np.array_equal(other.harvested_mass, result.harvested_mass)


def test_another_block_leaves_a_blocks_trees_and_seasons_alone(result):
    """With crews that are never short, a block grows the same beside another block."""
    table = copy.deepcopy(SMALL)
    other = copy.deepcopy(table["block"][0]) | {"name": "second", "year_planted": 2}
    table["block"].insert(0, other)
    beside = orchardsim.simulate(orchardsim.load_plan(table, base=CONFIGS), trials=6, years=YEARS, seed=3)
    np.testing.assert_array_equal(beside.harvest_year, result.harvest_year)
    for name in ("trunk_area_mean", "trees_lost", "flower_clusters"):
        for label in ("wires/Gala", "wires/Honeycrisp"):
            np.testing.assert_allclose(beside[name].sel(block=label), result[name].sel(block=label), rtol=1e-6)


def test_a_sum_over_block_and_item_is_what_the_account_saw(plan, result):
    """To the cent: own cash at the start, plus all items of all labels, less the draw, is the last balance."""
    assert plan.finance.loan_amount == 0
    money = result.ledger.sum(("block", "ledger_item", "year")).values
    last = result.account_balance.isel(year=-1, quarter=-1).values
    draw = plan.finance.household_draw * result.sizes["year"]
    np.testing.assert_allclose(plan.finance.opening_cash + money - draw, last, atol=0.01)


def test_only_the_farm_s_own_money_stands_under_shared(result):
    shared = result.sel(block="shared")
    own = [row.name for row in LEDGER_ITEMS if row.bearer != "block"]
    booked = np.abs(shared.ledger).sum(("trial", "year"))
    assert set(booked.ledger_item.values[booked.values > 0]) <= set(own)
    assert float(booked.sel(ledger_item="interest")) > 0
    assert not shared.trees_alive.values.any()


def test_ledger_items_sum_to_net_cash_flow(result):
    gross = np.abs(result.ledger).sum("ledger_item")
    gap = np.abs(result.ledger.sum("ledger_item") - result.net_cash_flow)
    assert float((gap / np.maximum(gross, 1)).max()) < 1e-9


def test_trees_balance_over_the_whole_run(result):
    """Planted + replanted - lost - removed = alive at the end, in every trial and block."""
    grown = result.trees_planted.sum("year") + result.trees_replanted.sum("year")
    gone = result.trees_lost.sum(("year", "cause")) + result.trees_removed.sum("year")
    np.testing.assert_array_equal(grown - gone, result.trees_alive.isel(year=-1))


def test_the_record_is_replayed_in_order(plan):
    replay = orchardsim.simulate(plan.with_known_futures(), trials=2, years=YEARS, seed=3, seasons="record")
    years = replay.harvest_year.values
    assert (years[0] == years[1]).all()
    assert (np.diff(years[0]) > 0).all()
    np.testing.assert_array_equal(replay.frost_kill.isel(trial=0), replay.frost_kill.isel(trial=1))


def test_an_interrupted_run_goes_on_where_it_stopped(plan, result, tmp_path, monkeypatch):
    """Kept units are not run again, a damaged one is, and the file is the same to the byte."""
    monkeypatch.setattr("orchardsim.simulation.run.RANGE_TRIALS", 2)
    job = RunJob(plan, 6, YEARS, 3)
    how = {"kind": "run", "identity": job.identity, "differs": run_differs}
    said: list[str] = []

    def interrupt(trials):
        if trials:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), OutputFolder(tmp_path, **how) as folder:
        job.run_kept(PartialRun(folder, 6), 1, interrupt)
    (first,) = (tmp_path / ".orchardsim").glob("*.npz")
    with OutputFolder(tmp_path, **how, resume=True) as folder:
        kept = PartialRun(folder, 6)
        assert kept.kept == 2
        job.run_kept(kept, 3)
        write_netcdf(tmp_path / "all.nc", job.pieces(kept, 25))
        assert [piece.sizes["trial"] for piece in job.pieces(kept, 4)] == [4, 2]
    first.write_bytes(first.read_bytes()[:-9] + b"different")
    with OutputFolder(tmp_path, **how, resume=True, say=said.append) as folder:
        kept = PartialRun(folder, 6)
        assert kept.kept == 4 and said == ["trials 0 to 1 are damaged and will be simulated again"]
        job.run_kept(kept, 1)
        write_netcdf(tmp_path / "again.nc", job.pieces(kept, 25))
        folder.finish()
    assert (tmp_path / "all.nc").read_bytes() == (tmp_path / "again.nc").read_bytes()
    xarray.testing.assert_identical(result, read_results(tmp_path / "all.nc"))
    assert not list((tmp_path / ".orchardsim").glob("*.npz"))


def test_single_trees_add_up_to_their_block(plan):
    single = orchardsim.simulate(plan, trials=3, years=YEARS, seed=3, single_trees=(1,))
    for label in ("wires/Gala", "wires/Honeycrisp"):
        trees = single.sel(tree_trial=1, tree=single.tree_label == label)
        block = single.sel(block=label).isel(trial=1)
        for name in ("crop_mass", "fruit_number"):
            np.testing.assert_allclose(trees[f"tree_{name}"].sum("tree"), block[name], rtol=1e-5, atol=1e-3)
        # a tree that dies after bloom has left its place by leaf fall
        missing = block.flower_clusters - trees.tree_flower_clusters.sum("tree")
        whole = block.trees_lost.sum("cause") == 0
        np.testing.assert_allclose(missing[whole], 0, atol=0.05)
        assert (missing >= -0.05).all()
        alive = (trees.tree_leaf > 0).sum("tree")
        np.testing.assert_array_equal(alive, block.trees_alive)
        mean = trees.tree_trunk_area.sum("tree") / np.maximum(alive, 1)
        np.testing.assert_allclose(mean[1:], block.trunk_area_mean[1:], rtol=1e-5)
    assert single.tree_trunk_area.attrs["units"] == "cm2"
    # two rows of 16 trees at 1.0 m for each group, rows 3.5 m apart
    last = single.isel(tree=-1)
    assert (float(last.tree_across), float(last.tree_along)) == (3 * 3.5, 15.0)


def test_a_block_planted_after_the_run_is_refused(plan):
    with pytest.raises(InputError, match=r"year_planted: found year 1.*more --years"):
        orchardsim.simulate(plan, trials=2, years=1, seed=1)


def test_an_established_block_is_grown_before_year_0():
    table = copy.deepcopy(SMALL)
    table["block"][0] |= {"year_planted": -12}
    old = orchardsim.simulate(orchardsim.load_plan(table, base=CONFIGS), trials=3, years=3, seed=3)
    assert (old.leaf.isel(year=0, block=[0, 1]) == 13).all()
    assert (old.harvested_mass.sel(block="wires/Gala").isel(year=0) > 0).all()
    assert float(old.trees_planted.sum()) == 0


def test_prices_do_not_hang_on_what_a_plan_grows(result):
    """The region's crop, and so the market, is the same under a plan that grows the other cultivar first."""
    table = copy.deepcopy(SMALL)
    table["block"][0]["group"].reverse()
    other = orchardsim.load_plan(table, base=CONFIGS)
    streams = Streams(3)
    ours = build_library(small_plan(), streams, range(6), YEARS, "sampled").region
    np.testing.assert_array_equal(ours, build_library(other, streams, range(6), YEARS, "sampled").region)


def test_no_spares_are_kept_for_a_block_that_is_gone():
    table = copy.deepcopy(SMALL)
    table["block"][0]["year_removed"] = 4
    table["replacement"] = {"spares_at_planting": 0.2, "reorder_point": 0.1, "order_up_to": 0.2, "minimum_order": 1}
    gone = orchardsim.simulate(orchardsim.load_plan(table, base=CONFIGS), trials=3, years=8, seed=3)
    assert float(gone.spares_on_hand.isel(year=slice(4, None)).sum()) == 0
    assert float(gone.trees_ordered.isel(year=slice(3, None)).sum()) == 0
    assert float(gone.trees_alive.isel(year=slice(4, None)).sum()) == 0


def test_work_that_a_crew_cannot_do_is_reported():
    """One person for a third of an hour a week cannot keep up; what is left undone is booked, not lost."""
    table = copy.deepcopy(SMALL)
    table["crews"] = [{"name": "alone", "workers": 1, "hours_per_day": "0.15 hour", "days_per_week": "2 day"}]
    short = orchardsim.simulate(orchardsim.load_plan(table, base=CONFIGS), trials=2, years=8, seed=3)
    assert float(short.labour_undone.sum("block").sum(["year", "task"]).min()) > 5
    assert float(short.harvested_mass.sum()) < 0.9 * float(short.crop_mass.sum())


@pytest.mark.parametrize("writer", ["plan", "weather", "year", "whole run", "money", "single trees"])
def test_a_writer_fills_the_rows_of_the_table_that_name_it(writer):
    """All of them, and with their dims; bounds and kinds are checked whenever a dataset is built."""
    plan = small_plan()
    arrays = trial_range.run_trials(plan, range(2), 4, 3, "sampled", single_trees=(0,))
    single = {f"tree_{name.rsplit('/', 1)[1]}" for name in arrays if "/" in name}
    before_the_run = {"leaf", "planted_area", "gross_area"}
    rows = {name: row for name, row in RESULTS.items() if row.writer == writer}
    if writer == "single trees":
        assert set(rows) == single
    elif writer == "plan":
        assert set(rows) == before_the_run and not before_the_run & set(arrays)
    else:
        assert set(rows) <= set(arrays)
    others = {name for name, row in RESULTS.items() if row.writer not in ("plan", "single trees")}
    assert {name for name in arrays if "/" not in name} == others
    labels = len(plan.labels)
    known = {"trial": (2,), "year": (4,), "quarter": (4,), "block": (labels, labels + 1)}  # with or without shared
    for name, row in rows.items():
        if name in arrays:
            sizes = dict(zip(row.dims, arrays[name].shape, strict=True))
            assert all(sizes[dim] in size for dim, size in known.items() if dim in sizes), name
