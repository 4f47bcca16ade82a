"""Shape, room, leaf and light of one tree against hand values and limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.trees import canopy


@given(value=st.floats(0, 50), limit=st.floats(0.1, 50))
def test_soft_minimum_stays_below_both_and_meets_each_at_its_end(value, limit):
    found = canopy.soft_minimum(value, limit)
    assert 0 <= found <= min(value, limit) * 1.0001
    assert canopy.soft_minimum(limit / 10, limit) == pytest.approx(limit / 10, rel=1e-4)
    assert canopy.soft_minimum(limit * 10, limit) == pytest.approx(limit, rel=1e-4)


def test_height_and_spread_of_the_published_trees():
    # Autio et al. 2017, J. Amer. Pomol. Soc. 71:149: M.9-class trees of 10 cm2 are 2.56 m tall and 1.43 m wide (B.10),
    # a semi-standard stock of 33.9 cm2 3.66 and 2.22 m; lines of the allometry script, within a tenth.
    for trunk, height, spread in ((10.0, 2.56, 1.43), (33.9, 3.66, 2.22), (6.5, 2.16, 1.10)):
        assert canopy.size_of_trunk(trunk, 1.314, 0.298) == pytest.approx(height, rel=0.1)
        assert canopy.size_of_trunk(trunk, 0.517, 0.435) == pytest.approx(spread, rel=0.1)


@given(size=st.floats(0.01, 30), other=st.floats(0.01, 30))
def test_what_one_tree_wins_its_neighbour_loses(size, other):
    won, lost = canopy.room_won(size, other, 0.35), canopy.room_won(other, size, 0.35)
    assert won == pytest.approx(-lost, abs=1e-6)
    assert abs(won) <= 0.35 * 1.0001
    assert canopy.room_won(size, 0.0, 0.35) == pytest.approx(0.35)
    assert canopy.room_won(0.0, 0.0, 0.35) == 0


def test_shadow_of_a_crown_by_hand():
    # a crown 2 m across and along: its base pi m2; 3 m tall, three quarters as wide as its base on average, shadows as
    # long as it is high: 0.75 x 3 x 2 = 4.5 m2 more
    assert canopy.shadow_area(2.0, 2.0, 3.0, 0.75, 1.0) == pytest.approx(np.pi + 4.5, rel=1e-5)


def test_few_shadows_reach_their_own_area_and_many_all_of_the_land():
    # discs strewn at random over land cover 1 - exp(-their area / land) of it (Poisson)
    assert canopy.shadow_reach(0.01, 10.0, 1.0) == pytest.approx(0.001, rel=1e-2)
    assert canopy.shadow_reach(10.0, 10.0, 1.0) == pytest.approx(1 - np.exp(-1), rel=1e-5)
    assert canopy.shadow_reach(1e3, 10.0, 1.0) == pytest.approx(1)


@given(leaf=st.floats(0, 100), land=st.floats(0.5, 40))
def test_interception_has_the_limits_of_jackson(leaf, land):
    # Jackson 1981, Acta Horticulturae 114: thin leaf stops k L, thick leaf all of the land that shadows reach.
    stopped = canopy.light_stopped(leaf, land, 0.6)
    assert 0 <= stopped <= min(land, 0.6 * leaf) * 1.0001 + 1e-6
    assert canopy.light_stopped(1e-2 * land, land, 0.6) == pytest.approx(0.6e-2 * land, rel=1e-2)


def test_a_leaf_area_index_of_one_stops_nearly_half_of_the_light():
    # M.9 in leaf 4 at 3,226 per ha: leaf area index 1.0, about 45 % of the light (ishs.org/ishs-article/451_49).
    assert canopy.light_stopped(1.0, 1.0, 0.6) == pytest.approx(0.45, abs=0.01)


@given(shoots=st.floats(0, 3), spurs=st.floats(0.01, 3), more=st.floats(0.1, 2))
def test_shoots_and_spurs_shade_the_spurs(shoots, spurs, more):
    light = canopy.spur_light(shoots, spurs)
    assert 0 < light <= 1.001
    assert canopy.spur_light(shoots + more, spurs) < light
    assert canopy.spur_light(shoots, spurs + more) < light
    # the mean of exp(-x) over x from 0 to 1 is 1 - 1/e
    assert canopy.spur_light(0.0, 1.0) == pytest.approx(1 - np.exp(-1), rel=1e-5)
