"""Typed tables made from the stages' parameter classes, and one clear line for whatever does not fit them."""

from __future__ import annotations

import dataclasses
import functools
import typing
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any, Final, Optional, TypeVar, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo, create_model
from pydantic.fields import FieldInfo

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.parameters import ParameterInfo
from orchardsim.core.text import quoted
from orchardsim.plan.quantities import UnitContext, Value, read_parameter, without_none
from orchardsim.plan.raw import RawTable

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from pydantic_core import ErrorDetails
    from typing_extensions import TypeIs


class Table(BaseModel):
    """A table of the plan file; a key that is not declared is an error."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    def stated(self, names: Iterable[str]) -> dict[str, object]:
        """The values, among ``names``, that the file states itself."""
        return {name: getattr(self, name) for name in names if name in self.model_fields_set}

    def named(self, key: str) -> dict[str, Table]:
        """Tables by name that a key holds; none where the file states none."""
        return getattr(self, key) or {}


TableType = TypeVar("TableType", bound=Table)
EXTRA: Final = "parameter"
"""Where a field says in the model's JSON schema what it declares beside its type."""
Fields = dict[str, tuple[object, object]]
"""Name -> annotation and default of a field, as pydantic takes them."""


def context_of(info: ValidationInfo) -> UnitContext:
    """Currency and masses that the plan is read with."""
    return info.context if isinstance(info.context, UnitContext) else UnitContext()


def quantity(
    unit: str, meaning: str, low: float | None = None, high: float | None = None
) -> tuple[BeforeValidator, FieldInfo]:
    """How a field reads a number with a unit, and what it says of itself: ``Annotated[float, *quantity(...)]``."""
    bounds = ParameterInfo(unit, meaning, low, high)
    return BeforeValidator(partial(_read, bounds, float)), _words(bounds)


def _words(info: ParameterInfo, default: object = None, listed: bool = False) -> FieldInfo:
    """What a field says of itself: meaning, unit, bounds, allowed words, and the value where a plan leaves it out."""
    told = dataclasses.asdict(info) | {"allowed": list(info.allowed), "default": default, "listed": listed}
    words: FieldInfo = Field(description=info.meaning, json_schema_extra={EXTRA: told})
    return words


def parameter_fields(cls: type, *, leave_out: Iterable[str] = ()) -> Fields:
    """Fields of a typed table for every declared parameter of a stage's dataclass, and for the dataclasses in it.

    All are optional here: what a file leaves out comes from a catalogue or the class's own default.
    """
    hints = typing.get_type_hints(cls)
    skipped = set(leave_out)
    fields: Fields = {}
    for field in dataclasses.fields(cls):
        if field.name in skipped:
            continue
        info = field.metadata.get("parameter")
        if info is not None:
            reader = BeforeValidator(partial(_read, info, hints[field.name]))
            default = None if field.default is dataclasses.MISSING else field.default
            listed = get_origin(without_none(hints[field.name])) is tuple
            fields[field.name] = (Annotated[object, reader, _words(info, default, listed)], None)
            continue
        shape, inner = nested_class(hints[field.name])
        if inner is not None:
            table = plain_table(inner)
            kinds = {"one": table, "named": dict[str, table], "listed": list[table]}  # type: ignore[valid-type]
            fields[field.name] = (Optional[kinds[shape]], None)  # noqa: UP045 - a type made while the program runs
    return fields


def nested_class(hint: object) -> tuple[str, type[DataclassInstance] | None]:
    """How a field holds another stage dataclass: one, a mapping of named ones, or a list of them.

    Returns tuple: ("one" | "named" | "listed", class), or ("", None) where the field holds none.
    """
    hint = without_none(hint)
    origin, parts = get_origin(hint), get_args(hint)
    if _is_class(hint):
        return "one", hint
    if origin in (dict, Mapping) and len(parts) == 2 and _is_class(parts[1]):
        return "named", parts[1]
    if origin is tuple and parts and _is_class(parts[0]):
        return "listed", parts[0]
    return "", None


