"""Shape, room, leaf and light of one tree: functions of a single tree's numbers.

Shadows. Through a season the sun throws a crown's shadow all round it. A crown of base width D and height H shades,
on average, its own base and its silhouette times the mean length of shadows. Neighbours' shadows overlap: the share of
the land that any shadow reaches is 1 - exp(-overlap a / S) for a shadow area a on land S (random overlap, as of discs
thrown on a table), so trees feel each other long before their crowns touch. Under that reach leaf stops light by
Beer's law with the extinction of apple (Jackson 1981, Acta Horticulturae 114): F = reach (1 - exp(-k L / (S reach))).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp, power

QUARTER_CIRCLE: Final = np.float32(np.pi / 4)
HEDGE_LIGHT: Final = np.float32(0.3)
"""1; mean light on the leaf of a full hedge over full light: 0.7 stopped by a leaf area index of 2.3 (derived)."""
TINY: Final = np.float32(1e-12)


@compiled
def soft_minimum(value: Number, limit: Number) -> Number:
    """Smaller of two numbers from 0 up with a smooth shoulder: value / (1 + (value/limit)^4)^(1/4).

    Examples
    --------
    >>> round(float(soft_minimum(1.0, 1.0)), 4)
    0.8409
    """
    ratio = value / (limit + TINY)
    ratio = ratio * ratio
    return value / np.sqrt(np.sqrt(1.0 + ratio * ratio))


@compiled
def size_of_trunk(trunk: Number, coefficient: Number, exponent: Number) -> Number:
    """Height or spread [m] that goes with a trunk [cm2]: coefficient x trunk^exponent.

    Lines in logs through published five-year means (Autio et al. 2017, J. Amer. Pomol. Soc. 71:149). Range: trunks of 6
    to 34 cm2 in the source; used from 0 up.
    """
    return coefficient * power(trunk, exponent)


@compiled
def room_won(size: Number, other: Number, share: Number) -> Number:
    """Land won from (or lost to, below 0) one neighbour, as a share of a position's own [1].

    In proportion to the relative difference in size; an empty position gives ``share`` away. What one wins the other
    loses. Range: sizes from 0 up; the result lies within ``share`` of 0. The form is ours.

    Examples
    --------
    >>> round(float(room_won(2.0, 1.0, 0.2)), 6), round(float(room_won(1.0, 2.0, 0.2)), 6)
    (0.1, -0.1)
    """
    return share * (size - other) / (max(size, other) + TINY)


@compiled
def shadow_area(across: Number, along: Number, height: Number, fill: Number, shadow: Number) -> Number:
    """Mean area that a crown shades through the season [m2]: its base, and its silhouette times a shadow's length.

    Parameters
    ----------
    across, along : float [m]
        Widths of the crown's base.
    height : float [m]
    fill : float [1]
        Mean width over base width.
    shadow : float [1]
        Mean length of shadows over the height that throws them (from latitude and row direction).
    """
    return QUARTER_CIRCLE * across * along + 0.5 * fill * shadow * height * (across + along)


@compiled
def shadow_reach(shadow: Number, land: Number, overlap: Number) -> Number:
    """Share of a tree's land that shadows reach [1]: random overlap, 1 - exp(-overlap shadow / land), 0 to 1."""
    return 1.0 - exp(-overlap * shadow / (land + TINY))


@compiled
def light_stopped(leaf: Number, lit_land: Number, extinction: Number) -> Number:
    """Land whose light a tree stops [m2]: lit_land (1 - exp(-k leaf / lit_land)).

    Parameters
    ----------
    leaf : float [m2]
    lit_land : float [m2]
        Land times the reach of shadows.
    extinction : float [1]
        Of apple about 0.6; leaf and land from 0 up.
    """
    return lit_land * (1.0 - exp(-extinction * leaf / (lit_land + TINY)))


@compiled
def light_use(light: Number, half: Number) -> Number:
    """Dry matter per light stopped over that in a full hedge [1]: well lit leaf uses each unit of light less well.

    A rectangular hyperbola of a leaf's light, as of its photosynthesis, equal to 1 at :data:`HEDGE_LIGHT`.

    Parameters
    ----------
    light : float [1]
        Mean light stopped per leaf area over full light, 0 to 1.
    half : float [1]
        Light, over full light, that half saturates a leaf.

    Examples
    --------
    >>> round(float(light_use(0.3, 0.25)), 6), round(float(light_use(0.5, 0.25)), 2)
    (1.0, 0.73)
    """
    return (half + HEDGE_LIGHT) / (half + light)


@compiled
def spur_light(shoot_depth: Number, spur_depth: Number) -> Number:
    """Mean light on the leaf of spurs, over full light [1].

    Extension shoots stand outside and above and shade the spurs; the spurs shade each other. With optical depths
    (extinction x leaf per lit land, from 0 up) x of shoots and s of spurs: exp(-x) (1 - exp(-s)) / s.
    """
    return exp(-shoot_depth) * (1.0 - exp(-spur_depth)) / (spur_depth + TINY)
