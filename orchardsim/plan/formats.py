"""Numbers of a plan in the units in which the user wants to see them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from orchardsim.core.calendar import date_text
from orchardsim.core.units import Shown, display

SEASON_DAYS: Final = ("order_day", "window_start", "window_end")
"""Parameters that are days of the biological year, shown as dates; other days are lengths of time."""
EVERYDAY: Final = frozenset(
    {"kg", "m", "m2", "mm", "mm/day", "kg/tree", "kg/hour", "kg/year", "kg/m", "1/m2", "L", "L/tree"}
)
"""Units, besides those with money, that are shown in the user's system; those of science stay as they are."""
METHODS: Final = {
    "resample": "futures drawn from the record's own years",
    "parametric": "futures drawn from a weather model fitted to the record",
}
"""Ways of drawing futures, in words."""


def number_text(value: float) -> str:
    """A number to four or five figures.

    Examples
    --------
    >>> number_text(0.25), number_text(1234567.8), number_text(float("inf")), number_text(12345.6)
    ('0.25', '1,234,568', 'no limit', '12,346')
    """
    if math.isnan(value):
        return "none"
    if math.isinf(value):
        return "no limit"
    return f"{value:,.0f}" if abs(value) >= 10_000 else f"{value:,.5g}"


def value_text(value: object) -> str:
    """A parameter's value as it is read."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (tuple, list)):
        if len(value) > 1 and all(each == value[0] for each in value):
            return f"{value_text(value[0])} (all {len(value)})"
        return "[" + ", ".join(value_text(item) for item in value) + "]"
    if isinstance(value, float):
        return number_text(value)
    return "not stated" if value is None else str(value)


@dataclass(frozen=True)
class PlanFormats:
    """Shows a plan's numbers with their units.

    Attributes
    ----------
    system : str
        "us" or "metric".
    currency : str
        Stands for "money" in a unit.
    latitude : float [degree]
        By which days of the biological year become dates.
    box_mass : float [kg]
        By which prices per mass are told per box too.
    """

    system: str
    currency: str
    latitude: float
    box_mass: float

    def text(self, key: str, value: object, unit: str) -> str:
        """Value and unit of the parameter of a key.

        Examples
        --------
        >>> formats = PlanFormats("us", "USD", 42.0, 19.05087954)
        >>> formats.text("costs.land_price", 2.4710538146716537, "money/m2")
        '10,000 USD/acre'
        >>> formats.text("site.night_offset", -1.5, "K")
        '-2.7 °F (a difference)'
        >>> formats.text("replacement.window_start", 182, "day"), formats.text("market.price", 1.1023113109, "money/kg")
        ('1 Apr', '0.5 USD/lb (21 USD/box)')
        """
        return " ".join(self.parts(key, value, unit)).rstrip()

    def parts(self, key: str, value: object, unit: str) -> tuple[str, str]:
        """Value and unit of the parameter of a key, each as text; the unit of a date or a word is empty."""
        if unit == "day" and isinstance(value, (int, float)) and key.rsplit(".", 1)[-1] in SEASON_DAYS:
            return date_text(value, self.latitude), ""
        if key.endswith("weather.method") and value in METHODS:
            return f"{value} ({METHODS[value]})", ""
        if isinstance(value, (bool, str)) or value is None or unit in ("text", "flag", ""):
            return value_text(value), ""
        number, shown = self.converted(value, unit)
        if unit == "money/kg" and isinstance(value, (int, float)) and math.isfinite(value) and value:
            shown += f" ({number_text(value * self.box_mass)} {self.currency}/box)"
        return value_text(number), shown

    def converted(self, value: object, unit: str) -> tuple[object, str]:
        """A number, or a list of them, in the shown unit, and that unit in words."""
        units = display(self.system)
        degree, step = units.temperature_unit, units.temperature_difference(1.0)
        sizes = {"m2": units.area, "kg": units.mass, "m": units.length, "mm": units.depth, "L": units.volume}
        if unit == "degC":
            return _each(value, lambda degrees: units.temperature(degrees)), degree
        if unit == "K":
            return _each(value, lambda degrees: degrees * step), f"{degree} (a difference)"
        if unit == "K day":
            return _each(value, lambda degrees: degrees * step), f"{degree} days"
        with_money = re.search(r"\bmoney\b", unit) is not None
        if not (with_money or self.currency in unit or unit in EVERYDAY):
            return value, _per(unit)
        factor, words = 1.0, []
        for place, part in enumerate(unit.split("/")):
            shown = sizes.get(part, Shown(part, 1.0))
            factor = factor / shown.size if place == 0 else factor * shown.size
            words.append(self.currency if part == "money" else shown.unit)
        digits = 5 if with_money else 4
        return _each(value, lambda amount: float(f"{amount * factor:.{digits}g}")), _per("/".join(words))


def _each(value: object, change: Callable[[float], float]) -> object:
    if isinstance(value, (tuple, list)):
        return [change(each) for each in value]
    return change(value) if isinstance(value, (int, float)) else value


def _per(unit: str) -> str:
    """A unit in words: nothing for plain numbers, "per year" for "1/year".

    Examples
    --------
    >>> _per("1"), _per("1/year"), _per("cm-2"), _per("USD/ft")
    ('', 'per year', 'per cm2', 'USD/ft')
    """
    if unit in ("1", "text", "flag"):
        return ""
    if unit == "cm-2":
        return "per cm2"
    return "per " + unit[2:] if unit.startswith("1/") else unit
