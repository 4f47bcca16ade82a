"""Readers of station files: GHCN-Daily (.dly and CSV), CSV with a unit per column, NetCDF with CF names.

References
----------
NOAA National Centers for Environmental Information, readme of GHCN-Daily, section III (columns and flags of .dly files)
and readme of the by-station CSV files: read in copies of both.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.files import GZIP, read_bytes, unzipped
from orchardsim.core.text import quoted
from orchardsim.weather.columns import (
    ELEMENTS,
    MOST_DAYS,
    RAIN_NAMES,
    converted,
    flagged_note,
    numbers_of,
    one_station,
    read_dates,
)
from orchardsim.weather.readers_netcdf import read_netcdf
from orchardsim.weather.readers_pages import is_page, read_page
from orchardsim.weather.records import UNITS, DailyRecord, Floats, assemble

MISSING_VALUE: Final = -9999
LARGEST_FILE: Final = 60_000_000
"""Bytes, unpacked; two centuries of one station with all its elements take some 20 to 40 MB."""
DLY_LENGTH: Final = 269
NAMES: Final = {
    "date": ("date", "day", "time"),
    "temperature_min": ("temperature_min", "air_temperature_min", "tmin", "temp_min", "min_temp", "tn"),
    "temperature_max": ("temperature_max", "air_temperature_max", "tmax", "temp_max", "max_temp", "tx"),
    "rain": RAIN_NAMES,
    "wind_speed_10m": ("wind_speed", "wind", "wind_speed_10m", "awnd"),
    "wind_speed": ("wind_speed_2m",),
    "relative_humidity": ("relative_humidity", "humidity", "rh", "rhav"),
}
SUFFIXES: Final = {
    "f": "degF", "degf": "degF", "c": "degC", "degc": "degC", "k": "kelvin", "mm": "mm", "in": "inch", "inch": "inch",
    "inches": "inch", "mph": "mph", "pct": "percent", "percent": "percent",
}  # fmt: skip
"""Ends of a column's name that are its unit, as in ``tmin_F``."""


def read_record(path: Path | str) -> DailyRecord:
    """Read a station file of any known format, told by its content.

    ``path``: ``.dly`` or by-station CSV of GHCN-Daily, CSV with a unit per column, each also with gzip; or NetCDF.

    Raises
    ------
    InputError
        One line that names the file, what was found and what is allowed.
    """
    path = Path(path)
    where = path.name
    content = read_bytes(path, "a daily station record", LARGEST_FILE)
    if content[:2] == GZIP:
        content = unzipped(content, where, LARGEST_FILE)
    if not content.strip():
        raise InputError(where, "is empty; expected a daily weather record")
    if content[:3] == b"CDF" or content[:8] == b"\x89HDF\r\n\x1a\n":
        return read_netcdf(path)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(where, f"is not UTF-8 text (byte {error.start}); expected text or NetCDF") from error
    if "\x00" in text:
        raise InputError(where, "holds binary data; expected text or NetCDF")
    first = next(line for line in text.splitlines() if line.strip())
    if re.match(r"^[A-Za-z0-9_-]{11}\d{6}[A-Z0-9]{4}[ \-0-9]{5}", first):
        return read_dly(text, where)
    if re.match(r"^\"?[A-Za-z0-9_-]{11}\"?,\"?\d{8}\"?,\"?[A-Z0-9]{4}\"?,", first) or re.match(
        r"^\"?ID\"?,\"?(?:DATE|YEAR/MONTH/DAY)\"?,\"?ELEMENT\"?,", first, flags=re.IGNORECASE
    ):
        return read_by_station_csv(text, where)
    return read_csv(text, where)


def _wide(
    dates: NDArray[np.datetime64], elements: NDArray[np.str_], values: Floats
) -> tuple[NDArray[np.datetime64], dict[str, Floats]]:
    """One row per date and repetition from (date, element, value) rows, so that repeated dates stay visible."""
    days, day = np.unique(dates, return_inverse=True)
    kinds, kind = np.unique(elements, return_inverse=True)
    series = day * kinds.size + kind
    order = np.argsort(series, kind="stable")
    # how many rows of the same day and element stand before each
    repetition = np.empty(order.size, dtype=np.int64)
    repetition[order] = np.arange(order.size) - np.searchsorted(series[order], series[order])
    rows, row = np.unique(repetition * days.size + day, return_inverse=True)
    columns = {}
    for number, element in enumerate(kinds.tolist()):
        own = kind == number
        name, factor = ELEMENTS[element]
        columns[name] = np.full(rows.size, np.nan)
        columns[name][row[own]] = np.round(values[own] * factor, 4)
    return days[rows % max(days.size, 1)], columns


