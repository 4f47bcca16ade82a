"""``orchardsim compare`` on the command line: tables, files, and one clear line on bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from orchardsim.cli.main import main
from tests.cli.test_run_command import PLAN, QUICK, refused

US = PLAN.replace('"metric"', '"us"')


@pytest.fixture
def plans(tmp_path: Path) -> list[str]:
    paths = []
    for name, change in (("close", ("", "")), ("wide", ('tree_spacing = "1.0 m"', 'tree_spacing = "1.5 m"'))):
        path = tmp_path / f"{name}.toml"
        path.write_text(US.replace(*change), encoding="utf-8")
        paths.append(str(path))
    return paths


def test_a_comparison_is_printed_saved_and_built_again_beside_a_run(plans, tmp_path, capsys):
    out = tmp_path / "out"
    (out / "figures").mkdir(parents=True)
    mine = {out / "results.nc": b"a run", out / "figures" / "cash.png": b"a picture", out / "compare.npz": b"mine"}
    for path, content in mine.items():
        path.write_bytes(content)
    assert "compare.npz" in refused(capsys, "compare", *plans, *QUICK, "--out", str(out), "--force")
    (out / "compare.npz").rename(out / "kept.npz")

    assert main(["compare", *plans, *QUICK, "--all", "--out", str(out), "--force"]) == 0
    text = capsys.readouterr().out
    assert "Differences in the same futures" in text and "A - B" in text and "USD/acre" in text
    assert max(len(line) for line in text.split("\n\n")[2].splitlines()) <= 130
    assert text.index("Money of the whole farm") < text.index("Per area, per money invested")
    pages = {"compare.json", "compare.npz", "compare.html", "compare_sheet.html", "compare_sheet.pdf"}
    assert pages <= {path.name for path in out.iterdir()}
    first = (out / "compare.json").read_bytes()
    assert "another comparison" in refused(capsys, "compare", *plans, *QUICK, "--out", str(out))
    assert main(["compare", *plans, *QUICK, "--out", str(out), "--force"]) == 0
    printed = capsys.readouterr().out
    assert (out / "compare.json").read_bytes() == first

    for path, content in mine.items():
        assert (path if path.name != "compare.npz" else out / "kept.npz").read_bytes() == content

    (out / "results.nc").unlink()
    pictures = sorted(out.glob("figures/*.csv"))
    assert pictures
    before = {path: path.read_bytes() for path in (out / "compare.html", out / "compare.json", *pictures)}
    for path in (out / "compare.html", *pictures):
        path.unlink()
    assert main(["report", str(out)]) == 0
    assert capsys.readouterr().out == printed
    assert {path: path.read_bytes() for path in before} == before

    kept = out / "compare.npz"
    kept.write_bytes(kept.read_bytes()[:200])
    assert "run the command again" in refused(capsys, "report", str(out))
    kept.unlink()
    assert "compare.npz" in refused(capsys, "report", str(out))
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "compare.json" in refused(capsys, "report", str(empty))


def test_json_goes_to_standard_output_alone(plans, capsys):
    assert main(["compare", *plans, *QUICK, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["trials"] == 4
    assert [plan["name"] for plan in document["plans"]] == ["close", "wide"]


def test_bad_input_gets_one_clear_line(plans, tmp_path, capsys):
    close, wide = plans
    assert "two or more" in refused(capsys, "compare", close, *QUICK)
    other = tmp_path / "other.toml"
    other.write_text(PLAN, encoding="utf-8")
    line = refused(capsys, "compare", wide, str(other), *QUICK)
    assert "other.toml" in line and "units" in line and "'us'" in line and "'metric'" in line
    other.write_text(US.replace('"USD"', '"EUR"\nusd_rate = 1.0'), encoding="utf-8")
    assert "currency" in refused(capsys, "compare", wide, str(other), *QUICK)
    assert "no_such.toml" in refused(capsys, "compare", close, str(tmp_path / "no_such.toml"))
    assert not (tmp_path / "out").exists()
