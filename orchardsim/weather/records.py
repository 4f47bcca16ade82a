"""A station's daily record: days in order on a calendar without 29 February, gaps as missing values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import MONTH_DAYS, YEAR_DAYS
from orchardsim.core.errors import InputError

Floats = NDArray[np.float64]

UNITS: Final = {
    "temperature_min": "degC",
    "temperature_max": "degC",
    "rain": "mm",
    "wind_speed": "m/s",
    "wind_speed_10m": "m/s",
    "relative_humidity": "1",
}
"""Unit of each column that :func:`assemble` takes; wind is meant at 2 m, or brought there from 10 m."""
WIND_TO_2_M: Final = 4.87 / np.log(67.8 * 10.0 - 5.42)
"""Wind speed at 2 m over wind speed at 10 m; Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 47
(memory)."""
WIND_NOTE: Final = "wind speed was taken as measured at 10 m and brought to 2 m (FAO-56, equation 47)"
MONTH_STARTS: Final = np.concatenate([[0], np.cumsum(MONTH_DAYS)])
MONTH_OF_DAY: Final = np.repeat(np.arange(12), MONTH_DAYS)
"""Month (0 to 11) of each day of the 365-day year from 1 January."""
DECIMALS: Final = 3
"""Computed temperatures are handed on rounded, so that thresholds do not hang on the last bits of a computation."""
FIRST_YEAR: Final = 1700
LAST_YEAR: Final = 2200
SWAPPED_SHARE: Final = 0.95
"""Share of days with minimum above maximum from which the two columns are taken as swapped (assumption)."""


@dataclass(frozen=True)
class DailyRecord:
    """Daily weather of one station.

    Attributes
    ----------
    date : datetime64[D] array, (day,)
        Every day from the first to the last, without 29 February.
    temperature_min, temperature_max : float array, (day,) [degC]
        Missing values are NaN, here and below.
    rain : float array or None, (day,) [mm]
    wind_speed : float array or None, (day,) [m/s at 2 m]
    relative_humidity : float array or None, (day,) [1]
    station, source, file_format : str
        Station id, file name, format that was read.
    latitude, longitude, elevation : float or None [degrees], [m]
        As far as the file states them.
    repairs : tuple of str
        One line for each thing that was changed, dropped or assumed while reading.
    """

    date: NDArray[np.datetime64]
    temperature_min: Floats
    temperature_max: Floats
    rain: Floats | None
    wind_speed: Floats | None
    relative_humidity: Floats | None
    station: str
    source: str
    file_format: str
    latitude: float | None = None
    longitude: float | None = None
    elevation: float | None = None
    repairs: tuple[str, ...] = ()

    @property
    def first_day_number(self) -> int:
        """Number of the first day on the 365-day calendar (see :func:`day_number`)."""
        return int(day_number(self.date[:1])[0])


def june_over_december(record: DailyRecord) -> float | None:
    """How much warmer maxima are in June to August than in December to February [K]; None where either is not there."""
    month = MONTH_OF_DAY[day_number(record.date) % YEAR_DAYS]
    known = np.isfinite(record.temperature_max)
    winter, summer = (record.temperature_max[known & np.isin(month, months)] for months in ((11, 0, 1), (5, 6, 7)))
    return float(summer.mean() - winter.mean()) if winter.size and summer.size else None


def day_number(date: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Running number of days on the 365-day calendar: 365 x year + day of the year from 0.

    29 February has no number of its own; leave it out before.

    Examples
    --------
    >>> dates = np.array(["2004-02-28", "2004-03-01", "2005-01-01"], dtype="datetime64[D]")
    >>> np.diff(day_number(dates)).tolist()
    [1, 306]
    """
    year = date.astype("datetime64[Y]")
    month = date.astype("datetime64[M]")
    month_index = (month - year.astype("datetime64[M]")).astype(np.int64)
    day = (date - month.astype("datetime64[D]")).astype(np.int64)
    return (year.astype(np.int64) + 1970) * YEAR_DAYS + MONTH_STARTS[month_index] + day


def date_of_day_number(number: NDArray[np.int64]) -> NDArray[np.datetime64]:
    """Date of a running day number of the 365-day calendar.

    Examples
    --------
    >>> str(date_of_day_number(np.array([2004 * 365 + 59]))[0])
    '2004-03-01'
    """
    year, day_of_year = np.divmod(np.asarray(number, dtype=np.int64), YEAR_DAYS)
    month_index = MONTH_OF_DAY[day_of_year]
    month = ((year - 1970) * 12 + month_index).astype("datetime64[M]")
    return month.astype("datetime64[D]") + (day_of_year - MONTH_STARTS[month_index])


