"""Bad input: one clear line that names file, key, what was found and what is allowed."""

from __future__ import annotations

import math
from typing import Any

import pytest

from orchardsim.cli.main import main
from orchardsim.core.errors import LONGEST_LINE, InputError
from orchardsim.plan import load_plan

from .examples import DEMO, changed

OLD: list[tuple[str, Any]] = [("block.year_planted", -10)]
CRAB = {"cultivar": "crab", "every_tree": 10}
RAIN = [("weather.normals.rain", {"value": [100] * 12, "unit": "mm"})]
# (changes to the small plan, words that the one line must hold)
CASES: dict[str, tuple[list[tuple[str, Any]], list[str]]] = {
    "unknown key at the top": ([("sight", {})], ["sight", "did you mean 'site'"]),
    "unknown key in a table": ([("site.lattitude", "3 degree")], ["site", "lattitude", "did you mean 'latitude'"]),
    "unknown key in a block": ([("block.row_spaceing", "3 m")], ["block 1", "did you mean 'row_spacing'"]),
    "misspelt required key": (
        [("block.row_spacing", None), ("block.row_spaceing", "3 m")],
        ["row_spaceing", "did you mean 'row_spacing'"],
    ),
    "a price without its grade": (
        [("market.fruit", {"Gala": {"price": "1 USD/kg"}})],
        ["market.fruit.Gala.price", "wholesale_extra_fancy", "direct"],
    ),
    "a decimal comma": ([("block.row_spacing", "3,7 m")], ["block 1.row_spacing", "a point: 3.7"]),
    "a difference in another unit": ([("site.night_offset", "-5 delta_degF")], ["site.night_offset", "'2.7 degF'"]),
    "unknown key of a stage": ([("costs.wagee", "20 USD/hour")], ["costs", "did you mean 'wage'"]),
    "unknown key of normals": ([("weather.normals.rein", {})], ["weather.normals", "'rain'"]),
    "missing key": ([("block.tree_spacing", None)], ["block 1.tree_spacing", "missing"]),
    "missing title": ([("title", None)], ["title", "missing"]),
    "no block": ([("block", [])], ["block"]),
    "block as a table": ([("block", {"name": "a"})], ["block", "list"]),
    "no unit": ([("block.row_spacing", 3.5)], ["block 1.row_spacing", "3.5", "unit", "'3.5 m'"]),
    "number as text": ([("block.row_spacing", "3.5")], ["block 1.row_spacing", "unit"]),
    "wrong unit": ([("block.row_spacing", "3.5 kg")], ["block 1.row_spacing", "3.5 kg", " m "]),
    "unit of no kind": ([("block.row_spacing", "3.5 hands_high")], ["block 1.row_spacing", "hands_high"]),
    "wrong currency": ([("costs.wage", "20 EUR/hour")], ["costs.wage", "EUR", "USD/hour"]),
    "not a number": ([("block.row_spacing", math.nan)], ["block 1.row_spacing", "nan", "finite"]),
    "text nan": ([("block.row_spacing", "nan m")], ["block 1.row_spacing", "nan", "finite"]),
    "infinite": ([("block.net_area", math.inf)], ["block 1.net_area", "inf", "finite"]),
    "nan share": ([("block.irrigated", math.nan)], ["irrigated", "true or false"]),
    "nan in a list": ([("block.crop_load_target", [0.0, math.nan])], ["block 1.crop_load_target", "nan"]),
    "negative spacing": ([("block.tree_spacing", "-1 m")], ["block 1.tree_spacing", "-1", "0.2 to 30"]),
    "no spacing": ([("block.tree_spacing", "0 m")], ["block 1.tree_spacing", "0.2 to 30"]),
    "negative trees": ([("block.trees", -5)], ["block 1.trees", "-5", "at least 1"]),
    "more trees than a run holds": (
        [("block.net_area", "90 km2"), ("block.tree_spacing", "0.5 m")],
        ["block 1", "at most 500,000"],
    ),
    "name of blanks": ([("block.name", "  ")], ["block 1.name", "expected a name"]),
    "endless name": ([("block.name", "a" * 300)], ["block 1.name", "300", "80"]),
    "half a tree": ([("block.trees", 10.5)], ["block 1.trees", "10.5", "whole number"]),
    "negative area": ([("block.net_area", "-2 ha")], ["block 1.net_area", "allowed"]),
    "latitude too far north": ([("site.latitude", "95 degree")], ["site.latitude", "95", "-66 to 66"]),
    "latitude too far south": ([("site.latitude", -80)], ["site.latitude", "-80", "-66 to 66"]),
    "more trees than the area holds": ([("block.trees", 2_001)], ["block 1", "2001", "at most 2000"]),
    "two areas": ([("block.gross_area", "1 ha")], ["block 1", "gross_area", "net_area"]),
    "no size": ([("block.net_area", None)], ["block 1", "gross_area, net_area, trees"]),
    "unknown cultivar": ([("block.cultivar", "Honycrisp")], ["block 1.cultivar", "did you mean 'Honeycrisp'"]),
    "unknown stock": ([("block.rootstock", "G935")], ["block 1.rootstock", "'G.935'"]),
    "unknown system": ([("block.training", "tall spindel")], ["block 1.training", "'tall_spindle'"]),
    "unknown grade": ([("block.tree_grade", "feathred")], ["block 1.tree_grade", "'feathered'"]),
    "no cultivar": ([("block.cultivar", None)], ["block 1.cultivar", "missing"]),
    "unknown currency": ([("currency", "USDD")], ["currency", "'USD'"]),
    "unknown units": ([("units", "imperial")], ["units", "imperial", "'us'", "'metric'"]),
    "number for text": ([("title", 5)], ["title", "5", "text"]),
    "text for a table": ([("site", "here")], ["site", "table"]),
    "unknown word": ([("weather.method", "resampel")], ["weather.method", "'resample'", "parametric"]),
    "missing record": ([("weather.record", "no_such.dly")], ["weather.record", "no_such.dly", "'bundled'"]),
    "no weather": ([("weather", {})], ["weather", "record", "normals"]),
    "short normals": ([("weather.normals.rain", {"value": [1, 2], "unit": "mm"})], ["normals.rain", "2", "12"]),
    "normals without unit": ([("weather.normals.rain", [100] * 12)], ["normals.rain", "unit"]),
    "minimum above maximum": (
        [
            ("weather.normals.temperature_min", {"value": [20] * 12, "unit": "degC"}),
            ("weather.normals.temperature_max", {"value": [10] * 12, "unit": "degC"}),
        ],
        ["normals", "temperature_min", "20", "10"],
    ),
    "baseline of one year": ([("weather.baseline_years", [1990])], ["baseline_years", "two years"]),
    "baseline backwards": ([("weather.baseline_years", [2020, 1990])], ["baseline_years", "first and last"]),
    "warming out of range": ([("weather.warming", "20 K")], ["weather.warming", "20", "-8 to 8"]),
    "removed before planting": ([("block.year_removed", 0)], ["year_removed", "later than year_planted"]),
    "ordered after planting": ([("block.order_year", 3)], ["order_year", "at most"]),
    "trunk area of a new block": ([("block.trunk_area", "90 cm2")], ["trunk_area", "established"]),
    "name of the farm": ([("block.name", "farm")], ["block 1.name", "'farm'", "another name"]),
    "empty list": ([("block.crop_load_target", [])], ["crop_load_target", "empty"]),
    "crop load word": ([("block.crop_load_target", "unthined")], ["crop_load_target", "'unthinned'"]),
    "crop load too high": ([("block.crop_load_target", [500])], ["crop_load_target", "0 to 60"]),
    "groups do not add up": (
        [("block.group", [{"name": "a", "rows": 3}, {"name": "b", "rows": 5}])],
        ["block 1.group", "8 rows", "20 rows"],
    ),
    "two groups of a name": (
        [("block.group", [{"name": "a", "rows": 10}, {"name": "a", "rows": 10}])],
        ["label", "'north/a'", "twice"],
    ),
    "unknown stock of a group": (
        [("block.group", [{"name": "a", "rootstock": "M9"}])],
        ["block 1.group 1.rootstock", "'M.9'"],
    ),
    "triploid pollinizer": (
        [("block.pollinizer", [{"cultivar": "Jonagold", "every_tree": 10}])],
        ["pollinizer 1.cultivar", "triploid"],
    ),
    "pollinizer nowhere": ([("block.pollinizer", [{"cultivar": "crab"}])], ["pollinizer 1", "every_tree"]),
    "pollinizer step": (
        [("block.pollinizer", [{"cultivar": "crab", "every_tree": 0}])],
        ["pollinizer 1.every_tree", "from 2 to 500"],
    ),
    "own stock without numbers": (
        [("rootstock", {"X.1": {"size": 1.2}}), ("block.rootstock", "X.1")],
        ["rootstock.X.1", "missing"],
    ),
    "own stock like nothing": (
        [("rootstock", {"X.1": {"like": "M9"}}), ("block.rootstock", "X.1")],
        ["rootstock.X.1.like", "'M.9'"],
    ),
    "own stock out of range": (
        [("rootstock", {"X.1": {"like": "M.9", "size": 40}}), ("block.rootstock", "X.1")],
        ["rootstock.X.1.size", "40", "0.1 to 6"],
    ),
    "own system without pruning": (
        [("training_system", {"mine": {"height_limit": "3 m"}}), ("block.training", "mine")],
        ["training_system.mine.", "missing", "pruning", "spread_limit", "like"],
    ),
    "own system, unknown key": (
        [("training_system", {"mine": {"like": "tall_spindle", "hight_limit": "3 m"}})],
        ["training_system.mine", "did you mean 'height_limit'"],
    ),
    "cultivar without prices": (
        [("cultivar", {"Mine": {"like": "crab"}}), ("block.cultivar", "Mine")],
        ["market.fruit.Mine", "missing"],
    ),
    "own entry that no block uses": ([("rootstock", {"X.1": {"size": 1.2}})], ["rootstock.X.1", "missing"]),
    "unknown outlet": (
        [("market", {"outlets": {"wholesail": {"volume": "unlimited"}}})],
        ["market.outlets.wholesail", "'wholesale'"],
    ),
    "prices of no cultivar": ([("market", {"fruit": {"Galla": {}}})], ["market.fruit.Galla", "'Gala'"]),
    "price of no grade": ([("tree_price", {"fethered": {}})], ["tree_price.fethered", "'feathered'"]),
    "money without end": ([("costs.wage", "unlimited")], ["costs.wage", "unlimited"]),
    "share above one": ([("replacement.spares_at_planting", 5)], ["replacement.spares_at_planting", "0 to 1"]),
    "half a year": ([("replacement.lead_time", "1.5 year")], ["replacement.lead_time", "whole number"]),
    "bin of no size": ([("packing", {"bin_mass": "5 kg"})], ["packing.bin_mass", "100 to 600"]),
    "misspelt cultivar with prices of its own": (
        [("block.cultivar", "gala"), ("market", {"fruit": {"gala": {"juice": "0.1 USD/lb"}}})],
        ["block 1.cultivar", "did you mean 'Gala'"],
    ),
    "unknown cultivar with prices of its own": (
        [("block.cultivar", "Mystery"), ("market", {"fruit": {"Mystery": {"juice": "0.1 USD/lb"}}})],
        ["block 1.cultivar", "'Mystery'", "no cultivar"],
    ),
    "length in the unit that was written": ([("block.tree_spacing", "-3 ft")], ["block 1.tree_spacing", "'-3 ft'"]),
    "calendar year": ([("block.year_planted", 2026)], ["block 1.year_planted", "2026", "count from year 0"]),
    "calendar year of the land": ([("block.land_from_year", 2028)], ["land_from_year", "count from year 0"]),
    "rows of a block": ([("block.rows", 12)], ["block 1.rows", "[[block.group]]"]),
    "list for a number": ([("block.row_spacing", ["3 m"])], ["block 1.row_spacing", "quantity"]),
    "table without value": ([("block.row_spacing", {"unit": "m"})], ["block 1.row_spacing", "value"]),
    "unknown key beside a value": (
        [("rootstock", {"X.1": {"like": "M.9", "size": {"value": 0.4, "unitt": "1"}}})],
        ["size", "did you mean 'unit'"],
    ),
    # types and bounds are right, and yet it makes no sense
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


@pytest.mark.parametrize("name", CASES)
def test_bad_plans_get_one_clear_line(name):
    changes, words = CASES[name]
    with pytest.raises(InputError) as raised:
        load_plan(changed(*changes))
    line = str(raised.value)
    assert line.startswith("plan") and "\n" not in line and len(line) <= LONGEST_LINE
    for word in words:
        assert word in line, line


def test_the_small_plan_itself_is_good():
    assert load_plan(changed()).blocks[0].geometry.trees == 2_000


FILES = {
    "missing file": (None, ["no such file"]),
    "empty file": (b"", ["empty"]),
    "blank file": (b" \n\n", ["empty"]),
    "binary file": (bytes(range(256)), ["binary"]),
    "other encoding": ("title = 'Gala au pré'".encode("latin-1"), ["line 1", "UTF-8"]),
    "broken TOML": (b'title = "a"\nunits = \n', ["broken TOML", "line 2"]),
    "doubled key": (b'title = "a"\ntitle = "b"\n', ["line 2", "'title' stands twice"]),
    "doubled key at the end": (b'title = "a"\n[site]\nname = "b"\nname = "c"', ["line 4", "'name' stands twice"]),
    "doubled table": (b'[site]\nname = "a"\n[site]\nname = "b"\n', ["line 3", "[site]", "twice"]),
    "text without quotes": (b"title = My farm\n", ["line 1", "text needs quotes", "'My farm'"]),
    "quantity without quotes": (b'title = "a"\nheight = 3 ft\n', ["line 2", "needs quotes", "'3 ft'"]),
    "flag in other words": (b'title = "a"\nirrigated = yes\n', ["line 2", "true or false"]),
    "no value": (b'title = "a"\nunits = # us\n', ["line 2", "units has no value"]),
    "unclosed text": (b'title = "a\n', ["line 1", "closing quote"]),
    "nested too deeply": (b"a = " + b"[\n" * 20_000 + b"]" * 1_000, ["broken TOML"]),
}


@pytest.mark.parametrize("name", FILES)
def test_bad_files_end_with_code_2_and_one_line(name, tmp_path, capsys):
    content, words = FILES[name]
    path = tmp_path / "plan.toml"
    if content is not None:
        path.write_bytes(content)
    assert main(["check", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and str(path) in err
    for word in words:
        assert word in err


def test_a_folder_is_no_plan(tmp_path, capsys):
    assert main(["check", str(tmp_path)]) == 2
    assert "folder" in capsys.readouterr().err


def test_an_area_is_net_or_gross():
    with pytest.raises(InputError) as raised:
        load_plan(changed(("block.area", "1 ha")))
    line = str(raised.value)
    assert "net_area" in line and "gross_area" in line and "trunk_area" not in line


def test_the_file_is_named_with_the_key(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    path.write_text(DEMO.read_text().replace("tree_spacing", "tree_spaceing"))
    assert main(["check", str(path)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "mine.toml" in err and "did you mean 'tree_spacing'" in err