def _is_class(hint: object) -> TypeIs[type[DataclassInstance]]:
    return isinstance(hint, type) and dataclasses.is_dataclass(hint)


@dataclass(frozen=True)
class Stated:
    """A value that the user wrote: its key path, as it was read, its unit inside the program, and what it means."""

    key: str
    value: object
    unit: str
    meaning: str


def stated_values(table: Table, path: str = "") -> list[Stated]:
    """Every value that a table and the tables within it state."""
    stated: list[Stated] = []
    for name, field in type(table).model_fields.items():
        if name not in table.model_fields_set:
            continue
        value, key = getattr(table, name), key_path(path, [name])
        inner: list[tuple[str, Table]] = []
        if isinstance(value, Table):
            inner = [(key, value)]
        elif isinstance(value, dict):
            inner = [(f"{key}.{each}", part) for each, part in value.items() if isinstance(part, Table)]
            stated += [Stated(f"{key}.{each}", _words_of(part), "", "") for each, part in _plain_parts(value)]
        elif isinstance(value, list) and any(isinstance(part, Table) for part in value):
            inner = [(f"{key} {number}", part) for number, part in enumerate(value, start=1)]
        else:
            told = declared(field)
            extra: Any = told.json_schema_extra or {}
            stated.append(Stated(key, value, extra.get(EXTRA, {}).get("unit", ""), told.description or ""))
        for each, part in inner:
            stated += stated_values(part, each)
    return stated


def _plain_parts(value: RawTable) -> list[tuple[str, object]]:
    """What stands in a mapping and is no table of the model."""
    return [(each, part) for each, part in value.items() if not isinstance(part, Table)]


def _words_of(part: object) -> str:
    """A plain value, or a small table of them, in words."""
    if not isinstance(part, Mapping):
        return str(part)
    return ", ".join(f"{name} {_words_of(each)}" for name, each in part.items())


def declared(field: FieldInfo) -> FieldInfo:
    """Where unit and meaning of a field stand: on itself, or on the type within ``X | None`` or ``list[X]``."""
    waiting: list[object] = [field.annotation]
    if field.json_schema_extra is not None:
        return field
    while waiting:
        current = waiting.pop(0)
        for extra in getattr(current, "__metadata__", ()):
            if isinstance(extra, FieldInfo):
                return extra
        waiting += [part for part in get_args(current) if part is not current]
    return field


@functools.cache
def plain_table(cls: type) -> type[Table]:
    """Typed table of one stage dataclass."""
    return table_of(cls.__name__, cls, base=Table)


def _read(parameter: ParameterInfo, hint: object, raw: object, info: ValidationInfo) -> Value:
    return read_parameter(raw, parameter, hint, context_of(info))


def table_of(
    name: str, *classes: type, base: type[TableType], leave_out: Iterable[str] = (), more: Fields | None = None
) -> type[TableType]:
    """Typed table that holds the parameters of one or several stage classes, and ``more`` fields."""
    fields: Fields = {}
    for cls in classes:
        fields.update(parameter_fields(cls, leave_out=leave_out))
    fields.update(more or {})
    make: Callable[..., type[TableType]] = create_model
    return make(name, __base__=base, **fields)


def validated(model: type[TableType], raw: RawTable, where: str, context: UnitContext, path: str = "") -> TableType:
    """A table read by its model.

    Raises InputError: of all faults the one to mend first: a misspelt key before what it seems to leave out.
    """
    try:
        return model.model_validate(dict(raw), context=context)
    except ValidationError as error:
        raise first_fault(model, error, where, path) from None


