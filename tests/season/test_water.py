"""Soil water: FAO-56 formulas, and a balance that closes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.core.handover import COVER_LEVELS
from orchardsim.season import water

DAYS = np.arange(457)
DATES = tuple(np.array([float(day)]) for day in (190, 250, 340, 400))


def balance(rain, reference, available=120.0, daily=6.0, season=3000.0):
    stage = water.canopy_stage(DAYS, *(np.broadcast_to(date, (rain.shape[1],)) for date in DATES))
    limit = np.full(rain.shape[1], season)
    return water.soil_water_balance(rain, reference, stage, COVER_LEVELS, available, daily, limit)


def test_stress_coefficient_by_hand():
    """FAO-56 eq. 84 with 100 mm available and p 0.5: no stress to 50 mm, then (100 - 75)/50 = 0.5, 0 when dry."""
    np.testing.assert_allclose(water.stress_coefficient(np.array([-5, 0, 50, 75, 100]), 100.0, 0.5), [1, 1, 1, 0.5, 0])


def test_readily_available_share():
    """FAO-56: p + 0.04 (5 - ETc) with 0.50 for apple (Table 22, read), kept in 0.1 to 0.8."""
    np.testing.assert_allclose(water.depletion_fraction(np.array([5.0, 3.0, 7.5, -9.0])), [0.5, 0.58, 0.4, 0.8])


def test_full_cover_has_the_tabled_coefficient():
    """FAO-56 Table 17, apple without ground cover: 0.90 in mid season, 0.65 at the end (read)."""
    assert water.transpiration_coefficient(1.0) == pytest.approx(0.90)
    assert water.transpiration_coefficient(0.0) == 0.0
    last = water.canopy_stage(np.array([399]), *DATES)[0, 0] * water.transpiration_coefficient(1.0)
    assert last == pytest.approx(0.65, abs=0.01)


@given(
    st.integers(0, 2**32 - 1),
    st.floats(20, 400),
    st.floats(0, 12),
    st.floats(0, 800),
)
def test_balance_closes(seed, available, daily, season):
    rng = np.random.default_rng(seed)
    rain = np.where(rng.random((457, 3)) < 0.3, rng.gamma(0.7, 15, (457, 3)), 0.0)
    reference = rng.uniform(0, 9, (457, 3))
    found = balance(rain, reference, available, daily, season)
    change = found.depletion_start - found.depletion_end
    inflow = rain.sum(axis=0) + found.irrigation
    np.testing.assert_allclose(inflow - found.evapotranspiration - found.drainage, change, atol=1e-9)
    assert (found.depletion_end <= available + 1e-9).all()
    assert (found.irrigation <= season + 1e-9).all()
    assert ((found.stress >= 0) & (found.stress <= 1)).all()


def test_irrigation_prevents_stress_and_more_cover_needs_more():
    rain, reference = np.zeros((457, 1)), np.full((457, 1), 5.0)
    rain[:190] = 3.0
    dry, watered = balance(rain, reference, daily=0.0), balance(rain, reference)
    assert (dry.irrigation == 0).all() and dry.stress[330].max() < 0.2
    assert watered.stress[190:400].min() > 0.99
    # Above 0.6 of cover the canopy gains what the bare ground loses (FAO-56: Kc levels off), within a day's irrigation.
    steps = np.diff(watered.irrigation[:, 0])
    assert (steps[:3] > 100).all() and abs(steps[3]) < 20
    short = balance(rain, reference, season=100.0)
    np.testing.assert_allclose(short.irrigation[1:], 100.0)


@given(st.floats(0, 3), st.integers(0, 400))
def test_more_rain_never_means_more_stress(extra, day):
    rng = np.random.default_rng(1)
    rain = np.where(rng.random((457, 2)) < 0.2, 8.0, 0.0)
    more = rain.copy()
    more[day] += extra
    reference = np.full((457, 2), 4.0)
    assert (balance(more, reference, daily=0.0).stress >= balance(rain, reference, daily=0.0).stress - 1e-6).all()
