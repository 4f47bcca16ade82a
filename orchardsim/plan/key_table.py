"""Every key that may stand in a plan file, as one table made from the typed model: forms and handbook read it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from orchardsim.core.parameters import Sourced, Status
from orchardsim.plan.filling import CATALOGUE_YEAR, DEFAULT_SOURCE, brought, sourced, status_in
from orchardsim.plan.loading import section_catalogue
from orchardsim.plan.model import SECTIONS, PlanTable
from orchardsim.plan.raw import RawTable
from orchardsim.plan.tables import EXTRA

Schema = Mapping[str, Any]
KINDS: Final = {"string": "text", "integer": "whole number", "number": "number", "boolean": "true or false"}


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
    schema = PlanTable.model_json_schema()
    return tuple(_walk(schema, schema["$defs"], "", {}, False))


def _walk(table: Schema, tables: Schema, path: str, values: RawTable, listed: bool) -> Iterator[PlanKey]:
    """Keys of a table and of those in it, by its JSON schema; ``values`` are those of the catalogue."""
    inner: list[tuple[str, Schema, bool]] = []
    for name, told in table["properties"].items():
        own = next(
            (kind for kind in told.get("anyOf", ()) if kind.get("type") != "null"), told
        )  # a key may be left out
        held = own.get("items") or own.get("additionalProperties") or own
        if isinstance(held, Mapping) and "$ref" in held:
            by_name = ".NAME" if "additionalProperties" in own else ""
            inner.append((name + by_name, tables[held["$ref"].rpartition("/")[2]], "items" in own))
        else:
            required = name in table.get("required", ())
            yield _key(path, name, told | own, own.get("items", {}), values.get(name), required, listed)
    for name, below, several in inner:
        plain = name.removesuffix(".NAME")
        known = section_catalogue(plain) if not path and plain in SECTIONS else values.get(plain, {})
        # Named entries differ in their values: the catalogue shows those.
        known = {} if name.endswith(".NAME") or not isinstance(known, Mapping) else known
        yield from _walk(below, tables, f"{path}.{name}" if path else name, known, several)


def _key(path: str, name: str, told: Schema, item: Schema, value: object, required: bool, listed: bool) -> PlanKey:
    extra: Schema = told.get(EXTRA) or item.get(EXTRA) or {}
    kind = KINDS.get(told.get("type", ""), "list")
    unit = extra.get("unit", "1" if kind in ("number", "whole number") else "")
    meaning = told.get("description") or item.get("description", "")
    default: Sourced | None = None
    if isinstance(value, Mapping) and "value" in value:
        default = brought(sourced(value, "catalogue", name), f"{path}.{name}", CATALOGUE_YEAR)
    else:
        given = extra["default"] if extra.get("default") is not None else told.get("default")
        given = tuple(given) if isinstance(given, list) else given
        if given not in (None, (), [], ""):
            default = Sourced(given, unit, DEFAULT_SOURCE, cast("Status", status_in(meaning)))
    if extra:
        kind = {"text": "text", "flag": "true or false"}.get(unit, "number") + (
            " (or a list)" if extra["listed"] else ""
        )
    allowed = tuple(map(str, extra.get("allowed") or told.get("enum", ())))
    low, high = extra.get("low", told.get("minimum")), extra.get("high", told.get("maximum"))
    shown = "" if unit in ("text", "flag") else unit
    return PlanKey(path, name, kind, shown, low, high, allowed, required, default, meaning, listed)
