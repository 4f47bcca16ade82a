"""Every key that may stand in a plan file, as one table made from the typed model: forms and handbook read it."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from orchardsim.core.parameters import Sourced, Status
from orchardsim.plan.filling import CATALOGUE_YEAR, DEFAULT_SOURCE, brought, sourced, status_in
from orchardsim.plan.loading import section_catalogue
from orchardsim.plan.model import SECTIONS, PlanTable
from orchardsim.plan.raw import RawTable
from orchardsim.plan.tables import Table, declared

KINDS: Final[dict[type, str]] = {str: "text", int: "whole number", float: "number", bool: "true or false"}


@dataclass(frozen=True)
class PlanKey:
    """One key of a plan file.

    Attributes
    ----------
    table : str
        Table that it stands in, "" for the top; "block.group" is ``[[block.group]]``, ``NAME`` a name of your own.
    kind : str
        "number", "whole number", "true or false", "text", "list", "table".
    unit : str
        Inside the program; a plan may write any unit of the same kind. "1" for a plain number.
    low, high : float or None
        Bounds, both allowed.
    allowed : tuple of str
        Words that a text may be.
    required : bool
        Whether a plan must state it.
    default : Sourced or None
        Value where the plan does not state it, with source and status.
    listed : bool
        Whether the table may stand several times, as ``[[table]]``.
    """

    table: str
    name: str
    kind: str
    unit: str
    low: float | None
    high: float | None
    allowed: tuple[str, ...]
    required: bool
    default: Sourced | None
    meaning: str
    listed: bool = False

    @property
    def key(self) -> str:
        """Dotted path."""
        return f"{self.table}.{self.name}" if self.table else self.name


def plan_keys() -> tuple[PlanKey, ...]:
    """All keys of a plan file, table by table."""
    return tuple(_walk(PlanTable, "", {}, False))


def _walk(model: type[BaseModel], path: str, values: RawTable, listed: bool) -> Iterator[PlanKey]:
    inner: list[tuple[str, type[BaseModel], bool]] = []
    for name, field in model.model_fields.items():
        found, shape = _table_in(field.annotation)
        if found is None:
            yield _key(path, name, field, values.get(name), listed)
        else:
            inner.append((f"{name}.NAME" if shape is dict else name, found, shape is list))
    for name, table, several in inner:
        plain = name.removesuffix(".NAME")
        known = section_catalogue(plain) if not path and plain in SECTIONS else values.get(plain, {})
        # Named entries differ in their values: the catalogue shows those.
        known = {} if name.endswith(".NAME") or not isinstance(known, Mapping) else known
        yield from _walk(table, f"{path}.{name}" if path else name, known, several)


def _table_in(annotation: object) -> tuple[type[Table] | None, object]:
    """The table that a field holds, and whether alone, by name (dict) or several (list)."""
    shape: object = None
    waiting = [annotation]
    while waiting:
        current = waiting.pop(0)
        origin = get_origin(current)
        if isinstance(current, type) and issubclass(current, Table):
            return current, shape
        if origin in (dict, list):
            shape = origin
        if origin in (dict, list, typing.Union, types.UnionType, Annotated):
            waiting += [part for part in get_args(current) if part is not type(None)]
    return None, None


def _key(path: str, name: str, field: FieldInfo, value: object, listed: bool) -> PlanKey:
    told = declared(field)
    extra = told.json_schema_extra if isinstance(told.json_schema_extra, dict) else {}
    kind, bounds, words = _plain(field)
    unit = str(extra.get("unit", "1" if kind in ("number", "whole number") else ""))
    low, high = extra.get("low", bounds[0]), extra.get("high", bounds[1])
    meaning = told.description or field.description or ""
    default: Sourced | None = None
    if isinstance(value, Mapping) and "value" in value:
        default = brought(sourced(value, "catalogue", name), f"{path}.{name}", CATALOGUE_YEAR)
    else:
        given = extra.get("default")
        if given is None and not field.is_required():
            given = field.get_default(call_default_factory=True)
        if given not in (None, (), [], ""):
            default = Sourced(given, unit, DEFAULT_SOURCE, typing.cast("Status", status_in(meaning)))
    if extra:
        kind = {"text": "text", "flag": "true or false"}.get(unit, "number")
        kind += " (or a list)" if extra.get("listed") else ""
    allowed = tuple(map(str, typing.cast("list[object]", extra.get("allowed") or list(words))))
    return PlanKey(
        path, name, kind, "" if unit in ("text", "flag") else unit, typing.cast("float | None", low),
        typing.cast("float | None", high), allowed, field.is_required(), default, meaning, listed,
    )  # fmt: skip


def _plain(field: FieldInfo) -> tuple[str, list[float | None], tuple[object, ...]]:
    """Kind, bounds and allowed words of a field that says them in its type."""
    kind = "list"
    bounds: list[float | None] = [None, None]
    words: tuple[object, ...] = ()
    waiting: list[object] = [field.annotation, *field.metadata]
    while waiting:
        current = waiting.pop(0)
        if get_origin(current) is Literal:
            kind, words = "text", get_args(current)
        elif isinstance(current, type) and current in KINDS and kind == "list":
            kind = KINDS[current]
        elif isinstance(current, FieldInfo):
            waiting += current.metadata
        elif hasattr(current, "ge") or hasattr(current, "le"):
            bounds = [getattr(current, "ge", bounds[0]), getattr(current, "le", bounds[1])]
        elif get_origin(current) in (typing.Union, types.UnionType, Annotated):
            waiting += [*get_args(current), *getattr(current, "__metadata__", ())]
    return kind, bounds, words
