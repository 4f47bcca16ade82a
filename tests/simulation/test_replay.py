"""Past seasons of a plan that states its calendar year, and rows grown again through them."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.streams import Streams
from orchardsim.plan import load_plan
from orchardsim.plan.keys import with_keys
from orchardsim.plan.reading import read_toml
from orchardsim.simulation.replay import Replay, Sight, level_normals, linked, unlinked
from orchardsim.simulation.seasons import build_library

from ..plan.examples import CONFIGS

PLAN = load_plan(CONFIGS / "first_row.toml")
TREES = tuple(range(0, 84, 6))


def test_years_before_year_0_are_their_own_where_the_record_holds_them():
    library = build_library(PLAN, Streams(1), range(2), 1, "sampled")
    for year in (-1, -20):
        found = library.sample.seasons.harvest_year[library.season_rows(range(2), year)]
        np.testing.assert_array_equal(found, 2020 + year)


@pytest.fixture(scope="module")
def grown():
    """Sixty rows, looked at in two years that the record holds and one that it lacks."""
    sights = [Sight("trunk_area", year, 410, "first_row", TREES) for year in (-1, 0, 1)]
    sights += [Sight("trunk_area", 0, 0, "first_row", TREES), Sight("flower_clusters", 0, 250, "first_row", TREES)]
    replay = Replay(PLAN, sights, 1)
    return replay, replay.run(range(60))


def test_real_seasons_are_replayed_and_a_missing_one_is_told(grown):
    replay, found = grown
    assert found.lacking == (2021,)
    sample = replay.library(range(60)).sample
    harvested = sample.seasons.harvest_year[sample.season_rows]
    assert (harvested[:, 0] == 2019).all() and (harvested[:, 1] == 2020).all()
    assert len(np.unique(harvested[:, 2])) > 5


def test_trunks_grow_from_look_to_look_and_with_the_ground(grown):
    _, found = grown
    areas = found.values
    assert (np.diff(areas[:, :3], axis=1) > 0).all()
    # the look in spring is that of the autumn before
    assert areas[:, 3] == pytest.approx(areas[:, 0], abs=0.05)
    names, normals = level_normals(found.plan, found.levels)
    assert np.corrcoef(normals[:, names.index("growth of first_row")], areas[:, 1])[0, 1] > 0.8


def test_rows_meet_the_levels_of_the_run_of_the_same_number(grown):
    replay, found = grown
    later = replay.run(range(40, 45))
    np.testing.assert_allclose(later.values, found.values[40:45], rtol=1e-6)
    farm = PLAN.futures.drawn("site_growth", ["first_row"], Streams(1), range(60))
    np.testing.assert_array_equal(found.levels.values["site_growth"], farm)


@pytest.mark.parametrize("measure", ["trunk_area", "flower_clusters", "yield", "dead_trees"])
def test_the_linked_scale_goes_back_and_forth(measure):
    assert unlinked(measure, linked(measure, 3.0)) == pytest.approx(3.0)


def test_without_a_calendar_year_the_past_ends_with_the_record():
    raw = read_toml(CONFIGS / "first_row.toml")
    raw.pop("calendar_year")
    library = build_library(load_plan(with_keys(raw, {}, "x"), base=CONFIGS), Streams(1), range(1), 1, "sampled")
    assert library.past == {}
