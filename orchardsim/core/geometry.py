"""Rows and areas of a block or of a row group, once for all rooms."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Geometry:
    """Rows of equal length inside headlands; the last row may hold fewer trees than the others.

    Attributes
    ----------
    rows, trees_per_row, trees : int
        ``trees`` are planting positions.
    row_spacing, tree_spacing : float [m]
    headland : float [m]
        Left free at each row end.
    """

    rows: int
    trees_per_row: int
    trees: int
    row_spacing: float
    tree_spacing: float
    headland: float = 0.0

    @property
    def positions(self) -> int:
        """Rows times trees per row."""
        return self.rows * self.trees_per_row

    @property
    def row_length(self) -> float:
        """Length of row under trees: trees per row times their spacing [m]."""
        return self.trees_per_row * self.tree_spacing

    @property
    def planted_area(self) -> float:
        """Trees times the land of their own spacing (net area) [m2]."""
        return self.trees * self.row_spacing * self.tree_spacing

    @property
    def gross_area(self) -> float:
        """Rows and both headlands [m2]."""
        return self.rows * self.row_spacing * (self.row_length + 2 * self.headland)
