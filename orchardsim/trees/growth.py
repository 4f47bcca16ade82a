"""Dry matter made, and what of it becomes trunk: pure functions per tree."""

from __future__ import annotations

import numpy as np

from orchardsim.trees.scratch import TINY, Array, Work, buffers, power


def dry_matter(intercepting_land: Array, efficiency: float, level: Array, out: Array | None = None) -> Array:
    """Dry matter that a tree makes per MJ/m2 of photosynthetically active radiation [kg m2/MJ].

    Parameters
    ----------
    intercepting_land : array [m2]
        Share of the light that the tree's leaf stops, times its land.
    efficiency : float [g/MJ]
    level : array [1]
        Growth level of site, soil, tree and health.

    Notes
    -----
    Monteith (1977), Philosophical Transactions of the Royal Society B 281:277: growth is intercepted light times
    efficiency. The radiation of a phase, times its temperature and water factors, gives the phase's dry matter.
    """
    made = np.multiply(intercepting_land, level, out=out)
    made *= efficiency / 1000
    return made


def two_limits(demand: Array, supply: Array, curvature: float, work: Work = None) -> Array:
    """What is taken up when both demand and supply limit, non-rectangular hyperbola.

    Smaller root y of curvature y^2 - (demand + supply) y + demand supply = 0: demand supply / (demand + supply) for
    curvature 0, the smaller of the two for curvature 1.

    Parameters
    ----------
    demand, supply : array, same unit
    curvature : float [1]
    work : two arrays, optional
        The first receives the result.

    Examples
    --------
    >>> round(float(two_limits(np.array(2.0), np.array(2.0), 0.0)), 6)
    1.0
    >>> round(float(two_limits(np.array(3.0), np.array(2.0), 1.0)), 6)
    2.0
    """
    root, product = buffers(work, 2, demand)
    np.add(demand, supply, out=root)
    np.multiply(demand, supply, out=product)
    if np.any(curvature):
        # 2 d s / (t + sqrt(t^2 - 4 c d s)) is the smaller root without cancellation, and holds for curvature 0
        root *= root
        product *= 4 * curvature
        root -= product
        # below 0 only by rounding
        np.abs(root, out=root)
        np.sqrt(root, out=root)
        root += demand
        root += supply
        root += TINY
        product *= 1 / (2 * curvature)
    else:
        root += TINY
    return np.divide(product, root, out=root)


def wood_wanted(expressed_trunk: Array, demand: Array, exponent: float, out: Array | None = None) -> Array:
    """Trunk growth that the tree would make with dry matter in plenty [cm2]: demand x area^exponent.

    The area is the trunk that the held canopy stands for: a tree kept in its room does not want ever more.
    """
    wanted = power(expressed_trunk, exponent, out)
    wanted *= demand
    return wanted


def wood_cost(trunk_area: Array, vigor: Array, cost: float, exponent: float, out: Array | None = None) -> Array:
    """Dry matter left by the fruit that a cm2 of trunk takes, branches included [kg/cm2].

    ``cost area^exponent / vigor``: dwarfing stocks put less of it into the stem. The trunk growth of a season is
    :func:`two_limits` of the growth wanted and of what the surplus pays for, times the share of the wanted leaf that
    the pruned canopy holds (wood that is cut away does not thicken the trunk). Fruit takes dry matter by its number,
    so trunk growth falls with crop density, as published (Marini et al. 2012, J. Amer. Pomol. Soc. 66:183).
    """
    paid = power(trunk_area, exponent, out)
    paid *= cost / vigor
    return paid


def pruning_factor(shoots: Array, usual: float) -> Array:
    """Wood cut, and time for it, over what the training system states: in proportion to shoots above the usual, 1 to 2.

    Parameters
    ----------
    shoots, usual : array, float [m2/m2]
        Leaf of shading shoots per land, last summer and where the system's own numbers hold.

    Notes
    -----
    Vigorous trees in little room answer with upright shoots, whose removal takes time and crop (common practice); the
    proportion and its limit are assumptions.

    Examples
    --------
    >>> pruning_factor(np.array([0.2, 1.2, 9.0]), 0.8).round(6).tolist()
    [1.0, 1.5, 2.0]
    """
    return np.clip(shoots / usual, 1, 2)
