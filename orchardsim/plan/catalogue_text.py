"""The built-in catalogues in words, with sources."""

from __future__ import annotations

import functools
import textwrap
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.parameters import ParameterInfo, parameters_of
from orchardsim.core.references import reference_keys, references
from orchardsim.plan.catalogue import KINDS, entries, entry_numbers
from orchardsim.plan.describe import unit_words
from orchardsim.plan.showing import value_text

TITLES: Final = {
    "rootstock": "Rootstocks (size as a share of a tree on seedling)",
    "cultivar": "Cultivars (days from bloom to harvest)",
    "training_system": "Training systems (height, spread across the row)",
    "tree_grade": "Nursery trees (trunk diameter, side branches)",
}
SHOWN: Final = {
    "rootstock": ("vigor",),
    "cultivar": ("days_to_harvest",),
    "training_system": ("height_limit", "spread_limit"),
    "tree_grade": ("trunk_diameter", "feathers"),
}
WIDTH: Final = 110


@functools.cache
def parameter_table(kind: str) -> dict[str, ParameterInfo]:
    """Parameters of a kind's entries by name."""
    found: dict[str, ParameterInfo] = {}
    for cls in KINDS[kind][1]:
        found.update(parameters_of(cls))
    return found


def list_lines() -> list[str]:
    """All entries, one line each."""
    lines: list[str] = []
    for kind, title in TITLES.items():
        names = list(entries(kind))
        lines.append(f"{title}: {len(names)}")
        width = max(len(name) for name in names) + 2
        for name in names:
            numbers = entry_numbers(kind, name)
            shown = ", ".join(
                f"{value_text(numbers[key].value)} {unit_words(numbers[key].unit)}".strip() for key in SHOWN[kind]
            )
            note = entries(kind)[name].get("note", "")
            lines.append(f"  {name.ljust(width)}{shown:<14}{note}")
        lines.append("")
    lines.append("Name one for its numbers and sources. A plan may override any number or add entries of its own.")
    return lines


def entry_lines(name: str) -> list[str]:
    """One entry with every number, its meaning, source and status, and the full references.

    Raises
    ------
    InputError
        If no entry has that name.
    """
    found = [(kind, each) for kind in KINDS for each in entries(kind) if each.casefold() == name.casefold()]
    if not found:
        everything = [each for kind in KINDS for each in entries(kind)]
        raise InputError("catalogue", f"found {name!r}, which is no entry; {nearest_names(name, everything)}")
    lines: list[str] = []
    for kind, each in found:
        table = parameter_table(kind)
        keys: list[str] = []
        lines.append(f"{each} ({kind.replace('_', ' ')}, catalogue file {KINDS[kind][0]})")
        if note := entries(kind)[each].get("note"):
            lines.append(f"  {note}")
        for key, number in entry_numbers(kind, each).items():
            lines.append(f"  {key} = {value_text(number.value)} {unit_words(number.unit)}[{number.status}]")
            lines.append(f"      {table[key].meaning}")
            lines += textwrap.wrap(number.source, WIDTH, initial_indent="      from: ", subsequent_indent="      ")
            keys += [found for found in reference_keys(number.source) if found not in keys]
        known = references()
        if keys:
            lines += ["", "  References (seen: how much of it was read)"]
        for key in keys:
            reference = known[key]
            text = f"[{key}] {reference.citation} Seen: {reference.seen}. {reference.address}".rstrip()
            lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="      ", break_long_words=False)
    return lines
