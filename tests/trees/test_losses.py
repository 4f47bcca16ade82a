"""Losses: single hazards by hand, the phases against survival analysis and against themselves."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special, stats

from orchardsim.core.compiled import in_single_precision, vectorised
from orchardsim.core.draws import address
from orchardsim.core.streams import Streams
from orchardsim.trees.competing import CODE
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import (
    LossDraws,
    draw_losses,
)
from orchardsim.trees.loss_hazards import blight_lethality, cold_hazard, tree_hazards
from orchardsim.trees.loss_kernels import rest_kernel, season_kernel
from orchardsim.trees.loss_traits import (
    LossSeason,
    blight_level,
    loss_traits,
    rot_level,
    storm_factor,
    vole_factor,
)
from orchardsim.trees.losses import WornSoil, rest_losses, season_losses
from orchardsim.trees.parameters import Stock

# Susceptible and resistant stock, common cultivar and grade: invented numbers on the scales of the parameters.
from tests.trees.loss_cases import (
    BENCH_GRAFT,
    DWARF,
    FEATHERED,
    QUIET,
    RESISTANT,
    SPINDLE,
    block,
    draws_of,
    even,
    neighbour_ratio,
    season,
    shares,
    site_of,
    trees,
)

# --- single hazards ------------------------------------------------------------------------------------------------


def test_competing_hazards_share_deaths_by_their_size() -> None:
    """Crown rot 0.06 and drought 0.02 at once: 1 - exp(-0.08) die, three quarters of them of crown rot (by hand)."""
    hazards = replace(QUIET, crown_rot=0.2, drought=0.002, drought_youth=0.0)
    traits = loss_traits(block(50, 100), hazards)
    draws = even(draws_of(4, traits))
    cause = season_losses(hazards, traits, trees(4, traits), season(4, wet=60, dry=30), draws, site_of(4, traits)).cause
    dead = 1 - math.exp(-0.08)
    found = shares(cause)
    assert set(found) == {"crown_rot", "drought"}
    assert found["crown_rot"] == pytest.approx(0.75 * dead, abs=2e-4)
    assert found["drought"] == pytest.approx(0.25 * dead, abs=2e-4)


def test_some_young_blocks_decline_and_lose_as_growers_told() -> None:
    """Growers lost 10 to 30 % of trees of 2 to 8 years, the worst 2,000 of 7,000 (press, read); most blocks none."""
    hazards = replace(QUIET, decline=Hazards().decline)
    plain = replace(FEATHERED, transplant_loss=0.0)
    traits = loss_traits(block(10, 50, grade=plain), hazards)
    lost = np.ones((400, 500))
    for leaf in range(1, 11):
        draws = draws_of(400, traits, year=leaf)
        cause = season_losses(hazards, traits, trees(400, traits, leaf), season(400), draws, site_of(400, traits)).cause
        assert cause.any() == (2 <= leaf <= 8)
        lost *= 1 - cause.astype(bool).mean(axis=1, keepdims=True)
    share = 1 - lost[:, 0]
    assert 0.05 < (share > 0).mean() < 0.25
    assert 0.10 < np.median(share[share > 0]) < 0.30
    vigorous = loss_traits(
        block(10, 50, stock=replace(DWARF, size=3.0), grade=plain), replace(hazards, decline_year_chance=1.0)
    )
    site = site_of(4, vigorous)
    found = season_losses(hazards, vigorous, trees(4, vigorous, 4), season(4), draws_of(4, vigorous), site).cause
    assert not found.any()


def test_transplant_failure_by_hand() -> None:
    """2 % when watered in time; each day beyond two weeks adds 5 % of the hazard; none in leaf 2."""
    for days, factor in ((14, 1.0), (34, 2.0)):
        plan = block(50, 100, training=replace(SPINDLE, water_within_days=float(days)))
        traits = loss_traits(plan, QUIET)
        draws = even(draws_of(2, traits))
        first = season_losses(QUIET, traits, trees(2, traits, leaf=1), season(2), draws, site_of(2, traits))
        assert shares(first.cause)["transplant_failure"] == pytest.approx(1 - 0.98**factor, abs=2e-4)
        assert not season_losses(
            QUIET, traits, trees(2, traits, leaf=2), season(2), draws, site_of(2, traits)
        ).cause.any()


CALM = {"wind_spread": 0.0, "wind_youth": 0.0}
STEADY = {"vole": 0.1, "vole_youth": 0.0, "vole_year_chance": 1.0}
HAND_CASES = [
    # voles in the tenth winter without extra for youth: rate; three times with weeds; a fifth with guards
    ("voles", STEADY, {}, 10, 0.1),
    ("voles", {**STEADY, "vole_weeds": 3.0}, {"weeds": True}, 10, 0.3),
    (
        "voles",
        {**STEADY, "vole_guards": True, "vole_guard_share": 0.2},
        {},
        10,
        0.02,
    ),
    # twice in the first winter, 1 + exp(-2/3) in the third
    ("voles", {"vole": 0.1, "vole_youth": 1.0, "vole_year_chance": 1.0}, {}, 1, 0.2),
    ("voles", {"vole": 0.1, "vole_youth": 1.0, "vole_year_chance": 1.0}, {}, 3, 0.1 * (1 + math.exp(-2 / 3))),
    # deer: rate at no height, less by e per 0.8 m; trees of 3 m; this fence leaves half
    ("deer", {"deer": 0.5, "deer_height": 3.0}, {"fence": False}, 10, 0.5 * math.exp(-1)),
    ("deer", {"deer": 0.5, "deer_fence_share": 0.5, "deer_height": 3.0}, {}, 10, 0.25 * math.exp(-1)),
    # borers and southwest injury: the rate in the first winter, less by e every five leaves; guards leave two fifths
    ("trunk_injury", {"trunk_injury": 0.1}, {}, 1, 0.1),
    ("trunk_injury", {"trunk_injury": 0.1, "vole_guards": True}, {}, 6, 0.04 * math.exp(-1)),
    # drought: 40 days, 20 of them free, 0.002 a day; ten times that in leaf 1
    ("drought", {"drought": 0.002, "drought_youth": 9.0}, {}, 40, 0.04),
    ("drought", {"drought": 0.002, "drought_youth": 9.0, "transplant_drought": 0.0}, {}, 1, 0.4),
    # wind: no spread between years; 10 kg of fruit on 20 cm2 of trunk are the 0.5 kg/cm2 of the base rate
    ("wind", {"wind": 0.05, **CALM}, {}, 10, 0.05),
    ("wind", {"wind": 0.05, **CALM}, {"fruit": 6.0}, 10, 0.05 * 3.0 / 1.5),
    ("wind", {"wind": 0.05, "wind_spread": 0.0, "wind_youth": 1.0}, {}, 1, 0.1),
    ("wind", {"wind": 0.01, **CALM, "wind_unsupported": 15.0}, {"support": "none"}, 10, 0.15),
    ("wind", {"wind": 0.05, **CALM, "wind_stake": 1.5}, {"support": "stake"}, 10, 0.075),
    ("wind", {"wind": 0.05, **CALM}, {"union": 0.5}, 10, 0.1),
    # the support stands from leaf 3 on: a tree of leaf 2 stands free
    ("wind", {"wind": 0.01, **CALM, "wind_unsupported": 15.0}, {"support_leaf": 3}, 2, 0.15),
    ("wind", {"wind": 0.01, **CALM, "wind_unsupported": 15.0}, {"support_leaf": 3}, 3, 0.01),
    # replant disease: 80 % of the rate on this stock, less by e every two leaves
    ("replant_disease", {"replant": 0.2}, {"replant_site": True}, 1, 0.16),
    ("replant_disease", {"replant": 0.2}, {"replant_site": True}, 3, 0.16 * math.exp(-1)),
    # old age: a usual life of 18 + 40 x 0.34 = 31.6 leaves, here 31; e times more four leaves later
    ("old_age", {"old_age": 0.1, "life_dwarf": 17.4}, {}, 31, 0.1),
    ("old_age", {"old_age": 0.1, "life_dwarf": 17.4}, {}, 35, 0.1 * math.e),
    # crown rot: 0.3 of the susceptible stock's 0.3, at the usual number of wet days and at twice that
    ("crown_rot", {"crown_rot": 0.3, "crown_rot_wet_days": 60.0}, {}, 10, 0.09),
    ("crown_rot", {"crown_rot": 0.3, "crown_rot_wet_days": 30.0}, {}, 10, 0.18),
    ("crown_rot", {"crown_rot": 0.3}, {"drainage": "good"}, 10, 0.09 * 0.4),
    ("crown_rot", {"crown_rot": 0.3}, {"drainage": "poor"}, 10, 0.09 * 4),
    # decline: in the first leaf it lies still to come
    ("decline", {"decline": 0.3, "decline_year_chance": 1.0}, {}, 2, 0.3),
    ("decline", {"decline": 0.3, "decline_year_chance": 1.0}, {}, 8, 0.3),
    # blight, all bloom open, saturated: (0.2 + 0.4) exp(-(leaf - 1)/8) of the struck die; sprays prevent half
    ("fire_blight", {"blight_strike": 0.3, "blight_first_bloom": 0.5}, {}, 25, 0.3 * 0.6 * math.exp(-3)),
    (
        "fire_blight",
        {"blight_strike": 1.5, "blight_first_bloom": 0.5, "blight_control": 0.5},
        {},
        17,
        0.75 * 0.6 * math.exp(-2),
    ),
]


@pytest.mark.parametrize(("cause", "switches", "case", "leaf", "hazard"), HAND_CASES)
def test_hazards_by_hand(cause: str, switches: dict, case: dict, leaf: int, hazard: float) -> None:
    """One cause at a time on even ground: 1 - exp(-hazard) die, with the hazard worked by hand from the meanings."""
    hazards = replace(QUIET, blight_spread=0.0, **switches)
    training = replace(
        SPINDLE,
        support=case.get("support", "wires"),
        support_leaf=case.get("support_leaf", 0),
        weed_free_strip=not case.get("weeds", False),
    )
    plan = block(
        50,
        100,
        stock=replace(DWARF, union_strength=case.get("union", 1.0)),
        grade=replace(FEATHERED, transplant_loss=0.0),
        training=training,
        replant_site=case.get("replant_site", False),
        deer_fence=case.get("fence", True),
        drainage=case.get("drainage", "moderate"),
    )
    traits = loss_traits(plan, hazards)
    state = trees(2, traits, leaf=leaf, fruit=case.get("fruit", 1.5))
    draws = even(draws_of(2, traits))
    weather = season(2, blight=1e6, wet=60, dry=40)
    winter = rest_losses(hazards, traits, state, weather, draws).cause
    summer = season_losses(hazards, traits, state, weather, draws, site_of(2, traits)).cause
    lost = {**shares(winter), **shares(summer)}
    assert set(lost) == {cause}
    assert lost[cause] == pytest.approx(1 - math.exp(-hazard), abs=2.5e-4)


def test_as_many_trees_are_maimed_as_die() -> None:
    """Of 10,000 trees at a hazard of 0.1 of crown rot, 9.5 % die, and 9.5 % barely escape and lose 65 % of health."""
    hazards = replace(QUIET, crown_rot=1 / 3, maimed=1.0)
    traits = loss_traits(block(50, 100), hazards)
    found = season_losses(
        hazards, traits, trees(2, traits), season(2, wet=60), even(draws_of(2, traits)), site_of(2, traits)
    )
    dead = 1 - math.exp(-0.1)
    assert (found.cause > 0).mean() == pytest.approx(dead, abs=2.5e-4)
    maimed = found.health_loss > 0
    assert maimed.mean() == pytest.approx(dead, abs=2.5e-4)
    assert not (maimed & (found.cause > 0)).any()
    np.testing.assert_array_equal(found.health_loss[maimed], np.float32(0.65))


def test_the_level_of_blight_has_a_heavy_tail() -> None:
    """exp(2.8 z) by hand: a middle year 1, one in forty e^5.5 times as much, cut at three standard deviations."""
    hazards = replace(Hazards(), blight_level_spread=2.8)
    level = blight_level(hazards, np.array([0.0, 1.96, 3.0, 9.0]))
    np.testing.assert_allclose(level, np.exp([0.0, 2.8 * 1.96, 8.4, 8.4]))


@pytest.mark.parametrize(("drainage", "spread"), [("good", 1.8), ("moderate", 1.5), ("poor", 1.2)])
def test_the_level_of_crown_rot_has_a_heavy_tail_and_mean_one(drainage: str, spread: float) -> None:
    """Levels go as exp(spread z); their mean over the middles of 200,000 equal parts of the normal law is 1.

    Cut where |z| = 3, the law's own mean is exp(spread^2/2) less 4 to 12 %, worked by the quadrature.
    """
    z = special.ndtri((np.arange(200_000) + 0.5) / 200_000)
    level = rot_level(Hazards(), drainage, z)
    assert level.mean() == pytest.approx(1, rel=1e-3)
    few, many = rot_level(Hazards(), drainage, np.array([-1.0, 2.0]))
    assert many / few == pytest.approx(math.exp(3 * spread))
    assert np.median(level) < 0.5
    assert level[-20_000:].sum() > 0.4 * level.sum()


def test_the_trees_of_a_block_share_the_level_of_crown_rot() -> None:
    """Two halves of a block die by the same factor; over trials the mean stays that without a level.

    600 trials of 400 trees at a mean hazard of 0.015. The level has a standard deviation of 2.29 (quadrature), so the
    mean of 600 has a standard error of 0.094: four of them, false alarm below 1e-4, and 4 % by which 1 - exp(-H) takes
    less of heavy levels.
    """
    hazards = replace(QUIET, crown_rot=0.05, crown_rot_spread=1.5)
    traits = loss_traits(block(20, 20), hazards)
    draws = draws_of(600, traits)
    dead = (
        season_losses(hazards, traits, trees(600, traits), season(600, wet=60), draws, site_of(600, traits)).cause > 0
    )
    halves = dead[:, :200].sum(axis=1), dead[:, 200:].sum(axis=1)
    assert np.corrcoef(*halves)[0, 1] > 0.8
    assert dead.mean() == pytest.approx(0.015, rel=0.42)
    expected = 1 - np.exp(-0.015 * rot_level(hazards, "moderate", draws.rot_year.astype(np.float64)))
    # given the levels, a mean of 240,000 trees: standard error below 0.0003, five of them
    assert dead.mean() == pytest.approx(expected.mean(), abs=0.0015)


@pytest.mark.slow
def test_loops_over_trees_run_on_vectors() -> None:
    hazards = Hazards()
    traits = loss_traits(block(2, 40), hazards)
    state, draws, weather = trees(1, traits), draws_of(1, traits), season(1)
    rest_losses(hazards, traits, state, weather, draws)
    season_losses(hazards, traits, state, weather, draws, site_of(1, traits))
    for kernel in (rest_kernel, season_kernel):
        assert in_single_precision(kernel)
        assert vectorised(kernel)


def test_trees_that_are_passed_over_would_have_lived() -> None:
    """Low trees and trees without support are all looked at; without deer and wind nothing else tells them apart."""
    hazards = replace(Hazards(), deer=0.0, wind=0.0, collapse=0.0, vole=0.05, crown_rot=0.05, blight_strike=0.02)
    traits, rng = loss_traits(block(30, 70), hazards), np.random.default_rng(8)
    draws, site, weather = draws_of(4, traits), site_of(4, traits), season(4, wet=60, dry=30)
    tall, low = trees(4, traits), trees(4, traits)
    leaf, health = rng.integers(1, 41, tall.leaf.shape), rng.random(tall.health.shape)
    for state, height in ((tall, 3.0), (low, 0.5)):
        state.leaf[...], state.health[...], state.height[...] = leaf, health, height
    alone = np.ones(tall.alive.shape, np.bool_)
    few = rest_losses(hazards, traits, tall, weather, draws), season_losses(hazards, traits, tall, weather, draws, site)
    all_of_them = (
        rest_losses(hazards, traits, low, weather, draws),
        season_losses(hazards, traits, low, weather, draws, site, unsupported=alone),
    )
    for some, every in zip(few, all_of_them, strict=True):
        assert 0.01 < (some.cause > 0).mean() < 0.3
        for name in ("cause", "health_loss", "struck"):
            np.testing.assert_array_equal(getattr(some, name), getattr(every, name))


def test_part_of_transplant_failure_waits_for_the_winter() -> None:
    """What the season leaves, the next winter takes: together the grade's share."""
    hazards = replace(QUIET, transplant_carry=0.4)
    traits = loss_traits(block(50, 100, grade=BENCH_GRAFT), hazards)
    draws = even(draws_of(2, traits))
    first = season_losses(hazards, traits, trees(2, traits, leaf=1), season(2), draws, site_of(2, traits))
    winter = rest_losses(hazards, traits, trees(2, traits, leaf=1), season(2), draws).cause
    survived = (1 - (first.cause > 0).mean()) * (1 - (winter > 0).mean())
    assert survived == pytest.approx(1 - BENCH_GRAFT.transplant_loss, abs=1e-3)


