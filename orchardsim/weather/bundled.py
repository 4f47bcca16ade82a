"""The station record that comes with the package."""

from __future__ import annotations

from pathlib import Path


def bundled_record_path() -> Path:
    """Path of the bundled daily record (Clemson, South Carolina, 1930 to 2020, no rain).

    Its origin, licence and conversion stand in ``clemson_daily.txt`` beside it.

    Examples
    --------
    >>> bundled_record_path().is_file()
    True
    """
    return Path(__file__).resolve().parent.parent / "data" / "clemson_daily.dly.gz"
