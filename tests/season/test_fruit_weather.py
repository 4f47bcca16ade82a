"""Fruit between set and picking: hunger after a thinning spray, rots, and what a real record makes of them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from orchardsim.season import fruit_weather
from orchardsim.season.parameters import BlockSite
from tests.season.conftest import season_drivers
from tests.season.test_drivers import CULTIVAR


def test_a_dull_or_a_warm_week_starves_fruitlets():
    """Directions of Robinson and Lakso 2011, Acta Horticulturae 903 (memory); respiration doubles in 10 K."""
    usual, dull, warm = fruit_weather.carbohydrate_balance(np.array([10.0, 4.0, 10.0]), np.array([15.0, 15.0, 25.0]))
    assert dull < usual and warm < usual
    spent = 10.0 / fruit_weather.USUAL_LIGHT - np.array([usual, warm])
    assert spent[1] / spent[0] == pytest.approx(2.0)


def test_usual_balance_is_that_of_a_real_record(clemson):
    """The usual week is the mean of two records; on one of them the balance is near 0 and varies by a fifth."""
    balance = season_drivers(clemson, CULTIVAR, BlockSite()).spray_balance
    assert balance.mean() == pytest.approx(0, abs=0.15)
    assert 0.1 < balance.std() < 0.3


def test_rots_follow_warm_rain_before_harvest(made_up):
    """Hand count: four weeks of warm rain spoil 1 - exp(-28 x 0.004); dry or cold weeks nothing."""
    rain = np.full_like(made_up.rain, 3.0)
    warm = dataclasses.replace(made_up, rain=rain, temperature_min=0 * rain + 14.0, temperature_max=0 * rain + 24.0)
    found = season_drivers(warm, CULTIVAR, BlockSite())
    np.testing.assert_allclose(found.rot_fraction, 1 - np.exp(-28 * 0.004))
    np.testing.assert_allclose(found.ripening_night, 14.0)
    assert not season_drivers(dataclasses.replace(warm, rain=0 * rain), CULTIVAR, BlockSite()).rot_fraction.any()
    cold = dataclasses.replace(warm, temperature_max=0 * rain + 15.0)
    assert not season_drivers(cold, CULTIVAR, BlockSite()).rot_fraction.any()
