"""One way to write a number for every table, sentence and page."""

from __future__ import annotations

import math

MISSING = "–"


def number(value: float, digits: int = 0) -> str:
    """A number with thousands apart and so many digits; never "-0", a dash where there is none.

    Examples
    --------
    >>> number(-0.4), number(12345.67, 1), number(float("nan")), number(-0.04, 1)
    ('0', '12,345.7', '–', '0.0')
    """
    if math.isnan(value):
        return MISSING
    return f"{round(float(value), digits) + 0.0:,.{digits}f}"


def percent(share: float, digits: int = 0) -> str:
    """A share in percent.

    Examples
    --------
    >>> percent(0.3), percent(-0.0004, 1), percent(float("nan"))
    ('30 %', '0.0 %', '–')
    """
    return MISSING if math.isnan(share) else f"{number(100 * share, digits)} %"
