"""Files of measurements: what is read, and the one line that bad input gets."""

from __future__ import annotations

import datetime
import math

import pytest

from orchardsim.core.errors import InputError
from orchardsim.plan import load_plan
from orchardsim.plan.measurements import parse_measurements, read_measurements, season_of, together

from .examples import CONFIGS

HEAD = "date,block,row,tree,measure,value,unit,tool,trees,cause\n"
PLAN = load_plan(CONFIGS / "first_row.toml")


def parsed(*lines):
    return parse_measurements(HEAD + "\n".join(lines) + "\n", PLAN, "m.csv")


def girths(values=(60, 62, 64), date="2019-11-18"):
    return [f"{date},first_row,1,{tree},trunk_girth,{value},mm,,," for tree, value in enumerate(values, start=1)]


def test_the_shipped_measurements_are_read_whole():
    found = read_measurements(CONFIGS / "first_row_measurements.csv", PLAN)
    assert len(found.rows) > 150 and not found.remarks
    assert {one.year for one in found.rows} == {-1, 0}


def test_a_girth_becomes_the_area_of_a_circle():
    # 10 cm around is 100 / (4 pi) cm2: geometry
    found = parsed(*girths((100, 100, 100)))
    assert found.rows[0].value == pytest.approx(100 / (4 * math.pi))


@pytest.mark.parametrize(
    ("date", "measure", "year", "after"),
    [
        ("2020-11-20", "trunk_girth", 0, True),
        ("2021-02-10", "trunk_girth", 0, True),
        ("2021-04-10", "trunk_girth", 1, False),
        ("2020-04-10", "flower_clusters", 0, False),
        ("2020-12-10", "fruit_mass", 0, True),
    ],
)
def test_leafless_trees_and_stored_fruit_tell_of_the_season_before(date, measure, year, after):
    found = season_of(datetime.date.fromisoformat(date), measure, 2020, 34.7)
    assert found[0] == year and (found[1] >= 365) == after


def test_rows_of_a_field_sheet_without_a_value_are_passed_over():
    found = parsed(*girths(), ",first_row,1,9,trunk_girth,,mm,tape,,")
    assert len(found.rows) == 3 and "passed over" in found.remarks[0]


def test_two_trees_are_too_few_and_said_so():
    found = parsed(*girths(), "2019-11-18,first_row,1,9,height,2.1,m,,,", "2019-11-18,first_row,1,10,height,2.2,m,,,")
    assert [one.measure for one in found.rows] == ["trunk_girth"] * 3
    assert "too few" in found.remarks[0]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (girths()[:2], "too few"),
        (["2019-11-18,first_row,1,3,trunk_girth,60,,,,"], "unit: missing"),
        (["2019-11-18,first_row,1,3,trunk_girth,60,kg,,,"], "unit"),
        (["2019-11-18,first_row,1,3,trunk_girth,6 cm,cm,,,"], "value"),
        (["2019-11-18,first_row,1,3,trunk_girth,6000,cm,,,"], "allowed 1.5 to 400"),
        (["2019-11-18,first_row,1,85,trunk_girth,60,mm,,,"], "trees 1 to 84"),
        (["2019-11-18,first_row,2,3,trunk_girth,60,mm,,,"], "rows 1 to 1"),
        (["2019-11-18,frist_row,1,3,trunk_girth,60,mm,,,"], "did you mean 'first_row'"),
        (["2019-11-18,first_row,1,3,trunk_grith,60,mm,,,"], "did you mean 'trunk_girth'"),
        (["2999-11-18,first_row,1,3,trunk_girth,60,mm,,,"], "a day to come"),
        (["2019-11-18,first_row,1,3,trunk_circumference,60,mm,,,"], "did you mean 'trunk_girth'?"),
        (['2019-11-18,first_row,1,3,trunk_girth,"4,9",cm,,,'], "a decimal comma; write a point: 4.9"),
        (["2019-11-18,first_row,1,3,trunk_girth,4,9,cm,,,"], "looks like a decimal comma: write 4.9"),
        (["2018-11-18,first_row,1,3,trunk_girth,60,mm,,,"], "before block first_row was planted"),
        (["18.11.2019,first_row,1,3,trunk_girth,60,mm,,,"], "year-month-day"),
        (["2019-11-18,first_row,1,3,trunk_girth,60,mm,pole,,"], "tape"),
        (["2019-11-18,first_row,1,3,trunk_girth,60,mm,,,voles"], "beside dead_trees only"),
        ([*girths(), *girths((60, 62, 50), "2020-11-18")], "trunks do not shrink"),
        ([*girths(), "2019-11-18,first_row,1,1,trunk_girth,61,mm,,,"], "another value"),
        ([*girths(), "2019-12-18,first_row,1,1,dead_trees,1,,,,voles", *girths((70,), "2020-11-18")], "is dead since"),
        (["2021-11-18,next_rows,1,3,trunk_girth,60,mm,,,"], "before block next_rows was planted"),
        (["2020-11-18,first_row,,,bloom_date,,,,,"], "allowed 2021-01-01 to 2021-07-31"),
        (["2020-04-08,first_row,,,bloom_date,99,,,,"], "the date is the value"),
        (["2020-08-01,first_row,1,3,fruit_count,12.5,,,,"], "whole numbers"),
        (["2020-08-01,first_row,,,fruit_count,12.5,,,85,"], "1 to 84, the trees of first_row"),
        (["2020-08-01,first_row,1,3,fruit_count,12,,,4,"], "none beside a tree's own number"),
        (["2020-08-01,first_row,,,dead_trees,85,,,,voles"], "allowed 0 to 84"),
        (["2020-06-08,first_row,1,3,fruit_set,5,,,,", "2020-08-01,first_row,1,3,fruit_count,50,,,,"], "after the drop"),
    ],
)  # fmt: skip
def test_bad_input_gets_one_line(lines, words):
    with pytest.raises(InputError) as caught:
        parsed(*lines)
    assert words in str(caught.value) and "\n" not in str(caught.value) and str(caught.value).startswith("m.csv")


@pytest.mark.parametrize(("mark", "name"), [(";", "semicolons"), ("\t", "tabs")])
def test_a_spreadsheet_with_other_separators_is_told(mark, name):
    with pytest.raises(InputError, match=f"parted by {name}, expected commas"):
        parse_measurements(HEAD.replace(",", mark), PLAN, "m.csv")


def test_reading_errors_are_no_shrinkage():
    parsed(*girths(), *girths((59, 61, 63), "2020-11-18"))


def test_a_plan_without_a_calendar_year_is_told():
    with pytest.raises(InputError, match="calendar_year: missing"):
        parse_measurements(HEAD + girths()[0], load_plan(CONFIGS / "demo.toml"), "m.csv")


def test_what_was_used_before_counts_once():
    before = parsed(*girths()).rows
    assert len(together(before, parsed(*girths()), "m.csv").rows) == 3
    assert len(together(before, parsed(*girths((80, 82, 84), "2020-11-18")), "m.csv").rows) == 6
    with pytest.raises(InputError, match="learned from already"):
        together(before, parsed(*girths((61, 62, 64))), "m.csv")
