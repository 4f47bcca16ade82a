"""Frost years of the baseline and of the whole record: the choice of baseline moves frost risk more than the method."""

from __future__ import annotations

from typing import Final

import numpy as np

from orchardsim.core.handover import SeasonWeather, WeatherSample
from orchardsim.plan import Plan
from orchardsim.season import season_drivers_for
from orchardsim.weather.sampling import whole_record_windows

KILL_LEVELS: Final = (0.3, 0.9)
"""Shares of flowers killed at which a year counts as a frost year."""


def frost_history(plan: Plan, sample: WeatherSample) -> dict[str, str]:
    """How many springs killed many flowers, in the baseline and in the whole record.

    Returns
    -------
    dict of str
        Period -> one sentence for the first cultivar of each block.
    """
    periods: dict[str, SeasonWeather] = {}
    whole = whole_record_windows(plan.weather)
    if whole is None:
        periods["generated_seasons"] = sample.seasons
    else:
        first, last = sample.baseline_years
        periods["baseline"] = whole.rows((whole.harvest_year >= first) & (whole.harvest_year <= last))
        periods["whole_record"] = whole
    cases = [(block.groups[0].phenology, block.site) for block in plan.blocks]
    sentences = {}
    for name, weather in periods.items():
        number = len(weather.harvest_year)
        years = f"{weather.harvest_year.min()} to {weather.harvest_year.max()}" if whole is not None else "no record"
        parts = []
        for block, drivers in zip(plan.blocks, season_drivers_for(weather, cases), strict=True):
            some, most = (int(np.sum(drivers.frost_kill > level)) for level in KILL_LEVELS)
            parts.append(
                f"{block.name}, {block.groups[0].cultivar_name}: {some} of {number} springs killed more than "
                f"{KILL_LEVELS[0]:.0%} of the flowers, {most} more than {KILL_LEVELS[1]:.0%}"
            )
        sentences[name] = f"{name.replace('_', ' ')} ({years}): " + "; ".join(parts)
    return sentences
