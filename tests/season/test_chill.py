"""Chill models against their published tables and worked runs."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.season import chill


def test_chill_hours_bounds():
    """Weinberger 1950; Bennett 1949: hours from 0 to 7.2 degC (32 to 45 degF) count 1."""
    assert chill.chill_hours(np.array([-0.1, 0.0, 3.0, 7.2, 7.3])) == 3


@pytest.mark.parametrize(
    ("low", "high", "weight"),
    [
        (-9, 1.4, 0),
        (1.5, 2.4, 0.5),
        (2.5, 9.1, 1),
        (9.2, 12.4, 0.5),
        (12.5, 15.9, 0),
        (16.0, 18.0, -0.5),
        (18.1, 35, -1),
    ],
)
def test_utah_table(low, high, weight):
    """Richardson, Seeley & Walker 1974, HortScience 9:331-332, table in degC (read)."""
    np.testing.assert_array_equal(chill.utah_weight(np.array([low, (low + high) / 2, high])), weight)


def test_utah_counts_from_the_most_negative_total():
    hourly = np.array([20.0] * 10 + [5.0] * 7 + [20.0] * 2)
    running = chill.utah_units(np.cumsum(chill.utah_weight(hourly)))
    assert running[-1] == 5.0 and running[9] == 0.0


# Constant temperature; computed from the equations of Fishman, Erez & Couvillon 1987 (J. Theor. Biol. 124:473-483,
# 126:309-321) with a separate script; 6 degC for 240 h = 7.8 also stands in a public acceptance note (read).
DYNAMIC = {
    -2: (0.031, 0.24),
    0: (0.774, 4.86),
    2: (5.709, 26.37),
    4: (6.582, 29.85),
    6: (7.821, 34.20),
    8: (8.133, 34.57),
    10: (7.095, 32.44),
    12: (6.000, 25.00),
    13: (0.0, 0.0),
    15: (0.0, 0.0),
}


@pytest.mark.parametrize("temperature", DYNAMIC)
def test_dynamic_model_at_constant_temperature(temperature):
    short, long = DYNAMIC[temperature]
    assert chill.chill_portions(np.full(240, float(temperature))) == pytest.approx(short, abs=6e-4)
    assert chill.chill_portions(np.full(1000, float(temperature))) == pytest.approx(long, abs=6e-3)


def test_dynamic_model_rates_at_six_degrees():
    """Same equations: xs = 2.15086, k1 = 0.0222115 per hour, xi = 0.95996 (computed)."""
    gain, kept, converted = chill.dynamic_rates(np.array(6.0))
    assert -np.log(kept) == pytest.approx(0.0222115, rel=1e-5)
    assert gain / (1 - kept) == pytest.approx(2.15086, rel=1e-5)
    assert converted == pytest.approx(0.95996, abs=1e-5)


def test_warm_days_undo_unfinished_portions():
    """Ten days of 16 h at 6 degC and 8 h at 15 or 20 degC: 6.815 and 4.872 portions (computed)."""
    for warm, portions in ((15.0, 6.815), (20.0, 4.872)):
        cycle = np.tile(np.r_[np.full(16, 6.0), np.full(8, warm)], 10)
        assert chill.chill_portions(cycle) == pytest.approx(portions, abs=6e-4)


def test_single_precision_agrees_with_double():
    """The season stage works in float32; the trip at 1 may fall an hour apart, a portion may differ by a few parts."""
    rng = np.random.default_rng(5)
    hours = (
        7 + 6 * np.sin(np.arange(24 * 200) * 2 * np.pi / 24)[:, None] + rng.normal(0, 4, (200, 20)).repeat(24, axis=0)
    )
    double, single = chill.chill_portions(hours), chill.chill_portions(hours.astype(np.float32))
    assert single.dtype == np.float32
    np.testing.assert_allclose(single, double, atol=0.6)
    assert abs(single.mean() - double.mean()) < 0.05


@given(st.lists(st.floats(-20, 35), min_size=30, max_size=120))
def test_portions_never_fall(values):
    hours = np.array(values)
    total = [float(chill.chill_portions(hours[:end])) for end in range(10, len(hours) + 1, 10)]
    assert all(later >= earlier for earlier, later in itertools.pairwise(total))
