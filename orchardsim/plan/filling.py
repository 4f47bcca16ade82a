"""Fills the stages' parameter classes from what a plan states, what the catalogues hold, and the classes' defaults."""

from __future__ import annotations

import dataclasses
import re
import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.parameters import STATUSES, ParameterInfo, Sourced, Status
from orchardsim.core.units import example, in_currency
from orchardsim.plan.price_index import factor, index_names, terms_of
from orchardsim.plan.quantities import UnitContext, Value, read_parameter
from orchardsim.plan.raw import Parameters, RawTable, made, subtable
from orchardsim.plan.tables import Table, nested_class

if typing.TYPE_CHECKING:
    from _typeshed import DataclassInstance


@dataclass(frozen=True)
class Assumption:
    """A number of the resolved plan that the user did not state: where it comes from and how good it is."""

    key: str
    value: object
    unit: str
    source: str
    status: str


DEFAULT_SOURCE: Final = "default of the program"
CATALOGUE_CURRENCY: Final = "USD"
CATALOGUE_YEAR: Final = 2024
"""Year of the plan's money where it states none."""


def sourced(raw: object, where: str, key: str) -> Sourced:
    """A catalogue's inline table as a number with its source.

    Raises InputError if it lacks value, unit, source or status, or its status is no status word.
    """
    needed = {"value", "unit", "source", "status"}
    if not isinstance(raw, Mapping) or not needed <= set(raw) <= needed | {"low", "high", "money_year", "index"}:
        raise InputError(where, f"{key}: found {raw!r}, expected {{ value, unit, source, status }}")
    if raw["status"] not in STATUSES:
        raise InputError(where, f"{key}: found status {raw['status']!r}, allowed: {', '.join(STATUSES)}")
    if "index" in raw and raw["index"] not in index_names():
        raise InputError(where, f"{key}: found index {raw['index']!r}, allowed: {', '.join(index_names())}")
    return Sourced(raw["value"], raw["unit"], raw["source"], raw["status"], raw.get("money_year"), raw.get("index"))


def brought(entry: Sourced, key: str, price_year: int, usd_rate: float = 1.0) -> Sourced:
    """A catalogue entry with its money in another year's and currency, its source saying so; others as they are.

    Parameters
    ----------
    key : str
        In a plan, such as "costs.fence".
    usd_rate : float
        Money of the plan's currency for one US dollar.
    """
    if CATALOGUE_CURRENCY not in entry.unit:
        return entry
    year, index = terms_of(entry.money_year, entry.index, key)
    indexed = factor(index, year, price_year)
    times = indexed * usd_rate
    if indexed == 1.0 and usd_rate == 1.0:
        return entry
    value = [amount * times for amount in entry.value] if isinstance(entry.value, list) else entry.value * times
    written = entry.value if not isinstance(entry.value, list) else "values"
    text = f"{entry.source}; {written} of {year}"
    if indexed != 1.0:
        text += f" times {indexed:.3f} by the {index} index to {price_year}"
    if usd_rate != 1.0:
        text += f" times {usd_rate:g} by the plan's usd_rate"
    status: Status = "derived" if entry.status == "read" else entry.status
    return dataclasses.replace(entry, value=value, source=text, status=status)


def status_in(meaning: str) -> str:
    """Status of a default whose meaning says where it is from, "(read: ...)"; an assumption otherwise.

    Examples
    --------
    >>> status_in("years from order to delivery (read: trade press)"), status_in("people in the crew")
    ('read', 'assumption')
    """
    match = re.search(r"\((" + "|".join(STATUSES) + r")\b", meaning)
    return match[1] if match else "assumption"


