"""Changes keys in the text of a plan file and leaves all else, comments too, as its author wrote it."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping

from orchardsim.core.errors import InputError
from orchardsim.plan.keys import with_keys


def rewritten(text: str, changes: Mapping[tuple[str, str], object], where: str) -> str:
    """A plan's text in which some keys of plain tables have other values.

    Raises InputError if the plan writes such a table in a way that cannot be changed so.

    Parameters
    ----------
    changes : mapping
        (table, key) -> text or number; a table as its header names it, such as ``cultivar.Gala``. One that is missing
        is put at the end.
    where : str
        The plan, for messages.

    Examples
    --------
    >>> print(rewritten('title = "x"\\n[futures] # ours\\n', {("futures", "learned"): "a.json"}, "plan"))
    title = "x"
    [futures] # ours
    learned = "a.json"
    <BLANKLINE>
    """
    lines = text.rstrip("\n").split("\n")
    for (table, key), value in changes.items():
        lines = _with(lines, table, f"{key} = {json.dumps(value)}", key)
    changed = "\n".join(lines) + "\n"
    try:
        read = tomllib.loads(changed)
        wanted = with_keys(
            tomllib.loads(text), {f"{table}.{key}": value for (table, key), value in changes.items()}, where
        )
    except tomllib.TOMLDecodeError:
        read, wanted = {}, {"": 0}
    if read != wanted:
        names = ", ".join(f"[{table}]" for table, _ in changes)
        raise InputError(
            where, f"{names}: written as inline tables or dotted keys; write them under headers of their own"
        )
    return changed


def _with(lines: list[str], table: str, line: str, key: str) -> list[str]:
    header = re.compile(rf"\s*\[\s*{_name(table)}\s*\]\s*(#.*)?$")
    start = next((number for number, each in enumerate(lines) if header.match(each)), None)
    if start is None:
        return [*lines, "", f"[{table}]", line]
    end = next((n for n in range(start + 1, len(lines)) if lines[n].lstrip().startswith("[")), len(lines))
    own = re.compile(rf"\s*\"?{re.escape(key)}\"?\s*=")
    at = next((number for number in range(start + 1, end) if own.match(lines[number])), None)
    if at is not None:
        return [*lines[:at], line, *lines[at + 1 :]]
    return [*lines[: start + 1], line, *lines[start + 1 :]]


def _name(table: str) -> str:
    """Pattern of a header's name, however its parts are quoted."""
    parts = re.findall(r'"[^"]*"|[^."]+', table)
    return r"\s*\.\s*".join(rf"\"?{re.escape(part.strip(chr(34)))}\"?" for part in parts)
