"""Sun, radiation and evapotranspiration against the worked examples of FAO-56 and against pvlib.

FAO-56: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56. The answers were read in test suites
that quote the book's examples; unrounded values were computed from the equations.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.season import evapotranspiration as et


def earth_sun_distance(day):
    """The book's (eq. 23)."""
    return 1 + 0.033 * np.cos(2 * np.pi * day / 365)


def solar_declination(day):
    """The book's [rad] (eq. 24)."""
    return 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)


def book_radiation(latitude, day):
    """Ra as the book works it out, with its own declination and distance."""
    return et.extraterrestrial_radiation(latitude, solar_declination(day), earth_sun_distance(day))


def test_example_2_air_pressure():
    assert et.air_pressure(1800) == pytest.approx(81.8, abs=0.05)
    assert et.psychrometric_constant(et.air_pressure(1800)) == pytest.approx(0.054, abs=5e-4)


def test_example_3_saturation():
    high, low = et.saturation_vapour_pressure(24.5), et.saturation_vapour_pressure(15.0)
    assert (round(float(high), 3), round(float(low), 3)) == (3.075, 1.705)
    assert (high + low) / 2 == pytest.approx(2.39, abs=0.005)


def test_example_5_humidity():
    assert et.vapour_pressure_from_mean_humidity(18, 25, 0.68) == pytest.approx(1.78, abs=0.005)


def test_examples_8_and_9_sun():
    """3 September at 20 degrees south: dr 0.985, declination 0.120, sunset 1.527 rad, Ra 32.2, N 11.7 h."""
    assert earth_sun_distance(246) == pytest.approx(0.985, abs=5e-4)
    assert solar_declination(246) == pytest.approx(0.120, abs=5e-4)
    assert et.sunset_hour_angle(-20, solar_declination(246)) == pytest.approx(1.527, abs=5e-4)
    assert book_radiation(-20, 246) == pytest.approx(32.194, abs=5e-3)
    assert et.day_length(-20, solar_declination(246)) == pytest.approx(11.666, abs=5e-3)


def test_example_10_rio():
    """22 degrees 54 minutes south, 15 May (day 135): Ra 25.1, N 10.9."""
    top, length = book_radiation(-22.9, 135), et.day_length(-22.9, solar_declination(135))
    assert top == pytest.approx(25.111, abs=0.01)
    assert length == pytest.approx(10.895, abs=0.01)


def test_examples_11_and_12_net_radiation():
    """Rio: Rnl 3.5 (computed 3.534); Rns 11.1 printed, 0.77 x 14.5 = 11.165 by arithmetic (the book rounds down)."""
    assert et.net_longwave_radiation(19.1, 25.1, 2.1, 14.5 / 18.8) == pytest.approx(3.534, abs=0.01)
    assert et.net_radiation(14.5, 0.0) == pytest.approx(11.165, abs=1e-9)


def test_example_15_radiation_from_temperature():
    found = et.radiation_from_temperature(np.array(40.6), np.array(14.8), np.array(26.6))
    assert found == pytest.approx(22.29, abs=0.05)
    assert found == pytest.approx(22.3, abs=0.05)


def test_example_17_bangkok():
    assert et.penman_monteith(30.2, 14.33, 2, 4.42 - 2.85, 0.246, 0.0674, 0.14) == pytest.approx(5.72, abs=0.01)


def test_example_18_uccle():
    """50.80 N, 100 m, 6 July (day 187), 21.5/12.3 degC, RH 84/63 %, 2.078 m/s at 2 m, 9.25 h of sun: ETo 3.9."""
    pressure = et.air_pressure(100)
    gamma, slope = et.psychrometric_constant(pressure), et.vapour_pressure_slope(16.9)
    actual = (0.84 * et.saturation_vapour_pressure(12.3) + 0.63 * et.saturation_vapour_pressure(21.5)) / 2  # eq. 17
    saturated = (et.saturation_vapour_pressure(12.3) + et.saturation_vapour_pressure(21.5)) / 2
    top, length = book_radiation(50.80, 187), et.day_length(50.80, solar_declination(187))
    radiation = (0.25 + 0.50 * 9.25 / length) * top  # eq. 35
    clear = et.clear_sky_share(100) * top
    longwave = et.net_longwave_radiation(12.3, 21.5, actual, radiation / clear)
    net = et.net_radiation(radiation, longwave)
    for found, printed, unit in (
        (pressure, 100.1, 0.05),
        (slope, 0.122, 5e-4),
        (gamma, 0.0666, 5e-5),
        (saturated, 1.997, 5e-4),
        (actual, 1.409, 1e-3),
        (top, 41.09, 0.01),
        (length, 16.1, 0.05),
        (radiation, 22.07, 0.01),
        (clear, 30.90, 0.01),
        (net, 13.28, 0.015),
    ):
        assert found == pytest.approx(printed, abs=unit)
    found = et.penman_monteith(16.9, net, 2.078, saturated - actual, slope, gamma)
    assert round(float(found), 1) == 3.9
    assert found == pytest.approx(3.880, abs=0.005)


