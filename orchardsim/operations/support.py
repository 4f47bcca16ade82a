"""What a support is made of and how long it takes to build.

A count of pieces for ordering and labour, not a structural design: sizes, depths and anchors follow local practice,
soil and codes, and someone who builds them for a living.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from orchardsim.operations.parameters import SupportDesign, SupportRates

WIRE_ROW = 475 * 0.3048
"""m; length of row to which the published wire time belongs (475 ft)."""


@dataclass(frozen=True)
class BillOfMaterials:
    """Pieces of one block's support; ``wire`` in metres. A clip holds each
    tree or its stake to a wire."""

    line_posts: int
    end_posts: int
    anchors: int
    braces: int
    wire: float
    stakes: int
    clips: int
    ties: int


NOTHING = BillOfMaterials(0, 0, 0, 0, 0.0, 0, 0, 0)


def bill_of_materials(
    design: SupportDesign, rows: int, row_length: float, trees: int, kind: str = "wires"
) -> BillOfMaterials:
    """Pieces for a block.

    Parameters
    ----------
    design : SupportDesign
    rows : int
    row_length : float [m]
        From end post to end post.
    trees : int
    kind : str
        "wires", "stake" (one at each tree) or "none".

    Examples
    --------
    >>> bill = bill_of_materials(SupportDesign(post_spacing=10, wires=4), 10, 150.0, 1500)
    >>> bill.line_posts, bill.end_posts, bill.wire
    (140, 20, 6000.0)
    """
    if kind == "none" or not rows:
        return NOTHING
    ties = round(trees * design.ties_per_tree)
    if kind == "stake":
        return BillOfMaterials(0, 0, 0, 0, 0.0, trees, 0, ties)
    spans = max(1, math.ceil(row_length / design.post_spacing - 1e-9))
    return BillOfMaterials(
        line_posts=rows * (spans - 1),
        end_posts=2 * rows,
        anchors=rows * design.anchors_per_row,
        braces=rows * design.braces_per_row,
        wire=rows * row_length * design.wires,
        stakes=trees if design.stake_per_tree else 0,
        clips=trees,
        ties=ties,
    )


def support_hours(bill: BillOfMaterials, rates: SupportRates) -> float:
    """Labour to build a support [hour]."""
    minutes = (
        bill.end_posts * rates.end_post_minutes
        + bill.line_posts * rates.line_post_minutes
        + bill.anchors * rates.screw_anchor_minutes
        + bill.braces * rates.brace_minutes
        + bill.wire / WIRE_ROW * rates.wire_minutes
        + bill.stakes * rates.tree_stake_minutes
        + bill.clips * rates.clip_seconds / 60
        + bill.ties * rates.tie_seconds / 60
    )
    return minutes / 60