def _ghcn(
    dates: NDArray[np.datetime64],
    elements: NDArray[np.str_],
    values: NDArray[np.int64],
    measured: NDArray[np.str_],
    quality: NDArray[np.str_],
    *,
    where: str,
    station: str,
    file_format: str,
    notes: list[str],
) -> DailyRecord:
    known = np.isin(elements, list(ELEMENTS))
    dates, elements, values = dates[known], elements[known], values[known]
    measured, quality = measured[known], quality[known]
    failed = (quality != " ") & (values != MISSING_VALUE)
    presumed = int(((measured == "P") & ~failed & (values != MISSING_VALUE)).sum())
    notes += flagged_note(Counter(sorted(quality[failed].tolist())))
    if presumed:
        notes.append(f"{presumed} missing rain values are presumed zero by the network (flag P) and were taken as 0 mm")
    numbers = np.where(failed | (values == MISSING_VALUE), np.nan, values.astype(np.float64))
    rows, columns = _wide(dates, elements, numbers)
    return assemble(rows, columns, source=where, station=station, file_format=file_format, repairs=notes)


def read_dly(text: str, where: str) -> DailyRecord:
    """Read the fixed-width monthly lines of GHCN-Daily.

    Values with a quality flag become missing and are counted; a trace of rain counts as 0 mm; elements other than
    those of :data:`ELEMENTS` are passed over.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    for position, line in enumerate(lines, start=1):
        if not DLY_LENGTH - 3 <= len(line.rstrip("\r")) <= DLY_LENGTH or not line.isascii():
            raise InputError(
                f"{where}, line {position}",
                f"has {len(line)} characters; a .dly line has {DLY_LENGTH} ASCII characters",
            )
    table = np.frombuffer("".join(line.ljust(DLY_LENGTH) for line in lines).encode("ascii"), dtype="S1")
    table = table.reshape(len(lines), DLY_LENGTH)

    def text_field(start: int, stop: int) -> NDArray[np.str_]:
        return np.ascontiguousarray(table[:, start:stop]).view(f"S{stop - start}").ravel().astype(str)

    station = one_station(text_field(0, 11).tolist(), where)
    days = np.ascontiguousarray(table[:, 21:].reshape(len(lines), 31, 8))
    try:
        month = (text_field(11, 15).astype(np.int64) - 1970) * 12 + text_field(15, 17).astype(np.int64) - 1
        values = np.ascontiguousarray(days[:, :, :5]).view("S5")[:, :, 0].astype(np.int64)
    except ValueError as error:
        raise InputError(where, f"holds a field that is no whole number ({error})") from error
    number = text_field(15, 17).astype(np.int64)
    if ((number < 1) | (number > 12)).any():
        row = int(np.flatnonzero((number < 1) | (number > 12))[0])
        raise InputError(f"{where}, line {row + 1}", f"found month {number[row]}, allowed 1 to 12")
    month_start = month.astype("datetime64[M]")
    dates = month_start.astype("datetime64[D]")[:, None] + np.arange(31)
    in_month = dates.astype("datetime64[M]") == month_start[:, None]
    if (values[~in_month] != MISSING_VALUE).any():
        row = int(np.flatnonzero(((values != MISSING_VALUE) & ~in_month).any(axis=1))[0])
        raise InputError(f"{where}, line {row + 1}", "has a value on a day that its month does not have")
    elements = np.broadcast_to(text_field(17, 21)[:, None], dates.shape)[in_month]
    return _ghcn(
        dates[in_month],
        elements,
        values[in_month],
        days[:, :, 5][in_month].astype(str),
        _blank_for_empty(days[:, :, 6][in_month].astype(str)),
        where=where,
        station=station,
        file_format="GHCN-Daily .dly",
        notes=[],
    )


def _blank_for_empty(flags: NDArray[np.str_]) -> NDArray[np.str_]:
    return np.where(np.char.strip(flags) == "", " ", flags)


def read_by_station_csv(text: str, where: str) -> DailyRecord:
    """Read GHCN-Daily by-station CSV: id, YYYYMMDD, element, value, three flags, observation time."""
    rows: list[list[str]] = []
    for position, row in enumerate(csv_rows(io.StringIO(text, newline=None), ",", where), start=1):
        if position == 1 and row[0].strip().upper() == "ID":
            continue
        if len(row) < 7:
            raise InputError(
                f"{where}, row {position}",
                f"has {len(row)} fields; GHCN-Daily by-station CSV has 8 (id, date, element, ...)",
            )
        # Elements that are not read are not kept: a station may have dozens.
        if row[2].strip() in ELEMENTS:
            rows.append([word.strip() for word in row[:6]])
            if len(rows) > MOST_DAYS * len(ELEMENTS):
                raise InputError(where, f"holds more than {MOST_DAYS:,} days; expected a daily record of one station")
    if not rows:
        raise InputError(where, "holds no days of temperature; temperature_min and temperature_max are needed")
    station = one_station((row[0] for row in rows), where)
    columns = [np.array([row[i] for row in rows], dtype=str) for i in range(1, 6)]
    dates, notes = read_dates(columns[0].tolist(), where)
    try:
        values = columns[2].astype(np.int64)
    except (ValueError, OverflowError):
        wrong = next(word for word in columns[2] if not re.fullmatch(r"-?\d{1,5}", word))
        raise InputError(where, f"found the value {quoted(str(wrong))}, expected a whole number") from None
    return _ghcn(
        dates,
        columns[1],
        values,
        _blank_for_empty(columns[3]),
        _blank_for_empty(columns[4]),
        where=where,
        station=station,
        file_format="GHCN-Daily by-station CSV",
        notes=notes,
    )


def csv_rows(lines: Iterable[str], delimiter: str, where: str) -> Iterable[list[str]]:
    """Rows of a CSV text that are not empty; a quote that is not closed is an error and not the rest of the file."""
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    try:
        for row in reader:
            if row:
                yield row
    except csv.Error as error:
        raise InputError(f"{where}, line {reader.line_num}", f"is no CSV ({error}); is a quote left open?") from None


def _split_heading(word: str) -> tuple[str, str]:
    """Name and unit of a column heading such as ``tmax [degF]``, ``rain (mm)`` or ``tmin_F``."""
    match = re.fullmatch(r"\s*([^\[\(]+?)\s*(?:[\[\(]\s*(.*?)\s*[\]\)])?\s*", word[:200])
    name = (match[1] if match else word[:200]).strip().lower().replace(" ", "_")
    unit = (match[2] or "") if match else ""
    base, _, last = name.rpartition("_")
    if not unit and last in SUFFIXES and any(base in spellings for spellings in NAMES.values()):
        return base, SUFFIXES[last]
    return name, unit


def read_csv(text: str, where: str) -> DailyRecord:
    """Read a CSV file with one row per day and a heading that names each column with its unit.

    Headings look like ``date,tmin [degF],tmax [degF],rain [mm]``. Lines that start with ``#`` are passed over. A unit
    is never guessed: a column of weather without one is an error.
    """
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise InputError(where, "holds comments and no days")
    delimiter = max(",;\t", key=lines[0].count)
    if lines[0].count(delimiter) == 0:
        raise InputError(where, f"is no known format: expected a heading with units, found {lines[0][:60]!r}")
    if len(lines) > MOST_DAYS:
        raise InputError(where, f"holds more than {MOST_DAYS:,} rows; expected a daily record of one station")
    rows = list(csv_rows(lines, delimiter, where))
    if is_page(rows[0]):
        return read_page(_of_one_width(rows, where), where)
    headings = [_split_heading(word) for word in rows[0]]
    place: dict[str, tuple[int, str]] = {}
    passed_over = []
    for index, (name, unit) in enumerate(headings):
        match = next((ours for ours, spellings in NAMES.items() if name in spellings), None)
        if match is None:
            passed_over.append(name)
            continue
        if match in place:
            raise InputError(where, f"has two columns for {match}")
        place[match] = (index, unit)
    for name in ("date", "temperature_min", "temperature_max"):
        if name not in place:
            allowed = [f"{spelling}" for spelling in NAMES[name]]
            hints = [nearest_names(found, allowed) for found in passed_over]
            hint = next((text for text in hints if text.startswith("did you")), "")
            raise InputError(where, f"has no column for {name} (allowed: {', '.join(allowed)}) {hint}")
    data = _of_one_width(rows, where)[1:]
    notes = [f"columns passed over: {', '.join(passed_over)}"] if passed_over else []
    dates, told = read_dates([fields[place["date"][0]] for fields in data], where)
    notes += told
    columns: dict[str, Floats] = {}
    for name, (index, unit) in place.items():
        if name == "date":
            continue
        heading, ours = headings[index][0], UNITS[name]
        if not unit:
            raise InputError(where, f"column {heading!r} has no unit; write the heading as {heading} [{ours}]")
        columns[name] = converted(
            numbers_of([fields[index] for fields in data], heading, where), unit, ours, heading, where
        )
    return assemble(
        dates, columns, source=where, station=_station(headings, data), file_format="CSV with units",
        repairs=notes,
    )  # fmt: skip


def _of_one_width(rows: list[list[str]], where: str) -> list[list[str]]:
    """Rows of a CSV, once each is as wide as the heading."""
    width = len(rows[0])
    if len(rows) < 2:
        raise InputError(where, "holds a heading and no days")
    for row, fields in enumerate(rows[1:], start=1):
        if len(fields) != width:
            raise InputError(f"{where}, data row {row}", f"has {len(fields)} fields; the heading has {width}")
    return rows


def _station(headings: list[tuple[str, str]], data: list[list[str]]) -> str:
    names = [name for name, _ in headings]
    return data[0][names.index("station")].strip() if "station" in names else ""