def test_killing_by_cold_sets_in_at_the_hardiness() -> None:
    """The definition of hardiness: one hardened tree in twenty dies at it, hardly one 6 K above, most 6 K below."""
    for temperature, low, high in ((-30.0, 0.0499, 0.0501), (-24.0, 0.0, 0.001), (-36.0, 0.85, 1.0)):
        hazard = cold_hazard(tree_hazards(QUIET), *np.float32([temperature, 0.0, 0.0, -30.0, -10.0, 0.0]))
        assert low <= 1 - math.exp(-float(hazard)) <= high


@given(st.floats(-45, 5), st.floats(-16, 5), st.floats(0, 12), st.floats(-40, -20), st.floats(-20, -6), st.floats(0, 6))
def test_more_cold_or_less_hardiness_never_helps(
    lowest: float, soil: float, shortfall: float, hardiness: float, roots: float, weakness: float
) -> None:
    """Monotone in every argument, never negative or infinite."""

    def hazard(*values: float) -> float:
        return float(cold_hazard(tree_hazards(Hazards()), *np.float32(values)))

    base = hazard(lowest, soil, shortfall, hardiness, roots, weakness)
    assert 0 <= base < math.inf
    assert hazard(lowest - 1, soil, shortfall, hardiness, roots, weakness) >= base
    assert hazard(lowest, soil - 1, shortfall, hardiness, roots, weakness) >= base
    assert hazard(lowest, soil, shortfall + 1, hardiness, roots, weakness) >= base
    assert hazard(lowest, soil, shortfall, hardiness + 1, roots, weakness) >= base
    assert hazard(lowest, soil, shortfall, hardiness, roots + 1, weakness) >= base
    assert hazard(lowest, soil, shortfall, hardiness, roots, weakness + 1) >= base


