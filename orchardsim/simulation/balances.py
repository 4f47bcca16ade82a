"""The identities that hold in every simulation. A broken one stops the run."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import IdentityError

Array = NDArray[np.float64]
MASS_TOLERANCE: Final = 1e-5
"""Largest gap in the balances of fruit and mass as a share of the gross flow (float32 sums)."""


def check_trees(
    alive_before: Array, planted: Array, replanted: Array, lost: Array, removed: Array, alive_after: Array
) -> None:
    """Living trees of last autumn, plus planted and replanted, less lost and removed, are the living trees now.

    All arrays are whole numbers over (trial, ...), so the check is exact; ``lost`` is summed over causes.
    """
    expected = alive_before + planted + replanted - lost - removed
    if not np.array_equal(expected, alive_after):
        gap = np.abs(expected - alive_after).max()
        raise IdentityError(f"trees: {gap:g} trees appear or vanish between two autumns")


def check_flow(name: str, source: Array, uses: Mapping[str, Array], tolerance: float) -> None:
    """What came in equals the sum of what it became.

    Parameters
    ----------
    name : str
        What flows (fruit, fruit mass, ...).
    source : array
        What came in.
    uses : mapping of name to array
        Where it went; same shape as ``source``.
    tolerance : float
        Largest allowed gap as a share of the gross flow.
    """
    total = np.sum(list(uses.values()), axis=0)
    gross = np.maximum(np.abs(source), np.abs(total))
    gap = np.abs(source - total)
    if (gap > tolerance * np.maximum(gross, 1e-9)).any():
        worst = float((gap / np.maximum(gross, 1e-9)).max())
        raise IdentityError(f"{name}: a share of {worst:.3g} is unaccounted for ({', '.join(uses)})")


def check_ledger(items: Array, net: Array) -> None:
    """Ledger items sum to the net cash flow, to 1e-9 of the gross flow; ``items`` has the item axis last."""
    gap = np.abs(items.sum(axis=-1) - net)
    if (gap > 1e-9 * np.maximum(np.abs(items).sum(axis=-1), 1.0)).any():
        raise IdentityError("ledger: the items do not sum to the net cash flow")
