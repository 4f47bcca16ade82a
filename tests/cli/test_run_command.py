"""The run command as a user meets it: what it writes, what it refuses, and that it overwrites nothing."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from orchardsim.cli.main import main
from orchardsim.results import read_results
from tests.simulation.small_plan import CONFIGS

PLAN = """
title = "invented test block"
units = "metric"
currency = "USD"
price_year = 2024
[site]
name = "invented"
latitude = "34.68 degree"
elevation = "250 m"
[weather]
record = "bundled"
[weather.normals]
rain = { value = [100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100], unit = "mm" }
wet_days = [9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9]
[[block]]
name = "wires"
cultivar = "Gala"
rootstock = "M.9"
training = "tall_spindle"
tree_grade = "feathered"
row_spacing = "3.5 m"
tree_spacing = "1.0 m"
trees = 30
year_planted = 1
"""
QUICK = ["--trials", "4", "--years", "6", "--jobs", "1"]


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def refused(capsys, *words: str) -> str:
    """Run a command that must be refused: exit code 2 and one clear line."""
    capsys.readouterr()
    assert main(list(words)) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if line.startswith("orchardsim: ")]
    assert len(lines) == 1
    return lines[0]


@pytest.mark.slow
def test_a_run_is_saved_whole_twice_the_same_and_left_alone(plan, tmp_path, capsys):
    """The second run keeps single trees besides, which changes no summary."""
    first, second = tmp_path / "first", tmp_path / "second"
    assert main(["run", str(plan), *QUICK, "--out", str(first)]) == 0
    out = capsys.readouterr().out
    assert "NPV" in out and "IRR" in out and "payback" in out
    assert main(["run", str(plan), *QUICK, "--single-trees", "0,2", "--out", str(second)]) == 0
    names = {str(path.relative_to(first)) for path in first.rglob("*") if path.is_file()}
    assert {"results.nc", "summary.json", "report.html", "sheet.pdf"} <= names
    assert any(name.startswith("figures") for name in names)
    text = (first / "summary.json").read_text(encoding="utf-8")
    assert text == (second / "summary.json").read_text(encoding="utf-8")
    assert str(tmp_path) not in text
    assert not re.search(r"\b20\d\d-\d\d-\d\dT|\bjobs\b|hostname", text)

    kept = read_results(second)
    assert kept["tree_trial"].values.tolist() == [0, 2]
    assert kept["tree_trunk_area"].dims == ("tree_trial", "year", "tree") and kept.sizes["tree"] == 30
    for wrong, says in (("first", "expected numbers of futures"), ("9", "found trial 9, allowed 0 to 3")):
        try:
            code = main(["run", str(plan), *QUICK, "--single-trees", wrong])
        except SystemExit as stopped:
            code = stopped.code
        assert code == 2
        assert says in capsys.readouterr().err

    before = {path: path.read_bytes() for path in first.rglob("*") if path.is_file()}
    assert "--force" in refused(capsys, "run", str(plan), *QUICK, "--seed", "9", "--out", str(first))
    assert before == {path: path.read_bytes() for path in first.rglob("*") if path.is_file()}
    assert main(["run", str(plan), *QUICK, "--seed", "9", "--out", str(first), "--force"]) == 0
    assert (first / "summary.json").read_bytes() != before[first / "summary.json"]


def test_json_goes_to_standard_output_alone(plan, capsys):
    assert main(["run", str(plan), *QUICK, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["trials"] == 4 and document["seed"] == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("Gala", "Galaa"), "Gala"),
        (("M.9", "M.99"), "M.9"),
        (("tall_spindle", "tall_spindel"), "tall_spindle"),
        (("row_spacing", "row_spaceing"), "row_spacing"),
        (('"3.5 m"', '"3.5 kg"'), "3.5 kg"),
        (('"3.5 m"', '"-3.5 m"'), "row_spacing"),
        (('"3.5 m"', '"nan m"'), "finite"),
        (("trees = 30", "trees = -30"), "trees"),
        (("34.68", "99"), "latitude"),
        (("trees = 30", 'trees = 30\nnet_area = "50 m2"'), "at most 14"),
        (('record = "bundled"', 'record = "nothing_here.csv"'), "nothing_here.csv"),
        (("[site]", "[site"), "plan.toml"),
    ],
)
def test_bad_plans_get_one_clear_line(plan, tmp_path, capsys, change, says):
    plan.write_text(PLAN.replace(*change), encoding="utf-8")
    out = tmp_path / "run"
    line = refused(capsys, "run", str(plan), *QUICK, "--out", str(out))
    assert says in line and "plan.toml" in line
    assert not out.exists()


@pytest.mark.parametrize("content", [b"", b"\x00\x01\xfe\xff" * 50])
def test_files_that_are_no_plan(plan, capsys, content):
    plan.write_bytes(content)
    assert "plan.toml" in refused(capsys, "run", str(plan))


def test_a_missing_plan(tmp_path, capsys):
    assert "no_such.toml" in refused(capsys, "run", str(tmp_path / "no_such.toml"))


def test_a_record_that_is_too_short(plan, tmp_path, capsys):
    rows = ["date,temperature_min [degC],temperature_max [degC]"]
    rows += [f"2001-{month:02d}-{day:02d},5,15" for month in range(1, 13) for day in range(1, 29)]
    record = tmp_path / "short.csv"
    record.write_text("\n".join(rows), encoding="utf-8")
    line = refused(capsys, "run", str(plan), *QUICK, "--weather", str(record))
    assert "short.csv" in line and "year" in line


def test_resume_needs_a_folder(plan, capsys):
    assert "--out" in refused(capsys, "run", str(plan), "--resume")


def test_out_of_range_options_stop_with_code_2(plan, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["run", str(plan), "--trials", "1"])
    assert stop.value.code == 2
    assert "allowed 2" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted(CONFIGS.glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_plan_runs(path, capsys):
    assert main(["run", str(path), "--trials", "6", "--years", "20", "--jobs", "1"]) == 0
    assert "NPV" in capsys.readouterr().out
