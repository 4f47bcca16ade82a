"""A generator from monthly normals alone, for a site without a record."""

from __future__ import annotations

from typing import Final

import numpy as np

from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.core.errors import InputError
from orchardsim.weather.climate import daily_from_monthly
from orchardsim.weather.parameters import MonthlyNormals
from orchardsim.weather.parametric import KNOTS, ParametricModel
from orchardsim.weather.records import Floats

FAST_CORRELATION: Final = 0.48
"""Correlation between the anomalies of minimum and maximum of a day; computed on the bundled record, assumed
elsewhere."""
FAST_PERSISTENCE: Final = 0.62
"""Correlation from day to day of the fast part; computed on the bundled record, assumed elsewhere."""
SLOW_MEMORY: Final = 50.0
"""Decay time of the slow part [day]; computed on the bundled record, where 45 years leave it at 50 to 80."""
WINTER_EXCESS: Final = 0.40
"""Relative amplitude by which the daily spread of winter exceeds the year's mean; computed on the bundled record."""
COLD_TAIL: Final = 0.8
"""Depth of cold nights beyond one standard deviation over that of a normal distribution, where the mean minimum lies in
:data:`TAIL_SPAN`; computed on both bundled records: their 1 % quantiles of March to May lie at 1.9 to 2.2 standard
deviations there, and at 2.6 where the mean minimum is lower or higher (2.33 by a normal distribution)."""
TAIL_SPAN: Final = (2.0, 11.0)
"""degC; computed as :data:`COLD_TAIL`. A likely cause is dew and rime, whose heat slows the fall."""
TAIL_RAMP: Final = 3.0
"""K over which the shorter tail comes and goes on either side (assumption)."""
LARGEST_SLOW_SHARE: Final = 0.6
MONTH: Final = 30


def variance_of_mean(correlation: float, days: int = MONTH) -> float:
    """Variance of the mean of ``days`` values of a unit-variance series with lag correlation r**h.

    Examples
    --------
    >>> round(variance_of_mean(0.0, 30), 4), round(variance_of_mean(0.5, 2), 4)
    (0.0333, 0.75)
    """
    lag = np.arange(1, days)
    return float((days + 2.0 * ((days - lag) * correlation**lag).sum()) / days**2)


def check_normals(normals: MonthlyNormals) -> None:
    """Refuse normals that lack temperatures or have minimum above maximum."""
    for name in ("temperature_min", "temperature_max"):
        values = getattr(normals, name)
        if len(values) != 12:
            raise InputError(
                f"weather.normals.{name}", f"has {len(values)} values; a site without a record needs 12, January first"
            )
    if len(normals.day_to_day_sd) not in (1, 12):
        raise InputError(
            "weather.normals.day_to_day_sd",
            f"has {len(normals.day_to_day_sd)} values; expected 1, or 12, January first",
        )
    for month, (low, high) in enumerate(zip(normals.temperature_min, normals.temperature_max, strict=True), start=1):
        if low >= high:
            raise InputError(
                "weather.normals", f"month {month}: mean minimum {low:g} degC is not below mean maximum {high:g} degC"
            )


def yearly_spread(normals: MonthlyNormals) -> float:
    """Root mean square over the year of the daily spread [K]."""
    return float(np.sqrt(np.mean(np.square(normals.day_to_day_sd))))


def spread_of_normals(normals: MonthlyNormals) -> tuple[float, float]:
    """Persistence of the fast part and share of the slow part that give the stated spread between years.

    The monthly mean of (minimum + maximum)/2 has the variance (1 + r)/2 x sd^2 x [(1 - u) f + u s], with r the
    correlation of minimum and maximum, f and s the variances of a 30-day mean of the two parts. u is solved for; where
    even u = 0 gives more than the stated spread, the persistence is lowered instead.

    Returns
    -------
    persistence : float
        Day-to-day correlation of the fast part.
    slow_share : float
        Share of the daily variance in the slow part, 0 to 0.6.
    """
    target = normals.year_to_year_sd**2 / (0.5 * (1.0 + FAST_CORRELATION) * yearly_spread(normals) ** 2)
    fast, slow = variance_of_mean(FAST_PERSISTENCE), variance_of_mean(float(np.exp(-1.0 / SLOW_MEMORY)))
    if target >= fast:
        return FAST_PERSISTENCE, min((target - fast) / (slow - fast), LARGEST_SLOW_SHARE)
    low, high = 0.0, FAST_PERSISTENCE
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if variance_of_mean(middle) < target else (low, middle)
    return 0.5 * (low + high), 0.0