@dataclass(frozen=True)
class Filler:
    """Where a plan's values are taken from.

    Attributes
    ----------
    where : str
        The plan file, for messages.
    context : UnitContext
        Currency and masses by which written quantities are read.
    price_year : int
        Year to which the catalogue's money is brought.
    usd_rate : float
        Money of the plan's currency for one US dollar, by which the catalogue's money is brought into it.
    assumed : dict
        Key -> number that the user did not state; a key is kept once.
    """

    where: str
    context: UnitContext
    price_year: int = CATALOGUE_YEAR
    usd_rate: float = 1.0
    assumed: dict[str, Assumption] = field(default_factory=dict)

    def note(self, key: str, value: object, unit: str, source: str, status: str) -> None:
        """Keep one assumed number."""
        self.assumed.setdefault(key, Assumption(key, value, unit, source, status))

    def apart(self) -> Filler:
        """The same, for values that are no part of the plan: what it fills is not counted as assumed."""
        return dataclasses.replace(self, assumed={})

    def fill(
        self,
        cls: type[Parameters],
        path: str,
        stated: Table | None = None,
        catalogue: RawTable | None = None,
        catalogue_name: str = "catalogue",
        likeness: str = "",
        given: RawTable | None = None,
    ) -> Parameters:
        """An instance of a stage's parameter class.

        Raises InputError where a required key has no value.

        Parameters
        ----------
        cls : type
            Dataclass with declared parameters.
        path : str
            Key path of the table in the plan.
        stated : Table, optional
            The table as read from the plan; what it states comes first.
        catalogue : mapping, optional
            Entries ``{value, unit, source, status}`` by key, that come second; the class's defaults are last.
        catalogue_name : str
            File of ``catalogue``, for messages.
        likeness : str
            How missing values could be taken over from another entry, for messages.
        given : mapping, optional
            Values that the plan room supplies itself.
        """
        catalogue = catalogue or {}
        hints = typing.get_type_hints(cls)
        known = {each.name for each in dataclasses.fields(cls)}
        for key in catalogue:
            if key not in known:
                raise InputError(catalogue_name, f"{path}.{key}: unknown key, {nearest_names(key, known)}")
        values: dict[str, object] = dict(given or {})
        missing: list[tuple[str, ParameterInfo]] = []
        for each in dataclasses.fields(cls):
            name = each.name
            if name in values:
                continue
            key = f"{path}.{name}" if path else name
            info: ParameterInfo | None = each.metadata.get("parameter")
            if info is None:
                shape, inner = nested_class(hints[name])
                if inner is not None:
                    self._fill_nested(values, name, key, shape, inner, stated, catalogue, catalogue_name)
                continue
            if stated is not None and name in stated.model_fields_set:
                values[name] = getattr(stated, name)
            elif name in catalogue:
                entry = brought(sourced(catalogue[name], catalogue_name, key), key, self.price_year, self.usd_rate)
                values[name] = self._entry_value(entry, info, hints[name], catalogue_name, key)
                self.note(key, values[name], info.unit, entry.source, entry.status)
            elif each.default is not dataclasses.MISSING:
                if each.default != ():
                    source = f"{DEFAULT_SOURCE}: {info.meaning}"
                    self.note(key, each.default, info.unit, source, status_in(info.meaning))
            else:
                missing.append((name, info))
        if missing:
            name, info = missing[0]
            others = [other for other, _ in missing[1:]]
            raise InputError(
                self.where,
                f"{path}.{name}: missing ({info.meaning}); expected for example "
                f"{name} = {_example(info, self.context.currency)}"
                + (f"; also missing: {', '.join(others)}" if others else "")
                + (f"; or take them over with {likeness}" if likeness else ""),
            )
        return made(cls, values)

    def _entry_value(self, entry: Sourced, info: ParameterInfo, hint: object, where: str, key: str) -> Value:
        """Value of a catalogue's entry in the stage's unit."""
        context = dataclasses.replace(self.context, infinite=True)
        raw: object = entry.value
        if entry.unit not in ("text", "flag"):
            # Catalogues name money by the currency that they were gathered in or by the word "money"; the value is in
            # the plan's by now.
            wanted = in_currency(info.unit, self.context.currency)
            unit = in_currency(entry.unit.replace(CATALOGUE_CURRENCY, "money"), self.context.currency)
            raw = {"value": entry.value, "unit": info.unit if unit == wanted else unit}
        try:
            return read_parameter(raw, info, hint, context)
        except ValueError as error:
            raise InputError(where, f"{key}: {error}") from None

    def _fill_nested(
        self,
        values: dict[str, object],
        name: str,
        key: str,
        shape: str,
        inner: type[DataclassInstance],
        stated: Table | None,
        catalogue: RawTable,
        catalogue_name: str,
    ) -> None:
        table = getattr(stated, name, None) if stated is not None else None
        entries = subtable(catalogue, name)
        if shape == "one":
            # A part such as insurance or tax counts only where the plan asks for it.
            if table is not None:
                values[name] = self.fill(inner, key, table, entries, catalogue_name)
        elif shape == "named":
            names = [*entries, *(each for each in (table or {}) if each not in entries)]
            values[name] = {
                each: self.fill(
                    inner, f"{key}.{each}", (table or {}).get(each), subtable(entries, each), catalogue_name
                )
                for each in names
            }
        elif table is not None:
            values[name] = tuple(
                self.fill(inner, f"{key} {number}", each, None) for number, each in enumerate(table, start=1)
            )


def _example(info: ParameterInfo, currency: str) -> str:
    if info.unit == "flag":
        return "true"
    if info.unit == "text":
        return f'"{info.allowed[0] if info.allowed else "..."}"'
    text = example(info.unit, currency)
    return text if text.replace(".", "").isdigit() else f'"{text}"'
