"""Units at the edge: written quantities become SI-based numbers, and back for display."""

from __future__ import annotations

import contextlib
import functools
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from orchardsim.core.text import quoted

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
GALLON: Final = 3.785411784
"""L; 231 cubic inches, exact."""
BUSHEL: Final = 42 * POUND
"""kg; apples, 42 lb (United States apple crop insurance provisions, 7 CFR 457.158)."""
CARTON: Final = 40 * POUND
"""kg; the trade's carton of 40 lb, by which fresh apples are quoted (USDA Market News)."""

PLAIN_UNITS: Final = ("1", "leaf")
"""Units whose numbers may be written without one: shares, ratios and counts, and leaves (seasons) of a tree."""

LONGEST_QUANTITY: Final = 60
"""Characters of a written number and unit; our own choice, twice what any unit here takes."""
MOST_FACTORS: Final = 6
_NUMBER: Final = re.compile(
    r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)(?![\d.])\s*(\S.*?)?\s*", re.DOTALL | re.ASCII
)
_FACTOR: Final = re.compile(r"([*/ ]?)([A-Za-z_]+|%|°[CF]?)(?:(?:\*\*|\^)?(-?[1-4]))?(?![\w.])", re.ASCII)
_WORDS: Final = {
    "meter": "m meter meters metre metres",
    "centimeter": "cm",
    "millimeter": "mm millimeter millimeters millimetre millimetres",
    "kilometer": "km",
    "foot": "ft foot feet",
    "inch": "in inch inches",
    "yard": "yd yard yards",
    "mile": "mi mile miles",
    "hectare": "ha hectare hectares",
    "field_acre": "ac acre acres field_acre",
    "gram": "g gram grams",
    "kilogram": "kg kilogram kilograms",
    "metric_ton": "t tonne tonnes",
    "pound": "lb lbs pound pounds",
    "ounce": "oz ounce ounces",
    "apple_bushel": "bu bushel bushels apple_bushel",
    "liter": "L l liter liters litre litres",
    "gallon": "gal gallon gallons",
    "second": "s sec second seconds",
    "minute": "min minute minutes",
    "hour": "h hr hour hours",
    "day": "d day days",
    "week": "week weeks",
    "month": "month months",
    "year": "yr year years",
    "kelvin": "K kelvin",
    "degree_Celsius": "°C degC celsius degree_Celsius",
    "degree_Fahrenheit": "°F degF fahrenheit degree_Fahrenheit",
    "degree": "° deg degree degrees",
    "percent": "% percent",
    "megajoule": "MJ",
    "mile_per_hour": "mph",
    "tree": "tree trees",
    "box": "box boxes",
    "bin": "bin bins",
    "leaf": "leaf leaves",
    "post": "post posts",
    "row": "row rows",
    "fruit": "fruit fruits",
    "money": "money",
}
UNIT_WORDS: Final = {word: name for name, words in _WORDS.items() for word in words.split()} | {
    currency: currency for currency in CURRENCIES
}
"""Words of which a written unit may be made, and the registry's name of each."""
_ABSOLUTE: Final[dict[str, Callable[[float], float]]] = {
    "degree_Celsius": float,
    "degree_Fahrenheit": lambda fahrenheit: (fahrenheit - 32) / 1.8,
    "kelvin": lambda kelvin: kelvin - 273.15,
}
"""Scales in which a temperature may be written, and how it becomes degC."""
_DIFFERENCES: Final = {"degree_Celsius": "delta_degree_Celsius", "degree_Fahrenheit": "delta_degree_Fahrenheit"}


@functools.cache
def registry() -> pint.UnitRegistry:
    """The unit registry: pint's, with the countable things, masses and currencies of an orchard added.

    The acre is 43,560 square international feet and the bushel is one of apples (42 lb): pint's own are the survey acre
    and a bushel of volume, so :data:`UNIT_WORDS` sends those words here. No text of a user's reaches its parser.
    """
    units = _pint()
    for name in ("tree", "box", "bin", "leaf", "post", "row"):
        units.define(f"{name} = [{name}_count] = _ = {_WORDS[name].split()[1]}")
    units.define("fruit = [] = _ = fruits")
    units.define("field_acre = 43560 * foot ** 2")
    units.define("apple_bushel = 42 * pound")
    units.define("money = [money]")
    for currency in CURRENCIES:
        units.define(f"{currency} = [currency_{currency}]")
    registry_: pint.UnitRegistry = units
    return registry_


def _pint() -> Any:
    """Pint's registry, its table of units kept in the user's cache folder, which saves a tenth of a second."""
    import pint
    import platformdirs

    folder = Path(platformdirs.user_cache_dir("orchardsim", appauthor=False)) / "units"
    with contextlib.suppress(Exception):  # of whatever kind: it is made anew
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=folder)
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


