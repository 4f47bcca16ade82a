"""Bad seasons as data, and the seasons that they make of usual ones."""

from __future__ import annotations

import copy
import dataclasses

import numpy as np
import pytest

import orchardsim
from orchardsim.analysis.bad_seasons import BAD_SEASONS, HAZARD, BadSeason, Change
from orchardsim.analysis.prepared_shocks import (
    check_bad_season,
    crop_index,
    frost_night_kill,
    prepare_shocks,
    shocked_drivers,
    with_summer_rain,
    worst_spell,
)
from orchardsim.analysis.stress import choose, struck_years
from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.core.errors import InputError
from orchardsim.core.parameters import STATUSES
from orchardsim.core.streams import Streams
from orchardsim.season.parameters import BlockSite
from orchardsim.simulation.seasons import build_library
from orchardsim.trees.hazards import Hazards
from tests.simulation.small_plan import CONFIGS, SMALL, small_plan

BY_NAME = {bad.name: bad for bad in BAD_SEASONS}


@pytest.fixture(scope="module")
def plan():
    return small_plan()


@pytest.fixture(scope="module")
def library(plan):
    return build_library(plan, Streams(1), range(3), 8, "sampled")


def targets(name: str) -> dict[str, float]:
    return {change.target: change.value for change in BY_NAME[name].changes}


@pytest.mark.parametrize("bad", BAD_SEASONS, ids=lambda bad: bad.name)
def test_every_number_has_unit_source_and_status(bad):
    check_bad_season(bad)
    fields = {each.name for each in dataclasses.fields(Hazards)}
    for change in bad.changes:
        assert change.status in STATUSES and change.source and change.meaning
        if change.target.startswith(HAZARD):
            assert change.target.removeprefix(HAZARD) in fields


def test_bad_seasons_of_every_kind_are_there():
    assert len(BY_NAME) == len(BAD_SEASONS) >= 10
    words = " ".join(bad.title for bad in BAD_SEASONS)
    for word in ("frost", "fire blight", "hail", "drought", "winter", "price", "crew", "nursery", "record"):
        assert word in words


def test_the_frost_night_kills_as_the_published_table_says():
    """EB0913 (Proebsting & Mills, Washington State University): full bloom 28 °F kills 10 %, 25 °F kills 90 %."""
    site = BlockSite(protection="none")
    assert frost_night_kill((28 - 32) / 1.8, site) == pytest.approx((0.1, 0.1, 0.1), abs=1e-9)
    assert frost_night_kill((25 - 32) / 1.8, site) == pytest.approx((0.9, 0.9, 0.9), abs=1e-9)
    assert frost_night_kill(targets("late_frost")["bud_temperature_at_bloom"], site).bare > 0.9


@pytest.mark.parametrize("protection", ["wind_machine", "overhead_sprinklers", "heaters"])
def test_protection_saves_flowers_unless_it_fails(protection):
    night = frost_night_kill(targets("late_frost")["bud_temperature_at_bloom"], BlockSite(protection=protection))
    assert night.held < night.bare <= night.failed


def test_protection_of_the_struck_night_is_paid_for():
    table = copy.deepcopy(SMALL)
    table["block"][0]["protection"] = "overhead_sprinklers"
    plan = orchardsim.load_plan(table, base=CONFIGS)
    library = build_library(plan, Streams(1), range(2), 4, "sampled")
    usual, shocked = library.drivers[0][0], shocked_drivers(plan, library, targets("late_frost"))[0][0]
    for name in ("protection_hours", "protection_nights", "protection_water", "protection_fuel", "protection_labour"):
        assert (getattr(shocked, name) > getattr(usual, name)).all(), name
    np.testing.assert_allclose(
        shocked.irrigation_depth - usual.irrigation_depth,
        np.broadcast_to((shocked.protection_water - usual.protection_water)[:, None], usual.irrigation_depth.shape),
    )


def test_a_struck_season_is_never_milder(plan, library):
    usual = library.drivers[0][0]
    frost = shocked_drivers(plan, library, targets("late_frost"))[0][0]
    assert (frost.frost_kill >= usual.frost_kill).all() and (frost.frost_kill > 0.9).all()
    np.testing.assert_array_equal(frost.water_factor, usual.water_factor)
    blight = shocked_drivers(plan, library, targets("fire_blight"))[0][0]
    assert (blight.blight_days >= np.maximum(usual.blight_days, 8)).all()
    winter = shocked_drivers(plan, library, targets("hard_winter"))[0][0]
    coldest = usual.winter_temperature_min[library.sample.history].min()
    np.testing.assert_allclose(winter.winter_temperature_min, coldest - targets("hard_winter")["winter_below_record"])
    assert (winter.soil_temperature_min < usual.soil_temperature_min[library.sample.history].min()).all()
    assert (winter.acclimation_shortfall >= 9).all()


