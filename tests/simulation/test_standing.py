"""Standing blocks begin as their plan states them. What holds is the plan's own trunk and crop, not the model's."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from orchardsim.core.streams import Streams
from orchardsim.plan import load_plan
from orchardsim.plan.reading import read_toml
from orchardsim.simulation import simulate
from orchardsim.simulation.seasons import build_library
from tests.simulation.small_plan import CONFIGS

TRUNK, CROP, LEAF = 210.0, 120.0, 24


@functools.cache
def run(site_growth: str, **changes):
    return simulate(plan(site_growth, **changes), trials=12, years=7).sel(block="old_trees")


def plan(site_growth: str, **changes):
    table = read_toml(CONFIGS / "keep_old_block.toml")
    table["futures"] = {"site_growth": site_growth}
    table["block"][0] |= changes
    return load_plan(table, base=CONFIGS)


def by_year(block, name: str):
    return (block[name] / block["trees_alive"]).mean("trial").values


def test_a_standing_block_bears_on_as_it_did():
    block = run("known 1.0")
    crop, clusters = by_year(block, "crop_mass"), by_year(block, "flower_clusters")
    assert crop[0] == pytest.approx(CROP, rel=0.15) and crop[1:].mean() == pytest.approx(CROP, rel=0.15)
    assert clusters[0] == pytest.approx(clusters[1:].mean(), rel=0.2)


def test_its_trunks_grow_no_faster_than_in_the_mean_of_their_years():
    """Common practice, no source: old trees thicken more slowly than young ones."""
    trunk = run("known 1.0")["trunk_area_mean"].mean("trial").values
    assert trunk[0] == pytest.approx(TRUNK, rel=0.06)
    assert 0 < (trunk[-1] - trunk[0]) / 6 <= TRUNK / LEAF


def test_what_is_known_of_the_farms_ground_does_not_move_it():
    for name in ("crop_mass", "trunk_area_mean"):
        np.testing.assert_array_equal(run("known 1.0")[name], run("known 1.9")[name])


def test_a_failed_crop_is_an_off_year():
    assert by_year(run("known 1.0", last_crop="10 kg/tree"), "crop_mass").min() > 8 * 10.0
    (own,) = build_library(
        plan("known 1.0", last_crop="10 kg/tree"), Streams(1), range(1), 2, "sampled"
    ).standing.values()
    assert own.off_year == (True,)


def test_levels_of_a_standing_block_do_not_hang_on_seed_or_trials():
    one, many = (
        build_library(plan("known 1.0"), Streams(seed), range(trials), 3, "sampled").standing[0]
        for seed, trials in ((1, 1), (7, 9))
    )
    np.testing.assert_array_equal(one.supply, many.supply)
    np.testing.assert_array_equal(one.wood, many.wood)
