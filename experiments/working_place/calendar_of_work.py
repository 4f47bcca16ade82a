"""Calendar of a year's work, read off the event log of a traced trial."""

from __future__ import annotations

from collections import defaultdict
from typing import Final, NamedTuple

from orchardsim.operations.log import EventLog


class CalendarLine(NamedTuple):
    """A line of the year's calendar: who did what where, from when to when, and the hours left undone.

    Attributes
    ----------
    waited : float [day]
        From the day on which the work could begin, or was broken off, to that on which somebody came.
    """

    crew: str
    task: str
    label: str
    first_day: float
    last_day: float
    hours: float
    undone: float
    waited: float


PAUSE: Final = 3.0
"""day; work that rests for longer goes on in a line of its own, as picking does from pass to pass."""


def work_calendar(log: EventLog, year: int) -> list[CalendarLine]:
    """Calendar of one year, in the order in which work began; undone work stands in lines without a crew."""
    rows = [row for row in log.rows if row.year == year and row.kind in ("worked", "unfinished")]
    ended: dict[tuple[str, str], float] = {}
    lines: dict[tuple[str, str, str], list[CalendarLine]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: row.start_day):
        place = row.task, row.label
        own = lines[row.crew, row.task, row.label]
        done, left = (row.hours, 0.0) if row.kind == "worked" else (0.0, row.hours)
        if own and row.start_day - own[-1].last_day <= PAUSE:
            last = own[-1]
            own[-1] = last._replace(
                last_day=max(last.last_day, row.end_day), hours=last.hours + done, undone=last.undone + left
            )
        else:
            since = max(row.open_day, ended.get(place, row.open_day))
            waited = max(0.0, row.start_day - since) if row.crew else 0.0
            own.append(CalendarLine(*(row.crew, *place), row.start_day, row.end_day, done, left, waited))
        if row.kind == "worked":
            ended[place] = max(ended.get(place, row.end_day), row.end_day)
    together = [line for own in lines.values() for line in own]
    return sorted(together, key=lambda line: (line.first_day, line[:3]))
