"""Sums over the trees of a tile, compiled."""

from __future__ import annotations

from typing import Final

import numpy as np

from orchardsim.core.compiled import Number, compiled

LANES: Final = 8
"""Sums kept side by side, added up at the end: as NumPy adds, and faster than one after the other."""
NOTHING: Final = np.float64(0)


@compiled
def sum_stretches(values: Number, found: Number) -> None:
    """Sum float32 values (trial, row, tree) over stretches of the rows, in double precision.

    ``found`` (trial, row, stretch) takes the sums; stretch c of n runs from tree c per_row // n up to the next one's.
    """
    trials, rows, per_row = values.shape
    stretches = found.shape[2]
    side = np.empty(LANES, np.float64)
    for t in range(trials):
        for r in range(rows):
            for c in range(stretches):
                first, end = c * per_row // stretches, (c + 1) * per_row // stretches
                whole = first + (end - first) // LANES * LANES
                side[:] = NOTHING
                for i in range(first, whole, LANES):
                    for lane in range(LANES):
                        side[lane] += np.float64(values[t, r, i + lane])
                total = ((side[0] + side[1]) + (side[2] + side[3])) + ((side[4] + side[5]) + (side[6] + side[7]))
                for i in range(whole, end):
                    total += np.float64(values[t, r, i])
                found[t, r, c] = total
