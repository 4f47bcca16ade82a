"""Sun and shadows: positions against pvlib, the length of shadows against its integral."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest

from orchardsim.trees import light


@pytest.mark.parametrize("latitude", [-38.0, 12.0, 43.0, 58.0])
def test_sun_stands_where_pvlib_puts_it(latitude):
    # pvlib: NREL solar position algorithm (Reda and Andreas 2004, Solar Energy 76:577). Ours is the declination of
    # Cooper (1969), whose worst error is about 1 degree near the equinoxes.
    days = np.array([100.0, 172.0, 240.0, 280.0])
    hours = np.array([7.0, 9.5, 12.5, 16.0])
    elevation, azimuth = light.sun_positions(latitude, days, hours)
    for i, day in enumerate(days):
        for j, hour in enumerate(hours):
            # solar time at longitude 0 is universal time plus the equation of time
            minutes = pvlib.solarposition.equation_of_time_spencer71(day)
            time = pd.Timestamp("2021-01-01", tz="UTC") + pd.Timedelta(days=day - 1, hours=hour, minutes=-minutes)
            sun = pvlib.solarposition.get_solarposition(pd.DatetimeIndex([time]), latitude, 0.0)
            assert np.degrees(elevation[i, j]) == pytest.approx(sun["elevation"].iloc[0], abs=1.6)
            if 10 < sun["elevation"].iloc[0] < 75:
                turn = (np.degrees(azimuth[i, j]) - sun["azimuth"].iloc[0] + 180) % 360 - 180
                assert abs(turn) < 4


def test_diffuse_sky_of_an_alley_is_hottel_and_sarofim():
    # Crossed strings (Hottel and Sarofim 1967, Radiative Transfer): an alley as wide as its hedges are high sees
    # sqrt(2) - 1 of a uniform sky.
    share = light.open_alley_share(np.array([1.0]), 43.0, 0.0, diffuse_share=1.0)
    assert share[0] == pytest.approx(np.sqrt(2) - 1, abs=1e-12)


@pytest.mark.parametrize("latitude", [-35.0, 34.7, 43.0, 55.0])
@pytest.mark.parametrize("direction", [0.0, 45.0, 90.0])
def test_fitted_slope_stays_near_the_integral(latitude, direction):
    x = np.linspace(0.2, 3, 15)
    slope = light.alley_slope(latitude, direction)
    fitted = np.sqrt(1 + (slope * x) ** 2) - slope * x
    assert np.abs(fitted - light.open_alley_share(x, latitude, direction)).max() < 0.07


def test_rows_north_to_south_stop_more_summer_light_than_rows_east_to_west():
    # At middle latitudes north-south hedges intercept more over the summer (Jackson and Palmer 1972, J. Applied
    # Ecology 9:341; cited from memory); the test asserts only the direction, which also follows from the sun's path.
    x = np.array([0.8, 1.2])
    open_ns = light.open_alley_share(x, 51.0, 0.0, diffuse_share=0.0)
    open_ew = light.open_alley_share(x, 51.0, 90.0, diffuse_share=0.0)
    assert (open_ns < open_ew).all()
