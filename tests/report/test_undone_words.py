"""What a page says of work left undone, of the price by pass and of a full store; invented numbers."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.units import ACRE, HECTARE
from orchardsim.report.run.block_tables import work_groups, work_line
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import block_labels
from orchardsim.results.block_results import pass_price, undone_work
from tests.results.invented_run import invented_dataset


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
