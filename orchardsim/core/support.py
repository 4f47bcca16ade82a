"""What a support is made of, and when it is built: once for its labour, its price and its timetable.

A count of pieces for ordering and labour, not a structural design: sizes, depths and anchors follow local practice,
soil and codes, and someone who builds them for a living.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from orchardsim.core.parameters import parameter


@dataclass(frozen=True)
class SupportDesign:
    """What a support is made of. A count of pieces, not a structural design: build to local practice."""

    post_spacing: float = parameter(
        "m",
        "distance between line posts; 32-35 ft best, 40 ft average (read, [press_trellis])",
        low=1,
        high=30,
        default=10.0,
    )
    wires: int = parameter("1", "wires; 4 in Ontario, 5-6 in Washington (read)", low=0, high=12, default=4)
    anchors_per_row: int = parameter("1", "anchors, both row ends together", low=0, high=8, default=2)
    braces_per_row: int = parameter("1", "cross braces, both row ends together", low=0, high=8, default=0)
    stake_per_tree: bool = parameter("flag", "whether each tree has its own conduit or stake", default=True)
    ties_per_tree: float = parameter("1", "ties per tree when the support is built", low=0, high=10, default=2.0)


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
    row_length : float [m]
        From end post to end post.
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


def support_year(year_planted: int, support_leaf: int) -> int:
    """Year of the plan in which a support is bought and built; leaf 0 or 1: in the planting year.

    Examples
    --------
    >>> support_year(1, 0), support_year(1, 1), support_year(1, 3)
    (1, 1, 3)
    """
    return year_planted + max(support_leaf - 1, 0)
