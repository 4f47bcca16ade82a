"""Dry matter of one tree: made, shared between shoots, fruit and wood. Functions of a single tree's numbers."""

from __future__ import annotations

import numpy as np

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp, power
from orchardsim.trees.canopy import TINY


@compiled
def competition(leaf_area_index: Number, taken: Number, half: Number) -> Number:
    """Growth of wood over that of a tree without neighbours [1]: 1 - taken (1 - exp(-leaf area index / half)).

    Trees compete for water and nitrogen before their crowns touch: trunk and yield per tree fall with density in young
    plantings too (T23). Leaf area per land stands for the roots. Growth of wood feels it, what leaf fixes does not:
    expansion answers to want of water before photosynthesis does (Hsiao 1973, Annual Review of Plant Physiology 24:519;
    from memory). Range: leaf area index from 0 up; the data behind it lie between 0.4 and 3.3.

    Examples
    --------
    >>> round(float(competition(0.0, 0.6, 0.5)), 6), round(float(competition(10.0, 0.6, 0.5)), 6)
    (1.0, 0.4)
    """
    return 1.0 - taken * (1.0 - exp(-leaf_area_index / half))


@compiled
def two_limits(demand: Number, supply: Number, curvature: Number) -> Number:
    """What is taken up when demand and supply both limit, non-rectangular hyperbola.

    Smaller root y of curvature y^2 - (demand + supply) y + demand supply = 0: demand supply / (demand + supply) for
    curvature 0, the smaller of the two for curvature 1. Range: demand and supply from 0 up, curvature 0 to 1.

    Examples
    --------
    >>> round(float(two_limits(2.0, 2.0, 0.0)), 6), round(float(two_limits(3.0, 1.0, 0.999)), 2)
    (1.0, 1.0)
    """
    total = demand + supply
    product = demand * supply
    # below 0 only by rounding; this form has no cancellation and holds for curvature 0
    return 2.0 * product / (total + np.sqrt(abs(total * total - 4.0 * curvature * product)) + TINY)


@compiled
def shoot_drive(
    habit: Number, level: Number, crowding: Number, answer: Number, cut: Number, cut_answer: Number
) -> Number:
    """Pull of extension shoots on dry matter over that of fruiting wood [1].

    habit level^(1/2) crowding^answer (1 + cut_answer cut): winter pruning is answered with shoots.

    Parameters
    ----------
    habit : float [1]
        Of stock and cultivar.
    level : float [1]
        Growth level of the site, the tree and its health.
    crowding : float [1]
        Leaf that the roots could feed over the leaf that the canopy holds after its cut: what roots bring and canopy
        cannot use goes into shoots, so vigorous trees planted close make shoots (common practice).
    answer : float [1]
    cut : float [1]
        Share of leaf-bearing wood cut out last winter.
    cut_answer : float [1]
    """
    return habit * np.sqrt(level) * power(crowding, answer) * (1.0 + cut_answer * cut)


@compiled
def shoot_share(drive: Number, crop_load: Number, calming: Number) -> Number:
    """Share of leaf and of dry matter with the extension shoots [1]: u / (1 + u), u = drive / (1 + crop / calming).

    Range: drive and crop from 0 up; the share lies between 0 and 1. The form is ours.

    Parameters
    ----------
    drive : float [1]
        From :func:`shoot_drive`.
    crop_load : float [1/cm2]
        A crop calms the shoots.
    calming : float [1/cm2]
        Crop that halves their drive.
    """
    calmed = drive / (1.0 + crop_load / calming)
    return calmed / (1.0 + calmed)


@compiled
def wood_mass(trunk: Number, coefficient: Number, exponent: Number) -> Number:
    """Dry mass of the woody tree above ground [kg]: coefficient x trunk^exponent, one line for all stocks.

    Barden and Marini (2001, J. Amer. Pomol. Soc. 55:251) found one close relation over a wide range of sizes (six
    stocks, 18 years). Range: trunks from 0 up.
    """
    return coefficient * power(trunk, exponent)


@compiled
def trunk_wanted(expressed_trunk: Number, root_held: Number, vigor: Number, exponent: Number) -> Number:
    """Growth of the trunk in a season with dry matter in plenty [cm2]: vigor expressed^exponent held^(1/2).

    A year's ring serves the leaf that is held (pipe model: Shinozaki et al. 1964, Japanese Journal of Ecology 14:97;
    from memory), so a tree kept in its room grows rings of even area; with less leaf to feed it makes less of them.

    Parameters
    ----------
    expressed_trunk : float [cm2]
        Trunk that the held canopy stands for.
    root_held : float [1]
        Square root of the share of the wanted canopy that is held.
    vigor : float [cm2 to the power 1 - exponent]
        Of stock, cultivar, site and season.
    exponent : float [1]
    """
    return vigor * power(expressed_trunk + TINY, exponent) * root_held
