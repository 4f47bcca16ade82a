"""An interrupted run goes on only when it is the same run."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.simulation.partial import NOTE, PartialRun, kept_trials


def test_units_come_back_and_strangers_are_refused(tmp_path):
    folder = tmp_path / "run" / "partial"
    with pytest.raises(InputError, match="no interrupted run"):
        PartialRun(folder, {"seed": 1}, resume=True)
    first = PartialRun(folder, {"seed": 1}, resume=False)
    first.save(range(5), {"npv": np.arange(5.0)})
    again = PartialRun(folder, {"seed": 1}, resume=True)
    assert np.array_equal(again.load(range(5))["npv"], np.arange(5.0))
    assert again.load(range(5, 10)) is None
    with pytest.raises(InputError, match="had --seed 1, this one has --seed 2"):
        PartialRun(folder, {"seed": 2}, resume=True)
    assert PartialRun(folder, {"seed": 2}, resume=False).load(range(5)) is None
    again.clear()
    assert not folder.exists()


def test_the_argument_that_differs_is_named(tmp_path):
    folder = tmp_path / "run" / "partial"
    run = {"plan": "a", "trials": 300, "years": 20, "seed": 1}
    PartialRun(folder, run, resume=False)
    for key, other, words in (("trials", 400, "--trials 300"), ("years", 10, "--years 10"), ("plan", "b", "the plan")):
        with pytest.raises(InputError, match=words):
            PartialRun(folder, run | {key: other}, resume=True)
    (folder / NOTE).write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be read"):
        PartialRun(folder, run, resume=True)


def test_finished_trials_are_counted(tmp_path):
    assert kept_trials(tmp_path) is None
    run = PartialRun(tmp_path / "partial", {"trials": 300}, resume=False)
    assert kept_trials(run.folder) == (0, 300)
    for trials in (range(50), range(100, 125)):
        run.save(trials, {"npv": np.zeros(len(trials))})
    assert kept_trials(run.folder) == (75, 300)


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written") as raised:
        PartialRun(tmp_path / "file" / "run" / "partial", {"trials": 3}, resume=False)
    assert "\n" not in str(raised.value)
