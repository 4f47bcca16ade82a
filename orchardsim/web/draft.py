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
from orchardsim.results.fit import LEARNED_FILE
from orchardsim.web.folder import Folder
from orchardsim.web.orders import PLAN_FILE

Place = tuple[str | int, ...]
"""Where a value stands: names of tables, and numbers in lists of tables."""
LISTS: Final = ("block", "group", "pollinizer", "crews", "idle_land")
"""Tables that stand several times, of which the page adds and removes some."""
OWN: Final = ("cultivar", "rootstock", "training_system", "tree_grade")
"""Tables of entries of the plan's own, each under its name."""
FIRST_OF_LIST: Final[dict[str, dict[str, Any]]] = {
    "block": {
        "name": "new block",
        "cultivar": "Gala",
        "rootstock": "M.9",
        "training": "tall_spindle",
        "row_spacing": "3.5 m",
        "tree_spacing": "1.0 m",
        "trees": 500,
    },
    "pollinizer": {"cultivar": "crab", "every_tree": 20, "every_row": 2},
    "crews": {"name": "farm crew", "workers": 6},
    "idle_land": {"gross_area": "1 ha"},
}
"""What an empty list begins with: sizes of no real farm, to be changed."""
FILES: Final = (("weather", "record"), ("futures", "learned"))
"""Keys of a plan that name a file."""
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
    text : str
        The plan file as it would be saved.
    raw : dict
        Its tables as plain values.
    revision : int
        Rises with each change that was taken over: a page that knows an older one shows old fields.
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
        self.saved = raw.decode("utf-8-sig", "replace")
        self._check_files(self.saved)
        self.plan = self._load(folder.plan_path(name))
        self._keep(self._parse(self.saved))
        self.waiting: dict[Place, tuple[str, str]] = {}
        self.past: list[str] = []
        self.revision = 0

    def _keep(self, document: tomlkit.TOMLDocument) -> None:
        self.document = document
        self.text = tomlkit.dumps(document)
        self.raw = dict(document.unwrap())

    @property
    def changed(self) -> bool:
        """Whether anything is not saved yet."""
        return self.text != self.saved

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

    def add(self, place: Place, name: str = "", like: str = "") -> None:
        """Add a table to a list of tables, or an entry of the plan's own that takes over the values of one ``like`` it.

        A list that holds some gets a copy of its last.
        """
        document = self._copy()
        last = str(place[-1])
        if place in {(kind,) for kind in OWN}:
            _add_own(document, last, name.strip(), like)
        elif last in LISTS:
            parent = _walk(document, place[:-1])
            held = _as_list(parent, last)
            rows = self._rows_of(place) if last == "group" else 0
            entry = _copied(held, rows) if held else _first(parent, last)
            entry.trivia.indent = "\n"  # a line of air before it
            held.append(entry)
        else:
            raise InputError(last, f"no list of tables that grows here; allowed: {', '.join((*LISTS, *OWN))}")
        self._accept(document)

    def _rows_of(self, place: Place) -> int:
        """Rows of the last row group of a block."""
        number = place[1] if len(place) > 1 else None
        blocks = self.plan.blocks
        return blocks[number].groups[-1].rows if isinstance(number, int) and 0 <= number < len(blocks) else 0

    def remove(self, place: Place) -> None:
        """Take one table out of a list of tables, or one of the plan's own entries."""
        document = self._copy()
        parent, last, one = _walk(document, place[:-2]), str(place[-2]) if len(place) > 1 else "", place[-1]
        held: Any = parent.get(last) if isinstance(parent, MutableMapping) else None
        listed = last in LISTS and isinstance(one, int) and isinstance(held, list) and 0 <= one < len(held)
        alone = last in LISTS and isinstance(held, MutableMapping) and one == 0
        own = last in OWN and len(place) == 2 and isinstance(held, MutableMapping) and one in held
        if not (listed or alone or own):
            raise InputError(last or "place", "no such table in the plan")
        if alone or len(held) == 1:
            del parent[last]
        else:
            del held[one]
        self._accept(document)

    def back(self) -> None:
        """Take the last change back."""
        if self.past:
            text = self.past.pop()
            self.revision += 1
            self.plan = self._load(text)
            self._keep(self._parse(text))
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
        self.plan = self._load(tomlkit.dumps(document))  # of the text itself: what is kept is what was checked
        self.past = [*self.past[1 - MOST_STEPS :], self.text]
        self.revision += 1
        self._keep(document)

    def _copy(self) -> tomlkit.TOMLDocument:
        return self._parse(self.text)

    def _parse(self, text: str) -> tomlkit.TOMLDocument:
        try:
            return tomlkit.parse(text)
        except TOMLKitError as error:
            raise InputError(f"{self.name}.toml", f"broken TOML: {error}") from None

    def _check_files(self, text: str) -> dict[str, Any]:
        """Tables of a text that names no file outside the folder; before any of them is opened."""
        try:
            raw = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            raise InputError(f"{self.name}.toml", f"broken TOML: {error}") from None
        for table, key in FILES:
            for one in (raw, *_scenarios(raw)):
                inner = one.get(table)
                found = inner.get(key) if isinstance(inner, dict) else None
                for name in (found, one.get(f"{table}.{key}")):
                    self.folder.check_named(f"{table}.{key}", name)
        return raw

    def _load(self, source: Any) -> Plan:
        """The plan of a file or of a text; either way it bears the file's name."""
        path = self.folder.plan_path(self.name)
        if not isinstance(source, str):
            return load_plan(source)
        raw = self._check_files(source)
        return dataclasses.replace(load_plan(raw, base=path.parent), path=path)


