"""Chains of whole biological years, drawn by address."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.streams import Streams


def year_chains(
    streams: Streams,
    trials: range,
    years: int,
    seasons: int,
    *,
    run_length: float = 1.0,
    wrap: bool = True,
) -> NDArray[np.int64]:
    """Draw which season of the record each trial meets in each year.

    Returns, (trial, year): row numbers from 0.

    Stationary bootstrap: with probability 1 - 1/L the next season follows, else a season is drawn uniformly (Politis,
    D. N. and J. P. Romano, 1994, "The stationary bootstrap", J. Am. Stat. Assoc. 89:1303-1313, memory). Choices come
    from integers, not from comparisons of floating-point numbers; two words are drawn for every year.

    Parameters
    ----------
    trials : range
        Trial numbers; a trial's chain depends on its number alone.
    years : int
        Length of the chains; a longer chain starts with the shorter one.
    seasons : int
        Number of seasons to draw from.
    run_length : float
        Mean length of a run of consecutive seasons [year]; 1 draws independent years.
    wrap : bool
        Whether the first season may follow the last within a run; if not, a new run starts there.
    """
    words = np.stack([streams.at("weather_years", trial=trial).bit_generator.random_raw(2 * years) for trial in trials])
    words = (words >> np.uint64(32)).reshape(len(trials), years, 2)
    fresh = ((words[:, :, 0] * np.uint64(seasons)) >> np.uint64(32)).astype(np.int64)
    follows = words[:, :, 1] < np.uint64(round((1.0 - 1.0 / run_length) * 2**32))
    season_rows = fresh.copy()
    for year in range(1, years):
        following = season_rows[:, year - 1] + 1
        runs_on = follows[:, year] & (wrap | (following < seasons))
        season_rows[:, year] = np.where(runs_on, following % seasons, fresh[:, year])
    return season_rows


def record_order(trials: range, years: int, seasons: int) -> NDArray[np.int64]:
    """Seasons of the record in order, the same for every trial; starts again at the end."""
    return np.broadcast_to(np.arange(years, dtype=np.int64) % seasons, (len(trials), years)).copy()
