"""A saved run knows itself: all that a reader needs stands in the file, as numbers and codes."""

from __future__ import annotations

import json
import re

import netCDF4
import numpy as np
import pint
import pytest
import xarray

import orchardsim
from orchardsim.core.variables import RESULTS
from orchardsim.results import attribute, read_results, summarize, summary_document, write_run
from orchardsim.simulation import simulate
from tests.simulation.small_plan import small_plan


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    """A run of the small plan and its file."""
    run = simulate(small_plan(), trials=4, years=6, seed=2)
    return run, write_run(tmp_path_factory.mktemp("saved") / "run", run, summary_document(run))


def test_the_same_dataset_and_summary_come_out_of_the_folder(saved):
    run, folder = saved
    again = read_results(folder)
    assert again.identical(run)
    assert summarize(again).identical(summarize(run))
    assert summary_document(again) == summary_document(run)


def test_the_plan_stands_in_the_file_stated_and_assumed(saved):
    """Every key of the plan is either stated or assumed, none is both; values are those that the run read."""
    plan, document = small_plan(), attribute(read_results(saved[1]), "plan")
    stated, assumed = ({row["key"] for row in document[name]} for name in ("stated", "assumed"))
    assert stated == {row.key for row in plan.stated} and assumed == {row.key for row in plan.assumptions}
    assert not stated & assumed
    assert {"value", "unit", "source", "status"} <= set(document["assumed"][0])
    resolved = document["resolved"]
    assert resolved["finance"]["discount_rate"] == plan.finance.discount_rate
    assert resolved["costs"]["wage"] == plan.costs.wage
    assert "/" not in str(resolved["weather"]["record"].get("file", ""))


def test_row_groups_say_what_they_are(saved):
    found = read_results(saved[1])
    for name in ("cultivar", "rootstock", "training", "tree_spacing", "row_spacing"):
        assert found[name].dims == ("block",)
    gala = found.sel(block="wires/Gala")
    group = small_plan().groups[0]
    assert str(gala["cultivar"].values) == "Gala"
    assert str(gala["rootstock"].values) == group.stock_name
    assert float(gala["row_spacing"]) == group.money.geometry.row_spacing
    assert str(found["cultivar"].sel(block="shared").values) == "" and np.isnan(
        found["row_spacing"].sel(block="shared")
    )


def test_methods_are_codes_and_frost_years_are_numbers(saved):
    found = read_results(saved[1])
    assert found.attrs["weather_method"] == "years_independent"
    for row in attribute(found, "frost_years"):
        counts = row["springs_that_killed_more_than_percent"]
        assert row["springs"] >= counts["30"] >= counts["90"] >= 0
        assert row["years"][1] >= row["years"][0]


def test_the_file_follows_the_cf_conventions(saved):
    """Opened without this program: the CF 1.11 attributes (cfconventions.org, sections 2.6.1, 3.1 and 3.2).

    Units must be ones of the UDUNITS kind; money has none there, so it is a plain number with its currency beside it.
    """
    registry = pint.UnitRegistry()
    with netCDF4.Dataset(saved[1] / "results.nc") as raw:
        assert re.fullmatch(r"CF-1\.\d+", raw.Conventions)
        assert raw.display_units in ("us", "metric") and "units" not in raw.ncattrs()
        for name, variable in raw.variables.items():
            assert variable.long_name, name
            if name not in RESULTS:
                continue
            registry.parse_units(re.sub(r"(?<=[a-z])(-?\d)", r"**\1", variable.units))
            assert ("currency" in variable.ncattrs()) == ("currency" in RESULTS[name].unit), name
        assert raw["npv"].units == "1" and raw["npv"].currency == raw.currency
        assert raw["npv"].display_units == raw.currency
        json.loads(raw.plan)


def test_any_reader_opens_the_file(saved):
    """With the defaults of xarray nothing is taken for a date or a length of time."""
    with xarray.open_dataset(saved[1] / "results.nc") as plain:
        assert plain["labour_hours"].dtype.kind == "f" and plain["payback_year"].dtype.kind == "f"
    assert orchardsim.read_results(saved[1]).sizes["trial"] == 4