@functools.lru_cache(maxsize=4096)
def unit_powers(unit: str) -> tuple[tuple[str, int], ...]:
    """Factors of a written unit and their powers: words of :data:`UNIT_WORDS` with ``*``, ``/`` or a blank between.

    A power is one digit with its sign, written as in "m2", "m**2", "m^2" or "m²"; a slash belongs to the factor after
    it alone. "1" and nothing stand for a plain number. Raises ValueError if it is anything else; nothing is computed.

    Examples
    --------
    >>> unit_powers("USD/tree"), unit_powers("K day"), unit_powers("/cm2")
    ((('USD', 1), ('tree', -1)), (('kelvin', 1), ('day', 1)), (('centimeter', -2),))
    """
    if len(unit) > LONGEST_QUANTITY:
        raise ValueError("a unit of that length is not known")
    text = unit.strip().replace("²", "2").replace("³", "3").replace("·", "*")
    text = re.sub(r"\s*(\*\*|[*/^])\s*|\s+", lambda found: found[1] or " ", text)
    if text in ("", "1"):
        return ()
    text = text.removeprefix("1") if text.startswith("1/") else text
    powers: dict[str, int] = {}
    place, count = 0, 0
    while place < len(text):
        factor = _FACTOR.match(text, place)
        count += 1
        if factor is None or factor[2] not in UNIT_WORDS or count > MOST_FACTORS:
            raise ValueError(f"{unit!r} is no known unit")
        if (factor[1] == "") != (place == 0) and not (place == 0 and factor[1] == "/"):
            raise ValueError(f"{unit!r} is no known unit")
        name, power = UNIT_WORDS[factor[2]], int(factor[3] or 1)
        powers[name] = powers.get(name, 0) + (-power if factor[1] == "/" else power)
        place = factor.end()
    return tuple((name, power) for name, power in powers.items() if power)


@functools.lru_cache(maxsize=4096)
def _unit(written: str, difference: bool = False) -> Any:
    """A written unit as the registry's; a lone temperature scale as one of differences where asked for."""
    powers = dict(unit_powers(written))
    if difference or len(powers) > 1 or any(power != 1 for power in powers.values()):
        powers = {_DIFFERENCES.get(name, name): power for name, power in powers.items()}
    units: Any = registry()
    return units.Unit(units.UnitsContainer(powers))


def parse_quantity(
    text: str,
    unit: str,
    *,
    currency: str | None = None,
    masses: dict[str, float] | None = None,
) -> float:
    """Number in ``unit`` of a written quantity such as "12 ft".

    Raises ValueError if the text is no quantity, its unit is unknown or of another kind; the message says which.

    Parameters
    ----------
    text : str
        Number and unit.
    unit : str
        Unit wanted; "money" in it stands for the plan's currency, "K" for a temperature difference, so that
        "2 degF" written for a "K" key is 1.11 K and not an absolute temperature.
    currency : str, optional
        Code of the plan's currency; needed where ``unit`` holds "money".
    masses : dict, optional
        Mass [kg] of a "bin" and a "box", by which "8 USD/box" can serve as money per kg.

    Examples
    --------
    >>> round(parse_quantity("12 ft", "m"), 4), parse_quantity("8 USD/tree", "money/tree", currency="USD")
    (3.6576, 8.0)
    >>> round(parse_quantity("1000 per acre", "1/m2"), 4)
    0.2471
    >>> round(parse_quantity("2 °F", "K"), 4), round(parse_quantity("28 °F", "degC"), 4)
    (1.1111, -2.2222)
    """
    wanted = example(unit, currency)
    found = quoted(text)
    if len(text) > LONGEST_QUANTITY:
        raise ValueError(f"found {found}, a text of {len(text)} characters; expected a quantity such as {wanted!r}")
    if re.fullmatch(r"\s*[+-]?(nan|inf|infinity)\b.*", text, re.IGNORECASE | re.DOTALL):
        raise ValueError(f"found {found}, expected a finite number such as {wanted!r}")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise ValueError(f"found {found}, expected a number with a unit such as {wanted!r}")
    number, written = float(match[1]), match[2] or ""
    if decimal := re.match(r",(\d+)", written):
        raise ValueError(f"found {found}, with a comma; write the decimals behind a point: {match[1]}.{decimal[1]}")
    if not written:
        raise ValueError(f"found {found} without a unit, expected one such as {wanted!r}")
    value = convert(number, written, unit, currency=currency, masses=masses)
    if not math.isfinite(value):
        raise ValueError(f"found {found}, expected a finite number")
    return value


