"""What a plan becomes when it is loaded."""

from __future__ import annotations

import math
import pickle
import shutil
import subprocess
import sys

import pytest

from orchardsim.core.errors import InputError
from orchardsim.core.parameters import STATUSES
from orchardsim.core.units import FOOT
from orchardsim.plan import load_plan

from .examples import CONFIGS, DEMO, changed

PLANS = sorted(path.name for path in CONFIGS.glob("*.toml"))


def assumed(plan, key):
    return next((each for each in plan.assumptions if each.key == key), None)


@pytest.mark.parametrize("name", PLANS)
def test_the_plans_of_the_package_load_without_warning(name):
    plan = load_plan(CONFIGS / name)
    assert plan.warnings == ()
    assert "Invented" in plan.title and "invented" in plan.site_name
    assert len(plan.money) == len(plan.labels)


def test_the_plans_share_land_and_site_and_differ_in_trees():
    # Other places: the demo's planting under the warm record, and a first row that was measured there.
    elsewhere = ("warm_site.toml", "first_row.toml")
    plans = {name: load_plan(CONFIGS / name) for name in PLANS if name not in elsewhere}
    assert len({plan.hash for plan in plans.values()}) == len(plans) >= 6
    for plan in plans.values():
        assert plan.weather == plans["demo.toml"].weather
        assert plan.gross_area == pytest.approx(plans["demo.toml"].gross_area, rel=0.02)
    trees = {name: sum(block.geometry.trees for block in plan.blocks) for name, plan in plans.items()}
    # Close planting takes about ten times the trees of a standard orchard (common practice, no source).
    assert 8 < trees["demo.toml"] / trees["wide_spacing.toml"] < 13
    assert trees["wide_spacing.toml"] < trees["vertical_axis.toml"] < trees["demo.toml"] < trees["super_spindle.toml"]
    assert trees["demo.toml"] == pytest.approx(1000, rel=0.1)


def test_old_and_staged_blocks():
    old = load_plan(CONFIGS / "old_block.toml").blocks[0]
    assert old.leaf(0) == 25 and old.plan.trunk_area_at_start == 210 and old.plan.crop_at_start == 120
    assert all(group.money.planting_hours == 0 for group in old.groups)
    first, second = load_plan(CONFIGS / "two_stages.toml").blocks
    assert first.geometry.trees < second.geometry.trees and first.year_planted < second.year_planted
    assert first.leaf(first.year_planted) == 1


def test_defaults_are_listed_and_what_is_stated_is_not():
    plan = load_plan(changed(("block.irrigation_limit", "3 mm/day"), ("costs.wage", "31 USD/hour")))
    assert plan.costs.wage == 31 and plan.blocks[0].site.irrigation_limit == 3
    assert assumed(plan, "costs.wage") is None and assumed(plan, "block 1.irrigation_limit") is None
    trunk = assumed(plan, "rootstock.M.9.size")
    assert trunk is not None and trunk.status == "computed" and "[chart_stocks_a]" in trunk.source
    assert assumed(plan, "packing.bin_mass").value == pytest.approx(875 * 0.45359237)
    assert assumed(plan, "block 1.year_planted").value == 1
    keys = [each.key for each in plan.assumptions]
    assert len(keys) == len(set(keys))
    assert all(each.status in STATUSES and each.source for each in plan.assumptions)


def test_site_keys_hold_for_all_blocks_unless_a_block_says_otherwise():
    plan = load_plan(changed(("site.night_offset", "-2 °F"), ("site.irrigated", False), ("block.irrigated", True)))
    site = plan.blocks[0].site
    assert site.night_offset == pytest.approx(-10 / 9) and site.irrigated is True