def test_storm_and_vole_years_average_to_one() -> None:
    """Neither moves the long-run mean: the mean over their draws is 1 (numerical integration)."""
    hazards = Hazards()
    mean, _ = integrate.quad(
        lambda z: float(storm_factor(hazards, np.array(z))) * stats.norm.pdf(z), -9, 9, points=[-2.5, 2.5], limit=200
    )
    assert mean == pytest.approx(1, abs=1e-4)
    uniform = (np.arange(10_000) + 0.5) / 10_000
    assert vole_factor(hazards, uniform).mean() == pytest.approx(1)
    assert vole_factor(replace(hazards, vole_year_chance=1.0), uniform).mean() == pytest.approx(1)


def test_row_collapse_takes_a_stretch_of_one_row() -> None:
    """With the rate at its limit every slot collapses; half of each stretch dies, the rest of the block stands."""
    hazards = replace(QUIET, collapse=5.0, collapse_length=40.0)
    traits = loss_traits(block(20, 100, post_spacing=30.0), hazards)
    state = trees(30, traits, fruit=6.0)
    cause = season_losses(hazards, traits, state, season(30), draws_of(30, traits), site_of(30, traits)).cause
    assert set(shares(cause)) == {"row_collapse"}
    grid = cause.reshape(30, 20, 100) > 0
    rows_hit = grid.any(axis=2).sum(axis=1)
    assert rows_hit.max() <= 3
    for trial, row in np.argwhere(grid.any(axis=2)):
        if rows_hit[trial] == 3:
            hit = np.flatnonzero(grid[trial, row])
            assert np.ptp(hit) < 40
    lost = grid.sum()
    assert lost > 300
    assert neighbour_ratio(cause > 0, 20, 100) > 5
    # without fruit nothing pulls the row down; without wires there is no row to go down
    state = trees(30, traits, fruit=0.0)
    bare = season_losses(hazards, traits, state, season(30), draws_of(30, traits), site_of(30, traits))
    assert not bare.cause.any()
    state = trees(30, traits, fruit=6.0)
    free = loss_traits(block(20, 100, training=replace(SPINDLE, support="none")), hazards)
    assert not season_losses(hazards, free, state, season(30), draws_of(30, free), site_of(30, free)).cause.any()


