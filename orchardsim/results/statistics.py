"""The statistics that stand in every summary, from the risk room, in one order."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from orchardsim.risk.bands import Side

PERCENT_POINTS: Final = (5, 25, 50, 75, 95)
TAIL: Final = 0.10
"""Share of trials in the expected shortfall (definition of the summary, not a measured number)."""
STATISTICS: Final = (*(f"p{point}" for point in PERCENT_POINTS), "mean", "expected_shortfall")

Array = NDArray[np.float64]


def describe(values: Array, *, worst: Side, whole: bool = False) -> tuple[Array, Array]:
    """Statistics and their standard errors along the first axis.

    Parameters
    ----------
    values : array, (trial, ...)
        NaN = this trial has no such value; statistics are then over the trials that have one.
    worst : {"low", "high"}
        Side of the bad outcomes, for the expected shortfall.
    whole : bool
        Whole numbers: percent points are then values that occurred (the smallest with at least the share of trials
        at or below it), not points between two.

    Returns
    -------
    statistics, standard_errors : arrays, (statistic, ...)
        In the order of :data:`STATISTICS`; NaN where there is none.
    """
    values = np.asarray(values, dtype=np.float64)
    flat = values.reshape(len(values), -1)
    result = np.full((2, len(STATISTICS), flat.shape[1]), np.nan)
    present = ~np.isnan(flat)
    complete = present.all(axis=0)
    if complete.any():
        result[:, :, complete] = _describe_columns(flat[:, complete], worst, whole)
    for column in np.flatnonzero(~complete & present.any(axis=0)):
        some = flat[present[:, column], column]
        result[:, :, column] = _describe_columns(some[:, None], worst, whole)[:, :, 0]
    shape = (len(STATISTICS), *values.shape[1:])
    return result[0].reshape(shape), result[1].reshape(shape)


def _describe_columns(columns: Array, worst: Side, whole: bool) -> Array:
    # The statistics library behind it is slow to load, so it is opened when first used.
    from orchardsim.risk import bands

    ordered = np.sort(columns, axis=0)
    estimates = [bands.quantile(ordered, point / 100, whole=whole) for point in PERCENT_POINTS]
    estimates += [bands.mean(ordered), bands.expected_shortfall(ordered, worst, TAIL)]
    return np.array([[each.value for each in estimates], [each.standard_error for each in estimates]])
