"""Wind and humidity estimated where they were not measured: what changes, and what must not."""

from __future__ import annotations

import dataclasses

import numpy as np

from orchardsim.season import evapotranspiration as et
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.season.prepare import prepare
from tests.season.conftest import season_drivers

CULTIVAR = Phenology(chill_requirement=55.0, bloom_heat=210.0, days_to_harvest=125.0)
SITE = BlockSite()


def test_estimates_turn_hargreaves_into_penman_monteith(made_up):
    plain, estimated = prepare(made_up), prepare(dataclasses.replace(made_up, estimate_missing=True))
    assert plain.wind_speed is None and plain.relative_humidity is None
    # FAO-56: 2 m/s where there is no wind record; the dew point at the minimum in humid climates.
    assert (estimated.wind_speed == 2.0).all() and estimated.relative_humidity.max() <= 1.0
    top = estimated.sky.extraterrestrial[:, None]
    expected = et.reference_evapotranspiration(
        estimated.temperature_min,
        estimated.temperature_max,
        top,
        made_up.elevation,
        estimated.wind_speed,
        estimated.relative_humidity,
    )
    np.testing.assert_array_equal(estimated.reference_et, expected)
    np.testing.assert_array_equal(plain.reference_et, et.hargreaves(plain.temperature_min, plain.temperature_max, top))


def test_radiation_by_the_range_of_the_day_follows_the_place(made_up):
    """FAO-56 eq. 50: Rs = k sqrt(Tmax - Tmin) Ra with k of 0.16 inland and 0.19 at a coast, at most the clear sky."""
    inland, coast = (prepare(dataclasses.replace(made_up, range_coefficient=k)) for k in (0.16, 0.19))
    most = et.clear_sky_share(made_up.elevation) * inland.sky.extraterrestrial[:, None]
    np.testing.assert_allclose(
        coast.global_radiation, np.minimum(inland.global_radiation * 0.19 / 0.16, most), rtol=1e-12, atol=0
    )


def test_nights_are_as_clear_as_their_range_stands_among_the_places_own(made_up):
    """FAO-56 eqs. 39 and 50: radiation goes with the root of the range, and a clear night loses all that a sky lets."""
    daily = made_up.temperature_max - made_up.temperature_min
    inland, shore = (prepare(dataclasses.replace(made_up, clear_range=daily.max() * part)) for part in (1.0, 0.7))
    assert (shore.night_clear >= inland.night_clear).all() and (shore.night_clear > inland.night_clear).any()
    assert shore.night_clear.max() == 1.0
    np.testing.assert_array_equal(shore.global_radiation, inland.global_radiation)


def test_what_was_measured_is_never_replaced(made_up):
    shape = made_up.temperature_min.shape
    windy = dataclasses.replace(made_up, wind_speed=np.full(shape, 5.0), estimate_missing=True)
    found = prepare(windy)
    assert (found.wind_speed == 5.0).all() and found.relative_humidity is not None
    both = dataclasses.replace(windy, relative_humidity=np.full(shape, 0.7))
    asked, plain = prepare(both), prepare(dataclasses.replace(both, estimate_missing=False))
    np.testing.assert_array_equal(asked.reference_et, plain.reference_et)
    # Wind of 5 m/s is above the 10 mph of full flight (Washington State University), so bees lose hours.
    calm = season_drivers(made_up, CULTIVAR, SITE)
    assert (season_drivers(windy, CULTIVAR, SITE).pollination_hours < calm.pollination_hours).all()


def test_dew_adds_infection_days_and_dry_air_takes_them(made_up):
    warm = dataclasses.replace(made_up, temperature_min=made_up.temperature_min + 4, rain=np.zeros_like(made_up.rain))
    warm = dataclasses.replace(warm, temperature_max=warm.temperature_min + 13)
    days = [
        season_drivers(
            dataclasses.replace(warm, estimate_missing=asked, dew_point_offset=offset), CULTIVAR, SITE
        ).blight_days.sum()
        for asked, offset in ((False, 0.0), (True, 0.0), (True, 3.0))
    ]
    assert days[0] == 0 and days[1] > 0 and days[2] < days[1]
