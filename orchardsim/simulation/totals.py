"""Collects the results of the year loop in float64 arrays, one per variable of the table."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import IdentityError
from orchardsim.core.labels import BOX_COUNTS, CAUSES, GRADES, TASKS
from orchardsim.core.variables import RESULTS

LABELS: Final = {"cause": CAUSES, "grade": GRADES, "box_count": BOX_COUNTS, "task": TASKS}
"""Length of the dimensions whose labels are fixed."""

YEAR_LOOP: Final = tuple(name for name, row in RESULTS.items() if row.writer == "year")
"""Variables that the year loop fills, over trial, year and block."""
BESIDE: Final = ("spares_bought", "spot_bought", "fruit_mass_square")
"""What is kept beside them: replacement trees delivered, spares of the first planting included; those among them that
were bought at short notice; the squares of the trees' mean fruit mass, summed over all fruit [kg2]."""


class Totals:
    """Arrays over (trial, year, label, ...) for a range of trials.

    Parameters
    ----------
    trials, years : int
        Size of the range.
    labels : tuple of str
        Labels of the plan's blocks.

    Attributes
    ----------
    arrays : dict from variable to array
        :data:`YEAR_LOOP`, :data:`BESIDE`, and ``biennial_index`` of the whole run, (trial, label).
    """

    def __init__(self, trials: int, years: int, labels: tuple[str, ...]) -> None:
        self.labels = labels
        self.arrays: dict[str, NDArray[np.float64]] = {}
        for name in YEAR_LOOP:
            row = RESULTS[name]
            extra = tuple(len(LABELS[dim]) for dim in row.dims[3:])
            fill = np.nan if row.may_be_missing else 0.0
            self.arrays[name] = np.full((trials, years, len(labels), *extra), fill)
        self.arrays |= {name: np.zeros((trials, years, len(labels))) for name in BESIDE}
        self.arrays["biennial_index"] = np.full((trials, len(labels)), np.nan)

    def put(self, name: str, trials: slice, year: int, labels: slice, values: NDArray[np.floating] | float) -> None:
        """Store one year of one block; values over (trial, label of the block, ...)."""
        self.arrays[name][trials, year, labels] = values

    def check_bounds(self) -> None:
        """Hold every array to the variable table.

        Raises
        ------
        IdentityError
            If a value lies outside its hard bounds, is missing where it must not be, or is no whole number
            where it must be one.
        """
        for name in YEAR_LOOP:
            row, values = RESULTS[name], self.arrays[name]
            if np.isnan(values).any() and not row.may_be_missing:
                raise IdentityError(f"{name} is missing in a trial")
            low = np.nanmin(values, initial=np.inf)
            high = np.nanmax(values, initial=-np.inf)
            if row.low is not None and low < row.low - 1e-9:
                raise IdentityError(f"{name} falls to {low:g}, below its bound {row.low:g} {row.unit}")
            if row.high is not None and high > row.high * (1 + 1e-6):
                raise IdentityError(f"{name} rises to {high:g}, above its bound {row.high:g} {row.unit}")
            if row.whole and (values != np.round(values)).any():
                raise IdentityError(f"{name} holds a part of a tree")
