"""From what a plan or catalogue writes for one parameter to the number, word or flag that a stage needs."""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, get_args, get_origin

from orchardsim.core.errors import nearest_names
from orchardsim.core.numbers import inner_bound
from orchardsim.core.parameters import ParameterInfo
from orchardsim.core.text import quoted
from orchardsim.core.units import PLAIN_UNITS, convert, example, in_currency, parse_quantity, unit_written
from orchardsim.plan.formats import number_text
from orchardsim.plan.raw import RawTable

DEGREE_UNITS: Final = ("degree",)
"""Latitude and row direction may be written as plain numbers of degrees."""
LARGEST_MONEY: Final = 1e12
"""Of any currency, and of any amount per something; our own choice."""
SOURCED_KEYS: Final = frozenset({"value", "unit", "source", "status"})
Value = float | bool | str | tuple[float | str, ...]
"""What a parameter may hold."""


@dataclass(frozen=True)
class UnitContext:
    """What written quantities depend on in one plan: its currency, and the mass [kg] of its bins and boxes."""

    currency: str = "USD"
    masses: dict[str, float] = field(default_factory=dict)
    infinite: bool = False
    """Whether a number may be infinite (catalogues: an outlet without a limit)."""


def read_parameter(raw: object, info: ParameterInfo, hint: object, context: UnitContext) -> Value:
    """Value of a parameter as the stage wants it.

    Raises ValueError: what was found and what is allowed.

    Parameters
    ----------
    raw : any
        What stands in the TOML file: a number, a quantity as text, a list of them, or an inline table with
        ``value``, ``unit`` and, if wanted, ``source`` and ``status``.
    info : ParameterInfo
        Unit, bounds and allowed words.
    hint : type
        Annotation of the dataclass field.
    context : UnitContext
        The plan's currency and the mass of its bins and boxes.
    """
    hint = without_none(hint)
    unit = info.unit
    if raw == "unlimited" and info.limitless:
        return math.inf
    written = None
    if isinstance(raw, Mapping):
        raw, written = unpacked(raw)
    if get_origin(hint) is tuple:
        return _read_tuple(raw, written, info, hint, context)
    if hint is bool or unit == "flag":
        if not isinstance(raw, bool):
            raise ValueError(f"found {quoted(raw)}, expected true or false")
        return raw
    if hint is str or unit == "text":
        return _read_word(raw, info)
    value = bounded(raw, info, context, written)
    if hint is int:
        if value != round(value):
            raise ValueError(f"found {quoted(raw)}, expected a whole number")
        return round(value)
    return value


def _number(raw: object, unit: str, context: UnitContext, written: str | None) -> float:
    """Finite number in ``unit``; ``written`` is the unit of an inline table."""
    if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
        raise ValueError(f"found {quoted(raw)}, expected a quantity such as {example(unit, context.currency)!r}")
    if isinstance(raw, str):
        if written is not None:
            raise ValueError(
                f"found value = {quoted(raw)} beside unit = {quoted(written)}, expected a plain number there"
            )
        return parse_quantity(raw, unit, currency=context.currency, masses=context.masses)
    if math.isnan(raw) or (math.isinf(raw) and not context.infinite):
        raise ValueError(f"found {quoted(raw)}, expected a finite number")
    if written is not None:
        return convert(float(raw), written, unit, currency=context.currency, masses=context.masses)
    if unit not in PLAIN_UNITS and unit not in DEGREE_UNITS:
        raise ValueError(
            f"found {quoted(raw)} without a unit, expected one such as {example(unit, context.currency)!r}"
        )
    return float(raw)


def bounded(raw: object, info: ParameterInfo, context: UnitContext, written: str | None = None) -> float:
    """A number in the parameter's unit and bounds; ``written`` is the unit of an inline table.

    Raises ValueError, with the bounds in the unit that was written too.
    """
    value, low, high = _number(raw, info.unit, context, written), info.low, info.high
    if "money" in info.unit and LARGEST_MONEY < abs(value) < math.inf:
        raise ValueError(f"found {quoted(raw)}, allowed at most {LARGEST_MONEY:g} of any currency")
    if (low is not None and value < low) or (high is not None and value > high):
        unit = _shown(info.unit, context.currency)
        found = quoted(raw) if isinstance(raw, str) else f"{value:g} {unit}".rstrip()
        own = written or (unit_written(raw) if isinstance(raw, str) else "")
        raise ValueError(f"found {found}, allowed {_allowed_range(info, context, own)}")
    return value


