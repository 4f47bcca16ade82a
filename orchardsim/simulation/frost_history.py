"""Frost years of the baseline and of the whole record: the choice of baseline moves frost risk more than the method."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from orchardsim.core.handover import SeasonWeather, WeatherSample
from orchardsim.plan import Plan
from orchardsim.season.drivers import season_drivers_for
from orchardsim.weather.sampling import whole_record_windows

KILL_LEVELS: Final = (0.3, 0.9)
"""Shares of flowers killed at which a year counts as a frost year."""


def frost_history(plan: Plan, sample: WeatherSample) -> list[dict[str, Any]]:
    """How many springs killed many flowers, in the baseline and in the whole record.

    Returns
    -------
    list of dict
        For each period (``baseline``, ``whole_record`` or ``generated_seasons``) and block, for its first cultivar:
        the first and last year (none where there is no record), the number of springs, and of those the springs that
        killed more than each percentage of the flowers.
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
    return [
        {
            "period": name,
            "years": None if whole is None else [int(weather.harvest_year.min()), int(weather.harvest_year.max())],
            "springs": len(weather.harvest_year),
            "block": block.name,
            "cultivar": block.groups[0].cultivar_name,
            "springs_that_killed_more_than_percent": {
                f"{100 * level:g}": int(np.sum(drivers.frost_kill > level)) for level in KILL_LEVELS
            },
        }
        for name, weather in periods.items()
        for block, drivers in zip(plan.blocks, season_drivers_for(weather, cases), strict=True)
    ]
