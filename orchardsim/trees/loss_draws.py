"""Random numbers of the losses of one block, and the patches over which hazards vary."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import Address, fill_normals, fill_uniforms

Float = NDArray[np.float32]
Index = NDArray[np.int64]
Node = NDArray[np.int32]

PATCH_METRES: Final = 20.0
"""m; distance between the nodes of a patch field (assumption)."""
PATCH_LIMIT: Final = 2.0
"""Standard deviations at which a patch field is cut, so that the hazard of any tree is bounded."""
COLLAPSES: Final = 3
"""Most collapses of rows in one block and year."""
TREES, PATCHES, YEAR, BLOCK = range(4)
"""Numbers of the draws of a year: by tree, by node of the patches, of the block or place, normals of the block."""


@dataclass(frozen=True)
class PatchGrid:
    """Nodes of a smooth field over a block: every ``cell_rows`` rows and ``cell_trees`` trees."""

    rows: int
    per_row: int
    cell_rows: int
    cell_trees: int

    @property
    def shape(self) -> tuple[int, int]:
        """Number of nodes across and along the rows."""
        return math.ceil(self.rows / self.cell_rows) + 1, math.ceil(self.per_row / self.cell_trees) + 1

    @functools.cached_property
    def weights(self) -> tuple[Node, Float, Float, int, Float, Float]:
        """By row: node before, weights of it and of the next. Then trees per node; by tree in the row: both weights.

        Bilinear weights divided by their root sum of squares: every point has unit variance, the nodes their own
        value, and the field is continuous.
        """
        across = _line_weights(self.rows, self.cell_rows)
        return *across, self.cell_trees, *_line_weights(self.per_row, self.cell_trees)[1:]


def _line_weights(places: int, cell: int) -> tuple[Node, Float, Float]:
    """Node before each place of a line, and the weights of it and the next, with squares that sum to 1."""
    place = np.arange(places) / cell
    node = place.astype(np.int32)
    part = place - node
    scale = np.sqrt(part**2 + (1 - part) ** 2)
    return node, ((1 - part) / scale).astype(np.float32), (part / scale).astype(np.float32)


def patch_grid(rows: int, per_row: int, row_spacing: float = 3.5, tree_spacing: float = 1.0) -> PatchGrid:
    """Grid with nodes some 20 m apart for a block of given spacing [m].

    Examples
    --------
    >>> patch_grid(57, 200).shape
    (11, 11)
    """
    return PatchGrid(
        rows, per_row, max(1, round(PATCH_METRES / row_spacing)), max(1, round(PATCH_METRES / tree_spacing))
    )


def cut_lognormal_mean(sd: float, limit: float = PATCH_LIMIT) -> float:
    """Mean of exp(sd z) with z standard normal, moved to the limits where it lies beyond them.

    Examples
    --------
    >>> round(cut_lognormal_mean(0.5, 12.0), 6) == round(math.exp(0.125), 6)
    True
    """

    def below(x: float) -> float:
        return 0.5 * math.erfc(-x / math.sqrt(2))

    inner = math.exp(sd * sd / 2) * (below(limit - sd) - below(-limit - sd))
    return inner + below(-limit) * (math.exp(sd * limit) + math.exp(-sd * limit))


@dataclass(frozen=True)
class LossDraws:
    """Draws of one year for a tile of trials.

    Attributes
    ----------
    rest, season : float32 array, (trial, position)
        One uniform per tree and phase decides death and cause.
    vole_patch, blight_patch : float32 array, (trial, node row, node column)
        Normals of this year's patches.
    vole_year, decline_year : float32 array, (trial,)
        Uniform.
    storm, rot_year, blight_year : float32 array, (trial,)
        Standard normal; the blight of a year is that of the whole place.
    collapse : float32 array, (trial, COLLAPSES, 4)
        Uniforms: whether, which row, where in the row, how long.
    """

    rest: Float
    season: Float
    vole_patch: Float
    blight_patch: Float
    vole_year: Float
    decline_year: Float
    storm: Float
    rot_year: Float
    blight_year: Float
    collapse: Float


def draw_losses(
    address: Address,
    place: Address,
    rows: int,
    per_row: int,
    row_spacing: float = 3.5,
    tree_spacing: float = 1.0,
    out: LossDraws | None = None,
) -> LossDraws:
    """Draw the losses of one block and year.

    Parameters
    ----------
    address : Address
        Of this block and year.
    place : Address
        Of the year at the place, the same for all its blocks: the level of blight.
    rows, per_row : int
    row_spacing, tree_spacing : float [m]
        Set the grid of the patches.
    out : LossDraws, optional
        Draws of an earlier year of the same block and tile, to be filled anew: fresh memory costs as much as the
        random numbers.
    """
    trials = len(address.trials)
    nodes = patch_grid(rows, per_row, row_spacing, tree_spacing).shape

    def empty(*shape: int) -> Float:
        return np.empty((trials, *shape), np.float32)

    rest, season = (out.rest, out.season) if out else (empty(rows * per_row), empty(rows * per_row))
    fill_uniforms(address, TREES, rest, season)
    patches = empty(2 * nodes[0] * nodes[1])
    fill_normals(address, PATCHES, patches)
    vole_patch, blight_patch = patches.reshape(trials, 2, *nodes).swapaxes(0, 1)
    uniform, normal, level = empty(2 + COLLAPSES * 4), empty(2), empty(1)
    fill_uniforms(address, YEAR, uniform, np.empty_like(uniform))
    fill_normals(address, BLOCK, normal)
    fill_normals(place, YEAR, level)
    return LossDraws(
        rest=rest,
        season=season,
        vole_patch=np.ascontiguousarray(vole_patch),
        blight_patch=np.ascontiguousarray(blight_patch),
        vole_year=uniform[:, 0],
        decline_year=uniform[:, -1],
        storm=normal[:, 0],
        rot_year=normal[:, 1],
        blight_year=level[:, 0],
        collapse=uniform[:, 1:-1].reshape(trials, COLLAPSES, 4),
    )


def draw_site(address: Address, rows: int, per_row: int, row_spacing: float = 3.5, tree_spacing: float = 1.0) -> Float:
    """Lasting patches of wet and worn soil, (trial, node row, node column): drawn once per block and trial."""
    nodes = patch_grid(rows, per_row, row_spacing, tree_spacing).shape
    field = np.empty((len(address.trials), nodes[0] * nodes[1]), np.float32)
    fill_normals(address, PATCHES, field)
    return field.reshape(-1, *nodes)
