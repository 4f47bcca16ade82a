"""Growth of trees, work left undone, prices by pass and a full store, by label; invented numbers, sums by hand."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.units import ACRE, HECTARE
from orchardsim.report.run.block_tables import (
    SWING_NOISE,
    noise_index,
    swing_line,
    tree_cells,
    tree_groups,
    work_groups,
    work_line,
)
from orchardsim.report.run.page import report_html
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run.table import headline_table
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import block_labels
from orchardsim.results.block_results import pass_price, undone_work
from tests.results.invented_run import invented_dataset

METRIC = RunFormats("metric", "EUR", 400.0, 19.0509, "")


@pytest.fixture(scope="module")
def dataset():
    return invented_dataset(trials=30, years=12)


def test_rows_by_hand_in_both_units(dataset):
    head, *rows = tree_cells(dataset, "north", METRIC)
    assert head[2] == "height, m" and head[-1] == "crop a tree, kg"
    # north is planted in year 2: leaf 4 is year 5
    row = next(row for row in rows if row[0] == "4")
    year = dataset.sel(block="north").isel(year=5)
    alive = year["trees_alive"].values
    assert row[1] == f"{2.5 * 4:.1f}"  # the invented trunk grows by 2.5 cm2 a leaf, all trials alike
    assert row[4] == f"{year['flower_clusters'].values.sum() / alive.sum():,.0f}"
    assert row[6] == f"{(year['crop_load_mean'].values * alive).sum() / alive.sum():.1f}"
    us = tree_cells(dataset, "north", RunFormats("us", "USD", 400.0, 19.0509, ""))
    assert us[0][2] == "height, ft"
    # 3.2 m in leaf 4; a pound is 0.45359237 kg (international yard and pound agreement, 1959)
    assert us[rows.index(row) + 1][2] == f"{3.2 / 0.3048:.1f}"
    assert us[rows.index(row) + 1][-1] == f"{year['crop_mass'].values.sum() / alive.sum() / 0.45359237:,.1f}"


def test_an_empty_trial_does_not_count():
    dataset = invented_dataset(trials=4, years=4)
    where = {"block": "home", "year": 2, "trial": 1}
    dataset["trees_alive"].loc[where] = 0
    for name in ("trunk_area_mean", "canopy_height_mean", "crop_load_mean"):
        dataset[name].loc[where] = np.nan
    row = next(row for row in tree_cells(dataset, "home", METRIC) if row[0] == "3")
    assert row[1] == "7.5"
    dataset["trees_alive"].loc[{"block": "home"}] = 0
    assert [group["name"] for group in tree_groups(dataset, METRIC)] == ["north"]


def test_index_of_chance_alone_is_that_of_random_crops():
    # 2 x 10^6 pairs of independent crops put into the index of Hoblyn et al. 1936
    rng = np.random.default_rng(4)
    for variation in SWING_NOISE:
        one, two = np.abs(rng.normal(1, variation, (2, 2_000_000)))
        assert noise_index(variation) == pytest.approx((np.abs(one - two) / (one + two)).mean(), rel=0.02)


def test_page_and_table_tell_the_index(dataset):
    line = swing_line(dataset)
    assert "home 0.20, " in line
    assert line in headline_table(dataset).replace("\n", " ")
    page = report_html(SavedRun.of(dataset), {})
    assert "Size, light and bearing by leaf" in page and "home 0.20" in page
    young = dataset.assign(biennial_index=dataset["biennial_index"] * np.nan)
    assert swing_line(young) == ""
    assert "Size, light and bearing by leaf" in report_html(SavedRun.of(young), {})


@pytest.fixture
def run():
    return invented_dataset(trials=20, planting_years=(0,))


def test_nothing_is_said_where_nothing_is_left(run):
    line = work_line(run, RunFormats.of(run.attrs))
    assert "undone" not in line and "store" not in line and "pass" not in line
    assert all("left undone" not in group["cells"][0] for group in work_groups(run, RunFormats.of(run.attrs)))


def test_hours_left_are_told_by_task_and_in_the_table_by_hand(run):
    """30 hours of pruning left in leaf 4, 15 of them inherited: 30 of the hours done and left; 30 / area in the row."""
    (label,) = block_labels(run)
    year = int(np.flatnonzero(run.leaf.sel(block=label).values == 4)[0])
    at = {"block": label, "year": year, "task": "dormant_pruning"}
    run.labour_undone.loc[at] = 30.0
    run.labour_carried.loc[at] = 15.0
    done = float(run.labour_hours.sel(task="dormant_pruning").sum("block").sum("year").mean())
    found = undone_work(run)
    assert found.shares == {"dormant_pruning": pytest.approx(30 / (30 + done))}
    assert (found.hours, found.carried) == (pytest.approx(30), pytest.approx(15))
    formats = RunFormats.of(run.attrs)
    line = work_line(run, formats)
    assert f"dormant pruning {100 * 30 / (30 + done):.1f} %" in line
    assert "Of 30 such hours a future 15 pass to the year after" in line
    head, *rows = work_groups(run, formats)[0]["cells"]
    row = next(row for row in rows if row[0] == "4")
    hectares = float(run.planted_area.sel(block=label)) / HECTARE
    assert float(row[head.index("left undone")]) == pytest.approx(30 / hectares * ACRE / HECTARE, abs=0.05)


def test_pass_prices_and_a_full_store_are_told(run):
    (label,) = block_labels(run)
    run["pass_price"].loc[{"block": label}] = 0.96
    run["storage_surplus"].loc[{"block": label, "year": 10}] = 5 * float(run.attrs["bin_mass"])
    assert pass_price(run, label) == pytest.approx(0.96)
    line = work_line(run, RunFormats.of(run.attrs))
    assert f"of the price stated: {label} 96.0 %" in line
    assert "the store is full in 5 of 100 years, and then 5 bins" in line
