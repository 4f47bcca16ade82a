"""The catalogue's money brought to the year in which a plan states its own."""

from __future__ import annotations

import functools
from typing import Final

from orchardsim.plan.raw import catalogue_file, subtable

NONE: Final = "none"
FIRST_YEAR: Final = 2000
YEARLY_AFTER: Final = 0.023
"""Growth a year of consumer prices beyond the table's last year: the catalogue's inflation (assumption)."""


@functools.cache
def _values(index: str) -> dict[int, float]:
    values = subtable(catalogue_file("price_index.toml"), "index", index, "values")
    return {int(year): float(str(value)) for year, value in values.items()}


def index_names() -> tuple[str, ...]:
    """Names of the indices, "none" last."""
    return (*catalogue_file("price_index.toml")["index"], NONE)


def terms_of(money_year: int | None, index: str | None, key: str) -> tuple[int, str]:
    """Year of the money of a catalogue entry and the name of its index, by default those of its section.

    Parameters
    ----------
    money_year, index : optional
        As the entry states them.
    key : str
        Its key in a plan, such as "costs.fence".
    """
    default = catalogue_file("price_index.toml")["default"]
    section = key.split(".")[0]
    return money_year or int(str(default["money_year"])), index or str(default.get(section, "consumer"))


def index_value(index: str, year: int) -> float:
    """Value of an index in a year, in its own unit.

    Outside an index's own years it follows consumer prices; these grow by :data:`YEARLY_AFTER` beyond their last year.
    Raises ValueError: for a year before the first; a plan's ``price_year`` lies at or after it.

    Examples
    --------
    >>> index_value("consumer", 2024), round(index_value("consumer", 2027) / index_value("consumer", 2025), 6)
    (313.7, 1.046529)
    """
    values = _values(index)
    if year in values:
        return values[year]
    if year < FIRST_YEAR:
        raise ValueError(f"no index value of {year}; the first is of {FIRST_YEAR}")
    nearest = min(values) if year < min(values) else max(values)
    if index == "consumer":
        return values[nearest] * (1.0 + YEARLY_AFTER) ** (year - nearest)
    return values[nearest] * index_value("consumer", year) / index_value("consumer", nearest)


def factor(index: str, money_year: int, price_year: int) -> float:
    """What money of one year is multiplied by to stand in that of another [1].

    Examples
    --------
    >>> round(factor("consumer", 2005, 2024), 3), factor("none", 2005, 2024)
    (1.606, 1.0)
    """
    if index == NONE or money_year == price_year:
        return 1.0
    return index_value(index, price_year) / index_value(index, money_year)
