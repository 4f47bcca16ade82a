"""Fruit growth, size distribution, ripening: pure functions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.special import ndtr

from orchardsim.core.units import BUSHEL
from orchardsim.trees.scratch import Array, Work, buffers

BOX_COUNTS: Final = (48, 56, 64, 72, 80, 88, 100, 113, 125, 138, 150, 163, 175, 198, 216)
"""Numbers of fruit in a standard box; common practice."""


def early_heat_effect(early_heat: Array, best: float, loss: float) -> Array:
    """Fruit potential relative to the best early season [1]: 1 - loss ((heat - best) / best)^2, at least 0.5.

    Cell number follows temperature in the first 60 days (Marini 2017, Acta Horticulturae 1177: best near 675).
    """
    return np.maximum(0.5, 1 - loss * ((early_heat - best) / best) ** 2)


LOGISTIC: Final = 1.702
"""Slope with which the logistic follows the normal distribution."""


def share_above(mean: Array, threshold: float, spread: float) -> Array:
    """Share of fruit heavier than a threshold, sizes normal within the tree [1].

    Logistic form of the normal distribution, 1 / (1 + exp(-1.702 z)): within 0.01 of it everywhere (Bowling et al.
    2009, Journal of Industrial Engineering and Management 2:114). Within-tree fruit mass is normal with a constant
    spread (Webb et al. 1980).
    """
    return shares_above(mean, (threshold,), spread)[0]


def shares_above(mean: Array, thresholds: Sequence[float], spread: float, work: Work = None) -> Sequence[Array]:
    """:func:`share_above` for several thresholds at once: one exponential serves them all.

    ``work`` takes one array per threshold; they receive the result.
    """
    shares = buffers(work, len(thresholds), mean)
    slope = LOGISTIC / spread
    odds = shares[-1]
    np.subtract(thresholds[-1], mean, out=odds)
    odds *= slope
    np.clip(odds, -30, 30, out=odds)
    np.exp(odds, out=odds)
    for threshold, share in zip(thresholds, shares, strict=True):
        np.multiply(odds, math.exp((threshold - thresholds[-1]) * slope), out=share)
        if share is not odds:
            share += 1
            np.reciprocal(share, out=share)
    odds += 1
    np.reciprocal(odds, out=odds)
    return shares


def box_count_shares(mean: float, spread: float, box_mass: float = BUSHEL) -> dict[int, float]:
    """Share of fruit by box count, fruit mass normal.

    Parameters
    ----------
    mean, spread : float [kg]
    box_mass : float [kg]

    Returns
    -------
    dict of box count to share
        A fruit belongs to the count whose nominal mass (box mass / count) is nearest; sums to 1.

    Examples
    --------
    >>> shares = box_count_shares(0.190, 0.025)
    >>> max(shares, key=shares.get), round(sum(shares.values()), 9)
    (100, 1.0)
    """
    nominal = box_mass / np.array(BOX_COUNTS)
    edges = np.concatenate([[np.inf], (nominal[1:] + nominal[:-1]) / 2, [-np.inf]])
    below = ndtr((edges - mean) / spread)
    return dict(zip(BOX_COUNTS, (below[:-1] - below[1:]).tolist(), strict=True))


def pass_shares(picks: int) -> tuple[float, ...]:
    """Share of the crop that ripens for each picking pass.

    Ripening days are normal; passes follow each other by one standard deviation, centred on mid harvest.

    Examples
    --------
    >>> [round(share, 3) for share in pass_shares(3)]
    [0.309, 0.383, 0.309]
    """
    cuts = np.arange(picks - 1) - (picks - 2) / 2
    levels = np.concatenate([[0.0], ndtr(cuts), [1.0]])
    return tuple(np.diff(levels).tolist())
