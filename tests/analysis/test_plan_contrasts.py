"""What is told to differ between plans, and the shipped pairs: plant or not, keep or replace."""

from __future__ import annotations

import pytest

import orchardsim
from orchardsim.analysis.compare import compare
from orchardsim.analysis.plan_contrasts import contrasts
from orchardsim.report.compare.words import comparison_sentences, contrast_lines, formats_of, plan_tables
from tests.simulation.small_plan import CONFIGS, SMALL, small_plan


def told(*plans):
    return {one.name: one.values for one in contrasts(plans)}


def test_equal_plans_differ_in_nothing():
    assert told(small_plan(), small_plan(title="another title")) == {}


def test_single_keys_are_told_in_the_plans_units():
    found = told(
        small_plan(), small_plan(costs={"wage": "30 USD/hour"}, site={**SMALL["site"], "night_offset": "-2 K"})
    )
    assert found["costs.wage"][1] == "30 USD/hour"
    assert found["site.night_offset"] == ("0 °C (a difference)", "-2 °C (a difference)")
    assert "costs.wage_picking" not in found or found["costs.wage_picking"][0] != found["costs.wage_picking"][1]
    assert "spacing" not in found


def test_trees_and_land_are_told_by_their_names():
    wide = small_plan(block=[{**SMALL["block"][0], "tree_spacing": "2.0 m", "training": "vertical_axis"}])
    found = told(small_plan(), wide)
    assert found["training"] == ("tall_spindle", "vertical_axis")
    assert found["spacing"] == ("1.0 m x 3.5 m", "2.0 m x 3.5 m")


def test_the_fair_pair_differs_in_what_is_asked_alone():
    """Keep or replace: one cultivar, removal paid, replant ground counted, the old trees the same; money as it is."""
    plans = [orchardsim.load_plan(CONFIGS / f"{name}_old_block.toml") for name in ("keep", "replace")]
    found = told(*plans)
    assert set(found) == {
        "blocks", "planted", "rootstocks", "training", "nursery trees", "spacing", "old orchard cleared",
        "replant ground",
    }  # fmt: skip
    assert found["old orchard cleared"] == ("no", "yes")
    # Land that passes from the old trees to the new ones counts once.
    assert plans[1].gross_area == pytest.approx(plans[0].gross_area, rel=0.02)
    both = compare(plans, trials=4, years=4)
    assert both.deciding == "npv" and both.pairs[0].same_trees == ("old_trees",)
    assert not any("without paying" in note for note in both.notes)


def test_the_unfair_pair_is_told():
    plans = [orchardsim.load_plan(CONFIGS / f"{name}.toml") for name in ("demo", "old_block")]
    both = compare(plans, trials=4, years=4)
    assert any("keep_old_block.toml" in note and "without paying" in note for note in both.notes)
    lines = contrast_lines(both)
    assert any(line.startswith("cultivars: A Gala, Honeycrisp; B Gala, Red Delicious") for line in lines)


def test_planting_or_not_is_told_in_money_of_the_whole_farm():
    """A standing block with and without a new one: less land, one farm; the whole farm's money stands first."""
    standing = {**SMALL["block"][0], "name": "standing", "year_planted": -8}
    without = small_plan(block=[standing])
    both = compare([small_plan(block=[standing, SMALL["block"][0]]), without], trials=4, years=6)
    assert both.deciding == "npv"
    assert next(iter(plan_tables(both, formats_of(both)))) == "Money of the whole farm"
    assert any("idle_land" in note for note in both.notes)
    assert any(("owes" in line or "borrow" in line) and "/" not in line for line in comparison_sentences(both))
