"""Plans that ship with the program are found, and all of them go into the wheel."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file
from orchardsim.core.shipped import shipped_as, shipped_plans

ROOT = Path(__file__).parents[2]


def test_all_configs_go_into_the_wheel():
    packed = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["data-files"]
    found = {path for globs in packed.values() for one in globs for path in ROOT.glob(one)}
    assert found == {path for path in (ROOT / "configs").rglob("*") if path.is_file()}
    for place, globs in packed.items():
        # Studies name their plan beside them: folders keep their places.
        beneath = place.removeprefix("share/orchardsim").strip("/")
        assert all(str(Path(one).parent) == str(Path("configs") / beneath) for one in globs)


def test_a_missing_file_that_ships_is_named(tmp_path):
    assert "demo" in shipped_plans() and shipped_as("first_row_measurements.csv") is not None
    with pytest.raises(InputError, match=r"no such file.*ships with the program is .*demo\.toml"):
        check_file(tmp_path / "demo.toml", "a plan file")
    with pytest.raises(InputError) as told:
        check_file(tmp_path / "nothing.toml", "a plan file")
    assert "ships with" not in str(told.value)
