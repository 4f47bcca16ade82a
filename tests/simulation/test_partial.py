"""An interrupted run goes on only when it is the same run, whatever the number of processes."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.results.folder import OutputFolder
from orchardsim.simulation.partial import PartialRun, run_differs

RUN = {"plan": "a", "trials": 300, "years": 20, "seed": 1}


def folder(place, **changes):
    return OutputFolder(place, "run", identity=RUN, differs=run_differs, **changes)


def test_the_argument_that_differs_is_named():
    assert run_differs(RUN, dict(RUN)) is None
    for key, other, words in (("trials", 400, "--trials 300"), ("years", 10, "--years 10"), ("plan", "b", "the plan")):
        assert words in str(run_differs(RUN, RUN | {key: other}) or run_differs(RUN | {key: other}, RUN))


def test_what_is_missing_fits_between_what_is_kept(tmp_path):
    with folder(tmp_path) as opened:
        run = PartialRun(opened, 60)
        assert run.missing(25) == [range(25), range(25, 50), range(50, 60)]
        for unit in (range(10, 20), range(40, 45)):
            run.save(unit, {"npv": np.arange(unit.start, unit.stop), "12/0/leaf": np.zeros(3)})
    with folder(tmp_path, resume=True) as opened:
        run = PartialRun(opened, 60)
        assert run.kept == 15
        assert run.missing(8) == [
            range(8), range(8, 10), range(20, 28), range(28, 36), range(36, 40), range(45, 53), range(53, 60)
        ]  # fmt: skip
        for unit in run.missing(8):
            run.save(unit, {"npv": np.arange(unit.start, unit.stop)})
        assert run.missing(8) == []
        pieces = list(run.pieces(25))
        assert [unit for unit, _ in pieces] == [range(25), range(25, 50), range(50, 60)]
        assert np.array_equal(np.concatenate([arrays["npv"] for _, arrays in pieces]), np.arange(60))
        assert list(run.single_trees()) == ["12/0/leaf"]


def test_a_kept_run_is_not_thrown_away_when_resume_is_forgotten(tmp_path):
    with folder(tmp_path) as opened:
        PartialRun(opened, 300).save(range(5), {"npv": np.zeros(5)})
    with pytest.raises(InputError, match="holds an unfinished run; go on with it by --resume"), folder(tmp_path):
        pass
    with folder(tmp_path, resume=True) as opened:
        assert PartialRun(opened, 300).kept == 5
    with folder(tmp_path, force=True) as opened:
        assert PartialRun(opened, 300).kept == 0
    assert not list(tmp_path.rglob("*.npz"))
