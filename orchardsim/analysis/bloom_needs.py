"""Chill and heat needs of a cultivar from days of full bloom in seasons of the weather record."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import SeasonWeather
from orchardsim.results.fit import BloomAnswer
from orchardsim.season.drivers import season_calendar
from orchardsim.season.parameters import Phenology
from orchardsim.season.prepare import prepare

Array = NDArray[np.float64]
CHILL_SPREAD: Final = 8.0
"""Chill portions by which a cultivar's stated need may be off (assumption)."""
HEAT_SPREAD: Final = 0.10
"""Share by which its stated heat may be off (assumption)."""
MODEL_DAYS: Final = 3.0
"""day; error of bloom by chill and heat (published errors are 1 to 6 d: Rea & Eccel 2006; Drepper et al. 2020)."""
STEPS: Final = 17
REACH: Final = 3.0
"""Spreads to each side that are searched."""


@dataclass(frozen=True)
class BloomDates:
    """Full bloom of a cultivar: season of each date (row of the weather), day of the season, error [day]."""

    seasons: NDArray[np.int64]
    days: Array
    errors: Array


def bloom_needs(weather: SeasonWeather, cultivar: str, dates: BloomDates, before: Phenology) -> BloomAnswer:
    """What dates of full bloom say of a cultivar's needs, on a grid about what was stated.

    ``weather``: holds the dates' seasons.
    """
    rows = np.unique(dates.seasons)
    prepared = prepare(weather.rows(rows))
    place = np.searchsorted(rows, dates.seasons)
    scale = np.linspace(-REACH, REACH, STEPS)
    chill = np.clip(before.chill_requirement + CHILL_SPREAD * scale, 10, 110)
    heat = np.clip(before.bloom_heat * (1 + HEAT_SPREAD * scale), 80, 500)
    bloom = np.empty((STEPS, STEPS, len(place)))
    for i in range(STEPS):
        for j in range(STEPS):
            own = dataclasses.replace(before, chill_requirement=float(chill[i]), bloom_heat=float(heat[j]))
            bloom[i, j] = season_calendar(prepared, own).bloom[place]
    prior = -0.5 * (scale[:, None] ** 2 + scale[None, :] ** 2)
    # days are whole in the model and on paper: half a day each way
    variance = dates.errors**2 + MODEL_DAYS**2 + 1 / 6
    each = -0.5 * (bloom - dates.days) ** 2 / variance
    weight = _weights(prior + each.sum(axis=-1))
    middle = bloom[STEPS // 2, STEPS // 2]
    held = [
        abs(float((_weights(prior + np.delete(each, k, axis=-1).sum(axis=-1)) * bloom[:, :, k]).sum()) - dates.days[k])
        for k in range(len(place))
    ]
    return BloomAnswer(
        cultivar,
        len(place),
        (before.chill_requirement, CHILL_SPREAD),
        _moments(chill, weight.sum(axis=1)),
        (before.bloom_heat, HEAT_SPREAD * before.bloom_heat),
        _moments(heat, weight.sum(axis=0)),
        float(np.abs(middle - dates.days).mean()),
        float(np.mean(held)) if len(place) > 1 else float("nan"),
    )


def _weights(density: Array) -> Array:
    weights: Array = np.exp(density - density.max())
    return weights / weights.sum()


def _moments(values: Array, weight: Array) -> tuple[float, float]:
    mean = float((values * weight).sum())
    return mean, float(np.sqrt(((values - mean) ** 2 * weight).sum()))