def _allowed_range(info: ParameterInfo, context: UnitContext, own: str) -> str:
    """Bounds of a parameter in words, and in the unit ``own`` beside it where that is another one."""
    text = _range_text(info.low, info.high, _shown(info.unit, context.currency))
    if not own:
        return text
    # Units differ by a factor, and by a zero for temperatures: two points give both.
    zero, one = (
        convert(number, own, info.unit, currency=context.currency, masses=context.masses) for number in (0.0, 1.0)
    )
    if math.isclose(one, 1.0) and zero == 0:
        return text
    low, high = (
        None if bound is None else inner_bound((bound - zero) / (one - zero), low=is_low)
        for bound, is_low in ((info.low, True), (info.high, False))
    )
    if (low or 0.0) == 0 and high is None:
        return text
    return f"{text} ({_range_text(low, high, own, number_text)})"


def _range_text(low: float | None, high: float | None, unit: str, write: Callable[[float], str] = "{:g}".format) -> str:
    unit = f" {unit}".rstrip()
    if low is not None and high is not None:
        return f"{write(low)} to {write(high)}{unit}"
    if low is not None:
        return f"at least {write(low)}{unit}"
    return f"at most {write(high)}{unit}" if high is not None else "any number"


def without_none(hint: object) -> object:
    """``float | None`` -> ``float``."""
    if get_origin(hint) in (typing.Union, types.UnionType):
        kinds = [kind for kind in get_args(hint) if kind is not type(None)]
        return kinds[0] if len(kinds) == 1 else hint
    return hint


def _shown(unit: str, currency: str) -> str:
    unit = in_currency(unit, currency)
    return "" if unit == "1" else f"per {unit[2:]}" if unit.startswith("1/") else unit


def unpacked(raw: RawTable) -> tuple[object, str | None]:
    """Value and unit of an inline table."""
    unknown = sorted(set(raw) - SOURCED_KEYS)
    if unknown:
        raise ValueError(f"found the key {quoted(unknown[0])}, {nearest_names(unknown[0], SOURCED_KEYS)}")
    if "value" not in raw:
        raise ValueError("found a table without 'value', expected { value = ..., unit = ... }")
    unit = raw.get("unit")
    if unit is not None and not isinstance(unit, str):
        raise ValueError(f"found unit = {quoted(unit)}, expected text")
    if unit in ("text", "flag"):
        unit = None
    return raw["value"], unit


def _read_word(raw: object, info: ParameterInfo) -> str:
    if not isinstance(raw, str):
        raise ValueError(f"found {quoted(raw)}, expected text")
    if info.allowed and raw not in info.allowed:
        raise ValueError(
            f"found {quoted(raw)}, {nearest_names(raw, info.allowed)}" + f" (allowed: {', '.join(info.allowed)})"
        )
    return raw


def _read_tuple(
    raw: object, written: str | None, info: ParameterInfo, hint: object, context: UnitContext
) -> tuple[float | str, ...]:
    kinds = get_args(hint)
    kind = kinds[0] if kinds else float
    fixed = len(kinds) if kinds and kinds[-1] is not Ellipsis else None
    if not isinstance(raw, Sequence) or isinstance(raw, str):
        raw = [raw]
    if not raw:
        raise ValueError("found an empty list, expected at least one value")
    if fixed is not None and len(raw) != fixed:
        raise ValueError(f"found {len(raw)} values, expected {fixed}")
    values: list[float | str] = []
    for position, item in enumerate(raw, start=1):
        try:
            if kind is str:
                values.append(_read_word(item, info))
                continue
            value = bounded(item, info, context, written)
            values.append(round(value) if kind is int else value)
        except ValueError as error:
            raise ValueError(f"value {position} of {len(raw)}: {error}") from error
    return tuple(values)
