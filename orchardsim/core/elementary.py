"""Exponential, logarithm and power in single precision, as short polynomials.

They use additions, products, one division in places, and shifts of bits only, so that they give the same bytes on every
machine of the IEEE 754 standard, and run on whole vectors in a loop. Numbers below the smallest normal one (1.2e-38)
count as zero, on the way in and out. Called with another type, they round it to float32 first.

The polynomials are those of S. L. Moshier's Cephes Mathematical Library (expf and logf, single precision; from memory,
checked against mpmath in the tests), the splitting of ln 2 too.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from orchardsim.core.compiled import Number, compiled

LOG2_E: Final = np.float32(1.44269504088896341)
LN2_HIGH: Final = np.float32(0.693359375)
"""Leading bits of ln 2: its product with a whole number up to 2^8 is exact in float32."""
LN2_LOW: Final = np.float32(-2.12194440e-4)
"""ln 2 less ``LN2_HIGH``."""
ROUNDER: Final = np.float32(1.5 * 2**23)
"""Added to a number below 2^22 it leaves the nearest whole number in the last bits."""
EXP_LEAST: Final = np.float32(-87.3365402)
"""exp of less lies below the smallest normal number."""
EXP_MOST: Final = np.float32(88.7228317)
"""exp of more lies above the largest number."""
SMALLEST: Final = np.float32(2.0**-126)
INFINITY: Final = np.float32(np.inf)
NAN: Final = np.float32(np.nan)


@compiled
def bits_of(x: Number) -> Number:
    """The bits of a float32 as an int32."""
    return np.float32(x).view(np.int32)


@compiled
def from_bits(bits: Number) -> Number:
    """The float32 that has the bits of an int32."""
    return np.int32(bits).view(np.float32)


@compiled
def _reduced(x: Number) -> Number:
    """Whole n and rest r with x = n ln 2 + r, and the bits of 2^n shifted into place (less the exponent's bias)."""
    shifted = x * LOG2_E + ROUNDER
    n = shifted - ROUNDER
    r = (x - n * LN2_HIGH) - n * LN2_LOW
    return r, np.int32(bits_of(shifted) << np.int32(23))


@compiled
def _exp_less_one(r: Number) -> Number:
    """exp(r) - 1 for r within half of ln 2."""
    p = 1.9875691500e-4 * r + 1.3981999507e-3
    p = p * r + 8.3334519073e-3
    p = p * r + 4.1665795894e-2
    p = p * r + 1.6666665459e-1
    p = p * r + 5.0000001201e-1
    return p * (r * r) + r


@compiled
def exp(x: Number) -> Number:
    """exp(x), float32: within 2 units in the last place; 0 below the smallest normal number.

    Examples
    --------
    >>> float(exp(np.float32(0)))
    1.0
    """
    x = np.float32(x)
    r, power = _reduced(x)
    grown = _exp_less_one(r) + 1.0
    value = from_bits(bits_of(grown) + power)
    # beyond its ends the value is rubbish; the sum is inf, or nan where x is
    value = np.float32(0.0) if x < EXP_LEAST else value
    return value if x <= EXP_MOST else x + INFINITY


@compiled
def exp_less_one(x: Number) -> Number:
    """exp(x) - 1, float32, without loss of digits near 0: within 3 units in the last place.

    Examples
    --------
    >>> float(exp_less_one(np.float32(1e-20))) == float(np.float32(1e-20))
    True
    """
    x = np.float32(x)
    held = min(max(x, np.float32(-20.0)), EXP_MOST)
    r, power = _reduced(held)
    # half of 2^n, since 2^128 itself is beyond the range
    half = from_bits(np.int32(0x3F000000) + power)
    value = 2.0 * (half * _exp_less_one(r) + (half - 0.5))
    value = INFINITY if x > EXP_MOST else value
    return value if x == x else x


@compiled
def log(x: Number) -> Number:
    """Natural logarithm, float32: within 2 units in the last place; log of 0 is -inf, of less nan.

    Examples
    --------
    >>> float(log(np.float32(1)))
    0.0
    """
    x = np.float32(x)
    bits = bits_of(x)
    # x = m 2^n with m between sqrt(1/2) and sqrt(2)
    steps = np.int32(np.int32(bits - np.int32(0x3F3504F3)) >> np.int32(23))
    m = from_bits(bits - np.int32(steps << np.int32(23)))
    n = np.float32(steps)
    f = m - 1.0
    p = 7.0376836292e-2 * f - 1.1514610310e-1
    p = p * f + 1.1676998740e-1
    p = p * f - 1.2420140846e-1
    p = p * f + 1.4249322787e-1
    p = p * f - 1.6668057665e-1
    p = p * f + 2.0000714765e-1
    p = p * f - 2.4999993993e-1
    p = p * f + 3.3333331174e-1
    square = f * f
    value = (f + ((p * f * square + n * LN2_LOW) - 0.5 * square)) + n * LN2_HIGH
    value = value if x < INFINITY else x
    value = -INFINITY if x < SMALLEST else value
    return NAN if x < 0.0 else value


@compiled
def power(x: Number, y: Number) -> Number:
    """x to the power y for x from 0 up, float32, as exp(y log x).

    The relative error grows with the size of the logarithm: within 2 + 2 abs(y log x) units in the last place.

    Examples
    --------
    >>> round(float(power(np.float32(2), np.float32(0.5))), 6)
    1.414214
    """
    y = np.float32(y)
    value = exp(y * log(x))
    return np.float32(1.0) if y == 0.0 else value
