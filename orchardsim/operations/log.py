"""The event log of a traced trial: fixed columns, one row per event, and the check of its sums."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Final, NamedTuple

from orchardsim.core.errors import IdentityError


class Event(NamedTuple):
    """One row of the log: day of the plan's year at which it began and ended, what happened, how much.

    ``open_day`` is the day from which worked work could have begun.
    """

    year: int
    start_day: float
    end_day: float
    kind: str
    label: str
    task: str
    crew: str
    trees: int
    hours: float
    open_day: float = 0.0


STOCK_KINDS: Final = ("ordered", "bought", "delivered", "spot", "died", "discarded", "replanted")


class EventLog:
    """Rows in the order in which they happened."""

    def __init__(self) -> None:
        self.rows: list[Event] = []

    def add(self, event: Event) -> None:
        """Append one event."""
        self.rows.append(event)

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
        logged_sum, kept = logged_hours.get(key, 0.0), hours.get(key, 0.0)
        if abs(logged_sum - kept) > 1e-6 * max(1.0, abs(kept)):
            raise IdentityError(f"event log has {logged_sum:g} hours for {key}, totals have {kept:g}")
