"""Changes a plan by its keys: the way in which studies, scenarios and forms state what differs."""

from __future__ import annotations

import copy
import tomllib
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.plan.raw import RawTable

LISTED: Final = ("block", "group", "pollinizer", "crews")
"""Tables that stand several times in a plan; a key speaks of all of them, or of the one whose name follows."""


def with_keys(raw: RawTable, changes: RawTable, where: str) -> dict[str, object]:
    """A copy of a plan's tables in which some keys have other values.

    Parameters
    ----------
    raw : mapping
        Tables as read from TOML.
    changes : mapping
        Dotted key -> value. ``block.tree_spacing`` changes every block, ``block.east.tree_spacing`` the one named
        ``east``, ``block.east.group.Gala.rootstock`` one row group of it.
    where : str
        File that states the changes, for messages.

    Raises
    ------
    InputError
        If a key is no dotted key, or there is nothing in the plan that it could change.

    Examples
    --------
    >>> plan = {"block": [{"name": "east"}, {"name": "west"}]}
    >>> with_keys(plan, {"block.tree_spacing": "1 m", "block.west.training": "super_spindle"}, "study.toml")
    {'block': [{'name': 'east', 'tree_spacing': '1 m'}, {'name': 'west', 'tree_spacing': '1 m', 'training': 'super_spindle'}]}
    """  # noqa: E501 - the output of an example stands on one line
    changed = copy.deepcopy(dict(raw))
    for key, value in changes.items():
        if not _set(changed, _path(key, where), value):
            raise InputError(where, f"{key}: the plan has no table that this key could change; allowed: a key of it")
    return changed


def _path(key: str, where: str) -> list[str]:
    """Names along a dotted key; a name with a dot in it stands in quotes, as in TOML."""
    try:
        rest: object = tomllib.loads(f"{key} = 0")
    except tomllib.TOMLDecodeError:
        raise InputError(
            where, f"{key!r}: no key of a plan; allowed: names with dots between, such as block.training"
        ) from None
    path = []
    while isinstance(rest, dict):
        if len(rest) != 1:
            raise InputError(where, f"{key!r}: found more than one key; allowed: one")
        name, rest = next(iter(rest.items()))
        path.append(name)
    return path


def _set(table: dict[str, object], path: list[str], value: object) -> bool:
    """Set a value at a path below a table; returns whether there was a place for it."""
    name, rest = path[0], path[1:]
    if not rest:
        table[name] = copy.deepcopy(value)
        return True
    if name in LISTED:
        entries = table.get(name, [])
        entries = entries if isinstance(entries, list) else [entries]
        named = [entry for entry in entries if isinstance(entry, dict) and entry.get("name") == rest[0]]
        if named and len(rest) > 1:
            return all([_set(entry, rest[1:], value) for entry in named])
        return any([_set(entry, rest, value) for entry in entries if isinstance(entry, dict)])
    below = table.setdefault(name, {})
    return isinstance(below, dict) and _set(below, rest, value)