def _scenarios(raw: dict[str, Any]) -> list[dict[str, Any]]:
    held = raw.get("scenario")
    return [one for one in held.values() if isinstance(one, dict)] if isinstance(held, dict) else []


def _add_own(document: tomlkit.TOMLDocument, kind: str, name: str, like: str) -> None:
    if not name or not like:
        raise InputError(kind, "expected a name of its own, and the entry that it is like")
    held = document.get(kind)
    if held is None:
        document[kind] = tomlkit.table(is_super_table=True)
        held = document[kind]
    if name in held:
        raise InputError(kind, f"{name!r} stands in the plan already; choose another name")
    entry = tomlkit.table()
    entry["like"] = like
    held[name] = entry


def _as_list(parent: Any, name: str) -> Any:
    """A list of tables, made where a plan holds none, or writes one table without a list."""
    held: Any = parent.get(name)
    if isinstance(held, AoT):
        return held
    tables = []
    if held is not None:
        tables = [tomlkit.table()]
        tables[0].update(held.unwrap())
    parent[name] = AoT(tables)
    return parent[name]


def _first(parent: Any, name: str) -> Any:
    """What an empty list begins with; the first row group of a block is the block's own trees."""
    table = tomlkit.table()
    if name == "group":
        table["name"] = str(parent.get("cultivar", "rows"))
    else:
        table.update(FIRST_OF_LIST[name])
    return table


def _copied(held: Any, rows: int) -> Any:
    """The last of a list under a name of its own; where it takes the rows that are left, each takes half of them."""
    if rows and "rows" not in held[-1]:
        held[-1]["rows"] = rows - rows // 2
        entry = tomlkit.item({name: value for name, value in held[-1].unwrap().items() if name != "rows"}, _parent=held)
    else:
        entry = tomlkit.item(held[-1].unwrap(), _parent=held)
    names = {str(one.get("name")) for one in held}
    if "name" in entry:
        entry["name"] = next(
            name for number in range(2, 100) if (name := f"{entry['name']} {number}"[:80]) not in names
        )
    return entry


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


def go_on(folder: Folder, name: str, number: int) -> str:
    """Write the plan of a kept fit into the folder, with what was learned beside it; gives the new plan's name.

    Raises
    ------
    InputError
        If nothing was learned under this number.
    """
    fitted, learned, before = (folder.kept_file(name, number, one) for one in (f"{name}.toml", LEARNED_FILE, PLAN_FILE))
    if fitted is None or learned is None or before is None:
        raise InputError("learned", "found no such fit under this plan")
    new = f"{name[:40]} learned {number}"
    beside = f"{new}.json"
    plan = tomlkit.parse(fitted.read_text(encoding="utf-8"))
    plan["futures"]["learned"] = beside
    if "record" in plan.get("weather", {}):
        # The fitted plan names its record as seen from the folder that it is kept in.
        plan["weather"]["record"] = tomlkit.parse(before.read_text(encoding="utf-8"))["weather"]["record"]
    folder.new(folder.place / beside, learned.read_bytes())
    folder.new(folder.plan_path(new), tomlkit.dumps(plan).encode())
    return new
