"""What stands in the columns of a station file: dates, numbers, units, one station."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.core.text import quoted
from orchardsim.core.units import convert
from orchardsim.weather.records import Floats

MOST_DAYS: Final = 200_000
"""Rows of one element; there are fewer days in the years that are read."""
LARGEST_VALUE: Final = 1e5
"""In any unit that a file may be in; beyond it stands no weather."""
ELEMENTS: Final = {
    "TMIN": ("temperature_min", 0.1),
    "TMAX": ("temperature_max", 0.1),
    "PRCP": ("rain", 0.1),
    "AWND": ("wind_speed_10m", 0.1),
    "RHAV": ("relative_humidity", 0.01),
}
"""Elements of GHCN-Daily that are read: our name, and the factor from its daily files to our unit (tenths of degC, mm,
m/s; percent)."""
RAIN_NAMES: Final = ("rain", "rainfall", "precipitation", "precip", "prcp")
UNIT_SPELLINGS: Final = {
    "c": "degC", "°c": "degC", "degc": "degC", "deg c": "degC", "celsius": "degC",
    "f": "degF", "°f": "degF", "degf": "degF", "deg f": "degF", "fahrenheit": "degF",
    "k": "kelvin", "in": "inch", "inches": "inch", "%": "percent", "1": "1",
}  # fmt: skip
TENTHS: Final = re.compile(r"^(?:0\.1|tenths of)\s+(.*)$")
MISSING_WORDS: Final = frozenset({"", "na", "nan", "m", "null", "none", "-9999", "-9999.0", "-999.9"})


def one_station(names: Iterable[str], where: str) -> str:
    """The only station of a file.

    Raises
    ------
    InputError
        Where there are several.
    """
    stations = sorted(set(names))
    if len(stations) > 1:
        raise InputError(where, f"holds {len(stations)} stations ({stations[0]}, {stations[1]}, ...); expected one")
    return stations[0]


def read_dates(words: list[str], where: str) -> tuple[NDArray[np.datetime64], list[str]]:
    """Dates by ISO 8601: YYYY-MM-DD, YYYYMMDD or YYYY-DDD; YYYY/MM/DD is taken as well.

    Dates with the year last are read where the days tell which of the other two is the month; a note says so.

    Raises
    ------
    InputError
        Naming the first row that is no date.
    """
    short = [word.strip().split("T")[0].split(" ")[0] for word in words]
    notes: list[str] = []
    parts = [re.fullmatch(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})", word, re.ASCII) for word in short]
    if parts and parts[0] is not None:
        short, note = _year_last([match for match in parts if match is not None], len(words), where)
        notes.append(note)
    compact = [word.replace("/", "-") for word in short]
    compact = [f"{word[:4]}-{word[4:6]}-{word[6:]}" if len(word) == 8 and word.isdigit() else word for word in compact]
    ordinal = bool(compact) and re.fullmatch(r"\d{4}-\d{3}", compact[0], re.ASCII) is not None
    pattern = re.compile(r"\d{4}-\d{3}" if ordinal else r"\d{4}-\d{2}-\d{2}", re.ASCII)
    dates = np.empty(len(words), dtype="datetime64[D]")
    for row, word in enumerate(compact):
        try:
            if not pattern.fullmatch(word):
                raise ValueError
            if ordinal:
                year = np.datetime64(word[:4], "Y")
                dates[row] = year.astype("datetime64[D]") + (int(word[5:]) - 1)
                if dates[row].astype("datetime64[Y]") != year:
                    raise ValueError
            else:
                dates[row] = np.datetime64(word, "D")
        except ValueError:
            raise InputError(
                f"{where}, data row {row + 1}",
                f"found the date {quoted(words[row])}, which does not exist or is written unlike the first; dates "
                " are written as YYYY-MM-DD",
            ) from None
    return dates, notes


def _year_last(parts: list[re.Match[str]], count: int, where: str) -> tuple[list[str], str]:
    """Dates such as 7/31/2001 in ISO order, and a note on which part was the month."""
    if len(parts) != count:
        raise InputError(where, "writes its dates in several ways; dates are written as YYYY-MM-DD")
    first, second = (max(int(match[number]) for match in parts) for number in (1, 2))
    if (first > 12) == (second > 12):
        raise InputError(
            where, f"found the date {parts[0][0]!r}, and no day tells day from month; dates are written as YYYY-MM-DD"
        )
    month, day = (2, 1) if first > 12 else (1, 2)
    words = [f"{match[3]}-{int(match[month]):02d}-{int(match[day]):02d}" for match in parts]
    return words, f"dates were read as {'day, month' if first > 12 else 'month, day'}, year"


def flagged_note(failed: Mapping[str, int]) -> list[str]:
    """A line on values that a network's quality flags condemn, by flag or element; none where there are none."""
    counts = ", ".join(f"{name}: {count}" for name, count in failed.items())
    left_out = f"{sum(failed.values())} values with a quality flag of the network were left out ({counts})"
    return [left_out] if failed else []


def converted(values: Floats, unit: str, target: str, name: str, where: str) -> Floats:
    """Values of a column in the unit ``target``; ``unit`` as written in a file."""
    tenths = TENTHS.match(unit)
    factor = 0.1 if tenths else 1.0
    plain = (tenths[1] if tenths else unit).strip()
    spelled = UNIT_SPELLINGS.get(plain.lower(), plain)
    try:
        # Units differ by a factor, and by a zero for temperatures: two points give both.
        zero, one = (convert(number, spelled, target) for number in (0.0, 1.0))
    except ValueError:
        raise InputError(
            where, f"column {name} has the unit {quoted(unit)}; expected one that converts to {target}"
        ) from None
    return np.asarray(np.round(values * factor * (one - zero) + zero, 4))


def numbers_of(words: list[str], name: str, where: str) -> Floats:
    """Numbers of a column, NaN where nothing stands; a trace of rain counts as none."""
    values = np.full(len(words), np.nan)
    for row, word in enumerate(words):
        word = word.strip()
        if word.lower() in MISSING_WORDS:
            continue
        if name.lower() in RAIN_NAMES and word.upper() == "T":
            values[row] = 0.0
            continue
        try:
            values[row] = float(word)
        except ValueError:
            expected = "a number or nothing"
        else:
            if abs(values[row]) <= LARGEST_VALUE:
                continue
            expected = f"a finite number of at most {LARGEST_VALUE:g}"
        raise InputError(f"{where}, data row {row + 1}", f"column {name} holds {quoted(word)}; expected {expected}")
    return values
