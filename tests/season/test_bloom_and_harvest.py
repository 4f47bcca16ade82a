"""Bud stages, bees, blossom infection, sunburn, harvest, leaf fall, winter cold, hail."""

from __future__ import annotations

import dataclasses
import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.season import blight, cold, hail, harvest, phenology, photosynthesis, pollination, sunburn
from orchardsim.season.prepare import prepare

PUBLISHED_STAGES = {
    # UMass "Healthy Fruit" 2018-2020, McIntosh, degF day above 43 degF by the sine from 1 January or 1 March (read).
    "half_inch_green": (150, 221),
    "tight_cluster": (204, 257),
    "full_pink": (267, 316),
    "post_bloom": (439, 523),
}


@pytest.mark.parametrize("stage", PUBLISHED_STAGES)
def test_mcintosh_stages_fall_into_the_published_ranges(stage):
    """A constant 5 K day a day; the stage must begin within a day of its range."""
    bloom_heat = phenology.REFERENCE_BLOOM_HEAT / 1.8
    heat = np.cumsum(np.full((120, 1), 5.0), axis=0)
    day = int(phenology.stage_days(heat, bloom_heat)[phenology.STAGES.index(stage), 0])
    low, high = PUBLISHED_STAGES[stage]
    assert low - 9 <= heat[day, 0] * 1.8 <= high + 9


def test_stages_come_in_order_and_heat_counts_from_the_new_year():
    heat = phenology.effective_heat(np.full((273, 2), 2.0), np.full((273, 2), 200.0), 50.0)
    assert (heat[phenology.HEAT_START_DAY - 1] == 0).all() and (heat[phenology.HEAT_START_DAY] == 2).all()
    stages = phenology.stage_days(heat, 200.0)
    assert (np.diff(stages, axis=0) >= 0).all()
    assert (stages[phenology.STAGES.index("full_bloom")] == phenology.HEAT_START_DAY + 99).all()


@given(st.floats(0, 120), st.floats(0, 40), st.floats(20, 80))
def test_more_chill_never_delays_bloom(chill, more, requirement):
    degree_days = np.full((273, 1), 4.0)
    days = [
        phenology.stage_days(phenology.effective_heat(degree_days, np.full((273, 1), value), requirement), 210.0)
        for value in (chill, chill + more)
    ]
    assert (days[1] <= days[0]).all()


@pytest.mark.parametrize(("fahrenheit", "activity"), [(65, 1.0), (63, 0.62), (54, 0.21), (51, 0.06)])
def test_bees_on_apple(fahrenheit, activity):
    """Washington State University Tree Fruit, Honey bees (read)."""
    assert pollination.bee_activity_temperature((fahrenheit - 32) / 1.8) == pytest.approx(activity, abs=0.02)


def test_bees_and_wind():
    """Full force below 10 mph (WSU), slow or stopped above 15 mph (WSU), none at 25 mph (Illinois) (all read)."""
    speed = np.array([9.9, 15.0, 25.0]) * 0.44704
    full, slowed, none = pollination.bee_activity_wind(speed)
    assert full == 1.0 and none == pytest.approx(0.0, abs=1e-9) and 0 < slowed < 1


@pytest.mark.parametrize(("temperature", "low", "high"), [(13, 4, 6), (17, 2, 4)])
def test_effective_pollination_period(temperature, low, high):
    """Pear: 4 to 6 d at 13 degC, 2 to 4 d at 17 degC (Tromp & Borsboom 1994, Sci. Hortic. 60:23-30, read)."""
    assert low <= pollination.effective_pollination_period(temperature) <= high


def test_blight_units():
    """Steiner 1990, Acta Hortic. 273:139-148, in degF: 198 h above 65, life 80 d above 40; converted by arithmetic."""
    assert pytest.approx(110.0) == blight.HEAT_NEEDED
    assert pytest.approx(44.4, abs=0.05) == blight.FLOWER_LIFE
    assert pytest.approx(18.3, abs=0.05) == blight.HEAT_BASE
    assert pytest.approx(15.6, abs=0.05) == blight.MEAN_TEMPERATURE
    assert blight.degree_hours(np.full(24, blight.HEAT_BASE + 5)) == pytest.approx(120.0)


def test_blight_needs_all_four_conditions():
    """Days of 10 K day of flower age: the flower lives 4 days, so at 30 K h a day 110 K h are reached on the 4th."""
    days = 8
    age, day_heat, open_flowers = np.full((days, 1), 10.0), np.full((days, 1), 30.0), np.ones((days, 1), dtype=bool)
    heat = blight.heat_in_flower_life(day_heat, age, open_flowers)
    np.testing.assert_allclose(heat[:, 0], [30, 60, 90, 120, 120, 120, 120, 120])
    rain, warm = np.full((days, 1), 0.3), np.full((days, 1), 16.0)
    assert blight.infection_days(open_flowers, heat, rain, warm).sum() == 5
    assert blight.infection_days(~open_flowers, heat, rain, warm).sum() == 0
    assert blight.infection_days(open_flowers, heat, 0 * rain, warm).sum() == 0
    assert blight.infection_days(open_flowers, heat, rain, warm - 0.5).sum() == 0
    assert blight.infection_days(open_flowers, heat, 0 * rain, warm, dew=True).sum() == 5
    yesterday = np.zeros((days, 1))
    yesterday[4] = 2.5
    assert np.flatnonzero(blight.infection_days(open_flowers, heat, yesterday, warm)[:, 0]).tolist() == [4, 5]
    late = open_flowers.copy()
    late[:5] = False
    assert blight.heat_in_flower_life(day_heat, age, late).max() == 90.0


