"""The entry point: what a stopped run says, and what it refuses."""

from __future__ import annotations

import gc
import sys

import pytest

from orchardsim.cli import start
from orchardsim.cli.main import main
from orchardsim.simulation.partial import PartialRun
from tests.plan.examples import CONFIGS


def _stop_after(monkeypatch, units: int) -> None:
    """Let a run keep some trials and then be stopped by the user."""
    save = PartialRun.save
    monkeypatch.setattr("orchardsim.simulation.run.RANGE_TRIALS", 2)

    def stop(self, unit, arrays):
        if len(self._ranges) == units:
            raise KeyboardInterrupt
        save(self, unit, arrays)

    monkeypatch.setattr(PartialRun, "save", stop)


@pytest.mark.parametrize(
    ("units", "says"),
    [(2, "4 of 6 futures kept in"), (0, "no futures were finished yet")],
)
def test_a_stopped_run_says_what_is_kept_and_goes_on(monkeypatch, tmp_path, capsys, units, says):
    words = ["run", str(CONFIGS / "old_block.toml"), "--trials", "6", "--years", "4", "--jobs", "1", "--out"]
    with monkeypatch.context() as patch:
        _stop_after(patch, units)
        assert main([*words, str(tmp_path / "mine")]) == 130
    err = capsys.readouterr().err.splitlines()[-1]
    assert says in err and ("--resume" in err) == bool(units)
    assert (tmp_path / "mine").exists() == bool(units)
    if units:
        assert main([*words, str(tmp_path / "mine")]) == 2  # not thrown away in silence
        assert "--resume" in capsys.readouterr().err
        assert main([*words, str(tmp_path / "mine"), "--resume"]) == 0
        printed = capsys.readouterr().out
        assert main([*words, str(tmp_path / "once")]) == 0
        assert capsys.readouterr().out == printed
        for name in ("results.nc", "summary.json", "report.html"):
            assert (tmp_path / "mine" / name).read_bytes() == (tmp_path / "once" / name).read_bytes()
        assert main([*words, str(tmp_path / "mine"), "--resume"]) == 0
        assert "nothing is left to do" in capsys.readouterr().err


def test_a_run_stopped_without_a_folder_keeps_nothing(monkeypatch, capsys):
    _stop_after(monkeypatch, 0)
    assert main(["run", str(CONFIGS / "old_block.toml"), "--trials", "2", "--years", "4", "--jobs", "1"]) == 130
    assert "nothing is kept without --out" in capsys.readouterr().err


def test_a_folder_within_a_file_is_refused_as_such(tmp_path, capsys):
    (tmp_path / "afile").write_text("", encoding="utf-8")
    plan = CONFIGS / "demo.toml"
    assert main(["run", str(plan), "--trials", "2", "--out", str(tmp_path / "afile" / "x")]) == 2
    err = capsys.readouterr().err
    assert "afile is a file" in err and err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "hidden"),
    [("run plan.toml", True), ("study s.toml --dask=tcp://a:1", False), ("study s --da b:1", False)],
)
def test_a_library_for_clusters_is_hidden_unless_asked_for(words, hidden, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["orchardsim", *words.split()])
    monkeypatch.setattr(gc, "set_threshold", lambda *numbers: None)
    monkeypatch.setitem(sys.modules, "dask", sys)
    start.hasten()
    assert (sys.modules["dask"] is None) == hidden
