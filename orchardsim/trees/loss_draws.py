"""Random numbers of the losses of one block, and the patches over which hazards vary."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]
Index = NDArray[np.int64]

PATCH_METRES: Final = 20.0
"""m; distance between the nodes of a patch field (assumption)."""
PATCH_LIMIT: Final = 2.0
"""Standard deviations at which a patch field is cut, so that the hazard of any tree is bounded."""
COLLAPSES: Final = 3
"""Most collapses of rows in one block and year."""


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
    def weights(self) -> tuple[Index, Float, Float, Index, Float, Float]:
        """Node before, weights of it and of the next: by row, then by tree in the row."""
        across = _line_weights(self.rows, self.cell_rows)
        return *across, *_line_weights(self.per_row, self.cell_trees)

    def at(self, nodes: Float, trial: Index, row: Index, column: Index) -> Float:
        """Standard normal field at given trees, from independent normals at the nodes.

        Parameters
        ----------
        nodes : float32 array, (trial, node row, node column)
        trial, row, column : int arrays, (n,)

        Notes
        -----
        Bilinear weights divided by their root sum of squares: every point has unit variance, the nodes their own
        value, and the field is continuous. Cut at ``PATCH_LIMIT``.
        """
        _, across, along = nodes.shape
        row_node, row_here, row_next, tree_node, tree_here, tree_next = self.weights
        flat = nodes.reshape(-1)
        first = (row_node * along)[row]
        first += tree_node[column]
        first += trial * (across * along)
        here, following = tree_here[column], tree_next[column]
        value = (flat[first] * here + flat[first + 1] * following) * row_here[row]
        first += along
        value += (flat[first] * here + flat[first + 1] * following) * row_next[row]
        return np.clip(value, -PATCH_LIMIT, PATCH_LIMIT)


def _line_weights(places: int, cell: int) -> tuple[Index, Float, Float]:
    """Node before each place of a line, and the weights of it and the next, with squares that sum to 1."""
    place = np.arange(places) / cell
    node = place.astype(np.int64)
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


def patch_factor(field: Float, patchiness: float) -> Float:
    """Multiplier of a hazard, with mean 1, from a standard normal field cut at ``PATCH_LIMIT``."""
    return np.exp(np.float32(patchiness) * field) * np.float32(1 / cut_lognormal_mean(patchiness))


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
    vole_year : float array, (trial,)
        Uniform.
    storm : float array, (trial,)
        Standard normal.
    collapse : float array, (trial, COLLAPSES, 4)
        Uniforms: whether, which row, where in the row, how long.
    """

    rest: Float
    season: Float
    vole_patch: Float
    blight_patch: Float
    vole_year: NDArray[np.float64]
    storm: NDArray[np.float64]
    collapse: NDArray[np.float64]


def draw_losses(
    rngs: Sequence[np.random.Generator],
    rows: int,
    per_row: int,
    row_spacing: float = 3.5,
    tree_spacing: float = 1.0,
    out: LossDraws | None = None,
) -> LossDraws:
    """Draw the losses of one block and year.

    Parameters
    ----------
    rngs : sequence of Generator
        One per trial, at the address of this block and year.
    rows, per_row : int
    row_spacing, tree_spacing : float [m]
        Set the grid of the patches.
    out : LossDraws, optional
        Draws of an earlier year of the same block and tile, to be filled anew: fresh memory costs as much as the
        random numbers.
    """
    trials = len(rngs)
    if out is None:
        grid = patch_grid(rows, per_row, row_spacing, tree_spacing).shape
        out = LossDraws(
            rest=np.empty((trials, rows * per_row), dtype=np.float32),
            season=np.empty((trials, rows * per_row), dtype=np.float32),
            vole_patch=np.empty((trials, *grid), dtype=np.float32),
            blight_patch=np.empty((trials, *grid), dtype=np.float32),
            vole_year=np.empty(trials),
            storm=np.empty(trials),
            collapse=np.empty((trials, COLLAPSES, 4)),
        )
    for trial, rng in enumerate(rngs):
        out.vole_year[trial] = rng.random()
        out.storm[trial] = rng.standard_normal()
        rng.random(out=out.collapse[trial])
        rng.standard_normal(out=out.vole_patch[trial], dtype=np.float32)
        rng.standard_normal(out=out.blight_patch[trial], dtype=np.float32)
        rng.random(out=out.rest[trial], dtype=np.float32)
        rng.random(out=out.season[trial], dtype=np.float32)
    return out


def draw_site(
    rngs: Sequence[np.random.Generator],
    rows: int,
    per_row: int,
    row_spacing: float = 3.5,
    tree_spacing: float = 1.0,
) -> Float:
    """Lasting patches of wet and worn soil, (trial, node row, node column): drawn once per block and trial."""
    grid = patch_grid(rows, per_row, row_spacing, tree_spacing).shape
    nodes = np.empty((len(rngs), *grid), dtype=np.float32)
    for trial, rng in enumerate(rngs):
        rng.standard_normal(out=nodes[trial], dtype=np.float32)
    return nodes
