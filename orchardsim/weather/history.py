"""A station record at a glance: where it is, its monthly climate, frost dates by year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.weather.rain import WET_DAY
from orchardsim.weather.records import MONTH_OF_DAY, DailyRecord, Floats, day_number, june_over_december
from orchardsim.weather.windows import SeasonTable

FROST_LEVELS: Final = (0.0, -2.2)
"""degC of the frost dates: the freezing point, and 28 degF, the air temperature at which about a tenth of apple flowers
in full bloom are killed (state extension tables of critical bud temperatures; memory)."""
FEWEST_DAYS: Final = 20
"""Days with a value from which a month of one year counts in the monthly climate."""
SPRING_START: Final = 92
"""Day of the season on which spring starts for the frost dates (1 January; 1 July in the south)."""
SPRING_STOP: Final = 303
"""Day of the season before which the last spring frost is looked for (31 July; 29 January in the south)."""
LATEST_AUTUMN: Final = 457


@dataclass(frozen=True)
class MonthlyClimate:
    """Climate by month, January first; float arrays (12,), NaN where there is too little.

    Attributes
    ----------
    temperature_min, temperature_max : [degC]
        Means of the daily values.
    year_to_year_sd : [K]
        Standard deviation between years of the month's mean of (minimum + maximum)/2.
    lowest, highest : [degC]
        Extremes of the record.
    rain, wet_days : [mm], [1] or None
        Mean total and number of days with at least 0.2 mm; None without rain.
    """

    temperature_min: Floats
    temperature_max: Floats
    year_to_year_sd: Floats
    lowest: Floats
    highest: Floats
    rain: Floats | None
    wet_days: Floats | None


@dataclass(frozen=True)
class FrostDates:
    """Last spring and first autumn frost of complete seasons, as days of the season window.

    Attributes
    ----------
    level : float [degC]
        Minimum temperature that counts as frost.
    harvest_year : int array, (season,)
    last_spring, first_autumn : float array, (season,)
        NaN in years without one; ``first_autumn`` lies in the autumn after the harvest.
    """

    level: float
    harvest_year: NDArray[np.int64]
    last_spring: Floats
    first_autumn: Floats


def latitude_of(record: DailyRecord) -> tuple[float, str]:
    """Latitude of a record [degrees north] and where it is from: the file, or a stand-in by its warmer months."""
    if record.latitude is not None:
        return record.latitude, f"latitude {record.latitude:g} taken from the file"
    warm_january = (june_over_december(record) or 0.0) < 0
    hemisphere = "southern" if warm_january else "northern"
    return (-40.0 if warm_january else 40.0), f"taken as a {hemisphere} site from its warmer months"


def monthly_climate(record: DailyRecord) -> MonthlyClimate:
    """Monthly climate of a checked record; months with fewer than 20 values in a year do not count."""
    number = day_number(record.date)
    month = MONTH_OF_DAY[number % YEAR_DAYS]
    year = number // YEAR_DAYS - number[0] // YEAR_DAYS
    cell = year * 12 + month
    cells = (int(year[-1]) + 1) * 12

    def by_month(values: Floats) -> tuple[Floats, Floats]:
        """Mean of each (year, month) and number of its values."""
        good = np.isfinite(values)
        count = np.bincount(cell[good], minlength=cells)
        total = np.bincount(cell[good], weights=values[good], minlength=cells)
        mean = np.divide(total, count, out=np.full(cells, np.nan), where=count >= FEWEST_DAYS)
        return mean.reshape(-1, 12), count.reshape(-1, 12).astype(np.float64)

    low, _ = by_month(record.temperature_min)
    high, _ = by_month(record.temperature_max)
    rain = wet_days = None
    if record.rain is not None:
        amount, _ = by_month(record.rain)
        wet, _ = by_month(np.where(np.isfinite(record.rain), record.rain >= WET_DAY, np.nan))
        days = np.bincount(MONTH_OF_DAY, minlength=12)
        rain, wet_days = _nan_mean(amount) * days, _nan_mean(wet) * days
    return MonthlyClimate(
        temperature_min=_nan_mean(low),
        temperature_max=_nan_mean(high),
        year_to_year_sd=np.array([_nan_sd(0.5 * (low + high)[:, m]) for m in range(12)]),
        lowest=np.array([_extreme(record.temperature_min[month == m], np.min) for m in range(12)]),
        highest=np.array([_extreme(record.temperature_max[month == m], np.max) for m in range(12)]),
        rain=rain,
        wet_days=wet_days,
    )


def _nan_mean(values: Floats) -> Floats:
    good = np.isfinite(values)
    count = good.sum(axis=0)
    total = np.where(good, values, 0.0).sum(axis=0)
    return np.divide(total, count, out=np.full(values.shape[1], np.nan), where=count > 0)


def _nan_sd(values: Floats) -> float:
    good = values[np.isfinite(values)]
    return float(good.std(ddof=1)) if good.size > 1 else float("nan")


def _extreme(values: Floats, function: object) -> float:
    good = values[np.isfinite(values)]
    return float(function(good)) if good.size and callable(function) else float("nan")


def frost_dates(table: SeasonTable, level: float) -> FrostDates:
    """Last spring frost and first frost of the following autumn in each complete season.

    ``level``: minimum temperature that counts as frost [degC].
    """
    low = table.temperature_min
    return FrostDates(level, table.harvest_year, last_spring_frost(low, level), first_autumn_frost(low, level))


def last_spring_frost(temperature_min: Floats, level: float) -> Floats:
    """Day of the season of the last frost from mid-winter to the end of July (January in the south); NaN if none.

    Examples
    --------
    >>> season = np.full((1, 457), 5.0); season[0, [10, 150, 200, 430]] = -1.0
    >>> last_spring_frost(season, 0.0).tolist(), first_autumn_frost(season, 0.0).tolist()
    ([200.0], [430.0])
    """
    frost = temperature_min[:, SPRING_START:SPRING_STOP] <= level
    last = frost.shape[1] - 1 - np.argmax(frost[:, ::-1], axis=1)
    return np.where(frost.any(axis=1), last + float(SPRING_START), np.nan)


def first_autumn_frost(temperature_min: Floats, level: float) -> Floats:
    """Day of the season window of the first frost after mid-summer; NaN where none comes before the window ends."""
    frost = temperature_min[:, SPRING_STOP:LATEST_AUTUMN] <= level
    return np.where(frost.any(axis=1), np.argmax(frost, axis=1) + float(SPRING_STOP), np.nan)
