"""How often frost has taken the crop: the figure that every output prints for the baseline and the whole record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]


@dataclass(frozen=True)
class FrostYears:
    """Share of seasons with more than 30 and 90 % of the blossoms killed [1], with its standard error.

    ``seasons`` is the number of seasons behind the shares; with none, all are not-a-number.
    """

    seasons: int
    over_30: float
    over_90: float
    standard_error_90: float


def frost_years(frost_kill: Floats, harvest_year: Floats, years: tuple[int, int] | None = None) -> FrostYears:
    """Share of seasons with bad frost, over all seasons or those of some harvest years.

    Parameters
    ----------
    frost_kill : array, (season,) [1]
    harvest_year : int array, (season,)
    years : tuple of int, optional
        First and last harvest year, both included.

    Notes
    -----
    The standard error sqrt(p (1 - p)/n) takes seasons as independent; at p of 0 or 1 it says nothing.

    Examples
    --------
    >>> found = frost_years(np.array([0.1, 0.5, 0.95, 0.2]), np.array([2001, 2002, 2003, 2004]))
    >>> found.over_30, found.over_90
    (0.5, 0.25)
    """
    kill, year = np.asarray(frost_kill), np.asarray(harvest_year)
    if years is not None:
        kill = kill[(year >= years[0]) & (year <= years[1])]
    count = len(kill)
    if count == 0:
        return FrostYears(0, float("nan"), float("nan"), float("nan"))
    shares = [float((kill > level).mean()) for level in (0.3, 0.9)]
    return FrostYears(count, shares[0], shares[1], float(np.sqrt(shares[1] * (1 - shares[1]) / count)))
