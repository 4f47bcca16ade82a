"""Bloom dates of an open series move a cultivar's chill and heat needs, and all that `fit` hands on carries them."""

from __future__ import annotations

import csv
import datetime
import gzip
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

import orchardsim
from orchardsim.analysis.fit import fit
from orchardsim.plan.measurements import parse_measurements
from orchardsim.plan.reading import read_toml

from ..plan.examples import CONFIGS

TEMPERATURE = Path(__file__).parent / "data" / "harvard_forest_temperature.csv.gz"
BLOOM = {1991: 126, 1992: 140, 1993: 130, 1994: 138, 1995: 139, 1996: 140, 1997: 144, 1998: 124, 1999: 131,
         2000: 129}  # fmt: skip
"""Day of the year of open flowers of highbush blueberry (Vaccinium corymbosum) at Harvard Forest: middle of three to
five bushes, as carried by the Python package pyPhenology 0.7.1 (file vaccinium_obs.csv, phenophase 501).
"""
HALF_RANGE = 6.0
"""K; from a day's mean to its minimum and maximum, which the series lacks (assumption)."""


@pytest.fixture(scope="module")
def series(tmp_path_factory):
    """A plan on the series' weather, planted in its second season, and the fit of its bloom dates."""
    folder = tmp_path_factory.mktemp("bloom")
    lines = [line for line in gzip.decompress(TEMPERATURE.read_bytes()).decode().splitlines() if line[0].isdigit()]
    known = {datetime.date.fromisoformat(day): float(value) for day, value in csv.reader(lines)}
    first, days = min(known), (max(known) - min(known)).days + 1
    numbers = [(day - first).days for day in known]
    # three days of each October are missing: straight lines over them
    mean = np.interp(np.arange(days), numbers, list(known.values()))
    rows = [
        f"{first + datetime.timedelta(days=number)},{value - HALF_RANGE:.2f},{value + HALF_RANGE:.2f}"
        for number, value in enumerate(mean)
    ]
    head = "date,temperature_min [degC],temperature_max [degC]"
    (folder / "weather.csv").write_text("\n".join([head, *rows]) + "\n")
    raw: dict[str, Any] = read_toml(CONFIGS / "first_row.toml")
    raw |= {"calendar_year": 2000, "site": {**raw["site"], "latitude": "42.54 degree"}}
    raw["weather"] = {**raw["weather"], "record": "weather.csv"}
    own = next(block for block in raw["block"] if block["name"] == "first_row")
    raw["block"] = [{**own, "year_planted": -9}]
    raw.pop("replacement")
    (folder / "plan.toml").write_text(tomlkit.dumps(raw))
    plan = orchardsim.load_plan(folder / "plan.toml")
    dates = [datetime.date(year, 1, 1) + datetime.timedelta(days=day - 1) for year, day in BLOOM.items()]
    text = "date,block,measure,value\n" + "\n".join(f"{date},first_row,bloom_date," for date in dates)
    return fit(plan, parse_measurements(text, plan, "bloom"), draws=50)


def test_an_open_series_is_foretold_once_it_was_learned_from(series):
    found = series.findings.bloom[0]
    days = np.array(list(BLOOM.values()), dtype=float)
    usual = np.abs(days - (days.sum() - days) / (len(days) - 1)).mean()  # each date from the mean of the others
    assert found.dates == len(BLOOM)
    assert found.error_held_back < found.error_before < usual
    assert found.error_held_back < 0.5 * usual
    assert found.heat_after[1] < 0.6 * found.heat_before[1]
    assert found.chill_after[1] < found.chill_before[1]


def test_what_comes_next_stands_on_the_fitted_needs(series):
    found = series.findings.bloom[0]
    own = series.tables()["cultivar"]["Gala"]
    assert own["chill_requirement"] == pytest.approx(found.chill_after[0], rel=1e-3)
    assert float(own["bloom_heat"].split()[0]) == pytest.approx(found.heat_after[0], rel=1e-3)
    assert series.prior.groups[0].phenology.bloom_heat == pytest.approx(found.heat_after[0], rel=1e-3)
    written = tomllib.loads(series.plan_text(series.prior.path.read_text()))
    assert written["cultivar"]["Gala"]["chill_requirement"] == own["chill_requirement"]
    assert written["cultivar"]["Gala"]["bloom_heat"] == f"{found.heat_after[0]:.4g} K day"
