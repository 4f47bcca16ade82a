"""Station CSV as the network's pages hand it out, dates and headings as growers write them, and hostile weather files.

The values are those of the bundled cool record, written out in each layout: what is read back must be that record.
Layouts from memory; flags and missing values by the readme of GHCN-Daily.
"""

from __future__ import annotations

import csv
import gzip
import io
import resource
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orchardsim.core.errors import LONGEST_LINE, InputError
from orchardsim.weather import columns
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.readers import read_record

DAYS = slice(2_000, 2_900)
POSITION = {"LATITUDE": "42.955", "LONGITUDE": "-87.9044", "ELEVATION": "203.9"}


@pytest.fixture(scope="module")
def cool():
    return read_record(bundled_record_path("bundled cool"))


def written(values: np.ndarray, scale: float, zero: float, digits: int) -> list[str]:
    return ["" if np.isnan(value) else f"{value * scale + zero:.{digits}f}" for value in values]


def page(cool, scale: str, *, attributes: bool = False, date: str = "iso") -> str:
    """The record's days in a layout of the pages."""
    low, high, rain = (column[DAYS] for column in (cool.temperature_min, cool.temperature_max, cool.rain))
    numbers = {
        "tenths": (written(low, 10, 0, 0), written(high, 10, 0, 0), written(rain, 10, 0, 0)),
        "metric": (written(low, 1, 0, 1), written(high, 1, 0, 1), written(rain, 1, 0, 1)),
        "us": (written(low, 1.8, 32, 0), written(high, 1.8, 32, 0), written(rain, 1 / 25.4, 0, 2)),
    }[scale]
    head = ["STATION", "DATE", *POSITION, "NAME"]
    for name in ("PRCP", "TMAX", "TMIN"):
        head += [name, f"{name}_ATTRIBUTES"] if attributes else [name]
    text = io.StringIO()
    out = csv.writer(text)
    out.writerow(head)
    for day, a, b, c in zip(cool.date[DAYS], numbers[2], numbers[1], numbers[0], strict=True):
        cells = ["USW00014839", str(day), *POSITION.values(), "MILWAUKEE, WI US"]
        for value in (a, b, c):
            cells += [value, ",,W,2400"] if attributes else [value]
        out.writerow(cells)
    return text.getvalue()


def read(folder: Path, content: str | bytes):
    path = folder / "station.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_record(path)


@pytest.mark.parametrize(
    ("scale", "attributes", "within", "said"),
    [
        ("tenths", True, 0.001, "tenths of degC and of mm"),
        ("metric", False, 0.051, "degC and mm"),
        ("us", False, 0.28, "degF and inches"),
        ("us", True, 0.28, "degF and inches"),
    ],
)
def test_pages_of_the_network_are_read(cool, tmp_path, scale, attributes, within, said):
    """Rounding: half a degree Fahrenheit is 0.28 K, half a hundredth of an inch 0.13 mm."""
    record = read(tmp_path, page(cool, scale, attributes=attributes))
    np.testing.assert_allclose(record.temperature_min, cool.temperature_min[DAYS], atol=within)
    np.testing.assert_allclose(record.temperature_max, cool.temperature_max[DAYS], atol=within)
    np.testing.assert_allclose(record.rain, cool.rain[DAYS], atol=0.13)
    assert (record.latitude, record.longitude, record.elevation) == (42.955, -87.9044, 203.9)
    assert record.station == "USW00014839" and any(said in note for note in record.repairs)


def test_flagged_values_of_a_page_are_left_out(cool, tmp_path):
    rows = page(cool, "tenths", attributes=True).splitlines()
    rows[5] = rows[5].replace('",,W,2400"', '",I,W,2400"')
    record = read(tmp_path, "\n".join(rows))
    assert np.isnan(record.temperature_min[4]) and np.isnan(record.temperature_max[4]) and np.isnan(record.rain[4])
    assert any("3 values with a quality flag" in note for note in record.repairs)


def test_units_that_the_values_leave_in_doubt_are_asked_for(cool, tmp_path):
    """A winter: its warmest day may be 60 degF or 6.0 degC in tenths."""
    rows = page(cool, "us").splitlines()
    winter = [rows[0], *[row for row in rows[1:] if row.split(",")[1][5:7] == "01"][:31]]
    with pytest.raises(InputError, match=r"write them into the heading, such as DATE,TMIN \[degF\]"):
        read(tmp_path, "\n".join(winter))


def test_dates_with_the_year_last(tmp_path):
    head = "date,tmin_F,tmax (F)\n"
    us = read(tmp_path, head + "\n".join(f"1/{day}/2001,30,50" for day in range(1, 32)))
    assert str(us.date[-1]) == "2001-01-31" and us.temperature_max[0] == pytest.approx(10)
    assert any("month, day, year" in note for note in us.repairs)
    other = read(tmp_path, head + "\n".join(f"{day}.01.2001,30,50" for day in range(1, 32)))
    assert str(other.date[-1]) == "2001-01-31"
    with pytest.raises(InputError, match="no day tells day from month"):
        read(tmp_path, head + "01/02/2001,1,2\n")


