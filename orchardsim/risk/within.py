"""What an event costs, found in the years in which it happened to come."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.bands import Estimate

Array = NDArray[np.float64]


def event_effect(values: ArrayLike, happened: ArrayLike) -> Estimate:
    """Mean difference between years with and without an event, within trials and within years.

    Returns Estimate: nan where nothing can be told: all years, or none, of every trial.

    Parameters
    ----------
    values : (trial, year)
    happened : (trial, year) of bool

    Notes
    -----
    Least squares with a constant for each trial and each year, so that a farm on poor ground, or a year of young trees,
    is set beside itself (two-way fixed effects; Frisch & Waugh 1933, Econometrica 1:387, from memory). The error is
    that of trials drawn as clusters (Liang & Zeger 1986, Biometrika 73:13, from memory), for years of a trial hang
    together.
    """
    y, x = (_within(np.asarray(each, dtype=float)) for each in (values, happened))
    spread = (x * x).sum()
    if spread < 1e-9:
        return Estimate(np.array(np.nan), np.array(np.nan))
    slope = (x * y).sum() / spread
    scores = (x * (y - slope * x)).sum(axis=1)
    return Estimate(np.asarray(slope), np.asarray(np.sqrt((scores**2).sum()) / spread))


def _within(values: Array) -> Array:
    """Values less the means of their trial and of their year."""
    centred: Array = values - values.mean(axis=1, keepdims=True) - values.mean(axis=0, keepdims=True) + values.mean()
    return centred
