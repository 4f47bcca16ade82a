"""Parts of the hazards of one tree, as functions of its numbers, compiled.

A hazard H is an intensity over a phase: alone it kills a share 1 - exp(-H). Competing hazards add. Coefficients with
unit, source and status are in :mod:`orchardsim.trees.hazards`; what competes, in :mod:`orchardsim.trees.competing`.
"""

from __future__ import annotations

import functools
import math
from collections import namedtuple
from typing import Any, Final

import numpy as np

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp, log
from orchardsim.core.parameters import parameters_of
from orchardsim.trees.hazards import Hazards

YOUTH_SCALE: Final = np.float32(3.0)
"""Leaves over which the extra hazards of young trees fall to 37 % (assumption)."""
ONSET: Final = np.float32(math.log(19))
"""Widths between the temperature that kills one tree in twenty and the one that kills half (logistic)."""
LN2: Final = np.float32(math.log(2))
LOAD_LIMIT: Final = np.float32(4.0)
"""kg/cm2 of fruit per trunk, at most, as far as breaking goes."""
STRIKE_LIMIT: Final = np.float32(4.0)
"""Most that the hazard of being struck by blight from blossoms can be: 98 % of the trees."""


NAMES: Final = tuple(name for name, info in parameters_of(Hazards).items() if info.unit != "flag")
TreeHazards: Any = namedtuple("TreeHazards", NAMES)  # type: ignore[misc]
"""The coefficients as float32, in the order of :class:`~orchardsim.trees.hazards.Hazards`."""


@functools.lru_cache(maxsize=32)
def tree_hazards(hazards: Hazards) -> Any:
    """The coefficients for compiled code."""
    return TreeHazards(*(np.float32(getattr(hazards, name)) for name in NAMES))


@compiled
def young_extra(leaf: Number, extra: Number) -> Number:
    """What youth adds to a hazard of 1 [1]: ``extra`` in leaf 1, falling by e every ``YOUTH_SCALE`` leaves (ours)."""
    return extra * exp((1.0 - leaf) / YOUTH_SCALE)


@compiled
def soft_hazard(excess: Number) -> Number:
    """Hazard that kills the logistic share 1/(1 + exp(-excess)): ln(1 + exp(excess)), for any excess [1].

    Examples
    --------
    >>> round(float(soft_hazard(np.float32(0))), 6)
    0.693147
    """
    # above 15 the hazard is the excess itself, to seven digits; below 0.001, exp itself is nearer than ln(1 + exp)
    grown = exp(min(excess, np.float32(15.0)))
    hazard = grown * (1.0 - 0.5 * grown) if grown < 0.001 else log(1.0 + grown)
    return hazard + max(excess - 15.0, np.float32(0.0))


@compiled
def cold_hazard(
    h: Number,
    temperature: Number,
    soil: Number,
    shortfall: Number,
    hardiness: Number,
    root_hardiness: Number,
    weakness: Number,
) -> Number:
    """Hazard by winter cold: wood in midwinter, wood not yet hardened, and roots.

    Parameters
    ----------
    temperature, soil, hardiness, root_hardiness : float [degC]
        Lowest of the winter in the air and among the roots; what the wood and the roots stand.
    shortfall, weakness : float [K]
        Cold beyond early-winter hardening; hardiness that the tree lacks.

    Notes
    -----
    Each route kills a logistic share about its own temperature; a tree that escapes one may fall to another, so
    their hazards add. ``hardiness`` is where killing of hardened wood sets in: one tree in twenty dies at it, half
    3 widths below. Commercial cultivars are injured from -35 to -40 degC on, and grown to where the mean yearly
    minimum is -34 degC (Quamme 1976, Can. J. Plant Sci. 56:493). ``root_hardiness`` kills half: root LT50 by stock in
    Moran et al. (2011), HortScience 46:1460.
    """
    wood = soft_hazard((hardiness + weakness - temperature) / h.cold_width - ONSET)
    early = soft_hazard((shortfall + weakness - h.acclimation_kill) / h.cold_width)
    roots = soft_hazard((root_hardiness + 0.2 * weakness - soil) / h.root_width)
    return wood + early + roots


@compiled
def blight_lethality(h: Number, leaf: Number, stock_blight: Number) -> Number:
    """Share of struck trees that die of the strike [1], at most 1; leaf from 1 up, ``stock_blight`` 1 as M.9.

    Read: 36 to 100 % of Royal Gala on clones of M.9 and M.26 died, none on G.16, G.30 and B.9 (Plant Dis. 87:26).
    """
    share = h.blight_lethal_scion + h.blight_lethal_stock * stock_blight
    return min(share * exp((1.0 - leaf) / h.blight_age_scale), np.float32(1.0))


@compiled
def bloom_share(h: Number, leaf: Number) -> Number:
    """Bloom open to infection, as a share of a grown tree's, by leaf [1]: 0 to 1 (the form is ours)."""
    return 1.0 - exp(-LN2 * max(leaf - 0.5, np.float32(0.0)) / h.blight_first_bloom)


@compiled
def old_age_hazard(h: Number, leaf: Number, life: Number) -> Number:
    """Hazard [1/year] that grows exponentially with age (Gompertz form), at most 2; leaf and usual life from 1 up."""
    return min(h.old_age * exp((leaf - life) / h.old_age_scale), np.float32(2.0))


@compiled
def lack_of(health: Number) -> Number:
    """Health that a tree lacks, 0 to 1."""
    return 1.0 - min(max(health, np.float32(0.0)), np.float32(1.0))


@compiled
def strike_hazard(h: Number, leaf: Number, health: Number, patch: Number, strikes: Number) -> Number:
    """Hazard of being struck by fire blight from blossoms [1/year], at most ``STRIKE_LIMIT``.

    ``strikes`` [1/year] is that of a grown tree on average ground, ``patch`` [1] the ground here over that.
    """
    return min(strikes * patch * (1.0 + h.frailty * lack_of(health)) * bloom_share(h, leaf), STRIKE_LIMIT)


def collapse_hazard(kill: float) -> np.float32:
    """Hazard that kills a given share of the trees of a stretch that goes down."""
    return np.float32(-math.log1p(-kill))
