"""The weather command on the bundled record and on files that are none."""

from __future__ import annotations

import pytest

from orchardsim.cli.main import main


def test_the_bundled_record_is_described(capsys, tmp_path):
    out = tmp_path / "weather"
    assert main(["weather", "bundled", "--latitude", "34.68", "--out", str(out)]) == 0
    text = capsys.readouterr().out
    # the impossible minimum and the longest gaps of this record, found independently with pandas in tests/weather
    for fact in ("1936-07-18", "1962-09-01", "2005-02-01", "86 complete seasons", "Gala", "Honeycrisp"):
        assert fact in text
    assert (out / "weather.html").is_file()
    assert main(["weather", "bundled", "--latitude", "34.68", "--out", str(out)]) == 2
    assert "--force" in capsys.readouterr().err


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