def test_blight_spreads_to_neighbours_as_the_distance_says() -> None:
    """One struck tree in the middle; its neighbours die exactly below the uniform that the added hazard gives.

    By hand: two trees along, the added hazard is s exp(-2 m / 2 m) with s = 0.25 (1 - sanitation); a tree of leaf 3
    on this stock dies of a share (0.2 + 0.4) exp(-2/8) of it.
    """
    hazards = replace(QUIET, blight_strike=1e-4, blight_sanitation=0.0)
    traits = loss_traits(block(9, 21), hazards)
    state = trees(1, traits, leaf=3)
    middle = 4 * 21 + 10
    lethal = 0.6 * math.exp(-2 / 8)
    own = float(blight_lethality(tree_hazards(hazards), np.float32(3), np.float32(1)))
    assert own == pytest.approx(lethal, rel=1e-6)
    threshold = 1 - math.exp(-0.25 * math.exp(-1) * lethal)
    for margin, dies in ((0.98, True), (1.02, False)):
        draws = draws_of(1, traits)
        uniform = np.full_like(draws.season, 0.999)
        uniform[0, middle] = 1e-7
        uniform[0, middle + 2] = threshold * margin
        found = season_losses(
            hazards, traits, state, season(1, blight=1000), replace(draws, season=uniform), site_of(1, traits)
        )
        assert found.cause[0, middle] == CODE["fire_blight"]
        assert bool(found.cause[0, middle + 2] == CODE["fire_blight"]) == dies
        assert np.count_nonzero(found.cause) == 1 + dies
        # the neighbour that lives is struck and loses wood
        assert bool(found.health_loss[0, middle + 2] > 0) != dies


