"""The biological year against the standard library's calendar, and the wording of name suggestions."""

from __future__ import annotations

import datetime

import pytest

from orchardsim.core import labels, variables
from orchardsim.core.calendar import MONTH_DAYS, WINDOW_DAYS, date_text, day_of_year
from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.ledger_items import ITEM


@pytest.mark.parametrize(
    ("latitude", "start"), [(45.0, datetime.date(2001, 10, 1)), (-40.0, datetime.date(2001, 4, 1))]
)
def test_days_of_the_season_window_follow_the_calendar(latitude, start):
    for day in range(WINDOW_DAYS):
        date = start + datetime.timedelta(days=day)  # 2001 and 2002 have no leap day
        assert day_of_year(day, latitude) == date.timetuple().tm_yday
        assert date_text(day, latitude) == f"{date.day} {date:%b}"


def test_months_make_a_year():
    assert sum(MONTH_DAYS) == 365 and len(MONTH_DAYS) == 12


def test_nearest_names_are_offered_whatever_the_case():
    assert "Honeycrisp" in nearest_names("honeycrips", ["Gala", "Honeycrisp", "Fuji"])
    assert nearest_names("zzz", ["b", "a"]) == "allowed: 'a', 'b'"


def test_an_input_error_is_one_line():
    assert "\n" not in str(InputError("plan.toml: site.latitude", "found 99,\n  allowed -66 to 66"))


def test_the_variable_table_uses_known_dims_only():
    known = {"trial", "year", "quarter", "block", "cause", "grade", "task", "ledger_item", "box_count", "outlet"}
    known |= {"tree_trial", "tree"}
    for row in variables.RESULTS.values():
        assert set(row.dims) <= known, row.name
        assert row.low is None or row.high is None or row.low < row.high


def test_labels_are_unique():
    for names in (labels.CAUSES, labels.GRADES, labels.TASKS, tuple(ITEM)):
        assert len(set(names)) == len(names)
