"""What differs between trees by chance: lasting soil patches, and the draws of a year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.draws import Address, fill_normals

Float = NDArray[np.float32]
TREE, BLOCK = 0, 1
"""Numbers of the draws of a year: by tree, by block."""
BLOCK_NORMALS = 2
"""Normal draws per block and year: set and spray."""


@dataclass(frozen=True)
class YearDraws:
    """Random numbers of one block and year, for every position, dead or alive.

    Attributes
    ----------
    normal : float32 array, (trial, position)
        Set and thinning of the tree; its nursery quality in the year in which it is planted.
    block_normal : float64 array, (trial, BLOCK_NORMALS)
    """

    normal: Float
    block_normal: NDArray[np.float64]


def draw_year(address: Address, positions: int, out: YearDraws | None = None) -> YearDraws:
    """Draw a year of a block.

    Parameters
    ----------
    address : Address
        Of the process, the block and the year.
    out : YearDraws, optional
        Filled and returned; saves memory traffic in the year loop.
    """
    trials = len(address.trials)
    if out is None:
        out = YearDraws(np.empty((trials, positions), np.float32), np.empty((trials, BLOCK_NORMALS)))
    fill_normals(address, TREE, out.normal)
    fill_normals(address, BLOCK, out.block_normal)
    return out


def patchy_field(
    rng: np.random.Generator, rows: int, trees_per_row: int, row_spacing: float, tree_spacing: float, length: float
) -> NDArray[np.float64]:
    """Standard normal field over (row, tree) whose correlation falls as exp(-distance/length) along and across rows.

    Notes
    -----
    A first-order autoregression along rows, then across: separable, stationary and exact at the edges.
    """
    field = rng.standard_normal((rows, trees_per_row))
    along, across = (float(np.exp(-spacing / length)) for spacing in (tree_spacing, row_spacing))
    _correlate(field, along, float(np.sqrt(1 - along**2)), across, float(np.sqrt(1 - across**2)))
    return field


@compiled
def _correlate(field: Number, along: Number, fresh_along: Number, across: Number, fresh_across: Number) -> None:
    """Make a field of independent normals into one that keeps a share of the place before, along and across rows."""
    rows, per_row = field.shape
    for r in range(rows):
        for i in range(1, per_row):
            field[r, i] = field[r, i] * fresh_along + along * field[r, i - 1]
    for r in range(1, rows):
        for i in range(per_row):
            field[r, i] = field[r, i] * fresh_across + across * field[r - 1, i]
