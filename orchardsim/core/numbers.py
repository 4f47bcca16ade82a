"""One way to write a number for every table, sentence and page."""

from __future__ import annotations

import decimal
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


def with_error(value: float, error: float, lead: str = "", most: int = 0) -> str:
    """A number and its standard error, both to the second figure of the error.

    Parameters
    ----------
    lead : str
        Before the number: "USD ".
    most : int
        Most digits behind the point; none for money.

    Examples
    --------
    >>> with_error(-25936.2, 3006.4, "USD "), with_error(98.93, 0.274, most=1), with_error(12.0, 0.0)
    ('-USD 25,900 ± 3,000', '98.9 ± 0.3', '12 ± 0')
    """
    digits = 0
    if math.isfinite(error) and error > 0:
        digits = min(1 - math.floor(math.log10(float(f"{error:.1e}"))), most)
    shown = round(float(value), digits) + 0.0
    sign = "-" if shown < 0 else ""
    places = max(digits, 0)
    return f"{sign}{lead}{abs(shown):,.{places}f} ± {round(float(error), digits):,.{places}f}"


def inner_bound(value: float, *, low: bool) -> float:
    """A bound in another unit to three figures, rounded inward, so that a value on it is allowed.

    Examples
    --------
    >>> inner_bound(0.65617, low=True), inner_bound(98.4252, low=False), inner_bound(0.0, low=True)
    (0.657, 98.4, 0.0)
    """
    exact = decimal.Decimal(f"{value:.12g}")
    step = decimal.Decimal(1).scaleb(exact.adjusted() - 2)
    return float(exact.quantize(step, decimal.ROUND_CEILING if low else decimal.ROUND_FLOOR))