def test_a_box_of_apples():
    # Fruit per box times mean fruit mass is the box: counts of the Washington State Department of Agriculture with a
    # box of 19.05 kg (Marini 2019, HortScience 54(11):1947: read); grams derived by division, in whole grams.
    plan = load_plan(changed())
    published = {72: 265, 80: 238, 88: 216, 100: 191, 113: 169, 125: 152, 138: 138, 150: 127, 163: 117}
    for count, grams in published.items():
        assert 1000 * plan.box_mass / count == pytest.approx(grams, abs=0.6)
    lighter = load_plan(changed(("packing", {"box_mass": "40 lb"})))
    assert 1000 * lighter.box_mass / 100 == pytest.approx(181, abs=0.5)
    assert load_plan(changed(("packing", {"bin_mass": "925 lb"}))).costs.bin_mass == pytest.approx(419.6, abs=0.05)


def test_one_entry_is_like_another():
    own = {"My stock": {"like": "M.9", "size": 1.2}, "Its child": {"like": "My stock", "union_strength": 0.7}}
    plan = load_plan(changed(("rootstock", own), ("block.rootstock", "Its child")))
    stock = plan.groups[0].stock
    base = load_plan(changed()).groups[0].stock
    assert (stock.size, stock.union_strength, stock.fire_blight) == (1.2, 0.7, base.fire_blight)
    assert assumed(plan, "rootstock.Its child.size") is None
    assert assumed(plan, "rootstock.Its child.fire_blight") is not None


def test_an_entry_may_be_overridden_in_place():
    plan = load_plan(changed(("cultivar", {"Gala": {"days_to_harvest": "130 day", "crop_load_target": [0, 3]}})))
    assert plan.groups[0].phenology.days_to_harvest == 130
    assert plan.groups[0].crop_load_target == (0.0, 3.0)
    plain = load_plan(changed()).groups[0].phenology
    assert plan.groups[0].phenology.chill_requirement == plain.chill_requirement


def test_a_cultivar_of_ones_own_sells_as_the_one_that_it_is_like():
    plan = load_plan(changed(("cultivar", {"Seedling 7": {"like": "Fuji"}}), ("block.cultivar", "Seedling 7")))
    assert plan.market.fruit["Seedling 7"].wholesale_extra_fancy == pytest.approx(
        load_plan(changed(("block.cultivar", "Fuji"))).market.fruit["Fuji"].wholesale_extra_fancy
    )


def test_an_outlet_without_limit():
    plan = load_plan(changed(("market", {"outlets": {"direct": {"volume": "unlimited"}}})))
    assert plan.market.outlets["direct"].volume == math.inf
    limited = load_plan(changed(("market", {"outlets": {"direct": {"volume": "100 box/year"}}})))
    assert limited.market.outlets["direct"].volume == pytest.approx(100 * 42 * 0.45359237)


def test_a_plan_can_be_sent_to_another_process():
    plan = load_plan(DEMO)
    assert pickle.loads(pickle.dumps(plan)) == plan


def test_a_whole_system_of_ones_own():
    system = {
        "height_limit": "2.4 m",
        "spread_limit": "1.2 m",
        "canopy_fill": 0.8,
        "feathers_kept": 0.5,
        "bending_angle": "90 degree",
        "pruning": [0.0, 0.1],
        "support": "stake",
        "training_minutes": "2 minute",
        "pruning_minutes": ["1 minute", "90 second"],
        "summer_pruning_minutes": "0 minute",
    }
    plan = load_plan(changed(("training_system", {"mine": system}), ("block.training", "mine")))
    training = plan.blocks[0].plan.training
    assert training.pruning_minutes == (1.0, 1.5) and training.support == "stake"
    assert plan.money[0].support.stakes > 0 and not plan.money[0].support.wire


def test_row_groups_stand_side_by_side_under_their_own_labels():
    groups = [{"name": "a", "rows": 4, "rootstock": "B.9"}, {"name": "b", "rootstock": "G.41", "cultivar": "Fuji"}]
    block = load_plan(changed(("block.group", groups))).blocks[0]
    assert block.labels == ("north/a", "north/b") and [group.trees for group in block.groups] == [400, 1600]
    assert block.plan.layout.group == (0,) * 4 + (1,) * 16
    assert [(one.stock_name, one.cultivar_name) for one in block.groups] == [("B.9", "Gala"), ("G.41", "Fuji")]
    assert sum(group.money.geometry.planted_area for group in block.groups) == pytest.approx(
        block.geometry.planted_area
    )
    assert sum(group.money.geometry.gross_area for group in block.groups) == pytest.approx(block.geometry.gross_area)