def cold_tail(mean_minimum: Floats) -> Floats:
    """Standardised daily minima at each of the generator's knots: normal, with a shorter tail of cold nights in spring.

    ``mean_minimum``, (day,) [degC].

    Returns
    -------
    array, (day, knot) [1]

    Examples
    --------
    >>> knot = int(np.argmin(abs(KNOTS + 2)))
    >>> (cold_tail(np.array([-9.0, 5.0, 20.0]))[:, knot] - KNOTS[knot]).round(3).tolist()
    [0.0, 0.2, 0.0]
    """
    low, high = TAIL_SPAN
    inside = np.clip(1 - np.maximum(low - mean_minimum, mean_minimum - high) / TAIL_RAMP, 0, 1)
    return np.asarray(KNOTS + (1 - COLD_TAIL) * inside[:, None] * np.maximum(-1 - KNOTS, 0))


def model_of_normals(normals: MonthlyNormals, start_day: int, *, southern: bool) -> tuple[ParametricModel, list[str]]:
    """Generator with the mean, daily spread and year-to-year spread of monthly normals.

    Parameters
    ----------
    start_day : int
        Day of the calendar year, from 0, on which the biological year starts.
    southern : bool
        Winter in July.

    Returns
    -------
    model : ParametricModel
    notes : list of str
    """
    check_normals(normals)
    day_of_year = (start_day + np.arange(YEAR_DAYS)) % YEAR_DAYS
    mean = np.stack(
        [daily_from_monthly(values)[day_of_year] for values in (normals.temperature_min, normals.temperature_max)]
    )
    if len(normals.day_to_day_sd) == 1:
        coldest = 15 + (YEAR_DAYS // 2 if southern else 0)
        winter: Floats = 1.0 + WINTER_EXCESS * np.cos(2 * np.pi * (day_of_year - coldest) / YEAR_DAYS)
        # The stated spread is the year's root mean square.
        sd = normals.day_to_day_sd[0] * winter / np.sqrt((winter**2).mean())
    else:
        sd = daily_from_monthly(normals.day_to_day_sd)[day_of_year]
    persistence, share = spread_of_normals(normals)
    covariance = (1.0 - share) * np.array([[1.0, FAST_CORRELATION], [FAST_CORRELATION, 1.0]])
    value, vector = np.linalg.eigh(covariance)
    root = (vector * np.sqrt(value)) @ vector.T
    notes = [
        "no record: seasons come from the plan's monthly normals, with a spread between years of a month's mean of "
        f"{normals.year_to_year_sd:g} K and from day to day of {yearly_spread(normals):.3g} K. The rest of the pattern "
        "is that of the bundled records, so frost frequencies are a rough guide only. From the normals of these "
        "records and the default spread, mean frost kill of one cultivar came out at 17 % (measured 23 %) inland. On "
        "a lake shore it came out at 5 % (measured 1 %). A station's record tells more; or state "
        "weather.normals.day_to_day_sd by month and year_to_year_sd of the place"
    ]
    if share >= LARGEST_SLOW_SHARE:
        notes.append("the stated spread between years is larger than the daily spread allows; it was not reached")
    if (mean[1] - mean[0]).min() < 1.0:
        notes.append("the monthly normals leave less than 1 K between minimum and maximum on some days")
    model = ParametricModel(
        mean=mean,
        sd=np.stack([sd, sd]),
        quantiles=np.stack([cold_tail(mean[0]), np.broadcast_to(KNOTS, (YEAR_DAYS, KNOTS.size))]),
        transition=np.broadcast_to(persistence * np.eye(2), (YEAR_DAYS, 2, 2)).copy(),
        innovation=np.broadcast_to(np.sqrt(1.0 - persistence**2) * root, (YEAR_DAYS, 2, 2)).copy(),
        start=root,
        slow_amplitude=np.full((2, YEAR_DAYS), np.sqrt(share)),
        slow_memory=SLOW_MEMORY,
        slow_correlation=FAST_CORRELATION,
    )
    return model, notes
