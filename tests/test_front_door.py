"""What a newcomer finds at the top of the package."""

from __future__ import annotations

import subprocess
import sys

import pytest

import orchardsim
from tests.simulation.small_plan import CONFIGS


def test_dir_shows_what_there_is():
    assert set(orchardsim.__all__) < set(dir(orchardsim))
    for name in orchardsim.__all__:
        assert getattr(orchardsim, name).__doc__


def test_the_top_opens_no_heavy_library():
    code = "import orchardsim, sys; sys.exit(any(name in sys.modules for name in ('numpy', 'xarray', 'matplotlib')))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_name_that_is_not_there_is_told():
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        _ = orchardsim.simulat


def test_a_plan_shows_itself_in_one_line():
    plan = orchardsim.load_plan(CONFIGS / "demo.toml")
    assert repr(plan).startswith("<Plan 'Invented farm") and "trees 1,008" in repr(plan) and len(repr(plan)) < 200
