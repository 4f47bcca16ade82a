"""Flowers, set, drop and return bloom: pure functions per tree."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.light import TINY

Array = NDArray[np.floating]


def pollination(
    hours: Array, hours_half: float, distance: Array, reach: float, overlap: Array, self_fruitful: Array
) -> Array:
    """Set relative to perfect pollination [1].

    Parameters
    ----------
    hours : array [h]
        Hours fit for bees in the effective pollination period.
    hours_half : float [h]
        Hours that give half.
    distance : array [m]
        From the nearest compatible pollen source.
    reach : float [m]
        Distance at which transfer has fallen to 1/e.
    overlap : array [1]
        Share of the bloom that the source's bloom covers.
    self_fruitful : array [1]
        Set with own pollen over set with cross pollen.

    Notes
    -----
    Bees saturate the flowers hyperbolically; own pollen serves where no other comes. The forms are assumptions:
    directions and rough distances are common practice, no source was at hand.

    Examples
    --------
    >>> one = np.float64(1.0)
    >>> round(float(pollination(one * 1e9, 5.0, 0 * one, 80.0, one, 0 * one)), 6)
    1.0
    """
    bees = hours / (hours + hours_half)
    crossed = overlap * np.exp(-distance / reach)
    return bees * (self_fruitful + (1 - self_fruitful) * crossed)


def kept_after_drop(fruitlets: Array, kept_most: Array) -> Array:
    """Fruit kept through the natural drop: fruitlets and the number that early dry matter keeps, in series."""
    kept = fruitlets + kept_most
    kept += TINY
    np.divide(kept_most, kept, out=kept)
    kept *= fruitlets
    return kept


def return_bloom(crop_load: Array, inhibiting_crop: Array, exponent: float, largest_loss: Array) -> Array:
    """Flower buds formed under a crop relative to no crop [1].

    1 - loss x / (1 + x) with x = (crop load / inhibiting crop)^exponent.

    Parameters
    ----------
    crop_load : array [1/cm2]
        Fruit per expressed trunk area at the time buds form.
    inhibiting_crop : array [1/cm2]
        Crop at half effect.
    exponent : float [1]
        About 3 to 6: with less a biennial cultivar would not swing, with more even a thinned one would.
    largest_loss : array [1]
        1 for a fully biennial cultivar.
    """
    x = np.power(crop_load / inhibiting_crop, exponent)
    return 1 - largest_loss * (x / (1 + x))


def shade_effect(leaf_light: Array, half: float) -> Array:
    """Bud formation under shade relative to full light [1]: l^3 / (l^3 + half^3)."""
    cubed = leaf_light * leaf_light
    cubed *= leaf_light
    return cubed / (cubed + half**3)


def bearing_share(leaf: Array, half_bloom_leaf: Array, rate: float) -> Array:
    """Share of full bloom in a leaf of the tree's life [1], logistic."""
    return 1 / (1 + np.exp(-rate * (leaf - half_bloom_leaf)))


def alternation(crop: Array, last_crop: Array) -> Array:
    """One term of the biennial bearing index: |a - b| / (a + b), 0 where both are 0 (Hoblyn et al. 1936).

    Examples
    --------
    >>> alternation(np.array([3.0, 0.0]), np.array([1.0, 5.0])).tolist()
    [0.5, 1.0]
    """
    total = crop + last_crop
    return np.abs(crop - last_crop) / np.maximum(total, TINY)
