"""The package's two methods under one call, and control methods that the tests must be able to reject.

Each function takes (season, 365) minimum and maximum temperature of the fitting years, a seed and a number of seasons,
and returns as many made seasons. Controls are plain forms from the literature, kept here and out of the package.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.streams import Streams
from orchardsim.weather.climate import mean_and_sd_course
from orchardsim.weather.parametric import fit_parametric, simulate_temperatures
from orchardsim.weather.resampling import year_chains

Floats = NDArray[np.float64]
Seasons = tuple[Floats, Floats]
OCTOBER: Final = 273
CHAIN: Final = 20
"""Length of one simulated chain [year]."""


def whole_years(low: Floats, high: Floats, seed: int, seasons: int) -> Seasons:
    """The package's default: whole biological years, drawn independently."""
    season_rows = year_chains(Streams(seed), range(-(-seasons // CHAIN)), CHAIN, len(low)).ravel()[:seasons]
    return low[season_rows], high[season_rows]


def parametric(low: Floats, high: Floats, seed: int, seasons: int) -> Seasons:
    """The package's second opinion: red noise on normal scores with a slow component."""
    model = fit_parametric(low, high, OCTOBER)
    made = simulate_temperatures(model, Streams(seed), range(-(-seasons // CHAIN)), CHAIN * 365)
    return made[0].reshape(-1, 365)[:seasons], made[1].reshape(-1, 365)[:seasons]


def gaussian_red_noise(low: Floats, high: Floats, seed: int, seasons: int) -> Seasons:
    """Control: normal distributions, one lag-1 vector autoregression for the whole year (Richardson 1981, memory)."""
    values = np.stack([low, high])
    courses = [mean_and_sd_course(part) for part in values]
    z = np.stack([(part - mean) / sd for part, (mean, sd) in zip(values, courses, strict=True)])
    zero = np.einsum("isd,jsd->ij", z, z) / z[0].size
    one = np.einsum("isd,jsd->ij", z[:, :, 1:], z[:, :, :-1]) / z[0, :, 1:].size
    step = one @ np.linalg.inv(zero)
    value, vector = np.linalg.eigh(zero - step @ zero @ step.T)
    root = vector @ np.diag(np.sqrt(np.maximum(value, 1e-8))) @ vector.T
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal((30 + 365, 2, seasons))
    state = np.zeros((2, seasons))
    made = np.empty((2, seasons, 365))
    for day in range(-30, 365):
        state = step @ state + root @ noise[day + 30]
        if day >= 0:
            made[:, :, day] = state
    low_made, high_made = (part * sd + mean for part, (mean, sd) in zip(made, courses, strict=True))
    crossed = low_made > high_made - 0.1
    middle = 0.5 * (low_made + high_made)
    return np.where(crossed, middle - 0.5, low_made), np.where(crossed, middle + 0.5, high_made)


def short_blocks(low: Floats, high: Floats, seed: int, seasons: int, length: int = 10) -> Seasons:
    """Control: blocks of ten days, each from a year of its own, at the same time of year."""
    rng = np.random.default_rng(seed)
    block = np.arange(365) // length
    year = rng.integers(0, len(low), (seasons, block[-1] + 1))[:, block]
    day = np.arange(365)
    return low[year, day], high[year, day]


def nearest_neighbours(low: Floats, high: Floats, seed: int, seasons: int) -> Seasons:
    """Control: from day to day the successor of a similar day of the season (Lall and Sharma 1996, memory).

    Candidates are the days within seven of the calendar day in all years; the k = sqrt(n) nearest by standardised
    minimum and maximum are taken with probability proportional to 1/rank.
    """
    values = np.stack([low, high])
    courses = [mean_and_sd_course(part) for part in values]
    z = np.stack([(part - mean) / sd for part, (mean, sd) in zip(values, courses, strict=True)])
    rng = np.random.default_rng(seed)
    years = len(low)
    year = rng.integers(0, years, seasons)
    state = z[:, year, 0]
    made = np.empty((2, seasons, 365))
    made[:, :, 0] = state
    for day in range(1, 365):
        near = np.clip(np.arange(day - 8, day + 7), 0, 363)
        candidates = z[:, :, near].reshape(2, -1)
        successors = z[:, :, near + 1].reshape(2, -1)
        count = int(np.sqrt(candidates.shape[1]))
        distance = ((state[:, :, None] - candidates[:, None, :]) ** 2).sum(axis=0)
        nearest = np.argpartition(distance, count, axis=1)[:, :count]
        order = np.argsort(np.take_along_axis(distance, nearest, axis=1), axis=1)
        nearest = np.take_along_axis(nearest, order, axis=1)
        weight = np.cumsum(1.0 / np.arange(1, count + 1))
        chosen = np.searchsorted(weight / weight[-1], rng.random(seasons))
        state = successors[:, nearest[np.arange(seasons), chosen]]
        made[:, :, day] = state
    low_made, high_made = (part * sd + mean for part, (mean, sd) in zip(made, courses, strict=True))
    return low_made, high_made


METHODS: Final[dict[str, Callable[[Floats, Floats, int, int], Seasons]]] = {
    "whole_years": whole_years,
    "parametric": parametric,
    "control_gaussian_red_noise": gaussian_red_noise,
    "control_ten_day_blocks": short_blocks,
    "control_nearest_neighbours": nearest_neighbours,
}
