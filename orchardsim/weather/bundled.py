"""The station records that come with the package."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

DATA: Final = Path(__file__).resolve().parent.parent / "data"


@dataclass(frozen=True)
class BundledRecord:
    """One of them: file, place in words, latitude [degree, north positive] (from memory, as its note says)."""

    file: str
    place: str
    latitude: float


WARM: Final = BundledRecord("clemson_daily.dly.gz", "Clemson, South Carolina, 1930 to 2020, no rain", 34.66)
COOL: Final = BundledRecord(
    "milwaukee_daily.dly.gz", "Milwaukee airport, Wisconsin, on a lake shore, 1938 to 2026, with rain", 42.95
)
RECORDS: Final = {"bundled": WARM, "bundled warm": WARM, "bundled cool": COOL}
"""Words that stand for a bundled record in a plan and on the command line."""


def bundled_record_path(name: str = "bundled") -> Path:
    """Path of a bundled daily record; origin, licence and conversion stand in the text file beside it.

    Parameters
    ----------
    name : str
        One of :data:`RECORDS`.

    Examples
    --------
    >>> bundled_record_path().is_file(), bundled_record_path("bundled cool").is_file()
    (True, True)
    """
    return DATA / RECORDS[name].file


def bundled_record_at(path: Path) -> BundledRecord | None:
    """The bundled record of a path; None where it is another file."""
    return next((one for one in RECORDS.values() if path == DATA / one.file), None)
