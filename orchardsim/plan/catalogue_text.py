"""The built-in catalogues in words, with sources."""

from __future__ import annotations

import dataclasses
import functools
import textwrap
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.parameters import ParameterInfo, parameters_of
from orchardsim.core.references import reference_keys, references
from orchardsim.core.units import BUSHEL
from orchardsim.plan.catalogue import KINDS, entries, entry_numbers
from orchardsim.plan.formats import PlanFormats, value_text

TITLES: Final = {
    "rootstock": "Rootstocks (trunk over M.9; blight, rot, aphid: 0 none, 1 as M.9 or MM.106)",
    "cultivar": "Cultivars (vigor, set, blight over Gala; scab over McIntosh; biennial 0 to 1)",
    "training_system": "Training systems",
    "tree_grade": "Nursery trees",
}
ASKED: Final = ("crop_load_target",)
"""Keys that come early though no list has a column for them."""
SHOWN: Final = {
    "rootstock": {
        "size": "trunk",
        "precocity": "bears later",
        "fire_blight": "blight",
        "crown_rot": "crown rot",
        "replant_tolerance": "replant tolerance",
        "woolly_aphid": "woolly aphid",
        "anchorage": "anchorage",
        "root_hardiness": "roots stand",
    },
    "cultivar": {
        "vigor": "vigor",
        "biennial": "biennial",
        "fruit_set": "set",
        "days_to_harvest": "bloom to harvest",
        "chill_requirement": "chill portions",
        "fire_blight": "blight",
        "scab": "scab",
        "harvest_window": "holds firm",
    },
    "training_system": {"height_limit": "height", "spread_limit": "across the row", "support": "support"},
    "tree_grade": {"trunk_diameter": "trunk", "height": "height", "feathers": "side branches"},
}
"""Numbers in the list by kind, and their headings; a kind with few shows its notes too."""
NOTES_BESIDE: Final = 4
"""Most columns of numbers beside which a note finds room."""
WIDTH: Final = 110


@functools.cache
def parameter_table(kind: str) -> dict[str, ParameterInfo]:
    """Parameters of a kind's entries by name."""
    parameters: dict[str, ParameterInfo] = {}
    for cls in KINDS[kind][1]:
        parameters.update(parameters_of(cls))
    return parameters


def quantity_text(value: object, unit: str, units: str = "both") -> str:
    """A catalogue value with its unit: in the program's own units, in those of a system, or in both.

    Parameters
    ----------
    value : number, text, flag, or list of numbers
    units : {"both", "us", "metric"}
        "both" puts the United States units in brackets behind, for lengths, masses and temperatures.

    Examples
    --------
    >>> quantity_text(3.2, "m"), quantity_text(3.2, "m", "us"), quantity_text(-28.0, "degC")
    ('3.2 m (10.5 ft)', '10.5 ft', '-28 °C (-18.4 °F)')
    >>> quantity_text((0.0, 0.1), "1"), quantity_text(16.0, "mm", "metric")
    ('[0, 0.1]', '16 mm')
    >>> quantity_text(-40.0, "degC", "us"), quantity_text(0.02, "1/day")
    ('-40 °F', '0.02 per day')
    """
    if isinstance(value, (bool, str)):
        return value_text(value)
    texts = {}
    for system in ("metric", "us"):
        number, words = PlanFormats(system, "money", 45.0, BUSHEL).converted(value, unit)
        # what has no other unit comes back as it was
        texts[system] = f"{value_text(value) if number is value else _three_figures(number)} {words}".strip()
    if units != "both":
        return texts[units]
    return texts["metric"] if texts["metric"] == texts["us"] else f"{texts['metric']} ({texts['us']})"


def _three_figures(number: object) -> str:
    """A converted number, no finer than the catalogue's own."""
    if isinstance(number, list):
        return "[" + ", ".join(_three_figures(each) for each in number) + "]"
    return f"{float(f'{number:.3g}'):g}"


def name_lines() -> list[str]:
    """Names alone, by kind, in lines of at most 80 characters."""
    lines: list[str] = []
    for kind, title in TITLES.items():
        text = f"{title.partition(' (')[0]} ({len(entries(kind))}): {', '.join(entries(kind))}"
        lines += textwrap.wrap(text, 80, subsequent_indent="  ")
    return [*lines, "Name one for its numbers. A plan may override any, or add entries of its own."]


