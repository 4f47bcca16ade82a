"""Planting geometry: whole rows inside headlands, from gross area, net area, or a number of trees."""

from __future__ import annotations

import math
from typing import Final

from orchardsim.core.geometry import Geometry
from orchardsim.core.units import HECTARE

DEFAULT_ROW_LENGTH: Final = 150.0
"""m; longest row of a support in the Ontario tall-spindle guide (OMAFRA, Tall spindle support systems: read)."""
DEFAULT_HEADLAND: Final = 6.0
"""m at each row end, to turn a tractor; common practice, no source."""
_SLACK: Final = 1e-9
"""Relative slack, so that 200 m at 1 m holds 200 trees in spite of rounding."""


def trees_per_area(row_spacing: float, tree_spacing: float, area: float = HECTARE) -> float:
    """Trees on an area of land at a spacing, headlands aside.

    Parameters
    ----------
    row_spacing, tree_spacing : float [m]
    area : float [m2]

    Examples
    --------
    >>> round(trees_per_area(1.0, 3.5))
    2857
    >>> from orchardsim.core.units import ACRE, FOOT
    >>> round(trees_per_area(12 * FOOT, 3 * FOOT, ACRE), 6)
    1210.0
    """
    return area / (row_spacing * tree_spacing)


def whole(number: float) -> int:
    """Largest whole number that a length or area holds, rounding errors aside."""
    return math.floor(number * (1 + _SLACK) + _SLACK)


def lay_out(
    row_spacing: float,
    tree_spacing: float,
    *,
    gross_area: float | None = None,
    net_area: float | None = None,
    trees: int | None = None,
    rows: int | None = None,
    row_length: float | None = None,
    headland: float = DEFAULT_HEADLAND,
) -> Geometry:
    """Lay a block out in whole rows of equal length; the last row may be shorter where ``trees`` says so.

    Without a row length the block is as square as whole rows allow, with rows no longer than
    :data:`DEFAULT_ROW_LENGTH`. Raises ValueError if the land holds no tree, or fewer than ``trees``.

    Parameters
    ----------
    row_spacing, tree_spacing : float [m]
    gross_area, net_area : float, optional [m2]
        Land with headlands, or land under the trees' own spacing; one of them, or neither.
    trees : int, optional
        Number of trees; with an area, at most what it holds.
    rows : int, optional
        Number of rows, where row groups state it and no area or number of trees is given.
    row_length : float, optional [m]
        Length under trees.
    headland : float [m]
        Free at each row end.
    """
    cell = row_spacing * tree_spacing
    if gross_area is not None:
        total = (
            row_length + 2 * headland
            if row_length is not None
            else min(math.sqrt(gross_area), DEFAULT_ROW_LENGTH + 2 * headland)
        )
        length, width = total - 2 * headland, gross_area / total
        per_row, held = whole(length / tree_spacing), whole(width / row_spacing)
    elif net_area is not None:
        length = row_length if row_length is not None else min(math.sqrt(net_area), DEFAULT_ROW_LENGTH)
        per_row = whole(length / tree_spacing)
        if row_length is None:
            per_row = min(per_row, whole(net_area / cell))
        held = whole(net_area / (per_row * cell)) if per_row > 0 else 0
    elif trees is not None:
        square = math.sqrt(trees * cell)
        length = row_length if row_length is not None else min(max(square, tree_spacing), DEFAULT_ROW_LENGTH)
        per_row = min(whole(length / tree_spacing), trees)
        held = -(-trees // per_row) if per_row > 0 else 0
    elif rows is not None:
        length = row_length if row_length is not None else DEFAULT_ROW_LENGTH
        per_row, held = whole(length / tree_spacing), rows
    else:
        raise ValueError("needs gross_area, net_area, trees, or row groups that state their rows")
    if per_row < 1 or held < 1:
        raise ValueError(
            f"the land holds no tree at {row_spacing:g} x {tree_spacing:g} m with headlands of {headland:g} m; "
            "allowed: a larger area, a longer row, a closer spacing or a smaller headland"
        )
    if trees is None:
        return Geometry(held, per_row, held * per_row, row_spacing, tree_spacing, headland)
    if trees > held * per_row:
        raise ValueError(
            f"found trees = {trees}, allowed at most {held * per_row}, which is what the area holds "
            f"({held} rows of {per_row} at {row_spacing:g} x {tree_spacing:g} m)"
        )
    return Geometry(-(-trees // per_row), per_row, trees, row_spacing, tree_spacing, headland)


def rows_of_groups(stated: list[int | None], rows: int) -> list[int]:
    """Rows of each row group; one group may leave its number out and takes the rest.

    Raises ValueError if the groups' rows do not make up the block's.

    Examples
    --------
    >>> rows_of_groups([4, None], 10)
    [4, 6]
    """
    open_places = [place for place, number in enumerate(stated) if number is None]
    total = sum(number for number in stated if number is not None)
    if len(open_places) > 1:
        raise ValueError("found more than one group without 'rows', allowed: one, which takes the rest")
    if open_places:
        rest = rows - total
        if rest < 1:
            raise ValueError(f"found groups of {total} rows and one without 'rows', but the block has {rows} rows")
        return [rest if number is None else number for number in stated]
    if total != rows:
        raise ValueError(
            f"found groups of {total} rows together, but the block has {rows} rows; "
            "allowed: groups that add up to it, or one group without 'rows'"
        )
    return [number for number in stated if number is not None]