def convert(
    number: float,
    written: str,
    unit: str,
    *,
    currency: str | None = None,
    masses: dict[str, float] | None = None,
) -> float:
    """Number in ``unit`` of ``number`` in the unit ``written``; see :func:`parse_quantity`."""
    if written == unit:
        return float(number)
    if unit == "1/year" and written.strip() == "%":
        written = "%/year"  # how a yearly rate is said: 5 %
    units = registry()
    found = f"{number:g} {written}"
    written = re.sub(r"^per\s+", "1/", written)  # as pages print a number of things
    try:
        source, delta = _unit(written), _unit(written, difference=True)
    except ValueError as error:
        raise ValueError(
            f"found {quoted(found)}, in which {quoted(written)} is no known unit; "
            f"expected one such as {example(unit, currency)!r}{' or ' + repr('2.7 degF') if unit == 'K' else ''}"
        ) from error
    target = _unit(in_currency(unit, currency))
    try:
        if str(target) == "degree_Celsius":
            return _ABSOLUTE[str(source)](number)
        quantity = units.Quantity(number, delta)
        if masses and not quantity.is_compatible_with(target):
            for name, mass in masses.items():
                exponent = dict(quantity.unit_items()).get(name, 0)
                quantity = quantity * units.Quantity(mass, "kg") ** exponent / units.Quantity(1, name) ** exponent
        return float(quantity.to(target).magnitude)
    except Exception as error:
        raise ValueError(
            f"found {quoted(found)}, which is not {_kind(unit, currency)} "
            f"(expected one such as {example(unit, currency)!r}{' or ' + repr('2.7 degF') if unit == 'K' else ''})"
        ) from error


def unit_written(text: str) -> str:
    """Unit of a written quantity as it stands there; empty where it has none.

    Examples
    --------
    >>> unit_written("50 ft"), unit_written("-3 USD/hour"), unit_written("12")
    ('ft', 'USD/hour', '')
    """
    match = _NUMBER.fullmatch(text) if len(text) <= LONGEST_QUANTITY else None
    return (match[2] or "") if match else ""


def in_currency(unit: str, currency: str | None) -> str:
    """A unit with the plan's currency in place of "money"."""
    return re.sub(r"\bmoney\b", currency, unit) if currency else unit


def _kind(unit: str, currency: str | None) -> str:
    return "a plain number" if unit == "1" else f"a quantity in {in_currency(unit, currency)}"


def example(unit: str, currency: str | None = None) -> str:
    """A written quantity that would be understood, for error messages."""
    known = {
        "1": "0.5",
        "m": "3.5 m",
        "m2": "2 ha",
        "kg": "42 lb",
        "degC": "-5 degC",
        "mm": "150 mm",
        "K": "1.5 K",
        "year": "2 year",
        "day": "14 day",
        "minute": "5 minute",
        "hour": "2 hour",
        "degree": "42.5 degree",
        "leaf": "3",
        "cm-2": "6 fruit/cm2",
        "kg/tree": "20 kg/tree",
    }
    if unit.startswith("1/"):
        return f"0.5 {unit[1:]}"
    return known.get(unit, f"1 {in_currency(unit, currency or 'USD')}")


@dataclass(frozen=True)
class Shown:
    """How one kind of quantity is shown: number inside the program over ``size`` gives the number in ``unit``."""

    unit: str
    size: float

    def of(self, value: Any) -> Any:
        """Number, or array of numbers, in the shown unit."""
        return value / self.size

    def text(self, value: float, digits: int = 1) -> str:
        """Number and unit, thousands parted by commas."""
        return f"{value / self.size:,.{digits}f} {self.unit}"


@dataclass(frozen=True)
class Display:
    """Units in which plans and results are shown: the one table of them.

    Attributes name what is shown; the numbers inside the program are in m, m2, kg, kg/m2, trees/m2, mm, L, cm2 and
    fruit mass in g.
    """

    system: str
    length: Shown
    area: Shown
    mass: Shown
    crop: Shown
    density: Shown
    depth: Shown
    volume: Shown
    trunk_area: Shown
    fruit_mass: Shown

    def temperature(self, value: Any) -> Any:
        """A temperature inside the program [degC] in the shown scale."""
        return value * 1.8 + 32 if self.system == "us" else value

    def temperature_difference(self, value: Any) -> Any:
        """A temperature difference [K] in degrees of the shown scale."""
        return value * 1.8 if self.system == "us" else value

    @property
    def temperature_unit(self) -> str:
        """°F or °C."""
        return "°F" if self.system == "us" else "°C"


_DISPLAYS: Final = {
    "us": Display(
        "us",
        length=Shown("ft", FOOT),
        area=Shown("acre", ACRE),
        mass=Shown("lb", POUND),
        crop=Shown("bu/acre", BUSHEL / ACRE),
        density=Shown("trees/acre", 1 / ACRE),
        depth=Shown("inch", 25.4),
        volume=Shown("gallon", GALLON),
        trunk_area=Shown("cm²", 1.0),
        fruit_mass=Shown("oz", 1000 * POUND / 16),
    ),
    "metric": Display(
        "metric",
        length=Shown("m", 1.0),
        area=Shown("ha", HECTARE),
        mass=Shown("kg", 1.0),
        crop=Shown("t/ha", 1000 / HECTARE),
        density=Shown("trees/ha", 1 / HECTARE),
        depth=Shown("mm", 1.0),
        volume=Shown("L", 1.0),
        trunk_area=Shown("cm²", 1.0),
        fruit_mass=Shown("g", 1.0),
    ),
}


def display(system: Literal["us", "metric"] | str) -> Display:
    """Display units of a plan's ``units`` key.

    Examples
    --------
    >>> round(display("us").area.of(10_000.0), 3), display("metric").crop.unit
    (2.471, 't/ha')
    """
    return _DISPLAYS[system]
