"""Labour to build a block's support, from the number of its pieces."""

from __future__ import annotations

import math
from typing import Final

from orchardsim.economy.blocks import BlockGeometry
from orchardsim.operations.parameters import SupportDesign, SupportRates

WIRE_ROW: Final = 475 * 0.3048
"""m; length of row for which the wire rate is stated."""


def support_hours(geometry: BlockGeometry, design: SupportDesign, rates: SupportRates) -> float:
    """Labour hours to build the support of one label [hour].

    Parameters
    ----------
    geometry : BlockGeometry
    design : SupportDesign
    rates : SupportRates

    Notes
    -----
    Times per piece: Fraser & Oakes 1999, Compact Fruit Tree 32(3) (read). Two end posts a row; line posts between
    them; wires by length of row; a stake, clips and ties by tree. A count of labour, no structural design.

    Examples
    --------
    One row of 144.78 m with 144 trees, a post every 10 m and four wires, no stakes: 2 end posts of 6 min, 14 line
    posts of 4 min, 2 anchors of 3 min, 4 wires of 60 min, 144 clips and 288 ties of 20 s.

    >>> row = BlockGeometry(1, 144.78, 3.5, 144, 507.0, 560.0, "wires", 3.0)
    >>> design = SupportDesign(stake_per_tree=False)
    >>> round(support_hours(row, design, SupportRates()), 3)
    7.633
    """
    trees, rows = geometry.trees, geometry.rows
    ties = trees * design.ties_per_tree * rates.tie_seconds / 60
    if geometry.support == "stake":
        return (trees * rates.tree_stake_minutes + ties) / 60
    if geometry.support != "wires":
        return 0.0
    line_posts = rows * max(math.ceil(geometry.row_length / design.post_spacing - 1e-9) - 1, 0)
    minutes = (
        2 * rows * rates.end_post_minutes
        + line_posts * rates.line_post_minutes
        + rows * (design.anchors_per_row * rates.screw_anchor_minutes + design.braces_per_row * rates.brace_minutes)
        + rows * design.wires * geometry.row_length / WIRE_ROW * rates.wire_minutes
        + trees * (rates.tree_stake_minutes if design.stake_per_tree else 0.0)
        + trees * rates.clip_seconds / 60
        + ties
    )
    return minutes / 60
