"""Random numbers drawn inside compiled loops: Philox4x32-10, by address.

A draw is named as in :mod:`orchardsim.core.streams`: (seed, process, place) make the key, and year, trial, a number of
the draw and the position make the counter. So a draw depends on nothing but its name, and each call of
:func:`philox` gives four words for one position.

References
----------
Salmon, J. K., Moraes, M. A., Dror, R. O., Shaw, D. E. (2011). "Parallel random numbers: as easy as 1, 2, 3." SC11.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import log
from orchardsim.core.streams import Streams

FIRST_MULTIPLIER: Final = np.uint64(0xD2511F53)
SECOND_MULTIPLIER: Final = np.uint64(0xCD9E8D57)
FIRST_WEYL: Final = np.uint32(0x9E3779B9)
SECOND_WEYL: Final = np.uint32(0xBB67AE85)
STEP: Final = np.float32(2.0**-31)
HALF_STEP: Final = np.float32(2.0**-32)
HALF_BIT: Final = np.float32(2.0**-33)
SQRT_2: Final = np.float32(math.sqrt(2))


class Address(NamedTuple):
    """Where a year's draws of some trials come from.

    Attributes
    ----------
    key : uint32 array, (2,)
        Seed, process and place, hashed.
    trials : uint32 array, (trial,)
    year : np.uint32
    """

    key: NDArray[np.uint32]
    trials: NDArray[np.uint32]
    year: np.uint32


def address(streams: Streams, process: str, place: str, trials: Iterable[int], year: int) -> Address:
    """Where a process draws from at a place (a block name, or nothing) in a year, from 0 up, for some trials."""
    key = streams.key(process, place).view(np.uint32)[:2].copy()
    return Address(key, np.fromiter(trials, np.uint32), np.uint32(year))


@compiled
def _round(c0: Number, c1: Number, c2: Number, c3: Number, k0: Number, k1: Number) -> Number:
    first = FIRST_MULTIPLIER * np.uint64(c0)
    second = SECOND_MULTIPLIER * np.uint64(c2)
    return (
        np.uint32(np.uint32(second >> np.uint64(32)) ^ c1 ^ k0),
        np.uint32(second),
        np.uint32(np.uint32(first >> np.uint64(32)) ^ c3 ^ k1),
        np.uint32(first),
    )


@compiled
def _bumped(key: Number, weyl: Number, times: Number) -> Number:
    return np.uint32(key + np.uint32(np.uint32(times) * weyl))


@compiled
def philox(c0: Number, c1: Number, c2: Number, c3: Number, k0: Number, k1: Number) -> Number:
    """Four random words (uint32) from a counter of four words and a key of two: ten rounds of Philox4x32."""
    # written out, since a loop inside a loop keeps the outer one from running on vectors
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, k0, k1)
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 1), _bumped(k1, SECOND_WEYL, 1))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 2), _bumped(k1, SECOND_WEYL, 2))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 3), _bumped(k1, SECOND_WEYL, 3))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 4), _bumped(k1, SECOND_WEYL, 4))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 5), _bumped(k1, SECOND_WEYL, 5))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 6), _bumped(k1, SECOND_WEYL, 6))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 7), _bumped(k1, SECOND_WEYL, 7))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 8), _bumped(k1, SECOND_WEYL, 8))
    c0, c1, c2, c3 = _round(c0, c1, c2, c3, _bumped(k0, FIRST_WEYL, 9), _bumped(k1, SECOND_WEYL, 9))
    return c0, c1, c2, c3


@compiled
def uniform(word: Number) -> Number:
    """Uniform number from a word, float32: above 0, at most 1; 31 bits, so that small numbers are as fine as large."""
    return np.float32(np.int32(word >> np.uint32(1))) * STEP + HALF_STEP


@compiled
def normal(word: Number) -> Number:
    """Standard normal number from a word, float32, by the inverse of the distribution; within 6.4.

    Notes
    -----
    The highest bit gives the sign, the others the probability beyond. Inverse error function of M. Giles (2010),
    "Approximating the erfinv function", GPU Computing Gems, vol. 2: relative error below 4e-7 in single precision
    (coefficients from memory, checked against scipy in the tests).
    """
    beyond = np.float32(np.int32(word & np.uint32(0x7FFFFFFF))) * HALF_STEP + HALF_BIT
    w = -log(4.0 * beyond * (1.0 - beyond))
    a = w - 2.5
    p = 2.81022636e-08 * a + 3.43273939e-07
    p = p * a - 3.5233877e-06
    p = p * a - 4.39150654e-06
    p = p * a + 0.00021858087
    p = p * a - 0.00125372503
    p = p * a - 0.00417768164
    p = p * a + 0.246640727
    p = p * a + 1.50140941
    b = math.sqrt(max(w, np.float32(0.0))) - 3.0
    q = 0.000100950558 - 0.000200214257 * b
    q = q * b + 0.00134934322
    q = q * b - 0.00367342844
    q = q * b + 0.00573950773
    q = q * b - 0.0076224613
    q = q * b + 0.00943887047
    q = q * b + 1.00167406
    q = q * b + 2.83297682
    size = SQRT_2 * (1.0 - 2.0 * beyond) * (p if w < 5.0 else q)
    return -size if word >> np.uint32(31) else size


@compiled
def fill_uniforms(address: Number, draw: Number, first: Number, second: Number) -> None:
    """Two uniform numbers per trial and position (float32 arrays, (trial, position)), of draw number ``draw``."""
    k0, k1, number = address.key[0], address.key[1], np.uint32(draw)
    for t in range(first.shape[0]):
        trial = address.trials[t]
        for i in range(first.shape[1]):
            a, b, _, _ = philox(np.uint32(i), address.year, trial, number, k0, k1)
            first[t, i] = uniform(a)
            second[t, i] = uniform(b)


@compiled
def fill_normals(address: Number, draw: Number, out: Number) -> None:
    """One standard normal number per trial and position (float32 array), of draw number ``draw``."""
    k0, k1, number = address.key[0], address.key[1], np.uint32(draw)
    for t in range(out.shape[0]):
        trial = address.trials[t]
        for i in range(out.shape[1]):
            out[t, i] = normal(philox(np.uint32(i), address.year, trial, number, k0, k1)[0])
