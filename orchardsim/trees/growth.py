"""Dry matter made, and what of it becomes trunk: pure functions per tree."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.light import TINY

Array = NDArray[np.floating]


def dry_matter(
    intercepted: Array, land: Array, radiation: Array, efficiency: float, level: Array
) -> Array:
    """Dry matter made by a tree in a phase [kg]: light x efficiency x level.

    Parameters
    ----------
    intercepted : array [1]
        Share of the light on the tree's land that its leaf stops.
    land : array [m2]
    radiation : array [MJ/m2]
        Photosynthetically active radiation of the phase, times temperature, water and canopy factors.
    efficiency : float [g/MJ]
    level : array [1]
        Growth level of site, soil, tree and health.

    Notes
    -----
    Monteith (1977), Philosophical Transactions of the Royal Society B 281:277.
    """
    made = intercepted * land
    made *= radiation
    made *= level
    made *= efficiency / 1000
    return made


def two_limits(demand: Array, supply: Array, curvature: float) -> Array:
    """What is taken up when both demand and supply limit, non-rectangular hyperbola.

    Smaller root y of curvature y^2 - (demand + supply) y + demand supply = 0: demand supply / (demand + supply) for
    curvature 0, the smaller of the two for curvature 1.

    Examples
    --------
    >>> float(two_limits(np.float64(2.0), np.float64(2.0), 0.0))
    1.0
    >>> float(two_limits(np.float64(3.0), np.float64(2.0), 1.0))
    2.0
    """
    total = demand + supply
    product = demand * supply
    # 2 d s / (t + sqrt(t^2 - 4 c d s)) is the same root without cancellation, and holds for curvature 0
    root = total * total
    root -= 4 * curvature * product
    root = np.sqrt(np.maximum(root, 0))
    root += total
    root += TINY
    product *= 2
    return product / root


def wood_wanted(trunk_area: Array, demand: Array, exponent: float) -> Array:
    """Trunk growth that the tree would make with dry matter in plenty [cm2]: demand x area^exponent."""
    return demand * np.power(trunk_area, exponent)


def trunk_growth(
    surplus: Array, wanted: Array, trunk_area: Array, vigor: Array, cost: float, cost_exponent: float, held: Array
) -> Array:
    """Trunk growth of a season [cm2].

    Dry matter left by the fruit would make ``vigor surplus / (cost area^cost_exponent)`` of trunk; it and the wanted
    growth limit each other in series. Wood that is cut away does not thicken the trunk, so the growth is scaled by
    the share of the wanted leaf that the pruned canopy holds. Fruit takes dry matter in proportion to its number, so
    trunk growth falls with crop density, as published (Marini et al. 2012, J. Amer. Pomol. Soc. 66:183).

    Parameters
    ----------
    surplus : array [kg]
    wanted : array [cm2]
    trunk_area : array [cm2]
    vigor : array [1]
        Share of surplus that goes to the stem, relative to an M.9-class tree.
    cost : float [kg/cm2 at 1 cm2 of trunk]
    cost_exponent : float [1]
    held : array [1]
    """
    payable = np.power(trunk_area, -cost_exponent, where=trunk_area > 0, out=np.zeros_like(trunk_area))
    payable *= surplus
    payable *= vigor
    payable /= cost
    grown = payable * wanted
    payable += wanted
    payable += TINY
    grown /= payable
    grown *= held
    return grown
