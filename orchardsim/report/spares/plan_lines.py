"""A replacement policy as lines that can be put into a plan file."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from orchardsim.results.spares import LabelPolicy, RefillWorth, SparesAnswer

SPARES_TABLE: Final = "replacement.group"
HOW_TO_USE: Final = (
    "To go by the recommendation, put these lines at the end of the plan in place of any tables of that name"
)


def policy_lines(found: SparesAnswer) -> list[str]:
    """Tables of the recommended policy, one for each row group; they may stand at the end of the plan.

    The last leaf in which gaps are filled is the rule's, for a gap by itself see the leaf beside it.
    """
    worth = {one.label: one for one in found.worth}
    lines: list[str] = []
    for policy in found.decision.advised.policies:
        lines += [*([""] if lines else []), *_table(policy, worth.get(policy.label))]
    return lines


def _table(policy: LabelPolicy, worth: RefillWorth | None) -> list[str]:
    label = policy.label.replace("\\", "\\\\").replace('"', '\\"')
    head = f'[{SPARES_TABLE}."{label}"]'
    if not policy.fills:
        return [
            head,
            "spares_at_planting = 0",
            'place = "none"',
            "reorder = false",
            f"last_refill_leaf = 0{_break_even(worth)}",
        ]
    trees = policy.trees
    lines = [
        head,
        f"spares_at_planting = {share_text(policy.spares, trees, round)}   # {policy.spares} of {trees:,} trees",
        f'place = "{policy.place}"',
    ]
    if policy.order_up_to is None or policy.reorder_point is None:
        lines.append("reorder = false")
    else:
        lines += [
            "reorder = true",
            f"reorder_point = {share_text(max(policy.reorder_point, 0), trees, math.ceil)}   # "
            f"{max(policy.reorder_point, 0)} trees",
            f"order_up_to = {share_text(policy.order_up_to, trees, math.ceil)}   # {policy.order_up_to} trees",
        ]
    return [*lines, f"last_refill_leaf = {policy.last_leaf}{_break_even(worth)}"]


def _break_even(worth: RefillWorth | None) -> str:
    if worth is None or not worth.leaf.size:
        return ""
    if worth.sure_leaf is None:
        return "   # that a gap by itself pays is not sure in any leaf"
    return f"   # a gap by itself pays through leaf {worth.sure_leaf}"


def share_text(number: int, trees: int, rounded: Callable[[float], int]) -> str:
    """Shortest share of the trees that a plan turns back into the number.

    Examples
    --------
    >>> share_text(16, 504, math.ceil), share_text(15, 504, round), share_text(0, 504, round)
    ('0.03', '0.03', '0')
    """
    for digits in range(12):
        # a share for rounding up may lie anywhere in the step below the number
        for share in (round(number / trees, digits), math.floor(number / trees * 10**digits) / 10**digits):
            if rounded(round(share * trees, 9)) == number:
                return f"{share:.{digits}f}"
    return repr(number / trees)