def number_lines(name: str, units: str = "both") -> list[str]:
    """Numbers of an entry with their status, in lines of at most 80 characters, as many as stand on a screen."""
    lines: list[str] = []
    for kind, each in found_entries(name):
        lines += textwrap.wrap(
            f"{each} ({kind.replace('_', ' ')}): {entries(kind)[each].get('note', '')}".rstrip(": "), 80
        )
        numbers = entry_numbers(kind, each)
        told = [key for key in (*SHOWN[kind], *ASKED, *numbers) if key in numbers]
        for key in dict.fromkeys(told):
            number = numbers[key]
            text = f"  {key} = {quantity_text(number.value, number.unit, units)} [{number.status}]"
            lines += textwrap.wrap(text, 80, subsequent_indent="    ")
    return lines if len(lines) <= 22 else [*lines[:21], f"  and {len(lines) - 21} more"]


def catalogue_document(name: str | None) -> dict[str, dict[str, object]]:
    """Every number of an entry, or of all, with unit, status, source and meaning."""
    chosen = [(kind, each) for kind in KINDS for each in entries(kind)] if name is None else found_entries(name)
    document: dict[str, dict[str, object]] = {}
    for kind, each in chosen:
        table = parameter_table(kind)
        document.setdefault(kind, {})[each] = {
            key: dataclasses.asdict(number) | {"meaning": table[key].meaning}
            for key, number in entry_numbers(kind, each).items()
        }
    return document


def found_entries(name: str) -> list[tuple[str, str]]:
    """Kind and name of the entries of a name, whatever its case.

    Raises InputError if no entry has that name.
    """
    chosen = [(kind, each) for kind in KINDS for each in entries(kind) if each.casefold() == name.casefold()]
    if not chosen:
        everything = [each for kind in KINDS for each in entries(kind)]
        raise InputError("catalogue", f"found {name!r}, which is no entry; {nearest_names(name, everything)}")
    return chosen


def list_lines(units: str = "both") -> list[str]:
    """All entries, one line each; ``units`` as in :func:`quantity_text`."""
    lines: list[str] = []
    for kind, title in TITLES.items():
        lines += [f"{title}: {len(entries(kind))}", *_table_lines(kind, units), ""]
    lines.append("Name one for its numbers and sources. A plan may override any number or add entries of its own.")
    return lines


def _table_lines(kind: str, units: str) -> list[str]:
    """Entries of a kind under headings of one or two lines; a number that an entry leaves at its default stands too."""
    shown, table = SHOWN[kind], parameter_table(kind)
    defaults = {field.name: field.default for cls in KINDS[kind][1] for field in dataclasses.fields(cls)}
    rows = []
    for name in entries(kind):
        numbers = entry_numbers(kind, name)
        cells = [
            quantity_text(numbers[key].value if key in numbers else defaults[key], table[key].unit, units)
            for key in shown
        ]
        rows.append([name, *cells])
    heads = [("", ""), *((word.rsplit(" ", 1) if " " in word else ("", word)) for word in shown.values())]
    widths = [max(map(len, (*head, *cells))) for head, cells in zip(heads, zip(*rows, strict=True), strict=True)]
    notes = [str(entries(kind)[row[0]].get("note", "")) if len(shown) < NOTES_BESIDE else "" for row in rows]
    lines = []
    for columns, note in zip([*zip(*heads, strict=True), *rows], ["", "", *notes], strict=True):
        first, *others = (cell.ljust(width) for cell, width in zip(columns, widths, strict=True))
        lines.append("  ".join(["", first, *others, note]).rstrip())
    return lines


def entry_lines(name: str, units: str = "both") -> list[str]:
    """One entry with every number, its meaning, source and status, and how much of each source was read.

    ``units`` as in :func:`quantity_text`; raises as :func:`found_entries`.
    """
    lines: list[str] = []
    for kind, each in found_entries(name):
        table = parameter_table(kind)
        keys: list[str] = []
        lines.append(f"{each} ({kind.replace('_', ' ')}, catalogue file {KINDS[kind][0]})")
        if note := entries(kind)[each].get("note"):
            lines.append(f"  {note}")
        for key, number in entry_numbers(kind, each).items():
            lines.append(f"  {key} = {quantity_text(number.value, number.unit, units)} [{number.status}]")
            lines.append(f"      {table[key].meaning}")
            lines += textwrap.wrap(number.source, WIDTH, initial_indent="      from: ", subsequent_indent="      ")
            keys += [found for found in reference_keys(number.source) if found not in keys]
        known = references()
        if keys:
            lines += [
                "",
                "  Sources, and how much of each was read; orchardsim/catalogue/references.toml cites them in full",
            ]
        for key in keys:
            lines.append(f"  [{key}] {known[key].seen}")
    return lines
