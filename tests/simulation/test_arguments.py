"""What the functions of the package are asked for is checked in them, not in the command line."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import orchardsim
from orchardsim.analysis.risk_drivers import SOURCES
from orchardsim.core.errors import InputError
from orchardsim.core.streams import PROCESSES
from orchardsim.simulation.arguments import check_arguments

from .small_plan import small_plan

WRONG: dict[str, tuple[str, Any]] = {
    "no trials": ("trials", 0),
    "fewer than no trials": ("trials", -3),
    "half a trial": ("trials", 2.5),
    "trials in words": ("trials", "200"),
    "a flag for a number": ("trials", True),
    "no years": ("years", 0),
    "a century": ("years", 81),
    "seed below nothing": ("seed", -1),
    "seed too long": ("seed", 2**63),
    "seed without end": ("seed", 10**5000),
    "no seed": ("seed", None),
    "no workers": ("jobs", 0),
    "seasons in capitals": ("seasons", "Record"),
    "seasons of no kind": ("seasons", None),
    "an unknown process": ("process_seeds", {"prices": 2}),
    "a process with a wrong seed": ("process_seeds", {"price": -2}),
    "a tree's trial beyond the run": ("single_trees", (5,)),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_run_refuses_what_makes_no_sense(case):
    name, value = WRONG[case]
    with pytest.raises(InputError) as raised:
        orchardsim.simulate(small_plan(), **({"trials": 3, "years": 3} | {name: value}))
    line = str(raised.value)
    assert line.startswith(name) and ("allowed" in line or "expected" in line or "did you mean" in line)
    assert len(line) <= 290 and line.isprintable()


@pytest.mark.parametrize("ask", [orchardsim.stress, orchardsim.spares, orchardsim.risk_drivers, orchardsim.compare])
@pytest.mark.parametrize(("name", "value"), [("trials", 0), ("seed", -1), ("jobs", 0), ("years", 0), ("trials", 10.5)])
def test_every_analysis_refuses_them_too(ask, name, value):
    plan = small_plan()
    with pytest.raises(InputError, match=f"^{name}: found"):
        ask(*([[plan, plan]] if ask is orchardsim.compare else [plan]), **{name: value})


def test_numbers_of_other_libraries_are_whole_numbers_too():
    check_arguments(trials=np.int64(3), years=np.int32(5), seed=0, jobs=1, seasons="record")


def test_processes_are_those_whose_part_in_the_risk_is_told():
    assert sorted(PROCESSES) == sorted(name for names in SOURCES.values() for name in names)
