"""What stands in a TOML file before its model has read it: a value may be anything until then; the catalogue files."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Callable, Mapping
from importlib import resources
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Parameters = TypeVar("Parameters", bound="DataclassInstance")
RawTable = Mapping[str, object]


def subtable(table: RawTable, *names: str) -> RawTable:
    """The table below a path of names; empty where there is none.

    Examples
    --------
    >>> subtable({"fruit": {"Gala": {"juice": 1}}}, "fruit", "Gala"), subtable({"fruit": 3}, "fruit")
    ({'juice': 1}, {})
    """
    for name in names:
        below = table.get(name)
        table = below if isinstance(below, Mapping) else {}
    return table


def subtables(table: RawTable, name: str) -> list[RawTable]:
    """The tables that stand several times under a name.

    Examples
    --------
    >>> subtables({"block": [{"name": "east"}]}, "block"), subtables({}, "block")
    ([{'name': 'east'}], [])
    """
    below = table.get(name)
    return [table for table in below if isinstance(table, Mapping)] if isinstance(below, list) else []


@functools.cache
def catalogue_file(name: str) -> dict[str, RawTable]:
    """A catalogue file of the package as nested dictionaries; its top holds tables only."""
    path = resources.files("orchardsim") / "catalogue" / name
    return tomllib.loads(path.read_text(encoding="utf-8"))


def made(cls: type[Parameters], values: RawTable) -> Parameters:
    """A stage's parameters from values that were read and checked one by one."""
    make: Callable[..., Parameters] = cls
    return make(**values)