# --- the phases ----------------------------------------------------------------------------------------------------


def test_survival_curve_is_the_hazard_put_in() -> None:
    """Kaplan-Meier of simulated lifetimes, a third of them censored, against exp(-cumulative hazard).

    scipy.stats.ecdf on 12,000 trees over 30 leaves; the exact curve must lie in the Greenwood band of confidence
    1 - 7e-6 at every leaf (30 correlated checks: false alarm below 2e-4).
    """
    hazards = replace(QUIET, vole=0.01, vole_year_chance=1.0, old_age=0.05, life_dwarf=10.0, life_size=20.0)
    trials, leaves = 6, 30
    traits = loss_traits(block(20, 100, grade=replace(FEATHERED, transplant_loss=0.0)), hazards)
    state = trees(trials, traits, leaf=0)
    died = np.zeros(state.alive.shape, dtype=np.int64)
    for leaf in range(1, leaves + 1):
        state.leaf[state.alive] = leaf
        draws = draws_of(trials, traits, seed=77, year=leaf)
        site = site_of(trials, traits)
        for phase in ("rest", "season"):
            if phase == "rest":
                cause = rest_losses(hazards, traits, state, season(trials), draws).cause
            else:
                cause = season_losses(hazards, traits, state, season(trials), draws, site).cause
            assert not (cause[~state.alive] > 0).any()
            died[(cause > 0) & state.alive] = leaf
            state.alive[cause > 0] = False
            if cause.any() and leaf < 3:
                assert set(shares(cause)) <= {"voles", "old_age"}
    grubbed = np.random.default_rng(4).integers(5, 90, size=died.shape)
    lifetime = np.where(died > 0, died, leaves)
    seen = (died > 0) & (died <= grubbed)
    censored = np.minimum(np.where(died > 0, died, leaves), grubbed)[~seen]
    data = stats.CensoredData(uncensored=lifetime[seen], right=censored)
    curve = stats.ecdf(data).sf
    band = curve.confidence_interval(1 - 7e-6)
    cumulative = 0.0
    life = 10.0 + 20.0 * DWARF.nominal_size
    for leaf in range(1, leaves + 1):
        cumulative += 0.01 * (1 + math.exp((1 - leaf) / 3)) + min(0.05 * math.exp((leaf - life) / 4), 2.0)
        exact = math.exp(-cumulative)
        if exact < 0.002:
            break
        assert band.low.evaluate(leaf) <= exact <= band.high.evaluate(leaf)


