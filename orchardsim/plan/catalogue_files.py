"""The catalogue files of the package."""

from __future__ import annotations

import functools
import tomllib
from importlib import resources

from orchardsim.plan.raw import RawTable


@functools.cache
def catalogue_file(name: str) -> dict[str, RawTable]:
    """A catalogue file of the package as nested dictionaries; its top holds tables only."""
    path = resources.files("orchardsim") / "catalogue" / name
    return tomllib.loads(path.read_text(encoding="utf-8"))
