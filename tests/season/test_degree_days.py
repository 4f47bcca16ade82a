"""Degree-day formulas against worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.season.degree_days import degree_days_sine

# The first row: extension page, which gives the rounded 0.47 (read); unrounded, and the others, computed by hand
# calculator from the equations of Baskerville & Emin 1969, Ecology 50:514-517.
WORKED = [
    (7, 14, 12, 0.4681),
    (30, 60, 43, 5.817),
    (38, 50, 43, 2.436),
    (25, 45, 43, 0.271),
    (40, 70, 50, 7.542),
    (0, 15, 6.1, 3.129),
    (45, 65, 43, 12.0),
]


@pytest.mark.parametrize(("low", "high", "base", "expected"), WORKED)
def test_worked_days(low, high, base, expected):
    assert degree_days_sine(np.array(low), np.array(high), base) == pytest.approx(expected, abs=6e-4)


temperatures = st.floats(-30, 45)


@given(temperatures, temperatures, st.floats(-5, 20), st.floats(0, 10))
def test_never_fall_when_it_gets_warmer(first, second, base, warming):
    low, high = min(first, second), max(first, second)
    before, after = degree_days_sine(low, high, base), degree_days_sine(low + warming, high + warming, base)
    assert after >= before - 1e-9
    assert degree_days_sine(low, high + warming, base) >= before - 1e-9
    assert 0 <= before <= max(high - base, 0) + 1e-5


@given(temperatures, st.floats(0.1, 30), st.floats(-5, 20))
def test_sine_is_the_mean_of_a_sine_wave(low, spread, base):
    """The closed form against a numerical mean of max(0, T - base) over one wave."""
    wave = low + spread / 2 + spread / 2 * np.sin(np.linspace(0, 2 * np.pi, 4001)[:-1])
    assert degree_days_sine(low, low + spread, base) == pytest.approx(np.maximum(wave - base, 0).mean(), abs=2e-3)


def test_a_day_above_the_base_gives_its_mean_and_shapes_hold():
    low, high = np.full((3, 2), 10.0), np.full((3, 2), 20.0)
    assert degree_days_sine(low, high, 5.0).shape == (3, 2)
    np.testing.assert_allclose(degree_days_sine(low, high, 5.0), 10.0, atol=1e-9)
