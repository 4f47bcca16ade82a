"""Fruit size distribution, early warmth, ripening: pure functions."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp
from orchardsim.core.labels import BOX_COUNTS
from orchardsim.core.units import BUSHEL
from orchardsim.trees.canopy import TINY

Double = NDArray[np.float64]
SPRAY_HUNGER: Final = 2.5
"""1; log odds of falling that a fruitlet gains per unit of missing carbohydrate balance after a spray (assumption: what
a spray takes off then varies between years from a third to two thirds about a half, as sprays are known to)."""


def early_heat_effect(early_heat: Double, best: float, loss: float) -> Double:
    """Fruit potential relative to the best early season [1]: 1 - loss ((heat - best) / best)^2, at least 0.5.

    Cell number follows temperature in the first 60 days (Marini 2017, Acta Horticulturae 1177: best near 675).
    """
    effect: Double = np.maximum(0.5, 1 - loss * ((early_heat - best) / best) ** 2)
    return effect


def divided_in_crowd(days_late: Double, days: float) -> Double:
    """Share of a fruit's cell division that is over before it is thinned, beyond that of thinning in time [1].

    Parameters
    ----------
    days_late : array [day]
        After the last day in time, 30 days after bloom.
    days : float [day]

    Notes
    -----
    1 - exp(-(days late / days)^2): flat at first, nine tenths 40 days after bloom with a ``days`` of 6.6. Cells divide
    up to three to six weeks after bloom (Lakso and Goffinet on the growth of apple fruit); the form is ours.

    Examples
    --------
    >>> divided_in_crowd(np.array([0.0, 3.0, 10.0, 40.0]), 6.6).round(2).tolist()
    [0.0, 0.19, 0.9, 1.0]
    """
    gone: Double = 1 - np.exp(-((np.maximum(days_late, 0) / days) ** 2))
    return gone


@compiled
def stunted(number: Number, removed: Number, crowded: Number) -> Number:
    """Share of its growth to come that fruit has lost by being thinned late [1].

    At most half, that of the heaviest crops (Honeycrisp, 300 g at very low and 150 g at 10 or more per cm2: Robinson et
    al.), by share removed s as s (2 - s), the form ours: fruit thinned when its cells have divided is then hardly
    larger than fruit that is not thinned.

    Parameters
    ----------
    number, removed : float [1]
        Fruit before thinning, and taken off; from 0 up.
    crowded : float [1]
        From :func:`divided_in_crowd`.

    Examples
    --------
    >>> round(float(stunted(200.0, 100.0, 1.0)), 3), float(stunted(200.0, 100.0, 0.0))
    (0.375, 0.0)
    """
    share = removed / (number + TINY)
    return 0.5 * crowded * share * (2.0 - share)


def expolinear(days: Double | float) -> Double:
    """Mass of a fruit over what it gains in a day of its linear growth, ln(1 + exp(r (t - b))) / r [day].

    ``days`` after bloom; r = 0.1 per day and b = 35 days (memory; form: Goudriaan and Monteith).
    """
    mass: Double = np.log1p(np.exp(0.1 * (np.asarray(days) - 35))) / 0.1
    return mass


LOGISTIC: Final = np.float32(1.702)
"""Slope with which the logistic follows the normal distribution."""


@compiled
def share_above(mean: Number, threshold: Number, spread: Number) -> Number:
    """Share of fruit heavier than a threshold, sizes normal within the tree [1].

    Logistic form of the normal distribution, 1 / (1 + exp(-1.702 z)): within 0.01 of it everywhere (Bowling et al.
    2009, Journal of Industrial Engineering and Management 2:114). Within-tree fruit mass is normal with a constant
    spread (Webb et al. 1980).
    """
    odds = LOGISTIC * (threshold - mean) / spread
    return 1.0 / (1.0 + exp(min(max(odds, np.float32(-30.0)), np.float32(30.0))))


def size_spread(mass: Double, number: Double, mass_square: Double) -> Double:
    """Standard deviation between fruit of the trees' own mean fruit mass [kg].

    Parameters
    ----------
    mass : array [kg]
        Fruit of many trees together.
    number : array [1]
    mass_square : array [kg2]
        Square of the tree's mean fruit mass, summed over all fruit.

    Examples
    --------
    One tree with 10 fruit of 0.1 kg and one with 10 of 0.3 kg:

    >>> round(float(size_spread(np.array(4.0), np.array(20.0), np.array(10 * 0.01 + 10 * 0.09))), 6)
    0.1
    """
    some = np.maximum(number, 0.5)
    found: Double = np.sqrt(np.maximum(mass_square / some - (mass / some) ** 2, 0))
    return found


def box_count_edges(box_mass: float = BUSHEL) -> Double:
    """Fruit mass [kg] at which one box count ends and the next begins, from large to small fruit.

    A fruit belongs to the count whose nominal mass (box mass over count) is nearest; the counts beyond the list are 64
    and 175 (common practice).

    References
    ----------
    Counts 72 to 163: Washington State Department of Agriculture, box counts by fruit diameter
    (studylib.net/doc/18240283). Box of 19.05 kg: Marini et al. (2019), HortScience 54:1947. Masses per fruit follow by
    division.
    """
    nominal = box_mass / np.array([64, *(int(count) for count in BOX_COUNTS[1:-1]), 175])
    edges: Double = (nominal[1:] + nominal[:-1]) / 2
    return edges


def box_count_shares(mean: Double, spread: Double, box_mass: float = BUSHEL, least: float = 0.0) -> Double:
    """Share of the mass of fresh fruit by box count [1], fruit mass normal (Webb et al. 1980).

    Parameters
    ----------
    mean, spread : array [kg]
        Of all fruit.
    box_mass : float [kg]
    least : float [kg]
        Smallest fruit that is packed fresh.

    Returns
    -------
    array, (..., box_count)
        In the order of :data:`orchardsim.core.labels.BOX_COUNTS`; sums to 1 over the last axis.

    Notes
    -----
    Of a normal distribution the mass lighter than x is mean F(z) - spread f(z), with z = (x - mean) / spread. That
    pitted and pale fruit are somewhat larger or smaller than the rest is left out.

    Examples
    --------
    >>> shares = box_count_shares(np.array(0.190), np.array(0.010))
    >>> BOX_COUNTS[int(shares.argmax())], round(float(shares.sum()), 9)
    ('100', 1.0)
    """
    mean, spread = np.asarray(mean, dtype=np.float64)[..., None], np.asarray(spread, dtype=np.float64)[..., None]
    z = (np.maximum([*box_count_edges(box_mass), 0.0], least) - mean) / spread
    lighter = mean * ndtr(z) - spread * np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
    bounds = np.concatenate([mean, lighter], axis=-1)
    mass = np.maximum(bounds[..., :-1] - bounds[..., 1:], 0)
    total = mass.sum(axis=-1, keepdims=True)
    # where next to nothing is large enough, what there is belongs to the smallest
    smallest = np.zeros(len(BOX_COUNTS))
    smallest[-1] = 1
    shares: Double = np.where(total > 1e-12, mass / np.maximum(total, 1e-12), smallest)
    return shares


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


def spray_dose(load: Double, start: float, leave: float, most: float) -> Double:
    """Share of the fruitlets that a thinning spray is meant to take off a row group; 0 where none is given [1].

    Parameters
    ----------
    load : array [1]
        Fruit that the row group would bear over its target.
    start : float [1]
        Load above which it is sprayed.
    leave : float [1]
        Load that the spray is meant to leave to hand thinning.
    most : float [1]
        Largest share that a dose is set for.

    Examples
    --------
    >>> spray_dose(np.array([1.4, 1.6, 2.5, 9.0]), 1.5, 1.25, 0.6).round(3).tolist()
    [0.0, 0.219, 0.5, 0.6]
    """
    wanted = np.clip(1 - leave / np.maximum(load, 1e-9), 0, most)
    return np.where(load > start, wanted, 0.0)


def sprayed_off(dose: Double, balance: Double) -> Double:
    """Share of the fruitlets that a thinning spray takes off [1].

    Parameters
    ----------
    dose : array [1]
        Share that it takes off in usual weather.
    balance : array [1]
        Carbohydrate balance of the week after it, 0 in a usual one; its standard deviation is about 0.2.

    Notes
    -----
    Starved fruitlets fall more readily: log odds of the share fall by :data:`SPRAY_HUNGER` per balance (assumption).

    Examples
    --------
    >>> sprayed_off(np.array(0.5), np.array([-0.4, 0.0, 0.4])).round(2).tolist()
    [0.73, 0.5, 0.27]
    """
    hunger = np.exp(-SPRAY_HUNGER * balance)
    return np.asarray(dose * hunger / (1 - dose + dose * hunger))
