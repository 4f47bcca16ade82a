"""Formulas of growth, bearing, fruit and grade against hand values, limits and published forms."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from orchardsim.core.labels import BOX_COUNTS
from orchardsim.core.units import POUND
from orchardsim.trees import bearing, canopy, fruit, grading, growth
from orchardsim.trees.training import table_by_leaf, training_faults

positive = st.floats(1e-3, 1e3)
share = st.floats(0, 0.95)
SINGLE = 2e-5
"""Relative error that single precision is allowed over a formula."""


def one(value):
    return np.array([value], dtype=float)


def number(array):
    return array.item()


@given(demand=positive, supply=positive, curvature=share)
def test_two_limits_solves_its_quadratic_and_stays_below_both(demand, supply, curvature):
    y = growth.two_limits(demand, supply, curvature)
    assert 0 <= y <= min(demand, supply) * (1 + SINGLE)
    rest = curvature * y**2 - (demand + supply) * y + demand * supply
    assert abs(rest) <= 1e-3 * demand * supply


@given(demand=positive, supply=positive, more=st.floats(1.01, 3), curvature=share)
def test_two_limits_rises_with_either(demand, supply, more, curvature):
    taken = growth.two_limits(demand, supply, curvature)
    assert growth.two_limits(demand * more, supply, curvature) >= taken * (1 - 1e-4)
    assert growth.two_limits(demand, supply * more, curvature) >= taken * (1 - 1e-4)


def test_fruit_mass_on_the_soft_limit_is_the_published_curve():
    # Honeycrisp 300, 175 and 150 g at 0, 7 and 10 fruit per cm2 (Robinson et al.) lie on 300 / (1 + load / 9.8): the
    # limit with curvature 0 of a demand 300 load and a supply of 300 x 9.8.
    for load, grams in ((7, 175), (10, 150)):
        assert growth.two_limits(300.0 * load, 300 * 9.8, 0.0) / load == pytest.approx(grams, rel=0.02)


def test_competition_saturates_in_leaf_area_index():
    left = [growth.competition(index, 0.3, 0.4) for index in (0.0, 0.4, 1.0, 50.0)]
    assert left[0] == pytest.approx(1, rel=SINGLE) and left[-1] == pytest.approx(0.7, rel=1e-5)
    # 1 - 1/e of what a full stand takes is gone at the half index
    assert left[1] == pytest.approx(0.7 + 0.3 * np.exp(-1), rel=SINGLE)
    assert left == sorted(left, reverse=True)


@given(drive=st.floats(0, 20), load=st.floats(0, 30), more=st.floats(0.1, 20))
def test_shoots_take_a_share_that_a_crop_calms(drive, load, more):
    taken = growth.shoot_share(drive, load, 20.0)
    assert 0 <= taken < 1
    assert growth.shoot_share(drive, load + more, 20.0) <= taken + 1e-6
    assert growth.shoot_share(drive + more, load, 20.0) > taken
    assert growth.shoot_share(1.0, 0.0, 20.0) == pytest.approx(0.5)


def test_shoots_answer_the_ground():
    # by hand: habit 2 on a site of level 4
    assert growth.shoot_drive(2.0, 4.0, 1.0, 0.3, 0.0, 3.0) == pytest.approx(4, rel=1e-4)


def test_shoots_answer_leaf_that_finds_no_room():
    # by hand: a canopy that holds a fourth of what its roots could feed, power 1/2
    assert growth.shoot_drive(1.0, 1.0, 4.0, 0.5, 0.0, 3.0) == pytest.approx(2, rel=1e-4)


def test_shoots_answer_the_winter_cut():
    # by hand: a fifth cut, three times its share added to the pull
    assert growth.shoot_drive(1.0, 1.0, 1.0, 0.5, 0.2, 3.0) == pytest.approx(1.6, rel=1e-4)


@given(light=st.floats(0.02, 0.6), more=st.floats(0.01, 0.4), half=st.floats(0.1, 1))
def test_well_lit_leaf_uses_light_less_well_but_fixes_more(light, more, half):
    # as photosynthesis of a leaf over light: ever less per unit, never less in all (any saturating light response)
    assert canopy.light_use(light + more, half) < canopy.light_use(light, half)
    assert (light + more) * canopy.light_use(light + more, half) > light * canopy.light_use(light, half)
    # half saturated at the half: twice that light brings 4/3 of the dry matter
    assert 2 * canopy.light_use(2 * half, half) == pytest.approx(4 / 3 * canopy.light_use(half, half), rel=SINGLE)


def test_trunk_growth_slows_as_the_room_is_full():
    free = growth.trunk_wanted(50.0, 1.0, 2.0, 0.7)
    assert free == pytest.approx(2 * 50**0.7, rel=1e-4)
    # the same canopy on a trunk four times as thick thickens half as much
    assert growth.trunk_wanted(50.0, np.sqrt(0.25), 2.0, 0.7) == pytest.approx(free / 2, rel=1e-4)
    assert growth.trunk_wanted(0.0, 0.0, 2.0, 0.7) == 0


def test_wood_mass_of_a_trunk():
    assert growth.wood_mass(1.0, 0.08, 1.2) == pytest.approx(0.08, rel=1e-5)
    assert growth.wood_mass(100.0, 0.08, 1.2) == pytest.approx(0.08 * 10**2.4, rel=1e-4)


def test_biennial_index_of_hoblyn():
    # Hoblyn et al. 1936 (form in Jackson 2003): mean of |a - b| / (a + b): crops 3, 1, 3 give (2/4 + 2/4) / 2 = 0.5;
    # 5, 0, 5 give 1; equal crops 0.
    def index(crops):
        pairs = zip(crops[1:], crops[:-1], strict=True)
        return np.mean([bearing.alternation(float(a), float(b)) for a, b in pairs])

    assert index([3, 1, 3]) == pytest.approx(0.5)
    assert index([5, 0, 5]) == pytest.approx(1)
    assert index([4, 4, 4]) == 0


@given(load=st.floats(0, 40), more=st.floats(0.1, 10), half=st.floats(2, 12), width=st.floats(0.2, 3))
def test_return_bloom_falls_with_crop_to_nothing(load, more, half, width):
    def bloom(x):
        return bearing.tree_term(x, half, width)

    assert 0 <= bloom(load + more) <= bloom(load) + 1e-6 <= 1 + 1e-5
    assert bloom(0.0) == pytest.approx(1, abs=1e-6)
    assert bloom(half) == pytest.approx((1 + np.exp(-half / width)) / 2, rel=1e-4)
    assert bloom(half + 12 * width) < 1e-4


def test_spurs_with_a_fruit_bloom_less():
    assert bearing.spur_term(0.0, 50.0, 0.6) == 1
    assert bearing.spur_term(25.0, 50.0, 0.6) == pytest.approx(0.7)
    assert bearing.spur_term(80.0, 50.0, 0.6) == pytest.approx(0.4)


def test_shade_takes_flower_buds_below_a_third_of_full_light():
    # Wood needs about 30 % of full sun to flower (Jackson 2003, Biology of Apples and Pears).
    assert bearing.shade_term(0.3, 0.3) == pytest.approx(0.5)
    assert bearing.shade_term(0.6, 0.3) > 0.98
    assert bearing.shade_term(0.15, 0.3) < 0.02


def test_pollination_limits():
    def at(hours, distance, overlap=1.0, own=0.0):
        unit = one(1.0)
        return number(bearing.pollination(hours * unit, 4.0, distance * unit, 80.0, overlap * unit, own * unit))

    assert at(0, 5) == 0
    assert at(20, 5) > at(20, 50) > at(20, 500)
    assert at(20, 5, overlap=0.2) < at(20, 5, overlap=0.9)
    # a self-fruitful tree sets without a neighbour
    assert at(1e9, 1e5, own=1.0) == pytest.approx(1)


@given(fruitlets=positive, keeping=positive)
def test_drop_keeps_less_than_was_set_and_less_than_can_be_fed(fruitlets, keeping):
    kept = bearing.kept_after_drop(fruitlets, keeping)
    assert kept <= min(fruitlets, keeping) * (1 + SINGLE)


def test_size_shares_follow_the_normal_distribution():
    # The logistic with slope 1.702 is within 0.0095 of the normal everywhere (Bowling et al. 2009, J. Industrial
    # Engineering and Management 2:114).
    mean = np.linspace(0.05, 0.35, 61)
    ours = np.array([fruit.share_above(each, 0.2, 0.03) for each in mean])
    assert np.abs(ours - norm.sf(0.2, mean, 0.03)).max() < 0.0096


def test_box_counts_of_a_bushel_box():
    # Box counts as graders list them, 72 to 163 (Washington State Department of Agriculture), over a box of 19.05 kg
    # (42 lb; Marini 2019, HortScience 54:1947): grams per fruit, derived by division. Even fruit packs into its own.
    grams = {72: 265, 80: 238, 88: 216, 100: 190, 113: 169, 125: 152, 138: 138, 150: 127, 163: 117}
    for count, mass in grams.items():
        shares = fruit.box_count_shares(np.array(mass / 1000), np.array(0.001))
        assert shares[BOX_COUNTS.index(str(count))] > 0.999
        assert shares.sum() == pytest.approx(1)
    # A 40 lb box holds 5 % smaller fruit at the same count, so fruit of 197 g (nearest: 190 g) goes to 88 (206 g).
    for pounds, count in ((42, "100"), (40, "88")):
        shares = fruit.box_count_shares(np.array(0.197), np.array(0.001), pounds * POUND)
        assert BOX_COUNTS[shares.argmax()] == count
    beyond = [fruit.box_count_shares(np.array(mass), np.array(0.001)) for mass in (0.40, 0.09)]
    assert beyond[0][0] > 0.999 and beyond[1][-1] > 0.999


def test_box_counts_are_shares_of_mass_and_leave_small_fruit_out():
    # One fruit in two of 0.15 kg and 0.25 kg: 0.375 and 0.625 of the mass (arithmetic); drawn fruit for the spread.
    rng = np.random.default_rng(3)
    drawn = rng.normal(0.17, 0.03, 400_000)
    least = 0.109
    edges = [np.inf, *fruit.box_count_edges(), least]
    kept = drawn[drawn >= least]
    exact = (
        np.array([kept[(kept < high) & (kept >= low)].sum() for high, low in itertools.pairwise(edges)]) / kept.sum()
    )
    ours = fruit.box_count_shares(np.array(0.17), np.array(0.03), least=least)
    # standard error of a share of 400,000 draws is at most 0.0008; five of them
    assert np.abs(ours - exact).max() < 0.004
    with_small = fruit.box_count_shares(np.array(0.17), np.array(0.03))
    assert with_small[-1] > ours[-1]


def test_box_counts_of_trees_that_differ():
    # The fruit of many trees is taken as one normal distribution: against the sum over the trees.
    rng = np.random.default_rng(4)
    means, numbers = rng.normal(0.18, 0.02, 300), rng.integers(20, 200, 300)
    spread = 0.025
    single = fruit.box_count_shares(means, np.full(300, spread))
    exact = (single * (means * numbers)[:, None]).sum(0) / (means * numbers).sum()
    mass, mass_square = (means * numbers).sum(), (means**2 * numbers).sum()
    between = fruit.size_spread(mass, numbers.sum(), mass_square)
    assert between == pytest.approx(np.sqrt(np.cov(means, fweights=numbers, ddof=0)), rel=1e-6)
    ours = fruit.box_count_shares(mass / numbers.sum(), np.hypot(between, spread))
    assert np.abs(ours - exact).max() < 0.02


@given(
    st.floats(0.0, 0.5, allow_nan=False), st.floats(0.005, 0.1), st.floats(10, 25), st.sampled_from([0.0, 0.06, 0.2])
)
def test_box_counts_always_add_up_and_follow_size(mean, spread, box_mass, least):
    shares = fruit.box_count_shares(np.array([mean, mean + 0.02]), np.array([spread, spread]), box_mass, least)
    assert (shares >= 0).all()
    assert shares.sum(-1) == pytest.approx(1, abs=1e-9)
    larger_than = shares.cumsum(-1)
    assert (larger_than[1] >= larger_than[0] - 1e-6).all()


def test_early_heat_is_best_where_marini_found_it():
    # Marini 2017, Acta Horticulturae 1177: largest fruit near 675 (read; base not stated) degree days in 60 days.
    heat = np.linspace(300, 1200, 91)
    best = heat[fruit.early_heat_effect(heat, 675, 0.3).argmax()]
    assert best == pytest.approx(675, abs=10)


def test_picking_passes_share_the_whole_crop():
    for picks in range(1, 7):
        shares = fruit.pass_shares(picks)
        assert len(shares) == picks and sum(shares) == pytest.approx(1)
    # the middle third of a normal within half a standard deviation of the mean: 0.3829 (any normal table)
    assert fruit.pass_shares(3)[1] == pytest.approx(0.3829, abs=1e-4)


@given(light=st.floats(0.1, 1), load=st.floats(0, 15), need=st.floats(0.1, 1))
def test_colour_falls_with_shade_and_crop_and_green_cultivars_need_none(light, load, need):
    def coloured(l, c, n):  # noqa: E741
        return grading.colour_share(l, c, n, 0.35, 0.006, 12.0)

    assert coloured(light, load, need) >= coloured(light * 0.8, load, need)
    assert coloured(light, load, need) >= coloured(light, load + 2, need)
    assert coloured(light, load, 0.0) == 1


def test_bitter_pit_falls_with_crop():
    pitted = [grading.bitter_pit_share(load, 1.0, 0.4, 4.0) for load in (0.5, 3.0, 8.0)]
    assert pitted == sorted(pitted, reverse=True)


def test_table_by_leaf_holds_its_last_value():
    table = table_by_leaf((1.0, 0.5, 0.0))
    assert table[[0, 1, 2, 3, 40]].tolist() == [0, 1, 0.5, 0, 0]


def test_training_faults_are_named():
    from tests.trees.blocks import training

    assert training_faults(training("tall_spindle")) == ()
    bent = training("tall_spindle", training_minutes=(0.0,))
    assert any("bending" in fault for fault in training_faults(bent))
    none = training("tall_spindle", support="none", support_leaf=2)
    assert any("support" in fault for fault in training_faults(none))
