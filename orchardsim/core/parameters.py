"""Parameters carry their unit, bounds and meaning beside the field that holds them.

A stage declares its parameters as a frozen dataclass whose fields are made with :func:`parameter`. The plan room
fills any such class from a TOML table: it converts written quantities to the field's unit, checks the bounds and
names the file and key when a value does not fit. So a new parameter needs one field here and one value there.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal, get_args

Status = Literal["read", "computed", "derived", "memory", "common practice", "assumption"]
STATUSES: Final = get_args(Status)


@dataclass(frozen=True)
class Sourced:
    """A number with where it comes from: how a catalogue value reads before it fills a parameter.

    Money names the year in which it stands (``money_year``) and the index that brings it to another, where they are
    not those of its file.
    """

    value: Any
    unit: str
    source: str
    status: Status
    money_year: int | None = None
    index: str | None = None


@dataclass(frozen=True)
class ParameterInfo:
    """Unit, bounds and meaning of one parameter.

    ``allowed`` lists the words of a text parameter; ``limitless``: it is a limit that may be "unlimited".
    """

    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None
    allowed: tuple[str, ...] = ()
    optional: bool = False
    limitless: bool = False


def parameter(
    unit: str,
    meaning: str,
    *,
    low: float | None = None,
    high: float | None = None,
    allowed: Iterable[str] = (),
    default: Any = dataclasses.MISSING,
    limitless: bool = False,
) -> Any:
    """Declare a dataclass field as a parameter.

    Parameters
    ----------
    unit : str
        Unit of the number inside the program, "1" for a plain number, "text" for a word, "flag" for yes/no.
    meaning : str
        What it is, in one line.
    low, high : float, optional
        Bounds, both included.
    allowed : iterable of str
        Words that a text parameter may be.
    default : any, optional
        Value where a table leaves it out; without one the key is required.
    limitless : bool
        Whether it is a limit that may be "unlimited".
    """
    optional = default is not dataclasses.MISSING
    info = ParameterInfo(unit, meaning, low, high, tuple(allowed), optional, limitless)
    if isinstance(default, (list, dict)):
        raise TypeError("use a tuple as the default of a parameter")
    return dataclasses.field(default=default, metadata={"parameter": info})


def parameters_of(cls: type) -> dict[str, ParameterInfo]:
    """Name and info of each declared parameter of a dataclass, in order of declaration."""
    return {
        field.name: field.metadata["parameter"] for field in dataclasses.fields(cls) if "parameter" in field.metadata
    }