def test_example_20_lyon():
    """45.72 N, 200 m, July, 26.6/14.8 degC: Rs 22.29, ea 1.68 read; Hargreaves 5.03 mm/d computed."""
    assert et.saturation_vapour_pressure(14.8) == pytest.approx(1.68, abs=0.005)
    assert et.hargreaves(14.8, 26.6, 40.6) == pytest.approx(5.03, abs=0.02)


def test_hargreaves_worked_value():
    """Mehta 2006, note: 38/28 degC, mean 35, Ra 38.93715 MJ gives 6.1 mm/d (read); 6.101 by arithmetic."""
    assert et.hargreaves(28.0, 38.0, 38.93715, temperature_mean=35.0) == pytest.approx(6.101, abs=1e-3)


LATITUDES = [-55.0, -34.0, -10.0, 0.0, 20.0, 35.0, 47.4, 59.0]
DAYS = np.array([15, 46, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349])
MIDNIGHTS = [pd.Timestamp("2021-01-01", tz="UTC") + pd.Timedelta(days=int(day) - 1) for day in DAYS]


def test_almanac_sun_against_pvlib():
    """Full solar position algorithm at noon seen from the pole, where elevation is declination: within 0.02 degree;
    distance against pvlib's NREL algorithm within 0.0005."""
    noon = pd.DatetimeIndex(MIDNIGHTS) + pd.Timedelta(hours=12)
    sun = pvlib.solarposition.get_solarposition(noon, 90.0, 0.0)
    np.testing.assert_allclose(np.degrees(et.almanac_declination(DAYS)), sun["elevation"].to_numpy(), atol=0.02)
    beam = pvlib.irradiance.get_extra_radiation(noon, solar_constant=1.0, method="nrel")
    np.testing.assert_allclose(et.almanac_distance(DAYS), beam.to_numpy(), atol=5e-4)


@pytest.mark.parametrize("latitude", LATITUDES)
def test_daily_radiation_against_pvlib(latitude):
    """Integral of pvlib's radiation on the level over the day, 5 minutes apart, full position algorithm: 1.5 %."""
    middle = pd.Timedelta(minutes=2.5)
    times = pd.DatetimeIndex(
        [day + middle + pd.Timedelta(minutes=5 * step) for day in MIDNIGHTS for step in range(288)]
    )
    sun = pvlib.solarposition.get_solarposition(times, latitude, 0.0)
    beam = pvlib.irradiance.get_extra_radiation(times, method="spencer")
    level = beam.to_numpy() * np.maximum(np.cos(np.radians(sun["zenith"].to_numpy())), 0)
    daily = level.reshape(len(DAYS), 288).sum(axis=1) * 300 / 1e6
    found = et.extraterrestrial_radiation(latitude, et.almanac_declination(DAYS), et.almanac_distance(DAYS))
    np.testing.assert_allclose(found, daily, rtol=0.015)


@pytest.mark.parametrize("latitude", LATITUDES)
def test_day_length_against_pvlib(latitude):
    """pvlib's day begins and ends with the sun 0.833 degrees below the horizon (refraction and disc), which the
    formula leaves out. Sunset moves at 15 cos(latitude) degrees an hour at most, so the day is longer by at least
    2 x 0.833/15 h = 0.11 h, and below 60 degrees by less than 0.40 h; 0.01 h for pvlib's change of declination."""
    sun = pvlib.solarposition.sun_rise_set_transit_spa(pd.DatetimeIndex(MIDNIGHTS), latitude, 0.0)
    published = (sun["sunset"] - sun["sunrise"]).dt.total_seconds().to_numpy() / 3600
    excess = published - et.day_length(latitude, et.almanac_declination(DAYS))
    assert (excess > 0.10).all() and (excess < 0.40).all(), excess


def test_limits():
    assert book_radiation(85.0, 355) == pytest.approx(0.0, abs=1e-9)
    assert et.day_length(85.0, solar_declination(172)) == pytest.approx(24.0)
    low, high = np.array([20.0]), np.array([10.0])
    assert et.hargreaves(low, high, np.array([30.0])) == 0.0


def test_humidity_estimated_from_the_minimum():
    """FAO-56 (1998) example 20 (Lyon, July, 26.6/14.8 degC, no humidity: ea = e(Tmin) = 1.68 kPa, read)."""
    humidity = et.humidity_from_minimum(14.8, 26.6, 0.0)
    vapour = et.vapour_pressure_from_mean_humidity(14.8, 26.6, humidity)
    assert vapour == pytest.approx(1.68, abs=0.005)


@given(st.floats(-30, 30), st.floats(0, 25), st.floats(0, 5))
def test_estimated_humidity_is_a_share_and_falls_with_dryness(low, spread, offset):
    humidity = float(et.humidity_from_minimum(low, low + spread, offset))
    assert 0 < humidity <= 1 + 1e-12
    assert float(et.humidity_from_minimum(low, low + spread, offset + 0.5)) < humidity
