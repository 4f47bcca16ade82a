"""Exponential, logarithm and power against mpmath (40 digits) and NumPy in double precision, over their whole range."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from numpy.typing import NDArray

from orchardsim.core.compiled import compiled, in_single_precision, vectorised
from orchardsim.core.elementary import exp, exp_less_one, log, power

SMALLEST = float(np.finfo(np.float32).smallest_normal)
LARGEST = float(np.finfo(np.float32).max)


@compiled
def all_exp(x, out):
    for i in range(x.size):
        out[i] = exp(x[i])


@compiled
def all_exp_less_one(x, out):
    for i in range(x.size):
        out[i] = exp_less_one(x[i])


@compiled
def all_log(x, out):
    for i in range(x.size):
        out[i] = log(x[i])


@compiled
def all_power(x, y, out):
    for i in range(x.size):
        out[i] = power(x[i], y[i])


def of(function, *values: NDArray) -> NDArray[np.float32]:
    out = np.empty(values[0].shape, np.float32)
    function(*(np.asarray(value, np.float32) for value in values), out)
    return out


def units_off(found: NDArray[np.float32], wanted: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance in units in the last place of the wanted value."""
    return np.abs(found.astype(np.float64) - wanted) / np.spacing(np.abs(wanted.astype(np.float32))).astype(np.float64)


def every_kth(first: float, last: float, k: int) -> NDArray[np.float32]:
    """Every k-th float32 between two of one sign, by their bits."""
    bits = np.array([first, last], np.float32).view(np.int32)
    return np.arange(bits.min(), bits.max() + 1, k, dtype=np.int32).view(np.float32)


def exp_arguments() -> NDArray[np.float32]:
    # 87.33: exp(-87.3365) is the smallest normal number, exp(88.7228) the largest
    return np.concatenate([every_kth(1e-30, 88.72, 997), every_kth(-1e-30, -87.33, 997)])


def log_arguments() -> NDArray[np.float32]:
    near_one = every_kth(0.7, 1.5, 3)
    return np.concatenate([every_kth(SMALLEST, LARGEST, 397), near_one[near_one != 1]])


@pytest.mark.parametrize(
    ("function", "exact", "arguments", "most"),
    [
        (all_exp, np.exp, exp_arguments, 2),
        (all_exp_less_one, np.expm1, exp_arguments, 3),
        (all_log, np.log, log_arguments, 2),
    ],
)
def test_the_stated_error_holds_over_the_whole_range(function, exact, arguments, most) -> None:
    x = arguments()
    x = x[x != 1] if function is all_log else x
    assert x.size > 1e6
    assert units_off(of(function, x), exact(x.astype(np.float64))).max() < most


def test_power_keeps_its_stated_error() -> None:
    rng = np.random.default_rng(5)
    x = np.exp(rng.uniform(-80, 80, 400_000)).astype(np.float32)
    y = rng.uniform(-5, 5, x.size).astype(np.float32)
    logarithm = y.astype(np.float64) * np.log(x.astype(np.float64))
    inside = (logarithm > -87) & (logarithm < 88)
    x, y, logarithm = x[inside], y[inside], logarithm[inside]
    assert np.all(units_off(of(all_power, x, y), np.exp(logarithm)) < 2 + 2 * np.abs(logarithm))


@pytest.mark.parametrize(
    ("function", "exact", "arguments"),
    [
        (all_exp, mpmath.exp, (-87.3, -20.0, -0.34657, -1e-3, 1e-7, 0.34657, 0.5, 3.0, 88.7)),
        (all_exp_less_one, mpmath.expm1, (-30.0, -5.0, -0.5, -1e-5, 1e-10, 0.1, 2.0, 80.0)),
        (all_log, mpmath.log, (1.2e-38, 1e-10, 0.70710677, 0.9999999, 1.0000001, 1.4142135, 2.0, 3.4e38)),
    ],
)
def test_against_forty_digits(function, exact, arguments) -> None:
    with mpmath.workdps(40):
        for argument in np.array(arguments, np.float32):
            found = of(function, np.array([argument]))[0]
            wanted = exact(mpmath.mpf(float(argument)))
            assert abs(mpmath.mpf(float(found)) - wanted) < 2 * mpmath.mpf(float(np.spacing(np.abs(found))))


@pytest.mark.parametrize(
    ("function", "x", "wanted"),
    [
        (all_exp, [0, -0.0, np.inf, -np.inf, np.nan, 88.73, -87.34, -1e30, 1e-40],
         [1, 1, np.inf, 0, np.nan, np.inf, 0, 0, 1]),
        (all_exp_less_one, [0, np.inf, -np.inf, np.nan, 88.73, -1e30, 1e-30],
         [0, np.inf, -1, np.nan, np.inf, -1, 1e-30]),
        # denormal numbers count as zero
        (all_log, [1, 0, -0.0, np.inf, -np.inf, np.nan, -1, 1e-40],
         [0, -np.inf, -np.inf, np.inf, np.nan, np.nan, np.nan, -np.inf]),
    ],
)  # fmt: skip
def test_at_the_ends(function, x, wanted) -> None:
    np.testing.assert_array_equal(of(function, np.array(x)), np.float32(wanted))


def test_power_at_the_ends() -> None:
    x = np.array([0, 0, 0, 1, np.inf, np.inf, np.nan, 5, -1])
    y = np.array([2, -1, 0, 1e30, 0.5, -0.5, 1, 0, 0.5])
    np.testing.assert_array_equal(of(all_power, x, y), np.float32([0, np.inf, 1, 1, np.inf, 0, np.nan, 1, np.nan]))


def test_no_result_is_denormal() -> None:
    found = of(all_exp, np.linspace(-90, -86, 100_001))
    assert np.all((found == 0) | (found >= np.float32(SMALLEST)))


@pytest.mark.parametrize("function", [all_exp, all_exp_less_one, all_log, all_power])
def test_loops_run_on_vectors_in_single_precision(function) -> None:
    x = np.ones(8, np.float32)
    of(function, *(x, x) if function is all_power else (x,))
    assert in_single_precision(function)
    assert vectorised(function)


def test_the_check_of_precision_sees_doubles() -> None:
    @compiled
    def doubled(x, out):
        for i in range(x.size):
            out[i] = (2 - x[i]) * (3 + x[i])

    of(doubled, np.ones(8))
    assert not in_single_precision(doubled)


def test_the_same_bytes_alone_and_in_a_vector() -> None:
    x = every_kth(0.5, 80, 300_001)
    for function, loop in ((exp, all_exp), (log, all_log)):
        alone = np.array([function(value) for value in x], np.float32)
        np.testing.assert_array_equal(alone.view(np.int32), of(loop, x).view(np.int32))