def is_leap_day(date: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    """True on 29 February."""
    month = date.astype("datetime64[M]")
    is_february = month.astype(np.int64) % 12 == 1
    return np.asarray(is_february & ((date - month.astype("datetime64[D]")).astype(np.int64) == 28))


def day_list(dates: Iterable[np.datetime64], limit: int = 5) -> str:
    """Dates as text, the first few by name."""
    names = [str(date) for date in dates]
    shown = ", ".join(names[:limit])
    return shown if len(names) <= limit else f"{shown} and {len(names) - limit} more"


def assemble(
    dates: NDArray[np.datetime64],
    columns: Mapping[str, Floats],
    *,
    source: str,
    station: str,
    file_format: str,
    repairs: Iterable[str] = (),
    **position: Any,
) -> DailyRecord:
    """Put rows of a file in order and make a record of them.

    Parameters
    ----------
    dates : datetime64[D] array, (row,)
    columns : mapping of name to float array, (row,)
        Values in the units of :data:`UNITS`; NaN where missing.
    repairs : iterable of str
        What the reader already changed.
    **position
        ``latitude``, ``longitude``, ``elevation`` of the record.

    Raises
    ------
    InputError
        If there are no days, no temperatures, or dates that cannot be.
    """
    _check_rows(dates, columns, source)
    columns, notes = dict(columns), list(repairs)
    if "wind_speed_10m" in columns:
        columns.setdefault("wind_speed", columns.pop("wind_speed_10m") * WIND_TO_2_M)
        notes.append(WIND_NOTE)
    keep = ~is_leap_day(dates)
    if not keep.all():
        notes.append(f"29 February left out in {int((~keep).sum())} leap years (365-day calendar)")
    number = day_number(dates[keep])
    values = {name: np.asarray(column, dtype=np.float64)[keep] for name, column in columns.items()}
    if number.size == 0:
        raise InputError(source, "found no days but 29 February")
    if (np.diff(number) < 0).any():
        notes.append("dates were out of order; rows were sorted by date")
    grid_date, grid = _on_grid(number, values, notes)
    _repair_swapped(grid, notes)
    for name in ("rain", "wind_speed", "relative_humidity"):
        if name in grid and not np.isfinite(grid[name]).any():
            notes.append(f"all values of {name} are missing; the column was left out")
            del grid[name]
    return DailyRecord(
        date=grid_date,
        temperature_min=grid["temperature_min"],
        temperature_max=grid["temperature_max"],
        rain=grid.get("rain"),
        wind_speed=grid.get("wind_speed"),
        relative_humidity=grid.get("relative_humidity"),
        station=station,
        source=source,
        file_format=file_format,
        repairs=tuple(notes),
        **position,
    )


def _check_rows(dates: NDArray[np.datetime64], columns: Mapping[str, Floats], source: str) -> None:
    """Stop on rows of which no record can be made."""
    for name in ("temperature_min", "temperature_max"):
        if name not in columns:
            raise InputError(source, f"found no {name}; a record needs daily minimum and maximum temperature")
    if dates.size == 0:
        raise InputError(source, "found no days; expected one row per day")
    year = dates.astype("datetime64[Y]").astype(np.int64) + 1970
    if np.isnat(dates).any() or year.min() < FIRST_YEAR or year.max() > LAST_YEAR:
        bad = dates[np.isnat(dates) | (year < FIRST_YEAR) | (year > LAST_YEAR)][0]
        raise InputError(source, f"found the date {bad}; allowed are years {FIRST_YEAR} to {LAST_YEAR}")
    for name in ("temperature_min", "temperature_max"):
        if not np.isfinite(columns[name]).any():
            raise InputError(source, f"all values of {name} are missing")


def _on_grid(
    number: NDArray[np.int64], values: Mapping[str, Floats], notes: list[str]
) -> tuple[NDArray[np.datetime64], dict[str, Floats]]:
    """Every day from the first to the last, and the values of each; what was repaired is noted."""
    order = np.argsort(number, kind="stable")
    number = number[order]
    first, last = int(number[0]), int(number[-1])
    is_repeat = np.concatenate([[False], np.diff(number) == 0])
    grid_date = date_of_day_number(np.arange(first, last + 1))
    grid: dict[str, Floats] = {}
    conflicts = np.zeros(last - first + 1, dtype=bool)
    for name, column in values.items():
        filled = np.full(last - first + 1, np.nan)
        ordered = column[order]
        unequal = np.zeros_like(conflicts)
        filled[number[~is_repeat] - first] = ordered[~is_repeat]
        # A date that stands twice: a missing value gives way, equal values agree, unequal ones cannot be told apart.
        for row in np.flatnonzero(is_repeat):
            place = number[row] - first
            if np.isnan(filled[place]) and not unequal[place]:
                filled[place] = ordered[row]
            elif np.isfinite(ordered[row]) and ordered[row] != filled[place]:
                unequal[place] = True
                filled[place] = np.nan
        conflicts |= unequal
        grid[name] = filled
    if is_repeat.any():
        twice = grid_date[np.unique(number[is_repeat]) - first]
        notes.append(f"{twice.size} dates stood more than once ({day_list(twice)}); equal values were kept once")
    if conflicts.any():
        notes.append(
            f"{int(conflicts.sum())} dates stood twice with different values ({day_list(grid_date[conflicts])}); "
            "those values were set to missing"
        )
    return grid_date, grid


def _repair_swapped(grid: dict[str, Floats], notes: list[str]) -> None:
    low, high = grid["temperature_min"], grid["temperature_max"]
    both = np.isfinite(low) & np.isfinite(high)
    if both.sum() < 30:
        return
    share = float((low[both] > high[both]).mean())
    if share >= SWAPPED_SHARE:
        grid["temperature_min"], grid["temperature_max"] = high, low
        notes.append(
            f"the minimum was above the maximum on {100 * share:.0f} % of days: the two columns were taken as swapped"
        )
