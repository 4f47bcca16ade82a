"""Flowers, set, drop and return bloom. Functions of a single tree's numbers, but for :func:`pollination`."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtri

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp
from orchardsim.trees.canopy import TINY

Array = NDArray[np.floating]

PLACES: Final = 5
"""Places of a block from its hollow to its crest, fifths of each row: its first trees stand lowest (assumption)."""
GROUND_SHARE: Final = 1.48
"""Spread of a frost night's temperature from hollow to crest over that among the buds of one place, in logistic scales:
1 K over the 0.67 K that the buds' own 0.39 K and 1 K over the tree's height make (derived)."""
WEAK_SET: Final = 0.3
"""Set that flowers lose which live where all others died, less in proportion where fewer died. Half a kelvin more would
kill 0.6 of the share killed among those that live (derived from the spread of one place); they are taken to be hurt and
to set half as often (assumption: frost hurts pistils and ovules that look sound)."""
ALONE: Final = 2.2
"""How much oftener a flower sets with no other alive in its cluster: about 0.8 (king flowers alone, memory) over the
0.36 of each of 5.5 flowers that make two fruitlets of a whole cluster (derived). Flowers spared by a frost make up for
others: 3,000 of 5,000 dead still gave a full crop of 300 (a grower's advisor, Michigan 2013, press, read)."""


def kill_by_place(kill: Array) -> NDArray[np.float64]:
    """Share of the flowers killed at each place of a block, (..., place), hollow first, from the block's mean [1].

    Notes
    -----
    Places stand apart on the logistic scale of temperature, evenly by rank; the mean over places keeps the block's
    within 0.025.

    Examples
    --------
    >>> kill_by_place(np.array(0.5)).round(2).tolist()
    [0.9, 0.71, 0.5, 0.29, 0.1]
    """
    share = np.asarray(kill, dtype=np.float64)[..., None]
    coldness = ndtri(1 - (np.arange(PLACES) + 0.5) / PLACES)
    coldness /= coldness.std()
    wider = np.sqrt(1 + 3 / np.pi**2 * GROUND_SHARE**2)
    return np.asarray(expit(wider * logit(share) + GROUND_SHARE * coldness))


def set_after_frost(kill: Array) -> NDArray[np.float64]:
    """Fruitlets of a cluster of which a share of the flowers was killed, over those of a whole one [1].

    Examples
    --------
    >>> set_after_frost(np.array([0.0, 0.5, 0.9, 1.0])).round(2).tolist()
    [1.0, 0.58, 0.14, 0.0]
    """
    alive = 1 - np.asarray(kill, dtype=np.float64)
    together = ALONE * alive / (1 + (ALONE - 1) * alive)
    return np.asarray(together * (1 - WEAK_SET * (1 - alive)))


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


@compiled
def kept_after_drop(fruitlets: Number, carried: Number) -> Number:
    """Fruit kept through the natural drop: fruitlets, and what early dry matter carries, the softer minimum of both.

    Range: both from 0 up. The form is ours.

    Examples
    --------
    >>> round(float(kept_after_drop(3.0, 4.0)), 6)
    2.4
    """
    ratio = fruitlets / (carried + TINY)
    return fruitlets / np.sqrt(1.0 + ratio * ratio)


@compiled
def tree_term(crop_load: Number, half: Number, width: Number) -> Number:
    """Buds left by the crop of the whole tree, relative to no crop [1]: logistic, with no floor.

    Parameters
    ----------
    crop_load : float [1/cm2]
        Fruit that count against next year's buds, per trunk times the root of its held share: young trees break at 4
        to 6 per measured cm2 (Honeycrisp), yet 100 fruit on a kept tree at 0.9 x 3.7 m, more than its canopy stands
        for and less than its trunk, come back each year (Honeycrisp, growers' targets; the root is ours).
    half, width : float [1/cm2]
        Crop at which bud formation is halved, and how sharply.

    Notes
    -----
    Honeycrisp's return bloom breaks at 4 to 6 fruit per cm2 and goes to nothing at high crops (HortScience 41:1010).
    Range: crops from 0 up; 1 without a crop.
    """
    return (1.0 + exp(-half / width)) / (1.0 + exp((crop_load - half) / width))


@compiled
def spur_term(crop: Number, spurs: Number, loss: Number) -> Number:
    """Buds left on spurs that bear, relative to spurs that do not [1]: 1 - loss min(1, crop / spurs).

    Range: 1 - loss to 1. Two-fruit spurs flower less than one-fruit spurs (JASHS 148(3):108, abstract); form ours.
    """
    return 1.0 - loss * min(1.0, crop / (spurs + TINY))


@compiled
def shade_term(light: Number, half: Number) -> Number:
    """Bud formation under shade relative to full light [1]: x^6 / (1 + x^6), x = light / half.

    Wood needs about 30 % of full sun to flower (Jackson 2003, Biology of Apples and Pears); the steepness is ours.
    Range: light 0 to 1.
    """
    x = light / half
    x = x * x * x
    x = x * x
    return x / (1.0 + x)


def bearing_share(leaf: Array, half_bloom_leaf: Array, rate: float) -> Array:
    """Share of full bloom in a leaf of the tree's life [1], logistic."""
    return 1 / (1 + np.exp(np.minimum(rate * (half_bloom_leaf - leaf), 60)))


@compiled
def alternation(crop: Number, last_crop: Number) -> Number:
    """One term of the biennial bearing index: |a - b| / (a + b), 0 where both are 0 (Hoblyn et al. 1936).

    Examples
    --------
    >>> round(float(alternation(3.0, 1.0)), 6), round(float(alternation(0.0, 5.0)), 6)
    (0.5, 1.0)
    """
    return abs(crop - last_crop) / (crop + last_crop + TINY)
