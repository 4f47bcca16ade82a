"""The event log of a traced trial: fixed columns, one row per event, and the check of its sums."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from orchardsim.core.errors import IdentityError


class Event(NamedTuple):
    """One row of the log: day of the plan's year at which it began and ended, what happened, how much."""

    year: int
    start_day: float
    end_day: float
    kind: str
    label: str
    task: str
    crew: str
    trees: int
    hours: float


COLUMNS: Final = Event._fields
STOCK_KINDS: Final = ("ordered", "bought", "delivered", "spot", "died", "discarded", "replanted")
KINDS: Final = (
    *STOCK_KINDS, "short_delivery", "late_delivery", "planted", "wanted", "worked", "unfinished", "upkeep",
)  # fmt: skip


class EventLog:
    """Rows in the order in which they happened."""

    def __init__(self) -> None:
        self.rows: list[Event] = []

    def add(self, event: Event) -> None:
        """Append one event."""
        self.rows.append(event)

    def table(self) -> dict[str, list[Any]]:
        """Columns of the log."""
        return {name: [row[index] for row in self.rows] for index, name in enumerate(COLUMNS)}

    def tree_totals(self) -> dict[tuple[int, str, str], int]:
        """Trees by (year, label, kind) for the kinds that move trees through the stock."""
        totals: dict[tuple[int, str, str], int] = defaultdict(int)
        for row in self.rows:
            if row.kind in STOCK_KINDS:
                totals[row.year, row.label, row.kind] += row.trees
        return dict(totals)

    def hour_totals(self) -> dict[tuple[int, str, str], float]:
        """Hours by (year, label, task)."""
        totals: dict[tuple[int, str, str], float] = defaultdict(float)
        for row in self.rows:
            if row.kind in ("worked", "upkeep"):
                totals[row.year, row.label, row.task] += row.hours
        return dict(totals)


def check_sums(
    log: EventLog,
    trees: Mapping[tuple[int, str, str], int],
    hours: Mapping[tuple[int, str, str], float],
) -> None:
    """Stop where the log's sums and the running totals part.

    Parameters
    ----------
    trees : mapping from (year, label, kind) to trees
    hours : mapping from (year, label, task) to hours
        Zero totals may be missing on either side.

    Raises
    ------
    IdentityError
    """
    logged = log.tree_totals()
    for key in logged.keys() | trees.keys():
        if logged.get(key, 0) != trees.get(key, 0):
            raise IdentityError(f"event log has {logged.get(key, 0)} trees for {key}, totals have {trees.get(key, 0)}")
    logged_hours = log.hour_totals()
    for key in logged_hours.keys() | hours.keys():
        found, kept = logged_hours.get(key, 0.0), hours.get(key, 0.0)
        if abs(found - kept) > 1e-6 * max(1.0, abs(kept)):
            raise IdentityError(f"event log has {found:g} hours for {key}, totals have {kept:g}")


class CalendarLine(NamedTuple):
    """A line of the year's calendar: who did what where, from when to when, and the hours left undone.

    Attributes
    ----------
    waited : float [day]
        From the day on which the work could begin to that on which somebody came.
    """

    crew: str
    task: str
    label: str
    first_day: float
    last_day: float
    hours: float
    undone: float
    waited: float


def season_calendar(log: EventLog, year: int) -> list[CalendarLine]:
    """Calendar of one year, in the order in which work began; undone work stands in lines without a crew."""
    lines: dict[tuple[str, str, str], list[float]] = {}
    opened: dict[tuple[str, str], float] = {}
    for row in log.rows:
        if row.year != year:
            continue
        if row.kind == "wanted":
            place = row.task, row.label
            opened[place] = min(opened.get(place, row.start_day), row.start_day)
        if row.kind not in ("worked", "unfinished"):
            continue
        line = lines.setdefault((row.crew, row.task, row.label), [row.start_day, row.end_day, 0.0, 0.0])
        line[0] = min(line[0], row.start_day)
        line[1] = max(line[1], row.end_day)
        line[2 if row.kind == "worked" else 3] += row.hours
    found = []
    for (crew, task, label), (first, last, hours, undone) in lines.items():
        waited = max(0.0, first - opened.get((task, label), first)) if crew else 0.0
        found.append(CalendarLine(crew, task, label, first, last, hours, undone, waited))
    return sorted(found, key=lambda line: (line.first_day, line[:3]))
