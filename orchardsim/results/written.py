"""Values as they stand in JSON files: numbers of six significant digits."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np

SIGNIFICANT_DIGITS: Final = 6


def number(value: float, infinite: str | None = "infinite") -> float | int | str | None:
    """A number as the summary writes it: six significant digits; missing as None, infinite as a word.

    Examples
    --------
    >>> number(1234567.89), number(3.0), number(float("inf"), "never"), number(float("nan"))
    (1234570.0, 3, 'never', None)
    """
    value = float(value)
    if math.isnan(value):
        return None
    if math.isinf(value):
        return infinite
    rounded = float(f"{value:.{SIGNIFICANT_DIGITS}g}")
    if rounded == int(rounded) and abs(rounded) < 10**SIGNIFICANT_DIGITS:
        return int(rounded)
    return rounded


def finite(value: float) -> float | None:
    """A number of six significant digits that stays a float; None where it is missing or infinite."""
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}") if math.isfinite(value) else None


def plain(value: Any, of_float: Callable[[float], Any] = finite) -> Any:
    """Dataclasses, mappings, sequences and arrays as JSON values, every float as ``of_float`` writes it.

    Examples
    --------
    >>> plain({"shares": (1, 2 / 3)}), plain(np.array([0.5, 2.0]), number)
    ({'shares': [1, 0.666667]}, [0.5, 2])
    """
    if dataclasses.is_dataclass(value):
        value = {each.name: getattr(value, each.name) for each in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one, of_float) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if isinstance(value, (tuple, list)):
        return [plain(one, of_float) for one in value]
    return of_float(float(value)) if isinstance(value, (float, np.floating)) else value
