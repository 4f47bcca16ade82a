"""A table as it stands on a field sheet: one line a tree, one column a measure; read as one reading after the other."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.text import quoted

PLACE: Final = ("date", "block", "row", "tree", "trees", "cause", "note")
"""Columns beside those of measures."""
DATES: Final = "date"
"""First cell of the line that holds the day of each column."""
Line = tuple[int, list[str]]


def measured_columns(header: Sequence[str], measures: Collection[str]) -> dict[str, tuple[str, str]]:
    """Columns of a table that are measures: column -> (measure, unit); none where it is a list of readings.

    Examples
    --------
    >>> measured_columns(["block", "tree", "trunk_girth [mm]", "fruit_count"], ["trunk_girth", "fruit_count"])
    {'trunk_girth [mm]': ('trunk_girth', 'mm'), 'fruit_count': ('fruit_count', '')}
    """
    columns = {}
    for column in header:
        match = re.fullmatch(r"([a-z_ ]+?)\s*(?:\[(.*)\])?", column)
        name = match[1].replace(" ", "_") if match else ""
        if match and name in measures:
            columns[column] = (name, match[2] or "")
    return columns


def readings(
    header: Sequence[str], lines: Iterable[Line], columns: Mapping[str, tuple[str, str]], where: str
) -> Iterator[tuple[int, dict[str, str]]]:
    """Readings of a table, (line, cells by the names of a list of readings); empty cells are left out.

    Raises InputError if a column is unknown, or a value has no day.

    Parameters
    ----------
    lines : iterable of (line, cells)
        One of them may begin with "date" and hold each column's day.
    columns : mapping
        Of :func:`measured_columns`.
    """
    for name in header:
        if name not in PLACE and name not in columns:
            raise InputError(where, f"line 1: unknown column {quoted(name)}, {nearest_names(name, PLACE)} or a measure")
    if "block" not in header:
        raise InputError(where, "line 1: missing column 'block'; needed beside the measures' columns")
    days: dict[str, str] = {}
    for line, cells in lines:
        given = {name: cell.strip() for name, cell in zip(header, cells, strict=False)}
        if cells[0].strip().lower() == DATES:
            days |= {name: given[name] for name in columns if given.get(name)}
            continue
        place = {name: given.get(name, "") for name in ("block", "row", "tree", "trees", "note")}
        for column, (measure, unit) in columns.items():
            value = given.get(column, "")
            if not value:
                continue
            date = value if measure == "bloom_date" else given.get("date") or days.get(column, "")
            if not date:
                raise InputError(
                    where,
                    f"line {line}: {column}: found {quoted(value)} without a day; write the day of the column into the "
                    "line that begins with 'date', above the trees",
                )
            cause = given.get("cause", "") if measure == "dead_trees" else ""
            own = {"measure": measure, "value": "" if measure == "bloom_date" else value, "unit": unit}
            yield line, place | own | {"date": date, "cause": cause}
