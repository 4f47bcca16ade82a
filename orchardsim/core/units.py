"""Units at the edge: written quantities become SI-based numbers, and back for display."""

from __future__ import annotations

import functools
import math
import re
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import pint

CURRENCIES: Final = ("USD", "EUR", "GBP", "CAD", "AUD", "NZD", "CHF", "ZAR", "CLP", "INR", "JPY", "NOK", "PLN")
POUND: Final = 0.45359237
"""kg; exact by the international definition of 1959."""
FOOT: Final = 0.3048
"""m; exact by the international definition of 1959."""
ACRE: Final = 43560 * FOOT**2
"""m2; 43,560 square feet."""
HECTARE: Final = 10_000.0
BUSHEL: Final = 42 * POUND
"""kg; apples, 42 lb (United States apple crop insurance provisions, 7 CFR 457.158)."""


@functools.cache
def registry() -> pint.UnitRegistry:
    """The unit registry: pint's, with the countable things and currencies of an orchard added."""
    import pint

    units = pint.UnitRegistry(
        autoconvert_offset_to_baseunit=True, cache_folder=None, preprocessors=[_spell_powers]
    )
    for name in ("tree", "box", "bin", "leaf", "post", "row"):
        units.define(f"{name} = [{name}_count]")
    units.define("@alias tree = trees")
    units.define("@alias box = boxes")
    units.define("@alias bin = bins")
    units.define("@alias leaf = leaves")
    for currency in CURRENCIES:
        units.define(f"{currency} = [currency_{currency}]")
    return units


def _spell_powers(text: str) -> str:
    """Areas and volumes as people write them ("m2", "cm-2") in the registry's spelling ("m**2")."""
    return re.sub(r"\b(mm|cm|dm|m|km|ft)(-?[23])\b", r"\1**\2", text)


def parse_quantity(text: str, unit: str) -> float:
    """Number in ``unit`` of a written quantity such as "12 ft".

    Raises
    ------
    ValueError
        If the text is no quantity, its unit is unknown or of another kind; the message says which.

    Examples
    --------
    >>> round(parse_quantity("12 ft", "m"), 4), parse_quantity("8 USD/tree", "USD/tree")
    (3.6576, 8.0)
    """
    units = registry()
    try:
        quantity: Any = units.Quantity(text)
    except Exception as error:
        raise ValueError(f"found {text!r}, expected a number with a unit such as {example(unit)!r}") from error
    if not hasattr(quantity, "units") or isinstance(quantity, (int, float)):
        raise ValueError(f"found {text!r} without a unit, expected one such as {example(unit)!r}")
    try:
        value = float(quantity.to(pint_unit(unit)).magnitude)
    except Exception as error:
        raise ValueError(f"found {text!r}, which is not a quantity in {unit} (such as {example(unit)!r})") from error
    if not math.isfinite(value):
        raise ValueError(f"found {text!r}, expected a finite number")
    return value


def pint_unit(unit: str) -> str:
    """Spelling of one of our unit strings that the registry understands."""
    return {"1": "dimensionless", "K day": "kelvin*day", "degC": "degC", "1/year": "1/year"}.get(unit, unit)


def example(unit: str) -> str:
    """A written quantity that would be understood, for error messages."""
    known = {
        "m": "3.5 m", "m2": "2 hectare", "kg": "42 lb", "degC": "-5 degC", "mm": "150 mm", "K": "1.5 K",
        "year": "2 year", "day": "14 day", "minute": "5 minute", "hour": "2 hour",
    }
    return known.get(unit, f"1 {unit}")
