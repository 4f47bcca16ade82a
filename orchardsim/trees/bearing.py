"""Flowers, set, drop and return bloom: pure functions per tree."""

from __future__ import annotations

import numpy as np

from orchardsim.trees.scratch import TINY, Array, Work, buffers, power


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


def kept_after_drop(fruitlets: Array, kept_most: Array, out: Array | None = None) -> Array:
    """Fruit kept through the natural drop: fruitlets and the number that early dry matter keeps, in series."""
    kept = np.add(fruitlets, kept_most, out=out)
    kept += TINY
    np.divide(kept_most, kept, out=kept)
    kept *= fruitlets
    return kept


def return_bloom(
    crop_load: Array, inhibiting_crop: Array, exponent: float, largest_loss: Array, out: Array | None = None
) -> Array:
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
    out : array, optional
        Must not be ``crop_load``.
    """
    x = np.divide(crop_load, inhibiting_crop, out=out)
    np.clip(x, 0, 1e3, out=x)
    power(x, exponent, x)
    # 1 - loss x / (1 + x) = 1 - loss + loss / (1 + x)
    x += 1
    np.divide(largest_loss, x, out=x)
    x += 1 - largest_loss
    return x


def shade_effect(leaf_light: Array, half: float, work: Work = None) -> Array:
    """Bud formation under shade relative to full light [1]: l^3 / (l^3 + half^3).

    ``work`` takes two arrays; the first receives the result.
    """
    cubed, total = buffers(work, 2, leaf_light)
    np.multiply(leaf_light, leaf_light, out=cubed)
    cubed *= leaf_light
    np.add(cubed, half**3, out=total)
    return np.divide(cubed, total, out=cubed)


def bearing_share(leaf: Array, half_bloom_leaf: Array, rate: float, out: Array | None = None) -> Array:
    """Share of full bloom in a leaf of the tree's life [1], logistic."""
    odds = np.subtract(half_bloom_leaf, leaf, out=out)
    odds *= rate
    np.minimum(odds, 60, out=odds)
    np.exp(odds, out=odds)
    odds += 1
    return np.reciprocal(odds, out=odds)


def alternation(crop: Array, last_crop: Array, work: Work = None) -> Array:
    """One term of the biennial bearing index: |a - b| / (a + b), 0 where both are 0 (Hoblyn et al. 1936).

    ``work`` takes two arrays; the first receives the result.

    Examples
    --------
    >>> alternation(np.array([3.0, 0.0]), np.array([1.0, 5.0])).round(6).tolist()
    [0.5, 1.0]
    """
    term, total = buffers(work, 2, crop)
    np.add(crop, last_crop, out=total)
    total += TINY
    np.subtract(crop, last_crop, out=term)
    np.abs(term, out=term)
    return np.divide(term, total, out=term)
