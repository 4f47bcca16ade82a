"""The jobs that a year's phases ask of the crews, and how late they were done."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import SeasonDrivers
from orchardsim.operations.crews import Done, Job
from orchardsim.plan.row_group import RowGroup

PRUNING_START: Final = 61
"""Day of season on which dormant pruning may start: 1 December (1 June in the south). Common practice, no source."""
TRAINING_DAYS: Final = 45
"""Days after bud break within which young trees are tied down. Common practice, no source."""
THINNING_START: Final = 14
"""Days after bloom at which hand thinning may start, when fruitlets of 10 mm can be told apart. Common practice."""
THINNING_TIMELY: Final = 30
"""Days after bloom up to which thinning still helps next year's bloom in full (flower buds form from about three to
six weeks after bloom: memory)."""
SUMMER_PRUNING_DAYS: Final = 40
"""Days before harvest from which summer pruning is done, for colour. Common practice, no source."""
PHASE_ENDS: Final = (("bloom_day", 0.0), ("closed_canopy_day", 0.0), ("harvest_day", 28.0))
"""Driver and days after it that end the farm's first three phases of work: bloom, closed canopy, the last pick."""

PICK_TOLERANCE: Final = 10.0
"""Days after its due day on which a picking pass still pays (common practice, no source: 7 to 14 by cultivar)."""

RANKS: Final = 10
"""A task's urgency counts before the rank of the block (1 to 9); together they make the crews' priority."""
PRIORITY: Final = {
    "picking": 1,
    "support_building": 2,
    "dormant_pruning": 4,
    "training": 3,
    "thinning": 2,
    "summer_pruning": 6,
}
"""Lower goes first."""


def priority(task: str, rank: int) -> int:
    """Priority of a job: by task, then by the rank of its row group; lower goes first.

    Examples
    --------
    >>> priority("picking", 9) < priority("thinning", 1) < priority("thinning", 5)
    True
    """
    return PRIORITY[task] * RANKS + rank


Days = NDArray[np.float64]
WINDOWS: Final[dict[str, Callable[[SeasonDrivers], tuple[Days, Days]]]] = {
    # up to two weeks after bud break, but not in bloom
    "dormant_pruning": lambda season: (
        np.full_like(season.bloom_day, PRUNING_START),
        np.minimum(season.bud_break_day + 14, season.bloom_day),
    ),
    "training": lambda season: (season.bud_break_day, season.bud_break_day + TRAINING_DAYS),
    # after planting and before the crop's weight
    "support_building": lambda season: (season.bud_break_day, season.harvest_day - 14),
    "thinning": lambda season: (
        season.bloom_day + THINNING_START,
        np.maximum(season.closed_canopy_day, season.bloom_day + THINNING_TIMELY),
    ),
    "summer_pruning": lambda season: (season.harvest_day - SUMMER_PRUNING_DAYS, season.harvest_day - 7),
}
"""First and last day of each task in the seasons; picking has its passes (:mod:`orchardsim.operations.picking`)."""


def add_jobs(
    jobs: list[list[Job]],
    groups: Sequence[RowGroup],
    drivers: Sequence[SeasonDrivers],
    season_rows: NDArray[np.int64],
    asked: Mapping[str, NDArray[np.float64]],
    tied_from: float = 0.0,
) -> None:
    """Add what a block asks for to the jobs of each trial.

    Parameters
    ----------
    drivers : by row group
    season_rows : int array, (trial,)
    asked : mapping from task to hours, (trial, group)
    tied_from : float [day of season]
        Trees planted this year are tied down after that day.
    """
    for number, group in enumerate(groups):
        for task, hours in asked.items():
            first, last = (days[season_rows] for days in WINDOWS[task](drivers[number]))
            if task == "training":
                late = first < tied_from
                first, last = np.where(late, tied_from, first), np.where(late, tied_from + TRAINING_DAYS, last)
            urgency = priority(task, group.crew_rank)
            columns = (values.tolist() for values in (hours[:, number], first, last))
            for own, wanted, start, end in zip(jobs, *columns, strict=True):
                own.append(Job(group.label, task, wanted, start, end, urgency))


def thinning_delay(done: Done, bloom_day: float) -> float:
    """Days by which the mean tree was thinned too late for next year's bloom."""
    return max(0.0, done.mean_day - bloom_day - THINNING_TIMELY)


def picking_delay(jobs: Sequence[Job], done: Sequence[Done]) -> float:
    """Days by which the mean fruit was picked after its pass was due, hours-weighted."""
    hours = sum(outcome.hours for outcome in done)
    if hours <= 0:
        return 0.0
    due = [job.latest - PICK_TOLERANCE for job in jobs]
    return sum(own.hours * max(0.0, own.mean_day - day) for day, own in zip(due, done, strict=True)) / hours
