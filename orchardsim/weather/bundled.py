"""The station records that come with the package."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from orchardsim.weather.parameters import WeatherSettings

DATA: Final = Path(__file__).resolve().parent.parent / "data"


@dataclass(frozen=True)
class BundledRecord:
    """One of them.

    Attributes
    ----------
    file, place : str
    latitude : float [degree, north positive]
        From memory, as the record's note says.
    range_coefficient : float [K-0.5]
        Of :func:`orchardsim.season.evapotranspiration.radiation_from_temperature`.
    """

    file: str
    place: str
    latitude: float
    range_coefficient: float


WARM: Final = BundledRecord("clemson_daily.dly.gz", "Clemson, South Carolina, 1930 to 2020, no rain", 34.66, 0.16)
COOL: Final = BundledRecord(
    "milwaukee_daily.dly.gz", "Milwaukee airport, Wisconsin, on a lake shore, 1938 to 2026, with rain", 42.95, 0.175
)
"""Its days are evened out by the lake some kilometres off: the middle of FAO-56's 0.16 inland and 0.19 at a coast
(derived). With it the mean of 1996 to 2025 is 14.0 MJ m-2 day-1 (computed), as in a manual of solar radiation of
1961 to 1990 (3.9 kWh, memory); with 0.16 it is 12.9."""
RECORDS: Final = {"bundled": WARM, "bundled warm": WARM, "bundled cool": COOL}
"""Words that stand for a bundled record in a plan and on the command line."""


def bundled_record_path(name: str = "bundled") -> Path:
    """Path of a bundled daily record; origin, licence and conversion stand in the text file beside it.

    ``name``: one of :data:`RECORDS`.

    Examples
    --------
    >>> bundled_record_path().is_file(), bundled_record_path("bundled cool").is_file()
    (True, True)
    """
    return DATA / RECORDS[name].file


def bundled_record_at(path: Path) -> BundledRecord | None:
    """The bundled record of a path; None where it is another file."""
    return next((record for record in RECORDS.values() if path == DATA / record.file), None)


def range_coefficient(settings: WeatherSettings) -> float:
    """Coefficient of radiation from the day's range [K-0.5]: the plan's, the bundled record's, or that inland."""
    if settings.range_coefficient > 0:
        return settings.range_coefficient
    bundled = None if settings.record is None else bundled_record_at(settings.record)
    return WARM.range_coefficient if bundled is None else bundled.range_coefficient
