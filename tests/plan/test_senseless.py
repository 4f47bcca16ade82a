"""Plans whose types and bounds are right and whose content makes no sense: refused, or told as a warning."""

from __future__ import annotations

from typing import Any

import pytest

from orchardsim.cli.main import main
from orchardsim.core.errors import LONGEST_LINE, InputError
from orchardsim.plan import load_plan

from .examples import CONFIGS, DEMO, changed

OLD = [("block.year_planted", -10)]
CRAB = {"cultivar": "crab", "every_tree": 10}
RAIN = [("weather.normals.rain", {"value": [100] * 12, "unit": "mm"})]
REFUSED: dict[str, tuple[list[tuple[str, Any]], list[str]]] = {
    "land paid after planting": ([("block.land_from_year", 3)], ["land_from_year", "found 3", "year_planted = 1"]),
    "fallow longer than there is time": ([("block.fallow_years", 4)], ["fallow_years", "found 4", "at most"]),
    "removed before year 0": ([*OLD, ("block.year_removed", -2)], ["year_removed", "-2", "allowed 0 or later"]),
    "a pollinizer rule that gives none": (
        [("block.pollinizer", [{"cultivar": "crab", "every_tree": 500, "every_row": 20}])],
        ["pollinizer 1", "every_tree = 500", "no pollinizer"],
    ),
    "the same pollinizer twice": ([("block.pollinizer", [CRAB, CRAB])], ["pollinizer 2", "pollinizer 1", "once"]),
    "rain without wet days": (
        [*RAIN, ("weather.normals.wet_days", [9] * 11 + [0])],
        ["weather.normals", "month 12", "wet_days"],
    ),
    "rows far wider than trees": (
        [("block.row_spacing", "20 m"), ("block.net_area", "5 ha")],
        ["tree_spacing", "ratio of 20", "at most 12"],
    ),
    "trees far wider than rows": (
        [("block.row_spacing", "1 m"), ("block.tree_spacing", "14 m")],
        ["tree_spacing", "ratio of 14"],
    ),
    "overhead sprinklers on dry land": (
        [("block.irrigated", False), ("block.protection", "overhead_sprinklers")],
        ["block 1.protection", "irrigated = true"],
    ),
    "a trunk that no tree has": ([*OLD, ("block.trunk_area", "1500 cm2")], ["trunk_area", "1500", "at most 600"]),
    "a crop that no land has": ([*OLD, ("block.last_crop", "400 kg/tree")], ["last_crop", "t/ha", "at most"]),
    "a crop that no trunk carries": (
        [*OLD, ("block.trunk_area", "20 cm2"), ("block.last_crop", "90 kg/tree")],
        ["last_crop", "20 cm2", "at most 80"],
    ),
    "a history that no land has": ([*OLD, ("block.yield_history", ["900 t"])], ["yield_history", "value 1", "t/ha"]),
    "wages beyond all money": ([("costs.wage", "1e13 USD/hour")], ["costs.wage", "at most 1e+12"]),
    "money beyond all money": ([("finance.opening_cash", "2e15 USD")], ["opening_cash", "at most 1e+12"]),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_is_refused(name):
    changes, words = REFUSED[name]
    with pytest.raises(InputError) as raised:
        load_plan(changed(*changes))
    line = str(raised.value)
    assert len(line) <= LONGEST_LINE
    for word in words:
        assert word in line, line


WARNED: dict[str, tuple[list[tuple[str, Any]], str]] = {
    "smallest order over the need": (
        [("replacement.minimum_order", 50_000)],
        "more than the 2,000 that the",
    ),
    "a lower grade dearer": (
        [("market.fruit", {"Gala": {"wholesale_extra_fancy": "1 USD/kg", "wholesale_fancy": "2 USD/kg"}})],
        "wholesale_fancy is dearer than wholesale_extra_fancy",
    ),
    "juice dearer than processing": (
        [("market.fruit", {"Gala": {"processing": "0.1 USD/kg", "juice": "0.2 USD/kg"}})],
        "juice is dearer than processing",
    ),
}


@pytest.mark.parametrize("name", WARNED)
def test_what_is_odd_is_told(name):
    changes, words = WARNED[name]
    assert not any(words in line for line in load_plan(changed()).warnings)
    assert any(words in line for line in load_plan(changed(*changes)).warnings)


RECORD = 'record = "bundled cool"'
CHECKED = {
    "baseline outside the record": (RECORD, f"{RECORD}\nbaseline_years = [1800, 1850]", "1850"),
    "a record that is none": (RECORD, 'record = "plan.toml"', "plan.toml"),
    "a northern record in a southern plan": ('latitude = "42.95 degree"', 'latitude = "-42.95 degree"', "equator"),
}


@pytest.mark.parametrize("name", CHECKED)
def test_check_reads_the_record_too(name, tmp_path, capsys):
    before, after, word = CHECKED[name]
    text = DEMO.read_text()
    assert before in text
    path = tmp_path / "plan.toml"
    path.write_text(text.replace(before, after))
    assert main(["check", str(path)]) == 2
    err = capsys.readouterr().err
    assert word in err and err.count("\n") == 1 and len(err.rstrip("\n")) <= LONGEST_LINE


@pytest.mark.parametrize(("plan", "place"), [("demo.toml", "Milwaukee"), ("warm_site.toml", "Clemson")])
def test_a_plan_on_each_bundled_record(plan, place, capsys):
    assert main(["check", str(CONFIGS / plan), "--unsimulated"]) == 0
    assert place in capsys.readouterr().out


@pytest.mark.parametrize("command", ["check", "levels"])
def test_dry_land_without_rain_is_refused_before_anything_is_said(command, tmp_path, capsys):
    path = tmp_path / "plan.toml"
    text = DEMO.read_text()
    assert RECORD in text and "irrigated = true" in text
    path.write_text(text.replace(RECORD, 'record = "bundled"').replace("irrigated = true", "irrigated = false"))
    assert main([command, str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and "add weather.normals.rain" in err