def first_fault(model: type[BaseModel], error: ValidationError, where: str, path: str = "") -> InputError:
    """The fault to report, as one line with file, key path, found and allowed."""
    faults = sorted(error.errors(), key=lambda fault: fault["type"] != "extra_forbidden")
    fault = faults[0]
    location = fault["loc"]
    key = key_path(path, location)
    others = f" ({len(faults) - 1} more to mend after this one)" if len(faults) > 1 else ""
    if fault["type"] == "extra_forbidden":
        names = _names_at(model, location[:-1])
        parent = key_path(path, location[:-1])
        hint = HINTS.get((*(part for part in location[:2] if isinstance(part, str)), str(location[-1])))
        if hint is not None and len(location) == (4 if location[0] == "market" else 3):
            return InputError(where, f"{key}: unknown key; {hint}{others}")
        return InputError(
            where,
            f"{key}: unknown key {quoted(str(location[-1]))}{' in ' + parent if parent else ''}, "
            f"{nearest_names(str(location[-1]), names)}{others}",
        )
    return InputError(where, f"{key}: {_fault_words(fault)}{others}")


def key_path(path: str, location: Iterable[int | str]) -> str:
    """Key path in words: ``("block", 0, "row_spacing")`` -> ``block 1.row_spacing``."""
    text = path
    for part in location:
        if isinstance(part, int):
            text += f" {part + 1}"
        else:
            text += f".{part}" if text else str(part)
    return text


_PRICES: Final = (
    "prices of a cultivar are wholesale_extra_fancy and wholesale_fancy (packed, before packing and storage are paid), "
    "direct, pick_your_own, processing and juice"
)
HINTS: Final[dict[tuple[str, ...], str]] = {
    ("block", "rows"): "rows are stated for row groups, in [[block.group]]; a block itself takes net_area, gross_area "
    "or trees",
    ("block", "area"): "did you mean 'net_area' (land under the trees) or 'gross_area' (with headlands)?",
    **{
        ("market", "fruit", name): _PRICES
        for name in ("price", "prices", "wholesale", "packed", "packed_price", "fresh")
    },
}
"""Keys that users look for in a block or in a cultivar's prices, and where to write them."""
_EXPECTED = {
    "string_type": "text in quotes",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def _fault_words(fault: ErrorDetails) -> str:
    kind, found = fault["type"], fault.get("input")
    if kind == "missing":
        return "missing; this key is required"
    if kind == "value_error":
        return str(fault["ctx"]["error"])
    if kind in _EXPECTED:
        return f"found {quoted(found)}, expected {_EXPECTED[kind]}"
    if kind == "string_pattern_mismatch" or kind == "string_too_short":
        return f"found {quoted(found)}, expected a name"
    if kind == "string_too_long":
        return f"found a text of {len(str(found))} characters, allowed at most {fault['ctx']['max_length']}"
    if kind == "too_short":
        return f"found {quoted(found)}, expected at least one"
    if kind == "too_long":
        return f"found {fault['ctx']['actual_length']} entries, allowed at most {fault['ctx']['max_length']}"
    if kind == "literal_error":
        return f"found {quoted(found)}, allowed: {fault['ctx']['expected']}"
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        ((name, bound),) = fault["ctx"].items()
        words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}[name]
        return f"found {quoted(found)}, allowed {words} {bound:g}"
    return f"found {quoted(found)}: {fault['msg']}"


def _names_at(model: type[BaseModel], location: Iterable[int | str]) -> list[str]:
    """Names allowed in the table at a place of the model."""
    current: object = model
    for part in location:
        current = _annotation(current)
        if get_origin(current) in (list, dict, tuple):
            current = get_args(current)[-1]
        elif isinstance(current, type) and issubclass(current, BaseModel) and part in current.model_fields:
            current = current.model_fields[str(part)].annotation
        else:
            return []
    current = _annotation(current)
    return list(current.model_fields) if isinstance(current, type) and issubclass(current, BaseModel) else []


def _annotation(annotation: object) -> object:
    """The type within ``X | None`` and ``Annotated[X, ...]``."""
    annotation = without_none(annotation)
    return _annotation(get_args(annotation)[0]) if get_origin(annotation) is Annotated else annotation
