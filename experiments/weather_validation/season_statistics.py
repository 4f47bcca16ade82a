"""Statistics of seasons by which weather generators are judged, all from daily minimum and maximum temperature.

Arrays are (season, 365) from 1 October. "Bloom" is a stand-in: the day on which degree-days above 4.5 degC (of the mean
of minimum and maximum, from 1 January) reach 470, a level that puts its median at Clemson in 1930-75 at 5 April. It has
no chilling requirement and was not fitted to observed bloom.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from scipy.stats import spearmanr

Floats = NDArray[np.float64]

OCTOBER: Final = 273
"""Day of the calendar year, from 0, on which the seasons start."""
JANUARY: Final = 92
"""Day of the season of 1 January."""
MONTH_STARTS: Final = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH: Final = np.repeat(np.arange(12), np.diff(MONTH_STARTS))[(OCTOBER + np.arange(365)) % 365]
BLOOM_HEAT: Final = 470.0
POST_BLOOM_DAYS: Final = 28
QUANTILES: Final = (0.05, 0.25, 0.50, 0.75, 0.95)


def heat(low: Floats, high: Floats, base: float) -> Floats:
    """Daily degree-days of the mean of minimum and maximum above a base [K day]."""
    return np.maximum(0.0, 0.5 * (low + high) - base)


def monthly_means(values: Floats) -> Floats:
    """Mean of each month, (season, 12), January first."""
    return np.stack([values[:, month == MONTH].mean(axis=1) for month in range(12)], axis=1)


def bloom_day(low: Floats, high: Floats) -> Floats:
    """Day of the calendar year, from 1, on which the bloom stand-in is reached."""
    total = np.cumsum(heat(low, high, 4.5)[:, JANUARY:], axis=1)
    return np.argmax(total >= BLOOM_HEAT, axis=1) + 1.0


def post_bloom_minimum(low: Floats, high: Floats) -> Floats:
    """Lowest minimum from bloom to 28 days after [degC]."""
    first = bloom_day(low, high).astype(int) - 1 + JANUARY
    index = np.minimum(first[:, None] + np.arange(POST_BLOOM_DAYS + 1), 364)
    return np.take_along_axis(low, index, axis=1).min(axis=1)


def last_frost_day(low: Floats, level: float = -2.2) -> Floats:
    """Day of the calendar year, from 1, of the last minimum at or below the level before 1 August; 0 without one."""
    frost = low[:, JANUARY : JANUARY + 212] <= level
    last = frost.shape[1] - np.argmax(frost[:, ::-1], axis=1)
    return np.where(frost.any(axis=1), last, 0).astype(float)


def window_heat(low: Floats, high: Floats, base: float, first_month: int, last_month: int) -> Floats:
    """Degree-days of a span of months (January = 1), both included."""
    inside = (first_month - 1 <= MONTH) & (last_month - 1 >= MONTH)
    return heat(low, high, base)[:, inside].sum(axis=1)


def lag_one(values: Floats, months: tuple[int, ...]) -> float:
    """Correlation of a day's anomaly with the day before, in some months (January = 1)."""
    anomaly = values - values.mean(axis=0)
    days = np.flatnonzero(np.isin(MONTH, [month - 1 for month in months]))
    days = days[days > 0]
    a, b = anomaly[:, days], anomaly[:, days - 1]
    return float((a * b).mean() / np.sqrt((a * a).mean() * (b * b).mean()))


def summary(low: Floats, high: Floats) -> dict[str, float]:
    """All single-number statistics of a set of seasons."""
    bloom, post = bloom_day(low, high), post_bloom_minimum(low, high)
    frost = last_frost_day(low)
    result = {
        "bloom_mean": bloom.mean(),
        "bloom_sd": bloom.std(ddof=1),
        "march_april_heat_mean": window_heat(low, high, 4.5, 3, 4).mean(),
        "march_april_heat_sd": window_heat(low, high, 4.5, 3, 4).std(ddof=1),
        "may_september_heat_sd": window_heat(low, high, 10.0, 5, 9).std(ddof=1),
        "annual_mean_sd": (0.5 * (low + high)).mean(axis=1).std(ddof=1),
        "post_bloom_below_-2.2": (post <= -2.2).mean(),
        "post_bloom_below_0": (post <= 0.0).mean(),
        "bloom_post_rank_correlation": spearmanr(bloom, post).statistic,
        "hot_days": (high >= 35.0).sum(axis=1).mean(),
        "lag_one_min_spring": lag_one(low, (3, 4, 5)),
        "lag_one_max_spring": lag_one(high, (3, 4, 5)),
        "lag_one_min_winter": lag_one(low, (12, 1, 2)),
        "lag_one_max_winter": lag_one(high, (12, 1, 2)),
    }
    for level in QUANTILES:
        result[f"last_frost_q{round(100 * level):02d}"] = np.quantile(frost, level)
        result[f"post_bloom_minimum_q{round(100 * level):02d}"] = np.quantile(post, level)
        result[f"bloom_q{round(100 * level):02d}"] = np.quantile(bloom, level)
    return {name: float(value) for name, value in result.items()}


def monthly_sd(low: Floats, high: Floats) -> Floats:
    """Standard deviation between seasons of the monthly means of minimum and maximum, (24,)."""
    return np.concatenate([monthly_means(values).std(axis=0, ddof=1) for values in (low, high)])


def daily_sd(low: Floats, high: Floats) -> Floats:
    """Standard deviation of daily values about the day's mean over seasons, by month, (24,)."""
    result = []
    for values in (low, high):
        squares = ((values - values.mean(axis=0)) ** 2).sum(axis=0) / (len(values) - 1)
        result += [np.sqrt(squares[month == MONTH].mean()) for month in range(12)]
    return np.array(result)


def geometric_ratio(made: Floats, seen: Floats) -> float:
    """Geometric mean of ratios."""
    return float(np.exp(np.mean(np.log(made / seen))))


def quantile_error(made: dict[str, float], seen: dict[str, float], name: str) -> float:
    """Root mean square difference of the 5, 25, 50, 75, 95 % points of a quantity."""
    keys = [f"{name}_q{round(100 * level):02d}" for level in QUANTILES]
    return float(np.sqrt(np.mean([(made[key] - seen[key]) ** 2 for key in keys])))


def energy_distance(first: Floats, second: Floats) -> float:
    """Energy distance of two samples of points, (n, 2) and (m, 2), already scaled.

    2 E|X - Y| - E|X - X'| - E|Y - Y'| (Szekely, G. J. and M. L. Rizzo, 2013, J. Stat. Plan. Inference 143:1249-1272,
    memory), the means over all pairs.
    """
    return float(2 * cdist(first, second).mean() - cdist(first, first).mean() - cdist(second, second).mean())
