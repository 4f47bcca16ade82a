"""How long a support takes to build."""

from __future__ import annotations

from typing import Final

from orchardsim.core.support import BillOfMaterials
from orchardsim.operations.parameters import SupportRates

WIRE_ROW: Final = 475 * 0.3048
"""m; length of row to which the published wire time belongs (475 ft)."""


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