def test_a_drought_dries_the_soil_and_takes_no_irrigation(plan, library):
    usual = library.drivers[0][0]
    drought = shocked_drivers(plan, library, targets("drought"))[0][0]
    assert usual.irrigation_depth.max() > 0
    assert (drought.irrigation_depth == 0).all()
    assert (drought.water_factor <= usual.water_factor + 1e-6).all()
    assert drought.water_factor[:, 2].mean() < 0.8 * usual.water_factor[:, 2].mean()
    assert (drought.drought_days >= usual.drought_days).all()
    np.testing.assert_array_equal(drought.frost_kill, usual.frost_kill)
    np.testing.assert_array_equal(drought.bloom_day, usual.bloom_day)


def test_summer_rain_is_scaled_in_its_half_year_only(library):
    seasons = library.sample.seasons
    dry = with_summer_rain(seasons, 0.5)
    np.testing.assert_allclose(dry.rain[:, 182:YEAR_DAYS], 0.5 * seasons.rain[:, 182:YEAR_DAYS])
    np.testing.assert_array_equal(dry.rain[:, :182], seasons.rain[:, :182])
    np.testing.assert_array_equal(dry.rain[:, YEAR_DAYS:], seasons.rain[:, YEAR_DAYS:])


def test_the_worst_spell_has_the_least_crop_of_all_spells(plan, library):
    """Against a plain search over every run of consecutive years."""
    spell = worst_spell(plan, library, 5)
    assert (np.diff(spell.harvest_year) == 1).all() and spell.harvest_year.size == 5
    every = worst_spell(plan, library, 1)
    assert crop_index(every.drivers[0][0]).size == 1
    from orchardsim.simulation.seasons import drivers_of
    from orchardsim.weather.sampling import whole_record_windows

    seasons = whole_record_windows(plan.weather)
    drivers, _ = drivers_of(plan, seasons)
    index = dict(
        zip(
            seasons.harvest_year.tolist(),
            np.mean([crop_index(one) for row in drivers for one in row], axis=0).tolist(),
            strict=True,
        )
    )
    sums = {
        year: sum(index[year + step] for step in range(5))
        for year in index
        if all(year + step in index for step in range(5))
    }
    assert spell.harvest_year[0] == min(sums, key=lambda year: sums[year])
    assert str(spell.harvest_year[0]) in spell.note


def test_the_spell_is_replayed_in_order(plan, library):
    ready = prepare_shocks(plan, library, BY_NAME["worst_spell"], [2])
    (shock,) = ready.shocks
    years = [int(ready.library.sample.seasons.harvest_year[shock.seasons[year][0]]) for year in range(2, 7)]
    assert years == list(range(years[0], years[0] + 5))
    assert sorted(shock.seasons) == [2, 3, 4, 5, 6]


def test_a_record_without_so_many_years_in_a_row_is_refused(plan, library):
    with pytest.raises(InputError, match="no 500 complete years in a row"):
        worst_spell(plan, library, 500)


def test_without_a_record_the_generated_past_is_searched():
    monthly = {
        "rain": ["100 mm"] * 12,
        "wet_days": [9] * 12,
        "temperature_min": [f"{value} degC" for value in (-4, -3, 1, 5, 10, 15, 17, 16, 12, 6, 1, -3)],
        "temperature_max": [f"{value} degC" for value in (5, 7, 12, 18, 23, 27, 29, 28, 24, 18, 12, 6)],
    }
    plan = small_plan(weather={"normals": monthly})
    library = build_library(plan, Streams(1), range(2), 7, "sampled")
    spell = worst_spell(plan, library, 5)
    assert "generated past" in spell.note and spell.region.size == 5


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (Change("hale_fraction", 0.5, "m", "s"), "did you mean 'hail_fraction'"),
        (Change("hazard.blite", 2.0, "m", "s"), "found target 'hazard.blite'"),
        (Change("hail_fraction", 1.5, "m", "s"), "found 1.5, allowed 0 to 1"),
        (Change("price", float("nan"), "m", "s"), "price: found nan"),
        (Change("transplant_loss", 1.0, "m", "s"), "allowed less than 1"),
    ],
)
def test_changes_that_mean_nothing_are_refused(change, message):
    with pytest.raises(InputError, match=message):
        check_bad_season(BadSeason("mine", "mine", "mine", (change,)))


def test_names_are_checked():
    with pytest.raises(InputError, match="did you mean 'late_frost'"):
        choose(["late_frosts"])
    with pytest.raises(InputError, match="stands twice"):
        choose(["hail", "hail"])
    with pytest.raises(InputError, match="none is named"):
        choose([])
    assert [bad.name for bad in choose(["hail", "drought"])] == ["hail", "drought"]


def test_a_bad_season_is_placed_where_trees_stand_and_the_run_holds_it(plan):
    """The small plan is planted in year 1; a run of 8 years ends with year 7."""
    assert struck_years(plan, 8, BY_NAME["late_frost"]) == [1, 2, 3, 4, 5, 6, 7]
    assert struck_years(plan, 8, BY_NAME["two_frosts"]) == [1, 2, 3, 4, 5, 6]
    assert struck_years(plan, 8, BY_NAME["worst_spell"]) == [1, 2, 3]
    with pytest.raises(InputError, match="more --years"):
        struck_years(plan, 5, BY_NAME["worst_spell"])
