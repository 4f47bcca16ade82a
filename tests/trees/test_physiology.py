"""The table of shared parameters and the class that it fills agree: names, units, bounds, status."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from orchardsim.core.parameters import STATUSES, parameters_of
from orchardsim.trees.parameters import Physiology

TABLE = tomllib.loads(resources.files("orchardsim.catalogue").joinpath("physiology.toml").read_text(encoding="utf-8"))
DECLARED = parameters_of(Physiology)


def test_every_parameter_has_its_row_and_no_other():
    assert set(TABLE) == set(DECLARED)


@pytest.mark.parametrize("name", sorted(DECLARED))
def test_row_has_unit_source_status_and_stays_within_bounds(name):
    row, info = TABLE[name], DECLARED[name]
    assert row["unit"] == info.unit
    assert (row["low"], row["high"]) == (info.low, info.high)
    assert info.low <= row["value"] <= info.high
    assert row["status"] in STATUSES
    assert len(row["source"]) > 5
