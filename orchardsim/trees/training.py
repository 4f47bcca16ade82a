"""Training systems as numbers by leaf, and what is inconsistent in one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees.parameters import Training

LEAVES: Final = 64
"""Leaves that the tables hold; older trees are treated as the last."""
UNTHINNED: Final = 1e6
"""Crop target [1/cm2] that stands for none: large, but finite, so that empty positions give 0 and not NaN."""


def table_by_leaf(values: Sequence[float]) -> NDArray[np.float32]:
    """Values by leaf as a table whose index is the leaf: index 0 (not planted) is 0, the last value holds on.

    Examples
    --------
    >>> table_by_leaf((3.0, 5.0))[:5].tolist()
    [0.0, 3.0, 5.0, 5.0, 5.0]
    """
    table = np.empty(LEAVES + 1, dtype=np.float32)
    table[0] = 0
    table[1:] = values[-1]
    table[1 : len(values) + 1] = values[:LEAVES]
    return table


class Ages:
    """Leaves of the trees of a tile: nearly all have the same, so that only the others are looked up one by one.

    Parameters
    ----------
    leaf : int16 array, (trial, position)
        0 where there is no tree.

    Attributes
    ----------
    trials : int
    usual : int
        Leaf of the oldest trees: of all but replants.
    odd : int array, (n,)
        Flat positions with another leaf, or without a tree.
    odd_leaf : int array, (n,)
        Their leaf.
    """

    def __init__(self, leaf: NDArray[np.int16]) -> None:
        oldest = leaf.max()
        self.trials = len(leaf)
        self.usual = min(int(oldest), LEAVES)
        self.odd = np.flatnonzero(leaf != oldest)
        self.odd_leaf = np.minimum(leaf.reshape(-1)[self.odd], LEAVES).astype(np.int64)


NATURAL_ANGLE: Final = 40.0
"""degree from the upright at which branches grow by themselves (assumption)."""
FULL_ANGLE: Final = 120.0
"""degree from the upright from which bending gains no more: well below the horizontal (assumption)."""


def bending_gain(angle: float, most: float) -> float:
    """Leaves by which bent branches bloom earlier.

    Parameters
    ----------
    angle : float [degree]
        From the upright.
    most : float [leaf]
        Gained by branches bent well below the horizontal.

    Notes
    -----
    Straight between the natural angle and well below the horizontal: that flatter branches bloom earlier is read
    (Michigan State University Extension, on bending branches), the form is an assumption.

    Examples
    --------
    >>> [round(bending_gain(angle, 0.8), 3) for angle in (20, 40, 80, 120, 140)]
    [0.0, 0.0, 0.4, 0.8, 0.8]
    """
    return most * min(max((angle - NATURAL_ANGLE) / (FULL_ANGLE - NATURAL_ANGLE), 0.0), 1.0)


def training_faults(training: Training) -> tuple[str, ...]:
    """What is missing or does not fit together in a training system, one line each; empty when it is sound.

    Examples
    --------
    >>> sound = Training(height_limit=3.2, spread_limit=1.2, canopy_fill=0.75, pruning=(0.1,), support="wires",
    ...                  training_minutes=(3.0,), pruning_minutes=(1.0,), summer_pruning_minutes=(0.5,))
    >>> training_faults(sound)
    ()
    """
    faults = []
    for name in ("pruning", "blossom_stripped", "training_minutes", "pruning_minutes", "summer_pruning_minutes"):
        if not getattr(training, name):
            faults.append(f"{name} is empty; it needs at least one value, that of leaf 1")
    if training.support == "none" and training.support_leaf > 0:
        faults.append("support_leaf is given, but support is 'none'")
    if training.bending_angle > NATURAL_ANGLE and not any(training.training_minutes):
        faults.append(
            f"branches are bent (bending_angle above the {NATURAL_ANGLE:g} degrees of their own growth), but "
            "training_minutes are all 0"
        )
    if training.feathers_kept == 0 and not training.thick_feathers_cut:
        faults.append("thick side branches are left (thick_feathers_cut = false), but feathers_kept = 0 keeps none")
    if any(training.pruning) and not any(training.pruning_minutes):
        faults.append("wood is cut out (pruning above 0), but pruning_minutes are all 0")
    if training.leader_headed and training.support == "wires" and training.height_limit > 4:
        faults.append("a headed leader above 4 m has no wire to hold it; use support 'stake' or 'none'")
    return tuple(faults)
