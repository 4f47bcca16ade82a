"""The biological year: 365 days from 1 October (1 April south of the equator), without 29 February.

A season window is one biological year plus the 92 days of autumn that follow it, so that late cultivars are
picked and leaves fall inside the window. Day 0 is 1 October in the north, 1 April in the south.
"""

from __future__ import annotations

import datetime
from typing import Final

YEAR_DAYS: Final = 365
AUTUMN_DAYS: Final = 92
WINDOW_DAYS: Final = YEAR_DAYS + AUTUMN_DAYS
QUARTERS: Final = ("winter", "spring", "summer", "autumn")
MONTH_DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def first_month(latitude: float) -> int:
    """Month in which the biological year starts: 10 in the north, 4 in the south."""
    return 10 if latitude >= 0 else 4


def day_of_year(season_day: float, latitude: float) -> int:
    """Calendar day of the year (1 to 365, no leap day) of a day of the season window.

    Examples
    --------
    >>> day_of_year(0, 42.0), day_of_year(92, 42.0)
    (274, 1)
    """
    start = sum(MONTH_DAYS[: first_month(latitude) - 1])
    return (start + int(season_day)) % YEAR_DAYS + 1


def date_text(season_day: float, latitude: float) -> str:
    """Day and month of a day of the season window.

    Examples
    --------
    >>> date_text(0, 42.0), date_text(196, 42.0), date_text(0, -38.0)
    ('1 Oct', '15 Apr', '1 Apr')
    """
    date = datetime.date(2001, 1, 1) + datetime.timedelta(days=day_of_year(season_day, latitude) - 1)
    return f"{date.day} {date:%b}"
