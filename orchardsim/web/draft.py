"""A plan while it is edited: its text with all comments, and the plan that it makes."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from collections.abc import MutableMapping
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from orchardsim.core.errors import InputError
from orchardsim.plan import Plan, load_plan
from orchardsim.web.folder import Folder

Place = tuple[str | int, ...]
"""Where a value stands: names of tables, and numbers in lists of tables."""
LISTS: Final = (("block",), ("group",), ("pollinizer",))
"""Tables of which the page adds and removes some."""
MOST_STEPS: Final = 200
"""Changes that can be taken back."""


def read_entry(text: str, kind: str) -> Any:
    """Value that a field's text stands for; None where it is empty.

    Raises
    ------
    InputError
        If a list or a table is broken.

    Examples
    --------
    >>> read_entry("3.5 m", "number"), read_entry("12", "whole number"), read_entry("yes", "true or false")
    ('3.5 m', 12, True)
    >>> read_entry("0, 4, 6", "list"), read_entry('{ value = [1, 2], unit = "mm" }', "number (or a list)")
    ([0, 4, 6], {'value': [1, 2], 'unit': 'mm'})
    """
    text = text.strip()
    if not text:
        return None
    if kind == "true or false":
        return {"yes": True, "no": False}.get(text, text)
    if kind == "text":
        return text
    if text[0] in "[{":
        return _toml(text)
    if "," in text:
        parts = [_number(part.strip()) for part in text.split(",")]
        return parts if all(not isinstance(part, str) for part in parts) else text
    return _number(text)


def _toml(text: str) -> Any:
    try:
        found = tomllib.loads(f"value = {text}")
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        found = {}
    if list(found) != ["value"]:
        raise InputError("value", f"found {text!r}; expected a list such as [1, 2, 3], or a number with its unit")
    return found["value"]


def _number(text: str) -> Any:
    for kind in (int, float):
        try:
            value = kind(text)
        except ValueError:
            continue
        if math.isfinite(value):
            return value
    return text


def entry_text(value: Any) -> str:
    """What a field shows of a value that the plan states.

    Examples
    --------
    >>> entry_text(True), entry_text("3.5 m"), entry_text([0, 4, 6]), entry_text(None)
    ('yes', '3.5 m', '0, 4, 6', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if isinstance(value, list) and all(isinstance(one, (int, float)) for one in value):
        return ", ".join(map(str, value))
    if isinstance(value, (list, dict)):
        return str(tomlkit.item(value, _parent=tomlkit.array()).as_string()).strip()
    return str(value)


class Draft:
    """One plan of the folder, open for changes.

    Parameters
    ----------
    folder : Folder
    name : str
        Of the plan, without ending.

    Attributes
    ----------
    plan : Plan
        What the text makes; always whole.
    waiting : dict
        Texts of fields that were refused, by place: they may be right once another field has changed.

    Raises
    ------
    InputError
        If the file is no plan.
    """

    def __init__(self, folder: Folder, name: str) -> None:
        self.folder, self.name = folder, name
        raw = folder.read_plan(name)
        self.plan = self._load(folder.plan_path(name))
        self.saved = raw.decode("utf-8-sig")
        self.document = self._parse(self.saved)
        self.waiting: dict[Place, tuple[str, str]] = {}
        self.past: list[str] = []

    @property
    def text(self) -> str:
        """The plan file as it would be saved."""
        return tomlkit.dumps(self.document)

    @property
    def changed(self) -> bool:
        """Whether anything is not saved yet."""
        return self.text != self.saved

    @property
    def raw(self) -> dict[str, Any]:
        """Tables as plain values."""
        return dict(self.document.unwrap())

    def value(self, place: Place) -> Any:
        """What the plan states at a place; None where it states nothing."""
        found: Any = self.raw
        for part in place:
            try:
                found = found[part]
            except (KeyError, IndexError, TypeError):
                return None
        return found

    def edit(self, place: Place, text: str, kind: str) -> None:
        """Take over a field's text; with it, those that were refused before, where all fit together.

        Raises
        ------
        InputError
            If it makes no plan. It waits then.
        """
        self.waiting.pop(place, None)
        try:
            read_entry(text, kind)
            if self.waiting:
                try:
                    self._take({**self.waiting, place: (text, kind)})
                    self.waiting.clear()
                    return
                except InputError:
                    pass
            self._take({place: (text, kind)})
        except InputError:
            self.waiting[place] = (text, kind)
            raise

    def add(self, place: Place) -> None:
        """Copy the last of a list of tables under a name of its own; an empty list gets its first."""
        document = self._copy()
        parent, last = _walk(document, place[:-1]), str(place[-1])
        if (last,) not in LISTS:
            raise InputError(last, "no list of tables that grows here; allowed: block, group, pollinizer")
        held = parent.get(last)
        if held:
            entry = tomlkit.item(held[-1].unwrap(), _parent=held)
            names = {str(one.get("name")) for one in held}
            if "name" in entry:
                entry["name"] = next(
                    name for number in range(2, 100) if (name := f"{entry['name']} {number}"[:80]) not in names
                )
            held.append(entry)
        elif last == "pollinizer":
            table = tomlkit.table()
            table.update({"cultivar": "crab", "every_tree": 20, "every_row": 2})
            parent[last] = AoT([table])
        else:
            raise InputError(last, "the block has no row groups to copy; state them in the file")
        self._accept(document)

    def remove(self, place: Place) -> None:
        """Take one table out of a list of tables."""
        document = self._copy()
        parent, last, number = _walk(document, place[:-2]), str(place[-2]), place[-1]
        held = parent.get(last)
        if (last,) not in LISTS or not isinstance(number, int) or not held or not 0 <= number < len(held):
            raise InputError(last, "no such table in the plan")
        if len(held) == 1:
            del parent[last]
        else:
            del held[number]
        self._accept(document)

    def back(self) -> None:
        """Take the last change back."""
        if self.past:
            text = self.past.pop()
            self.plan, self.document = self._load(text), self._parse(text)
            self.waiting.clear()

    def save(self, name: str | None = None) -> None:
        """Write the plan, under another name where one is given; comments stay."""
        text = self.text.encode("utf-8")
        if name is not None and name != self.name:
            self.folder.new(self.folder.plan_path(name), text)
            return
        try:
            disk = self.folder.read_plan(self.name).decode("utf-8-sig", "replace")
        except InputError:
            disk = self.saved
        if disk != self.saved:
            raise InputError(
                f"{self.name}.toml", "was changed on disk since it was opened; save under another name, or open it anew"
            )
        self.folder.replace(self.folder.plan_path(self.name), text)
        self.saved = self.text

    def _take(self, changes: dict[Place, tuple[str, str]]) -> None:
        document = self._copy()
        for place, (text, kind) in changes.items():
            _put(document, place, read_entry(text, kind))
        self._accept(document)

    def _accept(self, document: tomlkit.TOMLDocument) -> None:
        text = tomlkit.dumps(document)
        plan = self._load(text)  # of the text itself: what is kept is what was checked
        self.past = [*self.past[1 - MOST_STEPS :], self.text]
        self.document, self.plan = document, plan

    def _copy(self) -> tomlkit.TOMLDocument:
        return self._parse(self.text)

    def _parse(self, text: str) -> tomlkit.TOMLDocument:
        try:
            return tomlkit.parse(text)
        except TOMLKitError as error:
            raise InputError(f"{self.name}.toml", f"broken TOML: {error}") from None

    def _load(self, source: Any) -> Plan:
        """The plan of a file or of a text; either way it bears the file's name."""
        path = self.folder.plan_path(self.name)
        if not isinstance(source, str):
            return load_plan(source)
        try:
            raw = tomllib.loads(source)
        except tomllib.TOMLDecodeError as error:
            raise InputError(path.name, f"broken TOML: {error}") from None
        return dataclasses.replace(load_plan(raw, base=path.parent), path=path)


def _walk(document: Any, place: Place, make: bool = False) -> Any:
    found = document
    for part in place:
        try:
            if isinstance(found, MutableMapping) and make and part not in found:
                if isinstance(found, tomlkit.TOMLDocument):
                    found.add(tomlkit.nl())
                found[str(part)] = tomlkit.table()
            found = found[part]
        except (KeyError, IndexError, TypeError):
            raise InputError(".".join(map(str, place)), "no such table in the plan") from None
    return found


def _put(document: Any, place: Place, value: Any) -> None:
    parent = _walk(document, place[:-1], make=value is not None)
    if not isinstance(parent, MutableMapping):
        raise InputError(".".join(map(str, place)), "no such key in the plan")
    if value is None:
        parent.pop(str(place[-1]), None)
    else:
        parent[str(place[-1])] = value