def test_groups_alone_can_size_a_block():
    groups = [{"name": stock, "rows": 1, "rootstock": stock} for stock in ("B.9", "M.9 T337", "G.41")]
    block = load_plan(
        changed(
            ("block.group", groups),
            ("block.net_area", None),
            ("block.row_spacing", "12 ft"),
            ("block.tree_spacing", "4 ft"),
            ("block.row_length", "100 ft"),
        )
    ).blocks[0]
    assert block.geometry.trees == 3 * 25
    assert block.geometry.row_spacing == pytest.approx(12 * FOOT)


def test_pollinizer_rows_become_a_group_and_posts_do_not():
    rows = load_plan(changed(("block.pollinizer", [{"cultivar": "Granny Smith", "every_row": 5}]))).blocks[0]
    assert (
        rows.labels == ("north/Gala", "north/Granny Smith pollinizer")
        and sum(group.trees for group in rows.groups) == 2000
    )
    assert [group.rows for group in rows.groups] == [16, 4]
    posts = load_plan(changed(("block.pollinizer", [{"cultivar": "crab", "every_tree": 10}]))).blocks[0]
    assert posts.labels == ("north",) and posts.geometry.trees == 2000
    assert posts.pollinizers[0].trees == 200
    assert posts.groups[0].money.trees == 2200 and posts.groups[0].money.extra_trees == 200


def test_more_pollinizers_are_nearer():
    plans = [
        load_plan(changed(("block.pollinizer", [{"cultivar": "crab", "every_tree": step}]))) for step in (5, 10, 20, 40)
    ]
    distances = [plan.groups[0].pollen_distance for plan in plans]
    assert distances == sorted(distances) and distances[0] < 0.5 * distances[-1]


def test_pollen_by_hand():
    # One row of Gala between two of Granny Smith, 3.5 m apart, trees abreast: every Gala tree is 3.5 m from pollen.
    groups = [
        {"name": "w", "rows": 1, "cultivar": "Granny Smith"},
        {"name": "g", "rows": 1},
        {"name": "e", "rows": 1, "cultivar": "Granny Smith"},
    ]
    plan = load_plan(changed(("block.group", groups), ("block.net_area", None)))
    assert [group.pollen_distance for group in plan.groups] == pytest.approx([3.5, 3.5, 3.5])


def test_a_lone_cultivar_is_warned_about():
    plan = load_plan(changed())
    assert any("no pollen source" in warning and "40 m" in warning for warning in plan.warnings)
    assert plan.groups[0].pollen_distance == 40.0
    far = load_plan(changed(("site.pollen_nearby", "900 m")))
    assert far.groups[0].pollen_distance == 900.0
    # Jonagold, a triploid, gives Gala no pollen, but takes Gala's
    triploid = [{"name": "g", "rows": 10}, {"name": "j", "rows": 10, "cultivar": "Jonagold"}]
    gala, jonagold = (group.pollen_distance for group in load_plan(changed(("block.group", triploid))).groups)
    assert gala == 40 and jonagold != 40


def test_unthinned_and_by_leaf():
    assert load_plan(changed(("block.crop_load_target", "unthinned"))).groups[0].crop_load_target == (math.inf,)
    plan = load_plan(changed(("block.crop_load_target", ["0 /cm2", 2, "6 fruit/cm2"])))
    assert plan.groups[0].crop_load_target == (0.0, 2.0, 6.0)


