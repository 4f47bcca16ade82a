"""Growth and bearing of the trees on the page and in the table, against sums by hand over invented arrays."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.report.run.page import report_html
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run.table import headline_table
from orchardsim.report.run.tree_table import SWING_NOISE, noise_index, swing_line, tree_cells, tree_groups
from orchardsim.report.run_formats import RunFormats
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
