"""What work that was left undone does to the trees: wood not cut, branches not bent, shoots not taken out in summer.

Each function changes the trees that a crew did not come to and leaves the others as they are. A crew walks its row
group in the order of ``BlockModel.walk``, from ``start`` on and round again.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.trees import bearing
from orchardsim.trees.block import BlockModel
from orchardsim.trees.picking import find_quality
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.training import LEAVES

Double = NDArray[np.float64]
MOST_OVERGROWN: Final = 1.0
"""1; most shading leaf of wood left uncut per leaf area (assumption: a canopy does not more than double)."""


def left_trees(model: BlockModel, share: Double, start: Double | None = None) -> NDArray[np.bool_]:
    """Positions that a crew does not reach, (trial, position).

    Parameters
    ----------
    share : array, (trial, group) [1]
        Of the group's trees that are done.
    start : array, (trial, group) [1], optional
        Place in the walk from which the crew starts; the first tree by default.
    """
    place = model.walk if start is None else np.mod(model.walk - model.expand(start), 1)
    return np.asarray(place > model.expand(share))


def leave_unpruned(model: BlockModel, state: TreeState, share: Double, start: Double) -> None:
    """Take back the winter's cut on trees that were not pruned; call it after ``rest_to_bloom``.

    Their flower clusters stay on the wood that was to go. That wood's shoots shade the tree until a winter in which it
    is pruned; another winter without adds to them.

    Parameters
    ----------
    share, start : arrays, (trial, group) [1]
        As for :func:`left_trees`.
    """
    left = left_trees(model, share, start) & state.alive
    if state.overgrown is None:
        if not left.any():
            return
        state.overgrown = np.zeros_like(state.uncut)
    shade = state.overgrown
    shade += (1 - state.uncut) * np.float32(model.physiology.unpruned_shade)
    np.minimum(shade, MOST_OVERGROWN, out=shade)
    shade *= left
    np.divide(state.flower_clusters, state.uncut, out=state.flower_clusters, where=left)
    state.uncut[left] = 1
    if not shade.any():
        state.overgrown = None


def leave_unbent(model: BlockModel, state: TreeState, share: Double, start: Double) -> None:
    """Trees whose branches were not tied down form next spring's flowers as unbent ones do.

    Call it after ``harvest_to_leaf_fall``.
    """
    gained = model.bending_gain
    left = left_trees(model, share, start) & state.alive & (state.leaf >= model.block.training.bending_leaf)
    if not gained or not left.any():
        return
    rate = model.physiology.bearing_rate
    next_leaf = (state.leaf + 1).astype(np.float32)
    lost = bearing.bearing_share(next_leaf, model.half_bloom_leaf + np.float32(gained), rate)
    lost /= bearing.bearing_share(next_leaf, model.half_bloom_leaf, rate)
    np.multiply(state.flower_clusters, lost, out=state.flower_clusters, where=left)


def leave_summer_growth(
    model: BlockModel, state: TreeState, season: SeasonForTrees, share: Double, start: Double
) -> None:
    """Judge the ripe fruit again where summer shoots still shade it: less colour; call it after ``ripe_fruit``."""
    left = left_trees(model, share, start)
    # leaves in which no summer pruning is asked for are as they were
    left = left & (model.summer_minutes > 0)[np.minimum(state.leaf, LEAVES)]
    if not left.any():
        return
    light = state.leaf_light
    state.leaf_light = np.where(left, light * np.float32(1 - model.physiology.summer_shade), light)
    find_quality(model, state, season)
    state.leaf_light = light
