"""What drives the spread of a result: shares of its variance by source, from runs with swapped random streams."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.comparison import bootstrap_rows

Array = NDArray[np.float64]

RESAMPLES: Final = 500
LEVEL: Final = 0.95
"""Of the bootstrap intervals."""


@dataclass(frozen=True)
class DriverShare:
    """Share of the variance that one source of chance carries.

    Attributes
    ----------
    first_order : float
        Share that goes if this source alone were known.
    total : float
        Share that stays if all other sources were known: with its interactions.
    first_order_low, first_order_high, total_low, total_high : float
        Percentile limits of a bootstrap over trials.
    """

    first_order: float
    first_order_low: float
    first_order_high: float
    total: float
    total_low: float
    total_high: float


def _shares(a: Array, b: Array, mixed: Array) -> tuple[Array, Array]:
    """First-order and total shares over the last axis."""
    both = np.concatenate([a, b], axis=-1)
    variance = both.var(axis=-1)
    safe = np.where(variance > 0, variance, 1.0)
    centre = both.mean(axis=-1, keepdims=True)
    first = ((b - centre) * (mixed - a)).mean(axis=-1) / safe
    total = 0.5 * ((a - mixed) ** 2).mean(axis=-1) / safe
    return np.where(variance > 0, first, np.nan), np.where(variance > 0, total, np.nan)


def variance_shares(
    a: ArrayLike,
    b: ArrayLike,
    mixed: Mapping[str, ArrayLike],
    rng: np.random.Generator,
) -> dict[str, DriverShare]:
    """Variance shares of sources of chance by pick-freeze.

    Parameters
    ----------
    a, b : (trial,)
        Result of two independent run sets.
    mixed : mapping
        Source -> (trial,) result of run set A with that source's streams taken from set B.
    rng : Generator
        For the bootstrap.

    Notes
    -----
    First order after Saltelli et al. (2010, Computer Physics Communications 181:259), with the mean taken off;
    total after Jansen (1999, Computer Physics Communications 117:35): both from memory. First-order estimates of weak
    sources may fall a little below 0: they are given as they come.
    """
    first_set, second_set = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if first_set.shape != second_set.shape or first_set.ndim != 1:
        raise ValueError("two run sets of equally many trials are needed")
    if not (np.isfinite(first_set).all() and np.isfinite(second_set).all()):
        raise ValueError("variance shares need finite results")
    rows = bootstrap_rows(first_set.size, RESAMPLES, rng)
    tails = [0.5 - LEVEL / 2, 0.5 + LEVEL / 2]
    shares = {}
    for source, values in mixed.items():
        third = np.asarray(values, dtype=float)
        first, total = _shares(first_set, second_set, third)
        drawn = _shares(first_set[rows], second_set[rows], third[rows])
        (first_low, first_high), (total_low, total_high) = (np.quantile(each, tails) for each in drawn)
        shares[source] = DriverShare(
            float(first), float(first_low), float(first_high), float(total), float(total_low), float(total_high)
        )
    return shares
