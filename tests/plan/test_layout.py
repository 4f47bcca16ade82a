"""Planting geometry: whole rows inside headlands."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from orchardsim.core.units import ACRE, FOOT
from orchardsim.plan.layout import lay_out, rows_of_groups, trees_per_area

spacing = st.floats(0.3, 12)


@pytest.mark.parametrize(("tree_feet", "row_feet", "trees"), [(3, 12, 1210.0), (20, 20, 108.9), (4, 14, 777.857142857)])
def test_trees_per_acre_of_the_usual_spacings(tree_feet, row_feet, trees):
    # 43,560 square feet per acre over the land of one tree; growers round to 1,200 and 100 (common practice, no
    # source).
    assert trees_per_area(row_feet * FOOT, tree_feet * FOOT, ACRE) == pytest.approx(trees, rel=1e-9)


def test_a_published_trials_density():
    # Autio et al. 2017, J. Amer. Pomol. Soc. 71(3):149-166: 4 x 12 ft is 908 trees/ac, 2,242 trees/ha (whole trees).
    assert trees_per_area(12 * FOOT, 4 * FOOT, ACRE) == pytest.approx(908, abs=0.5 + 1e-9)
    assert trees_per_area(12 * FOOT, 4 * FOOT) == pytest.approx(2242, abs=0.5 + 1e-9)


def test_four_hectares_in_rows_of_two_hundred():
    # 57 rows of 200 at 1.0 x 3.5 m take 39,900 m2; a 58th would need 40,600 m2.
    geometry = lay_out(3.5, 1.0, net_area=40_000, row_length=200)
    assert (geometry.rows, geometry.trees_per_row, geometry.trees) == (57, 200, 11_400)
    assert geometry.planted_area == pytest.approx(39_900)
    assert geometry.gross_area == pytest.approx(57 * 3.5 * (200 + 2 * geometry.headland))


def test_gross_area_leaves_headlands():
    # 42 m x 98 m with 7 m at each end: 12 rows of 84 at 1.0 x 3.5 m.
    geometry = lay_out(3.5, 1.0, gross_area=42 * 98, row_length=84, headland=7)
    assert (geometry.rows, geometry.trees_per_row) == (12, 84)
    assert geometry.gross_area == pytest.approx(42 * 98)


@given(spacing, spacing, st.floats(50, 1e6), st.floats(0, 15))
def test_net_area_is_never_exceeded_and_never_left_for_a_row(row, tree, area, headland):
    assume(area > 4 * row * tree and math.sqrt(area) > 2 * tree)
    geometry = lay_out(row, tree, net_area=area, headland=headland)
    assert geometry.planted_area <= area * (1 + 1e-6)
    assert geometry.trees == geometry.rows * geometry.trees_per_row
    assert geometry.planted_area + geometry.trees_per_row * row * tree > area * (1 - 1e-6)


@given(spacing, spacing, st.floats(500, 1e6), st.floats(0, 6), st.floats(20, 200))
def test_gross_area_is_never_exceeded(row, tree, area, headland, length):
    assume(area / (length + 2 * headland) > row and length > tree)
    geometry = lay_out(row, tree, gross_area=area, row_length=length, headland=headland)
    assert geometry.gross_area <= area * (1 + 1e-6)
    assert geometry.row_length <= length * (1 + 1e-6) < geometry.row_length + tree + 1e-6


@given(spacing, spacing, st.integers(1, 20_000))
def test_a_number_of_trees_is_kept_exactly(row, tree, trees):
    geometry = lay_out(row, tree, trees=trees)
    assert geometry.trees == trees
    assert 0 <= geometry.rows * geometry.trees_per_row - trees < geometry.trees_per_row


@given(spacing, spacing, st.floats(1_000, 1e5), st.floats(1, 3), st.floats(30, 150))
def test_more_land_never_holds_fewer_trees(row, tree, area, factor, length):
    assume(length > tree and area > row * length)
    small = lay_out(row, tree, net_area=area, row_length=length)
    assert lay_out(row, tree, net_area=area * factor, row_length=length).trees >= small.trees


def test_more_trees_than_the_area_holds():
    with pytest.raises(ValueError, match="at most 11400"):
        lay_out(3.5, 1.0, net_area=40_000, row_length=200, trees=11_401)
    assert lay_out(3.5, 1.0, net_area=40_000, row_length=200, trees=11_399).trees == 11_399


@pytest.mark.parametrize("size", [{"net_area": 3.0}, {"gross_area": 100.0}, {"trees": 5, "row_length": 0.5}, {}])
def test_land_that_holds_no_tree(size):
    with pytest.raises(ValueError, match=r"allowed|needs"):
        lay_out(3.5, 1.0, **size)


def test_row_groups_make_up_the_block():
    assert rows_of_groups([4, None, 2], 10) == [4, 4, 2]
    for stated, rows in (([4, 4], 10), ([12], 10), ([None, None], 10), ([10, None], 10)):
        with pytest.raises(ValueError, match="rows"):
            rows_of_groups(stated, rows)