def test_sunburn_threshold():
    """Browning from 46 degC of the surface (Schrader, Zhang & Duplaga 2001, read), risk above 30 degC air (Ontario)."""
    assert sunburn.fruit_surface_temperature(30.0, 1.0) < sunburn.BROWNING
    assert sunburn.fruit_surface_temperature(34.0, 1.0) > sunburn.BROWNING
    assert sunburn.sunburn_share(0.0) == 0.0
    assert sunburn.sunburn_share(60.0, 2.0) > sunburn.sunburn_share(60.0) > sunburn.sunburn_share(20.0)


def test_red_delicious_rule():
    """Beaudry et al. 1993, HortTechnology, examples of Virginia Tech (read).

    Full bloom 29 March 2012, mean minimum 42 degF: 151 d, 27 August. Full bloom 23 April 2013, 8 degF below 50: the
    page prints 19 September, the rule's own arithmetic gives 21 September; the arithmetic is tested.
    """
    days = float(harvest.days_to_harvest(143.0, (42 - 32) / 1.8))
    assert days == pytest.approx(151)
    assert datetime.date(2012, 3, 29) + datetime.timedelta(round(days)) == datetime.date(2012, 8, 27)
    assert datetime.date(2013, 4, 23) + datetime.timedelta(round(days)) == datetime.date(2013, 9, 21)


def test_warm_nights_after_bloom_bring_harvest_forward():
    usual, warm, hot = harvest.days_to_harvest(143.0, np.array([10.0, 12.0, 40.0]))
    assert usual == 143 and warm == pytest.approx(143 - 3.6) and hot == 143 - harvest.LARGEST_SHIFT


def test_leaf_fall_comes_later_where_autumn_is_warm():
    mean = np.stack([np.full(457, 6.0), np.full(457, 10.0), np.full(457, 15.0)], axis=1)
    cold_place, mild, warm = harvest.leaf_fall(mean)
    assert (cold_place, mild, warm) == (335 + 9, 335 + 29, 456)


def test_hardening_and_its_shortfall():
    low, mean = np.full((457, 2), 5.0), np.full((457, 2), 10.0)
    low[20], low[85] = -12.0, -12.0
    low[20, 1] = 5.0
    early, late = cold.acclimation_shortfall(low, mean)
    assert early > late
    assert early == pytest.approx(12.0 + float(cold.hardened_to(40.0)), abs=1e-9)
    assert cold.winter_minimum(low)[0] == -12.0


def test_roots_feel_weeks_of_cold_and_snow_holds_it_back():
    """A step response: after 20 days of -20 degC bare soil has gone 1 - 1/e of the way (definition of its constant).

    Snow keeps soils of cold regions degrees warmer (common knowledge of the trade); a melting spell takes it away.
    """
    mean, rain = np.full((457, 3), cold.SOIL_START), np.zeros((457, 3))
    mean[60:80] = -20.0
    rain[60, 1:] = 10.0
    mean[61, 2] = 4.0
    bare, snowed, melted = cold.soil_minimum(mean, rain)
    assert bare == pytest.approx(cold.SOIL_START - (20 + cold.SOIL_START) * (1 - np.exp(-1)), abs=1e-9)
    assert snowed > bare + 6 and bare < melted < snowed


def test_a_change_of_air_is_no_clear_night(made_up):
    """Radiation frost forms on clear, still nights; a front's fall comes with wind (FAO frost handbook, memory).

    The same night between two equally warm days, and before a day 10 K colder than the one before it.
    """
    low, high = made_up.temperature_min.copy(), made_up.temperature_max.copy()
    low[:, 99:102], high[:, 99:102] = -8.0, 4.0
    high[1, 100:102] = -6.0
    clear = prepare(dataclasses.replace(made_up, temperature_min=low, temperature_max=high)).night_clear[100]
    assert clear[1] < 0.5 < clear[0]


def test_photosynthesis_response():
    values = photosynthesis.temperature_response(np.linspace(-10, 50, 601))
    assert values.min() == 0 and values.max() == 1
    inside = photosynthesis.temperature_response(np.linspace(18, 28, 11))
    np.testing.assert_allclose(inside, 1.0)


def test_daytime_temperature_is_the_light_weighted_mean():
    """Closed form against a numerical mean over a 13 h day."""
    time = np.linspace(0, 13, 20001)
    light = np.sin(np.pi * time / 13)
    wave = np.sin(np.pi * time / (13 + 2 * 1.86))
    expected = 5 + 12 * (wave * light).sum() / light.sum()
    assert photosynthesis.daytime_temperature(5.0, 17.0, 13.0) == pytest.approx(expected, abs=1e-4)


def test_hail_storms_and_marks():
    """200,000 seasons at 0.2 storms a year marking 30 % each: P(none) = exp(-0.2); mean = 1 - exp(-0.06).

    Storms thin a Poisson process, so the mean share left is exp(-0.2 x 0.3). Standard errors 0.0009 and 0.00037 (SD of
    the damage below 0.17); the limits are 4.5 of them, a false alarm once in 150,000.
    """
    damage = hail.hail_damage(np.random.default_rng(3).random((200_000, hail.DRAWS)), 0.2, 0.3)
    assert (damage == 0).mean() == pytest.approx(np.exp(-0.2), abs=4.5 * 0.0009)
    assert damage.mean() == pytest.approx(1 - np.exp(-0.06), abs=4.5 * 0.00037)
    assert damage.max() <= 1
    netted = hail.hail_damage(np.full((1, hail.DRAWS), 0.9), 0.2, 0.3, net=True)
    assert 0 < netted[0] < hail.hail_damage(np.full((1, hail.DRAWS), 0.9), 0.2, 0.3)[0]
