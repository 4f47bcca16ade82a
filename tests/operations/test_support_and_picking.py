"""Supports counted by hand, and picking passes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from orchardsim.core.support import SupportDesign, bill_of_materials
from orchardsim.core.units import ACRE, FOOT
from orchardsim.operations.crews import Job
from orchardsim.operations.parameters import SupportRates
from orchardsim.operations.picking import pass_days, picking_jobs
from orchardsim.operations.support import support_hours


def test_bill_of_an_acre() -> None:
    """An acre at 12 ft rows has 3,630 row feet, 110 posts at 33 ft, wire 3,630 ft times n (arithmetic).

    As 10 rows of 363 ft: 11 spans each, so 10 line posts a row between two end posts.
    """
    assert pytest.approx(3630 * FOOT) == ACRE / (12 * FOOT)
    bill = bill_of_materials(SupportDesign(post_spacing=33 * FOOT, wires=5), 10, 363 * FOOT, 1210)
    assert bill.line_posts == 100
    assert bill.end_posts == 20
    assert bill.wire == pytest.approx(5 * 3630 * FOOT)
    assert bill.line_posts + bill.end_posts / 2 == 110


def test_hours_by_hand() -> None:
    """One row of 475 ft with the published times of Fraser & Oakes (1999), Compact Fruit Tree 32(3).

    2 end posts x 6 + 13 line posts x 4 + 2 screw anchors x 3 + 2 braces x 15 + 1 wire x 2 people x 30
    + 158 trees x (2 + 1/3 clip + 2 x 1/3 ties) minutes = 634 minutes.
    """
    design = SupportDesign(post_spacing=475 * FOOT / 14, wires=1, braces_per_row=2, ties_per_tree=2)
    bill = bill_of_materials(design, 1, 475 * FOOT, 158)
    assert support_hours(bill, SupportRates()) == pytest.approx((12 + 52 + 6 + 30 + 60 + 158 * 3) / 60)


def test_nothing_or_little_to_build() -> None:
    """No rows or free-standing trees: no hours. A stake of 2 min and two ties of 20 s at each of 30 trees: 80 min."""
    assert support_hours(bill_of_materials(SupportDesign(), 0, 0.0, 0), SupportRates()) == 0
    assert support_hours(bill_of_materials(SupportDesign(), 5, 50.0, 30, "none"), SupportRates()) == 0
    stakes = bill_of_materials(SupportDesign(), 5, 50.0, 30, "stake")
    assert support_hours(stakes, SupportRates()) == pytest.approx(80 / 60)


@given(st.floats(1, 20), st.lists(st.floats(0.05, 1), min_size=1, max_size=5))
def test_each_pass_comes_at_the_median_of_its_fruit(spread: float, weights: list[float]) -> None:
    """Normal ripeness: the share ripe by a pass's day is all earlier shares and half its own (scipy.stats.norm)."""
    shares = [weight / sum(weights) for weight in weights]
    days = pass_days(340.0, spread, shares)
    before = 0.0
    for share, day in zip(shares, days, strict=True):
        assert stats.norm.cdf(day, 340.0, spread) == pytest.approx(before + share / 2, abs=2e-6)
        before += share
    assert days == sorted(days)


def test_picking_hours_and_windows() -> None:
    """1,140 kg at 114 kg an hour are ten hours; an empty pass asks for nobody."""
    jobs = picking_jobs("a", [1140.0, 0.0], [330.0, 334.0], 114.0)
    assert jobs == [Job("a", "picking", 10.0, 327.0, 340.0, 1), Job("a", "picking", 0.0, 332.0, 344.0, 1, 1)]
