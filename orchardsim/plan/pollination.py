"""How far the pollen is: distances from the trees of a row group to their nearest compatible pollen source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.geometry import Geometry

OVERLAP_SPAN: Final = 90.0
"""K day; difference in heat to bloom at which two cultivars' blooms no longer meet: about ten days of bloom at
some 9 degree days (base 6.1 degC) a day. Assumption: the length of bloom varies with the weather."""
NEIGHBOUR_DISTANCE: Final = 40.0
"""m; assumed distance to another block's trees, whose place within the farm a plan does not state."""
OUTSIDE_OVERLAP: Final = 0.8
"""Share of a bloom that pollen sources off the plan cover; assumption: some other apple or crab is in bloom then."""
FIXED: Final = (
    ("overlap_span", OVERLAP_SPAN, "K day", "difference in heat to bloom at which two blooms no longer meet"),
    ("neighbour_distance", NEIGHBOUR_DISTANCE, "m", "distance to another block's trees"),
    ("outside_overlap", OUTSIDE_OVERLAP, "1", "share of a bloom that pollen sources off the plan cover"),
)
"""Constants that a plan cannot state, as they are listed among its assumptions: key, value, unit, meaning."""
MOST_TREES: Final = 4000
"""Trees of a group of which the mean distance is taken; a larger group is thinned out evenly."""


@dataclass(frozen=True)
class Pollinizer:
    """Extra pollinizer trees of a block: what they are, every how many trees and rows, and how many in all."""

    cultivar: str
    every_tree: int
    every_row: int
    trees: int


def bloom_overlap(heat: float, source_heat: float) -> float:
    """Share of a bloom that another cultivar's bloom covers, from their heat to full bloom [K day].

    Notes
    -----
    A straight fall from 1 at equal heat to 0 at :data:`OVERLAP_SPAN` (assumption).

    Examples
    --------
    >>> bloom_overlap(200.0, 200.0), round(bloom_overlap(200.0, 245.0), 2), bloom_overlap(200.0, 300.0)
    (1.0, 0.5, 0.0)
    """
    return max(0.0, 1.0 - abs(heat - source_heat) / OVERLAP_SPAN)


def extra_positions(geometry: Geometry, every_tree: int, every_row: int) -> NDArray[np.float64]:
    """Places (across, along) [m] of extra pollinizers: every n-th tree of every m-th row, staggered between rows.

    Returns array, (pollinizer, 2).
    """
    places = []
    for number, row in enumerate(range((every_row - 1) // 2, geometry.rows, every_row)):
        start = (every_tree // 2 + (number % 2) * (every_tree // 2)) % every_tree
        along = (np.arange(start, geometry.trees_per_row, every_tree) + 0.5) * geometry.tree_spacing
        places.append(np.column_stack([np.full(along.size, row * geometry.row_spacing), along]))
    return np.concatenate(places) if places else np.empty((0, 2))


def row_positions(geometry: Geometry, rows: Sequence[int]) -> NDArray[np.float64]:
    """Places (across, along) [m] of all trees of some rows."""
    across = np.repeat(np.asarray(rows) * geometry.row_spacing, geometry.trees_per_row)
    along = np.tile(np.arange(geometry.trees_per_row) * geometry.tree_spacing, len(rows))
    return np.column_stack([across, along]).astype(np.float64)


def mean_distance(trees: NDArray[np.float64], sources: NDArray[np.float64]) -> float:
    """Mean distance [m] from trees to their nearest source; infinite where there is none."""
    if not len(sources) or not len(trees):
        return float("inf")
    from scipy.spatial import cKDTree

    step = max(1, len(trees) // MOST_TREES)
    return float(np.mean(cKDTree(sources).query(trees[::step])[0]))
