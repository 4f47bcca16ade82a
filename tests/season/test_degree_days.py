"""Degree-day formulas against worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.season.degree_days import degree_days_average, degree_days_sine, degree_days_triangle

# The first row: extension page with the three methods side by side (0, 0.47, 0.29), read; unrounded computed from the
# equations of Baskerville & Emin 1969, Ecology 50:514-517. The others computed by hand calculator from them.
WORKED = [
    (7, 14, 12, 0.0, 0.4681),
    (30, 60, 43, 2.0, 5.817),
    (38, 50, 43, 1.0, 2.436),
    (25, 45, 43, 0.0, 0.271),
    (40, 70, 50, 5.0, 7.542),
    (0, 15, 6.1, 1.4, 3.129),
    (45, 65, 43, 12.0, 12.0),
]


@pytest.mark.parametrize(("low", "high", "base", "average", "sine"), WORKED)
def test_worked_days(low, high, base, average, sine):
    assert degree_days_average(low, high, base) == pytest.approx(average, abs=1e-9)
    assert degree_days_sine(np.array(low), np.array(high), base) == pytest.approx(sine, abs=6e-4)


def test_published_sine_and_triangle():
    """Extension page, 7 and 14 degC over a base of 12 degC: sine 0.47, triangle 0.29 (read)."""
    assert round(float(degree_days_sine(7.0, 14.0, 12.0)), 2) == 0.47
    assert round(float(degree_days_triangle(7.0, 14.0, 12.0)), 2) == 0.29


def test_published_average():
    """University of California, ipm.ucanr.edu PMG/FIG/cit-t01: mean 64 over threshold 53 gives 11 (read)."""
    assert degree_days_average(64.0, 64.0, 53.0) == 11.0


temperatures = st.floats(-30, 45)


@given(temperatures, temperatures, st.floats(-5, 20), st.floats(0, 10))
def test_never_fall_when_it_gets_warmer(first, second, base, warming):
    low, high = min(first, second), max(first, second)
    for method in (degree_days_average, degree_days_sine, degree_days_triangle):
        before, after = method(low, high, base), method(low + warming, high + warming, base)
        assert after >= before - 1e-9
        assert method(low, high + warming, base) >= before - 1e-9
        assert 0 <= before <= max(high - base, 0) + 1e-5


@given(temperatures, st.floats(0.1, 30), st.floats(-5, 20))
def test_sine_is_the_mean_of_a_sine_wave(low, spread, base):
    """The closed form against a numerical mean of max(0, T - base) over one wave."""
    wave = low + spread / 2 + spread / 2 * np.sin(np.linspace(0, 2 * np.pi, 4001)[:-1])
    assert degree_days_sine(low, low + spread, base) == pytest.approx(np.maximum(wave - base, 0).mean(), abs=2e-3)


def test_methods_agree_above_the_base_and_shapes_hold():
    low, high = np.full((3, 2), 10.0), np.full((3, 2), 20.0)
    for method in (degree_days_average, degree_days_sine, degree_days_triangle):
        assert method(low, high, 5.0).shape == (3, 2)
        np.testing.assert_allclose(method(low, high, 5.0), 10.0, atol=1e-9)
