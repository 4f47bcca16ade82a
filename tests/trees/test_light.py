"""Light geometry: sun against pvlib, the hedge against its integral and its limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.trees import light

sizes = st.floats(0.3, 6)


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


@given(height=sizes, width=st.floats(0.2, 2.5), row=st.floats(2.6, 8), more=st.floats(1.05, 2))
def test_a_taller_or_wider_hedge_stops_more_and_never_all(height, width, row, more):
    def stopped(h, w, r):
        return float(light.hedge_interception(np.array(h), np.array(w), np.array(r), 1.0))

    base = stopped(height, width, row)
    assert width / row - 1e-9 <= base <= 1
    assert stopped(height * more, width, row) >= base
    assert stopped(height, min(width * more, row * 0.99), row) >= base - 1e-12
    assert stopped(height, width, row * more) <= base + 1e-12


@given(leaf=st.floats(0, 20), land=st.floats(0.5, 40), most=st.floats(0.05, 1))
def test_interception_has_the_limits_of_jackson(leaf, land, most):
    # Jackson 1981, Acta Horticulturae 114: F = Fmax (1 - exp(-k L / Fmax)); thin leaf stops k L, thick leaf Fmax.
    got = float(light.interception(np.array(leaf), np.array(land), np.array(most), 0.6))
    assert -1e-9 <= got <= most + 1e-9
    assert got <= 0.6 * leaf / land + 1e-6
    thin = float(light.interception(np.array(1e-4 * land), np.array(land), np.array(most), 0.6))
    assert thin == pytest.approx(0.6e-4, rel=1e-2)


@given(st.lists(st.floats(0, 5), min_size=12, max_size=12))
def test_what_one_tree_wins_its_neighbours_lose(sizes_of_trees):
    stature = np.array(sizes_of_trees).reshape(1, 12)
    along, across = light.neighbour_room(stature, 3, 0.35, 0.15)
    # the headland gives each row end 0.35, each tree of the outer rows 0.15
    assert along.sum() == pytest.approx(12 + 3 * 2 * 0.35)
    assert across.sum() == pytest.approx(12 + 2 * 4 * 0.15)
    assert along.min() >= 0.3 - 1e-9 and across.min() >= 0.7 - 1e-9


def test_trees_beside_a_gap_share_its_land():
    stature = np.full((1, 25), 2.0)
    stature[0, 12] = 0
    along, across = light.neighbour_room(stature, 5, 0.35, 0.15)
    grid, other = along.reshape(5, 5), across.reshape(5, 5)
    assert grid[2, 1] == pytest.approx(1.35) and grid[2, 3] == pytest.approx(1.35)
    assert other[1, 2] == pytest.approx(1.15) and other[3, 2] == pytest.approx(1.15)
    assert grid[2, 2] == pytest.approx(0.3) and other[2, 2] == pytest.approx(0.7)
    assert grid[1, 2] == pytest.approx(1.0)
