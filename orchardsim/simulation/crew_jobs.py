"""The jobs that a year's phases ask of the crews, and how late they were done."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from orchardsim.core.handover import SeasonDrivers
from orchardsim.operations.crews import Done, Job

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


def dormant_jobs(
    label: str, season: SeasonDrivers, row: int, pruning: float, training: float, rank: int = 5, planted: float = 0.0
) -> list[Job]:
    """Dormant pruning up to two weeks after bud break, but not in bloom, and tie-down after bud break.

    Trees planted this year are tied down after the day ``planted``.
    """
    start = season.bud_break_day[row]
    pruned_by = min(start + 14, season.bloom_day[row])
    tied_from = max(start, planted)
    return [
        Job(label, "dormant_pruning", pruning, PRUNING_START, pruned_by, priority("dormant_pruning", rank)),
        Job(label, "training", training, tied_from, tied_from + TRAINING_DAYS, priority("training", rank)),
    ]


def support_job(label: str, season: SeasonDrivers, row: int, hours: float, rank: int = 5) -> Job:
    """Building the support, after planting and before the crop's weight."""
    start = season.bud_break_day[row]
    latest = season.harvest_day[row] - 14
    return Job(label, "support_building", hours, start, latest, priority("support_building", rank))


def thinning_job(label: str, season: SeasonDrivers, row: int, hours: float, rank: int = 5) -> Job:
    """Hand thinning, from fruitlets that can be told apart to closed canopy."""
    bloom = season.bloom_day[row]
    latest = max(season.closed_canopy_day[row], bloom + THINNING_TIMELY)
    return Job(label, "thinning", hours, bloom + THINNING_START, latest, priority("thinning", rank))


def summer_pruning_job(label: str, season: SeasonDrivers, row: int, hours: float, rank: int = 5) -> Job:
    """Summer pruning before harvest."""
    harvest = season.harvest_day[row]
    start = harvest - SUMMER_PRUNING_DAYS
    return Job(label, "summer_pruning", hours, start, harvest - 7, priority("summer_pruning", rank))


def thinning_delay(done: Done, bloom_day: float) -> float:
    """Days by which the mean tree was thinned too late for next year's bloom."""
    return max(0.0, done.mean_day - bloom_day - THINNING_TIMELY)


def picking_delay(jobs: Sequence[Job], done: Sequence[Done]) -> float:
    """Days by which the mean fruit was picked after its pass was due, hours-weighted."""
    hours = sum(one.hours for one in done)
    if hours <= 0:
        return 0.0
    pairs = zip(jobs, done, strict=True)
    return sum(one.hours * max(0.0, one.mean_day - (job.latest - PICK_TOLERANCE)) for job, one in pairs) / hours