def test_tile_makes_no_difference() -> None:
    """A trial's losses are the same alone and among others, bit for bit."""
    hazards = Hazards()
    traits = loss_traits(block(20, 50), hazards)
    state = trees(6, traits, leaf=4)
    draws, site = draws_of(6, traits, seed=5), site_of(6, traits)
    weather = LossSeason(*(np.linspace(*ends, 6) for ends in ((-30, -10), (-9, -3), (0, 6), (0, 9), (30, 30), (0, 60))))
    together = season_losses(hazards, traits, state, weather, draws, site, 4)
    winter = rest_losses(hazards, traits, state, weather, draws).cause
    assert together.cause.any()
    assert winter.any()
    for trial in range(6):
        one = slice(trial, trial + 1)

        def cut(thing: object, one: slice = one) -> dict[str, np.ndarray]:
            return {name: value[one] for name, value in vars(thing).items() if isinstance(value, np.ndarray)}

        alone_state = trees(1, traits, leaf=4)
        alone_draws, alone_weather = LossDraws(**cut(draws)), LossSeason(**cut(weather))
        alone = season_losses(hazards, traits, alone_state, alone_weather, alone_draws, WornSoil(site.nodes[one]), 4)
        assert np.array_equal(alone.cause, together.cause[one])
        assert np.array_equal(alone.health_loss, together.health_loss[one])
        alone_winter = rest_losses(hazards, traits, alone_state, alone_weather, alone_draws).cause
        assert np.array_equal(alone_winter, winter[one])