def test_a_site_without_record():
    normals = {
        "temperature_min": {"value": [-9, -8, -4, 2, 8, 13, 16, 15, 11, 5, 1, -5], "unit": "degC"},
        "temperature_max": {"value": [32, 34, 43, 55, 68, 77, 82, 81, 72, 59, 46, 36], "unit": "degF"},
        "rain": [f"{inches} in" for inches in (2, 2, 3, 3, 3, 4, 4, 3, 4, 3, 3, 2)],
        "year_to_year_sd": "2 degC",
    }
    weather = load_plan(changed(("weather", {"normals": normals, "warming": "1 °F"}))).weather
    assert weather.record is None and weather.normals.year_to_year_sd == 2.0
    assert weather.normals.temperature_max[0] == pytest.approx(0.0)
    assert weather.normals.rain[2] == pytest.approx(76.2)
    assert weather.warming == pytest.approx((5 / 9,) * 12)


def test_where_a_record_is_looked_for(tmp_path):
    (tmp_path / "station.csv").write_text("not read here")
    (tmp_path / "plan.toml").write_text(DEMO.read_text().replace('"bundled cool"', '"station.csv"'))
    plan = load_plan(tmp_path / "plan.toml")
    assert plan.weather.record == tmp_path / "station.csv"
    other = load_plan(DEMO).with_record(tmp_path / "station.csv")
    assert other.weather.record == tmp_path / "station.csv" and other.hash == plan.hash
    with pytest.raises(InputError, match="no such file"):
        plan.with_record(tmp_path / "none.csv")


def test_the_hash_follows_what_a_run_depends_on(tmp_path):
    plain = load_plan(changed())
    assert plain.hash == load_plan(changed()).hash and len(plain.hash) == 64
    # Names for the reader, display units, order of keys, and where the record lies change nothing.
    assert load_plan(changed(("title", "another"), ("units", "us"), ("site.name", "elsewhere"))).hash == plain.hash
    assert load_plan(dict(reversed(changed().items()))).hash == plain.hash
    copy = tmp_path / "copy.dly.gz"
    shutil.copy(plain.weather.record, copy)
    assert load_plan(changed(("weather.record", str(copy)))).hash == plain.hash
    # Anything else does.
    for change in (
        ("block.tree_spacing", "1.01 m"),
        ("block.rootstock", "G.41"),
        ("costs.wage", "31 USD/hour"),
        ("site.latitude", "35 degree"),
        ("weather.run_length", "4 year"),
        ("block.name", "south"),
        ("physiology", {"extinction": 0.55}),
        ("hazards", {"frailty": 0.5}),
        ("crews", [{"workers": 3}]),
        ("packing", {"bin_mass": "800 lb"}),
    ):
        assert load_plan(changed(change)).hash != plain.hash, change
    assert load_plan(changed(("currency", "EUR"), ("usd_rate", 1.0))).hash != plain.hash


def test_catalogue_money_comes_into_the_plan_s_currency():
    """What is not stated is worth the same at the rate; what is stated stays."""
    euro = ("currency", "EUR")
    with pytest.raises(InputError, match=r"usd_rate: missing; .* how many EUR buy one"):
        load_plan(changed(euro, ("costs", {})))
    stated = ("costs", {"packing": "0.5 EUR/kg"})
    dollars, euros = load_plan(changed(("costs", {}))), load_plan(changed(euro, ("usd_rate", 0.5), stated))
    assert euros.costs.overhead_area == pytest.approx(0.5 * dollars.costs.overhead_area)
    assert euros.costs.packing == 0.5
    source = next(one.source for one in euros.assumptions if one.key == "costs.overhead_area")
    assert source.endswith("times 0.5 by the plan's usd_rate")
    assert any("usd_rate = 2 is not used" in one for one in load_plan(changed(("usd_rate", 2.0))).warnings)


def test_no_credit_and_no_stated_credit_line_differ():
    assert math.isinf(load_plan(changed()).finance.credit_line)
    assert load_plan(changed(("finance", {"credit_line": "0 USD"}))).finance.credit_line == 0.0


def test_the_hash_does_not_hang_on_the_process():
    code = f"from orchardsim.plan import load_plan; print(load_plan({str(DEMO)!r}).hash)"
    found = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONHASHSEED": "7", "PYTHONPATH": str(CONFIGS.parent)},
    )
    assert found.stdout == load_plan(DEMO).hash + "\n"
