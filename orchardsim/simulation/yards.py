"""The yards of a tile's trials: opened with the plan's crews and stock rules, worked by phase, booked at the end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import SeasonDrivers
from orchardsim.core.labels import TASKS
from orchardsim.core.streams import Streams
from orchardsim.operations.crews import Done, Job, JobKey
from orchardsim.operations.draws import draw_operations
from orchardsim.operations.parameters import Replacement, YardParameters
from orchardsim.operations.yard import Yard
from orchardsim.plan import Plan
from orchardsim.simulation.crew_jobs import PHASE_ENDS
from orchardsim.simulation.totals import Totals

if TYPE_CHECKING:
    from orchardsim.simulation.tile import Tile

Answers = list[dict[JobKey, Done]]
"""What the crews of each trial did, by row group, task and picking pass."""


def open_yards(
    plan: Plan,
    rules: Mapping[str, Replacement],
    streams: Streams,
    trials: Sequence[int],
    years: int,
    trace: bool = False,
) -> list[Yard]:
    """One yard for each trial, all its draws made.

    Parameters
    ----------
    rules : mapping from label to Replacement
    trace : bool
        Keep the event logs.
    """
    labels = plan.labels
    positions = {group.label: group.trees for group in plan.groups}
    parameters = YardParameters(plan.replacement, plan.crews, positions, plan.work_rates, by_label=rules)
    yards = []
    for trial in trials:
        farm = streams.at("yard", trial=trial)
        own = [streams.at("yard", label, trial=trial) for label in labels]
        yards.append(Yard(parameters, labels, draw_operations(farm, own, years, len(plan.crews)), trace=trace))
    return yards


def work_phase(tile: Tile, year: int, phase: int, jobs: Sequence[Sequence[Job]]) -> Answers:
    """Let each trial's crews work through a phase's jobs; a phase of the farm ends with that of its last block.

    Returns: what became of each job, by row group, task and picking pass.
    """
    standing: list[SeasonDrivers] = [
        drivers for block in tile.standing for drivers in tile.library.drivers[block.number]
    ]
    if not standing:
        return [{} for _ in tile.yards]
    seasons = tile.season_rows
    fit = np.mean([drivers.work_fraction[seasons, phase] for drivers in standing], axis=0)
    ends = [np.zeros(len(tile.yards))]
    for name, days in PHASE_ENDS:
        end = np.max([getattr(drivers, name)[seasons] for drivers in standing], axis=0) + days
        ends.append(np.maximum(end, ends[-1] + 1))
    return [
        yard.work(year, float(ends[phase][row]), float(ends[phase + 1][row]), list(jobs[row]), float(fit[row]))
        for row, yard in enumerate(tile.yards)
    ]


def hours_done(yards: Sequence[Yard], year: int, labels: Sequence[str], task: str) -> NDArray[np.float64]:
    """Hours worked so far at a task of a year, (trial, label)."""
    return np.array([[yard.hours.get((year, label, task), 0.0) for label in labels] for yard in yards])


def book_yards(yards: Sequence[Yard], labels: Sequence[str], totals: Totals, first: int) -> None:
    """Close the yards and book hours, trees and spares; yard 0 is row ``first`` of the totals."""
    column = {label: number for number, label in enumerate(labels)}
    task_number = {task: number for number, task in enumerate(TASKS)}
    arrays = totals.arrays
    for row, yard in enumerate(yards, start=first):
        yard.close()
        for (year, label, task), hours in yard.hours.items():
            arrays["labour_hours"][row, year, column[label], task_number[task]] += hours
        for (year, label), held in yard.on_hand.items():
            arrays["spares_on_hand"][row, year, column[label]] = held
        for (year, label, task), hours in yard.undone.items():
            arrays["labour_undone"][row, year, column[label], task_number[task]] += hours
        for (year, label, kind), number in yard.trees.items():
            if kind == "ordered":
                arrays["trees_ordered"][row, year, column[label]] += number
            elif kind in ("delivered", "bought", "spot"):
                arrays["spares_bought"][row, year, column[label]] += number
                if kind == "spot":
                    arrays["spot_bought"][row, year, column[label]] += number