@pytest.mark.parametrize("stock", [RESISTANT, replace(DWARF, crown_rot=0.0)])
def test_a_hardier_stock_loses_no_tree_that_the_other_keeps(stock: Stock) -> None:
    """Same seasons and draws: each tree that dies on the hardier stock dies on the other too.

    Without spread: a tree that dies of something else before it is struck infects nobody, so that spread may turn
    the comparison for single neighbours.
    """
    hazards = replace(Hazards(), blight_spread=0.0)
    weak, strong = (loss_traits(block(30, 80, stock=one), hazards) for one in (DWARF, stock))
    draws, site = draws_of(8, weak, seed=6), site_of(8, weak)
    weather = season(8, cold=-24, blight=6, wet=40)
    state = trees(8, weak, leaf=3)
    for lost in (
        (
            season_losses(hazards, weak, state, weather, draws, site).cause,
            season_losses(hazards, strong, state, weather, draws, site).cause,
        ),
        tuple(rest_losses(hazards, one, state, weather, draws).cause for one in (weak, strong)),
    ):
        assert not ((lost[1] > 0) & (lost[0] == 0)).any()
    assert (lost[0] > 0).sum() >= (lost[1] > 0).sum()


def test_row_groups_have_their_own_fate() -> None:
    """Two stocks in alternate rows of one block: blight takes far more of the susceptible rows."""
    hazards = replace(QUIET, blight_strike=0.5, blight_spread=0.0)
    plan = block(20, 100)
    plan = replace(
        plan,
        groups=tuple(
            replace(plan.groups[0], label=name, stock=stock) for name, stock in (("m", DWARF), ("g", RESISTANT))
        ),
        layout=replace(plan.layout, group=(0, 1) * 10),
    )
    traits = loss_traits(plan, hazards)
    found = season_losses(
        hazards, traits, trees(4, traits, leaf=2), season(4, blight=5), draws_of(4, traits), site_of(4, traits)
    )
    dead = (found.cause > 0).reshape(4, 10, 2, 100).sum(axis=(0, 1, 3))
    # (0.2 + 0.4) against (0.2 + 0.02) of the strikes kill; allow 4.5 binomial standard errors of either
    assert dead[0] / dead[1] == pytest.approx(0.6 / 0.22, rel=4.5 * math.sqrt(1 / dead[0] + 1 / dead[1]))


def test_kept_memory_is_filled_with_the_same_draws() -> None:
    """The same address gives the same draws, in fresh memory or in that of another year."""
    traits = loss_traits(block(4, 10), QUIET)
    here = address(Streams(1), "loss", "b", range(2), 3)
    there = address(Streams(7), "loss", "b", range(2), 4)
    first = draw_losses(here, there, traits.rows, traits.per_row)
    again = draw_losses(here, there, 4, 10, out=draw_losses(there, here, 4, 10))
    for name, values in vars(first).items():
        assert np.array_equal(values, getattr(again, name))


def test_wide_posts_and_missing_anchors_raise_the_risk_of_collapse() -> None:
    """The rate goes with the square of the post spacing, and rows without anchors fall more often."""
    hazards = replace(QUIET, collapse=0.02, collapse_length=40.0)

    def lost(**support: float) -> int:
        traits = loss_traits(block(20, 100, **support), hazards)
        state = trees(200, traits, fruit=6.0)
        found = season_losses(hazards, traits, state, season(200), draws_of(200, traits), site_of(200, traits))
        return int((found.cause > 0).sum())

    usual, wide, loose = lost(), lost(post_spacing=20.0), lost(anchors_per_row=0)
    assert wide > 2 * usual > 0
    assert loose > 2 * usual
