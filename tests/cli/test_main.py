"""The entry point: what a stopped run says, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.cli import run as run_command
from orchardsim.cli.main import main
from orchardsim.simulation.partial import PartialRun
from tests.plan.examples import CONFIGS


def _stopped(monkeypatch, folder: str, trials: list[range]) -> None:
    """Let the run command keep some trials and then be stopped by the user."""

    def stop(options):
        run = PartialRun(options.out / folder, {"trials": options.trials}, resume=False)
        for each in trials:
            run.save(each, {"npv": np.zeros(len(each))})
        raise KeyboardInterrupt

    monkeypatch.setattr(run_command, "execute", stop)


@pytest.mark.parametrize(
    ("folder", "trials", "says"),
    [
        ("partial", [range(75)], "75 of 300 trials kept in"),
        ("partial_second_opinion", [range(100)], "100 of 300 trials of the second opinion kept in"),
        ("partial", [], "no trials were finished yet"),
    ],
)
def test_a_stopped_run_says_what_is_kept(monkeypatch, tmp_path, capsys, folder, trials, says):
    _stopped(monkeypatch, folder, trials)
    assert main(["run", "plan.toml", "--trials", "300", "--out", str(tmp_path / "mine")]) == 130
    err = capsys.readouterr().err
    assert says in err and err.count("\n") == 1
    assert ("--resume" in err) == bool(trials)


def test_a_run_stopped_without_a_folder_keeps_nothing(monkeypatch, capsys):
    def stop(options):
        raise KeyboardInterrupt

    monkeypatch.setattr(run_command, "execute", stop)
    assert main(["run", "plan.toml"]) == 130
    assert "nothing is kept without --out" in capsys.readouterr().err


def test_a_folder_within_a_file_is_refused_as_such(tmp_path, capsys):
    (tmp_path / "afile").write_text("", encoding="utf-8")
    plan = CONFIGS / "demo.toml"
    assert main(["run", str(plan), "--trials", "2", "--out", str(tmp_path / "afile" / "x")]) == 2
    err = capsys.readouterr().err
    assert "afile is a file" in err and err.count("\n") == 1