HEAD = b"date,tmin [degC],tmax [degC]\n"
ELEMENT = b"XX000000001,20010101,TMAX,100,,,X,\n"
HOSTILE = {
    "unit that computes": (b"date,tmin [9**9**9**9 degC],tmax [degC]\n2001-01-01,1,2\n", "unit"),
    "endless unit": (b"date,tmin [" + b"m*" * 50 + b"],tmax [degC]\n2001-01-01,1,2\n", "unit"),
    "open quote": (HEAD + b'"2001-01-01,1,2\n' + b"2001-01-02,1,2\n" * 9_000, "quote"),
    "far too warm": (HEAD + b"2001-01-01,1,1e30\n", "1e30"),
    "endless number": (HEAD + b"2001-01-01,1," + b"9" * 400 + b"\n", "number"),
    "day 366 of a common year": (HEAD + b"2001-365,1,2\n2001-366,1,2\n", "2001-366"),
    "value of many digits": (b"XX000000001,20010101,TMAX," + b"9" * 40 + b",,,X,\n", "whole number"),
    "open quote by station": (ELEMENT + b'"XX000000001,20010102,TMAX,100,,,X,\n', "quote"),
    "month 13": (b"XX000000001200113TMAX" + b"  100   " * 31, "month 13"),
    "another gzip": (b"\x1f\x8b" + b"x" * 100, "gzip"),
    "half a gzip": (gzip.compress(HEAD * 1_000)[:-20], "gzip"),
    "more days than there are": (HEAD + b"2001-01-01,1,2\n" * (columns.MOST_DAYS + 1), "rows"),
    "half a NetCDF": (b"\x89HDF\r\n\x1a\n" + b"\x00" * 100, "NetCDF"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_weather_files_get_one_line(tmp_path, name):
    content, word = HOSTILE[name]
    with pytest.raises(InputError, match=word) as raised:
        read(tmp_path, content)
    assert len(str(raised.value)) <= LONGEST_LINE and str(raised.value).isprintable()


def test_carriage_returns_alone_end_a_line(tmp_path):
    days = "\r".join(f"2001-01-{day:02d},1,2" for day in range(1, 32))
    assert read(tmp_path, HEAD.replace(b"\n", b"\r") + days.encode()).date.size == 31
    rows = b"".join(b"XX000000001,20010101,%s,100,,,X,\r" % name for name in (b"TMIN", b"TMAX"))
    assert read(tmp_path, rows).date.size == 1


def test_a_gzip_that_swells_stays_small(tmp_path):
    """A gigabyte of zeros in a megabyte: refused with less than 300 MB more than before."""
    packed = gzip.compress(b"0" * (1 << 26)) * 16
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(InputError, match="unpacked"):
        read(tmp_path, packed)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 300_000  # kB


@pytest.mark.parametrize("latitude", [95.0, np.nan, -91.0])
def test_a_latitude_that_is_none_is_refused(tmp_path, latitude):
    import xarray

    time = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
    held = {
        name: (
            "time",
            np.full(time.size, value),
            {"standard_name": "air_temperature", "units": "degC", "cell_methods": how},
        )
        for name, value, how in (("low", 1.0, "time: minimum"), ("high", 9.0, "time: maximum"))
    }
    lat = ((), latitude, {"standard_name": "latitude", "units": "degrees_north"})
    xarray.Dataset(held, coords={"time": time, "lat": lat}).to_netcdf(tmp_path / "station.nc")
    with pytest.raises(InputError, match="lat is"):
        read_record(tmp_path / "station.nc")


PARTS = [HEAD, ELEMENT, b"date,tmin_F,tmax_F\n", b"STATION,DATE,TMAX,TMIN\n", b"2001-01-01,1,2\n", b"1/2/2001,1,2\n"]
PARTS += [b",", b'"', b"\r", b"\n", b"\x00", b"#", b"1e999", b"NA", b"-9999", b"9" * 30, b"[degF]", "é".encode()]
PARTS += [b"XX000000001200101TMAX" + b"  100   " * 31 + b"\n", b"2001-001,1,2\n", b"USW00014839,2001-01-01,10,1\n"]
PARTS += [b"\x1f\x8b", b"\x89HDF\r\n\x1a\n", b"CDF\x01"]
content = st.lists(st.sampled_from(PARTS) | st.binary(max_size=12), max_size=8).map(b"".join)


def _read_or_refuse(folder: Path, held: bytes) -> None:
    try:
        read(folder, held)
    except InputError as error:
        assert len(str(error)) <= LONGEST_LINE and str(error).isprintable()


@settings(max_examples=150, deadline=None)
@given(content)
def test_any_file_is_a_record_or_refused_in_one_line(tmp_path_factory, held):
    _read_or_refuse(tmp_path_factory.getbasetemp(), held)


@pytest.mark.slow
@settings(max_examples=3_000, deadline=None)
@given(content)
def test_thousands_of_files_are_records_or_refused(tmp_path_factory, held):
    _read_or_refuse(tmp_path_factory.getbasetemp(), held)


def test_the_cool_record_is_told_where_it_comes_from(cool):
    assert cool.station == "ORCHARDSIM2" and str(cool.date[0]) == "1938-04-01" and cool.rain is not None
    # 138 days of rain and one of the maximum are missing in the table that it was retyped from, besides the days of
    # August 2026 after the last one; 29 February is left out.
    until = cool.date <= np.datetime64("2026-08-19")
    assert int(np.isnan(cool.temperature_max[until]).sum()) == 1
    assert int(np.isnan(cool.rain[until]).sum()) == 138
    note = bundled_record_path("bundled cool").with_name("milwaukee_daily.txt").read_text()
    for word in ("USW00014839", "public domain", "10.7289/V5D21VHZ", "ORCHARDSIM2"):
        assert word in note
