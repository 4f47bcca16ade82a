"""Reader of the wide station CSV that the network's web pages hand out: one row a day, one column an element, no units.

The access page gives tenths of degC and of mm, with a column of flags (``TMAX_ATTRIBUTES``) beside each element; the
order page gives degF and inches, or degC and mm, as the customer chose. Layouts from memory of such files and of the
network's documentation. The units stand nowhere in them, so they are told from the values, and only where no doubt is
left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.weather.columns import ELEMENTS, converted, flagged_note, numbers_of, one_station, read_dates
from orchardsim.weather.records import UNITS, DailyRecord, Floats, assemble

HOTTEST: Final = 57.0
"""degC; above the highest air temperature on record, 56.7 degC (World Meteorological Organization: memory)."""
HOTTEST_F: Final = 135.0
"""degF; the same."""
MILDEST_SUMMER: Final = 16.0
"""degC; a warmest day below it is no summer of a place with trees (assumption)."""
DAYS_OF_YEAR: Final = 365
WETTEST_INCHES: Final = 75.0
"""inch in a day; above the most on record, 1,825 mm (World Meteorological Organization: memory)."""
LEAST_WETTEST: Final = 8.0
"""mm in a day; the wettest day of a year or more is above it outside deserts (assumption)."""


@dataclass(frozen=True)
class Scale:
    """Units of one of the pages: of temperature, rain and wind, as ``columns.converted`` reads them."""

    words: str
    temperature: str
    rain: str
    wind: str


SCALES: Final = {
    "tenths": Scale("tenths of degC and of mm", "tenths of degC", "tenths of mm", "tenths of m/s"),
    "metric": Scale("degC and mm", "degC", "mm", "m/s"),
    "us": Scale("degF and inches", "degF", "inch", "mph"),
}


def is_page(headings: list[str]) -> bool:
    """Whether a heading is that of one of the pages: bare element names beside station and date."""
    names = {word.strip().upper() for word in headings}
    return {"STATION", "DATE", "TMAX", "TMIN"} <= names


def scale_of(dates: NDArray[np.datetime64], high: Floats, rain: Floats | None, where: str) -> Scale:
    """Units of a file, from its daily maxima and its rain.

    A whole year is asked for: the warmest day of a winter in tenths of degC may be 60, which would pass for degF.

    Raises
    ------
    InputError
        If the values leave a doubt; the line says how to write the units down.
    """
    known = high[np.isfinite(high)]
    months = np.unique(dates[np.isfinite(high)].astype("datetime64[M]").astype(np.int64) % 12)
    whole_year = known.size >= DAYS_OF_YEAR and months.size == 12
    top = float(known.max()) if known.size else np.nan
    whole = bool((known == np.round(known)).all())
    name = ""
    if not whole_year:
        name = ""
    elif top > HOTTEST_F and whole:
        name = "tenths"
    elif HOTTEST < top <= HOTTEST_F:
        name = "us"
    elif MILDEST_SUMMER < top <= HOTTEST:
        # A year whose warmest day has 16 to 57 degF has no summer, so these are degC.
        name = "metric"
    fallen = rain[np.isfinite(rain)] if rain is not None else np.empty(0)
    if name and fallen.size >= DAYS_OF_YEAR:
        most = float(fallen.max())
        if (name == "us" and most > WETTEST_INCHES) or (name == "metric" and 0 < most < LEAST_WETTEST):
            name = ""
    if not name:
        raise InputError(
            where,
            "has no units, and its values do not tell them beyond doubt (warmest day "
            f"{top:g}{'' if whole_year else ', no whole year'}); write them into the "
            "heading, such as DATE,TMIN [degF],TMAX [degF],PRCP [inch]",
        )
    return SCALES[name]


def read_page(rows: list[list[str]], where: str) -> DailyRecord:
    """Record of a wide station CSV; ``rows`` with its heading, all of one width."""
    headings = [word.strip().upper() for word in rows[0]]
    data = rows[1:]
    place = {name: headings.index(name) for name in headings}
    station = one_station((fields[place["STATION"]].strip() for fields in data), where)
    dates, notes = read_dates([fields[place["DATE"]] for fields in data], where)
    values: dict[str, Floats] = {}
    failed: dict[str, int] = {}
    for name in (name for name in ELEMENTS if name in place):
        values[name] = numbers_of([fields[place[name]] for fields in data], name, where)
        if f"{name}_ATTRIBUTES" in place:
            bad = _flagged([fields[place[f"{name}_ATTRIBUTES"]] for fields in data])
            bad &= np.isfinite(values[name])
            if bad.any():
                failed[name] = int(bad.sum())
                values[name][bad] = np.nan
    notes += flagged_note(failed)
    scale = scale_of(dates, values["TMAX"], values.get("PRCP"), where)
    notes.append(
        f"the file states no units; its values (warmest day {np.nanmax(values['TMAX']):g}) are those of {scale.words}"
    )
    units = {"PRCP": scale.rain, "AWND": scale.wind, "RHAV": "percent"}
    columns: dict[str, Floats] = {}
    for name, numbers in values.items():
        ours = ELEMENTS[name][0]
        columns[ours] = converted(numbers, units.get(name, scale.temperature), UNITS[ours], name, where)
    return assemble(
        dates,
        columns,
        source=where,
        station=station,
        file_format=f"station CSV of the network's pages ({scale.words})",
        repairs=notes,
        **_position(place, data[0]),
    )


def _flagged(words: list[str]) -> NDArray[np.bool_]:
    """Rows whose second flag, that of quality, is set; flags are measurement, quality, source and time."""
    return np.array([len(flags := word.split(",")) > 1 and bool(flags[1].strip()) for word in words])


def _position(place: dict[str, int], fields: list[str]) -> dict[str, Any]:
    position: dict[str, Any] = {}
    for name, most in (("LATITUDE", 90.0), ("LONGITUDE", 180.0), ("ELEVATION", 9000.0)):
        try:
            value = float(fields[place[name]])
        except (KeyError, ValueError):
            continue
        if abs(value) <= most:
            position[name.lower()] = value
    return position
