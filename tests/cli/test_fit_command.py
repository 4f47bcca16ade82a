"""``orchardsim fit`` from a fresh folder: files, the plan that carries them, and a second fit with the same data."""

from __future__ import annotations

import json
import shutil

import pytest

from orchardsim.cli.main import main

from ..plan.examples import CONFIGS


@pytest.fixture
def farm(tmp_path):
    """A folder of its own with plan and measurements."""
    for name in ("first_row.toml", "first_row_measurements.csv"):
        shutil.copy(CONFIGS / name, tmp_path / name)
    return tmp_path


def test_bad_input_stops_with_one_line_and_writes_nothing(farm, capsys):
    path = farm / "first_row_measurements.csv"
    path.write_text(path.read_text().replace("trunk_girth", "trunk_grith", 1))
    assert main(["fit", str(farm / "first_row.toml"), str(path), "--out", str(farm / "out")]) == 2
    error = capsys.readouterr().err
    assert "did you mean 'trunk_girth'" in error and error.count("\n") == 1
    assert not (farm / "out").exists()


@pytest.mark.slow
def test_the_same_measurements_twice_change_nothing_and_more_add_up(farm, capsys):
    plan, rows = farm / "first_row.toml", farm / "first_row_measurements.csv"
    assert main(["fit", str(plan), str(rows), "--out", str(farm / "one"), "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert main(["fit", str(farm / "one" / plan.name), str(rows), "--out", str(farm / "two"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    for name in (plan.name, "learned.json"):
        assert (farm / "one" / name).read_bytes() == (farm / "two" / name).read_bytes()
    assert first["levels"] == again["levels"]
    # the first year alone, then the second: the same as both at once
    lines = rows.read_text().splitlines()
    for name, year in (("early.csv", "2020-"), ("late.csv", "2019-")):
        (farm / name).write_text("\n".join(line for line in lines if not line.startswith(year)) + "\n")
    assert main(["fit", str(plan), str(farm / "early.csv"), "--out", str(farm / "early")]) == 0
    late = ["fit", str(farm / "early" / plan.name), str(farm / "late.csv"), "--out", str(farm / "both")]
    assert main(late) == 0
    assert (farm / "both" / "learned.json").read_bytes() == (farm / "one" / "learned.json").read_bytes()
    assert main(["run", str(farm / "both" / plan.name), "--trials", "3", "--years", "4", "--jobs", "1"]) == 0
    assert main(["report", str(farm / "both")]) == 0
