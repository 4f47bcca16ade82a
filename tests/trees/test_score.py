"""The model against published trials, as experiments/score prints it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "experiments" / "score"
COUNTED = {"T2", "T3", "T4", "T5", "T6", "T7", "T8", "T9", "T11", "T12", "T13"}
"""Targets of which at least 8 are to be met by one parameter set; sources stand in experiments/score/rows.py."""


@pytest.fixture(scope="module")
def rows():
    sys.path.insert(0, str(FOLDER))
    try:
        from rows import score
    finally:
        sys.path.remove(str(FOLDER))
    return score(12).rows


@pytest.mark.score
def test_one_parameter_set_meets_at_least_eight_targets(rows):
    met = {name: True for name in COUNTED}
    for row in rows:
        name = row.id.split(".")[0]
        if name in met and not (row.input or row.part):
            met[name] = met[name] and row.met
    assert sum(met.values()) >= 8, sorted(name for name, inside in met.items() if not inside)


@pytest.mark.score
def test_differences_between_trees_last(rows):
    # East Malling: +0.82 between plots (open data agridat pearce.apple); single trees lower, but positive.
    (row,) = [row for row in rows if row.id == "T22"]
    assert row.ours > 0.2


@pytest.mark.score
def test_trunk_growth_falls_with_crop_alike_on_three_stocks(rows):
    # Marini et al. 2012, J. Amer. Pomol. Soc. 66:183.
    found = {row.id: row.ours for row in rows}
    assert found["T10.sign"] < 0 and found["T10.r2"] > 0.9
