"""Retype a station table in degF and inches into the bundled cool record, in the GHCN-Daily .dly layout.

``python experiments/weather_validation/build_cool_record.py TABLE.csv`` writes
``orchardsim/data/milwaukee_daily.dly.gz`` again. The table has the columns date, PRCP [inch], TMAX and TMIN [degF], NA
where missing; its values were tenths of degC and of mm before they were turned into those units, so the way back is
exact: one that does not fall on a tenth stops the script.
"""

from __future__ import annotations

import argparse
import calendar
import csv
import gzip
from pathlib import Path

STATION = "ORCHARDSIM2"
TARGET = Path(__file__).resolve().parents[2] / "orchardsim" / "data" / "milwaukee_daily.dly.gz"
MISSING = -9999
ROUNDING = 0.01
"""Tenths by which a value may miss a whole one: what is left of turning it there and back."""


def tenths(element: str, word: str) -> int:
    """Value in tenths of degC or of mm; missing where nothing was measured."""
    if word == "NA":
        return MISSING
    value = float(word) * 254 if element == "PRCP" else (float(word) - 32) / 0.18
    if abs(value - round(value)) > ROUNDING:
        raise SystemExit(f"{element} {word} is no tenth of the network's unit")
    return round(value)


def record_lines(table: Path) -> list[str]:
    """Lines of the record: one per month and element, 269 characters each."""
    found: dict[tuple[str, str], int] = {}
    with table.open(encoding="ascii", newline="") as stream:
        for row in csv.DictReader(stream):
            for element in ("PRCP", "TMAX", "TMIN"):
                found[element, row["date"]] = tenths(element, row[element])
    lines = []
    for month in sorted({date[:7] for _, date in found}):
        days = calendar.monthrange(int(month[:4]), int(month[5:]))[1]
        for element in ("PRCP", "TMAX", "TMIN"):
            values = [found.get((element, f"{month}-{day:02d}"), MISSING) for day in range(1, days + 1)]
            values += [MISSING] * (31 - days)
            lines.append(f"{STATION}{month[:4]}{month[5:]}{element}" + "".join(f"{value:5d}   " for value in values))
    return lines


def main() -> None:
    """Write the file; no time stamp inside, so that the bytes repeat."""
    parser = argparse.ArgumentParser(description="Retype a station table into the bundled cool record.")
    parser.add_argument("table", type=Path, help="CSV with date, PRCP [inch], TMAX and TMIN [degF]")
    text = "\n".join(record_lines(parser.parse_args().table)) + "\n"
    TARGET.write_bytes(gzip.compress(text.encode("ascii"), compresslevel=9, mtime=0))


if __name__ == "__main__":
    main()
