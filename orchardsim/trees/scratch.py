"""Working arrays for formulas that run over every tree: hot loops hand theirs in, other callers get new ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]
Work = Sequence[Array] | None
TINY: Final = 1e-9
"""Keeps divisions by an empty position finite; far below any physical value here."""


def buffers(work: Work, count: int, like: Array) -> Sequence[Array]:
    """The given working arrays, or new ones shaped as ``like``.

    A fresh array costs several times the arithmetic done in it (pages are mapped anew), so the year loop keeps a few.
    """
    return work[:count] if work is not None else [np.empty_like(like) for _ in range(count)]


def power(base: Array, exponent: float, out: Array | None = None) -> Array:
    """base^exponent for base >= 0 as exp(exponent log(base)), half the time of the general power.

    0 gives (1e-9)^exponent, which the callers multiply by 0.
    """
    (result,) = buffers(None if out is None else (out,), 1, base)
    np.add(base, TINY, out=result)
    np.log(result, out=result)
    result *= exponent
    return np.exp(result, out=result)
