"""Fitted on harvest years 1931-1975, compared with 1976-2020, failures shown (target D).

"raw" is a forecast; "delta" adds the harmonic mean difference between the periods, which uses the later period's own
means: it isolates shape and is no forecast. Bounds hold 95 % of 200 replicates of as many years as were observed.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from experiments.weather_validation.methods import METHODS
from experiments.weather_validation.rows import Floats, Record, Table
from experiments.weather_validation.season_statistics import monthly_means, monthly_sd, summary
from orchardsim.weather.climate import yearly_course

TESTED: Final = ("whole_years", "parametric", "control_gaussian_red_noise", "control_ten_day_blocks")
LAST_FIT_YEAR: Final = 1975


def _statistics(low: Floats, high: Floats) -> dict[str, float]:
    result = summary(low, high)
    for name, values in (("min", low), ("max", high)):
        for month, mean in enumerate(monthly_means(values).mean(axis=0), start=1):
            result[f"mean_{name}_month_{month:02d}"] = float(mean)
    for place, spread in enumerate(monthly_sd(low, high)):
        result[f"monthly_sd_{'min' if place < 12 else 'max'}_month_{place % 12 + 1:02d}"] = float(spread)
    return result


def run(table: Table, record: Record, replicates: int, report: Any = None) -> None:
    """Add the rows of the later period."""
    fit, test = record.year <= LAST_FIT_YEAR, record.year > LAST_FIT_YEAR
    low, high = record.low[fit], record.high[fit]
    seen = _statistics(record.low[test], record.high[test])
    years = int(test.sum())
    shift = [
        yearly_course(values[test].mean(axis=0)) - yearly_course(values[fit].mean(axis=0))
        for values in (record.low, record.high)
    ]
    for name in TESTED:
        made = METHODS[name](low, high, 77, replicates * years)
        for kind in ("raw", "delta"):
            parts = made if kind == "raw" else (made[0] + shift[0], made[1] + shift[1])
            found: dict[str, list[float]] = {}
            for replicate in range(replicates):
                rows = slice(replicate * years, (replicate + 1) * years)
                for statistic, value in _statistics(parts[0][rows], parts[1][rows]).items():
                    found.setdefault(statistic, []).append(value)
            for statistic, values in found.items():
                bounds = np.quantile(values, [0.025, 0.975])
                table.add(
                    f"later_period_{kind}.{name}.{statistic}",
                    seen[statistic],
                    float(np.median(values)),
                    float(bounds[0]),
                    float(bounds[1]),
                    judge=seen[statistic],
                )
        if report is not None:
            report(f"later period, {name}")
