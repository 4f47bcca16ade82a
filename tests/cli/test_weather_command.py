"""The weather command on the bundled record and on files that are none."""

from __future__ import annotations

import json

import pytest

from orchardsim.cli.main import main
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.parameters import WeatherSettings
from orchardsim.weather.sampling import whole_record_windows
from tests.screens import fits_a_screen


def test_the_bundled_record_is_described_in_both_units(capsys, tmp_path):
    out = tmp_path / "weather"
    assert main(["weather", "bundled", "--latitude", "34.68", "--out", str(out)]) == 0
    assert fits_a_screen(capsys.readouterr().out, closing=0)
    assert main(["weather", "bundled", "--latitude", "34.68", "--all"]) == 0
    text = capsys.readouterr().out
    # the impossible minimum and the longest gaps of this record, found independently with pandas in tests/weather
    for fact in ("1936-07-18", "1962-09-01", "2005-02-01", "86 complete seasons", "Gala", "Honeycrisp"):
        assert fact in text
    assert (out / "weather.html").is_file()
    assert main(["weather", "bundled", "--latitude", "34.68", "--out", str(out)]) == 2
    assert "--force" in capsys.readouterr().err

    metric = text
    assert main(["weather", "bundled", "--latitude", "34.68", "--units", "us", "--all"]) == 0
    text = capsys.readouterr().out
    assert "bundled station record" in text
    for word in ("degC", "°C", " K ", "mm"):
        assert word not in text
    # 0 degC is 32 degF, 1 K is 1.8 degF (exact); -57.8 degC is 72 degF below zero
    for words in ("32.0 °F, last in spring", "nights 1.8 °F colder than the station", "1936-07-18 (-72.0 °F)"):
        assert words in text
    rows = [next(line for line in each.splitlines() if line.startswith("  low, °")) for each in (metric, text)]
    low, high = ([float(cell) for cell in row.split()[2:]] for row in rows)
    assert high == pytest.approx([1.8 * value + 32 for value in low], abs=0.15)


def test_seasons_with_too_little_chill_are_told_apart_from_the_usual_bloom(capsys):
    assert main(["weather", "bundled", "--latitude", "34.68", "--cultivar", "Gala", "--all"]) == 0
    text = capsys.readouterr().out
    assert "in nine years of ten" in text
    line = next(line for line in text.splitlines() if "too little winter chill" in line)
    # Told by plain means of minimum and maximum: the worst winter for chill is the warmest, November to February.
    seasons = whole_record_windows(WeatherSettings(latitude=34.68, record=bundled_record_path()))
    winter = slice(31, 151)
    warmth = (seasons.temperature_min[:, winter] + seasons.temperature_max[:, winter]).mean(axis=1) / 2
    warmest = seasons.harvest_year[warmth.argmax()]
    assert line.split("years: ")[1].startswith(f"{warmest} (")


def test_the_numbers_come_as_json_too(capsys):
    assert main(["weather", "bundled", "--latitude", "34.68", "--cultivar", "Gala", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    # 28 degF is -2.2 degC
    assert [one["level_degC"] for one in found["frost"]] == [0.0, -2.2]
    assert len(found["cultivars"]["Gala"]["full_bloom"]) == len(found["harvest_year"]) == 86
    assert all(low < high for low, high in zip(*list(found["monthly_climate"].values())[:2], strict=True))


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"", "empty"), (b"\xff\xfe\x00\x01" * 99, "bad.csv"), (b"a,b\n1,2\n", "bad.csv")],
    ids=["empty", "binary", "no columns"],
)
def test_files_that_are_no_record(tmp_path, capsys, content, says):
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    assert main(["weather", str(path)]) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if line.startswith("orchardsim: ")]
    assert len(lines) == 1 and says in lines[0]


def test_unknown_cultivars_and_latitudes(capsys):
    assert main(["weather", "bundled", "--cultivar", "Honeycrips"]) == 2
    assert "Honeycrisp" in capsys.readouterr().err
    assert main(["weather", "bundled", "--latitude", "91"]) == 2
    assert "allowed -66 to 66" in capsys.readouterr().err
