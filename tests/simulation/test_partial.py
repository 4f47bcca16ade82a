"""An interrupted run goes on only when it is the same run."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.simulation.partial import PartialRun


def test_units_come_back_and_strangers_are_refused(tmp_path):
    folder = tmp_path / "run" / "partial"
    with pytest.raises(InputError, match="no interrupted run"):
        PartialRun(folder, {"seed": 1}, resume=True)
    first = PartialRun(folder, {"seed": 1}, resume=False)
    first.save(range(5), {"npv": np.arange(5.0)})
    again = PartialRun(folder, {"seed": 1}, resume=True)
    assert np.array_equal(again.load(range(5))["npv"], np.arange(5.0))
    assert again.load(range(5, 10)) is None
    with pytest.raises(InputError, match="another plan, seed"):
        PartialRun(folder, {"seed": 2}, resume=True)
    assert PartialRun(folder, {"seed": 2}, resume=False).load(range(5)) is None
    again.clear()
    assert not folder.exists()
