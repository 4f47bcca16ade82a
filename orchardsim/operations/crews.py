"""Crews at work: who does which batch of work when, as a SimPy world of one trial.

The entities are batches of work (label x task x window). A crew is a process that serves one batch at a time, so it
can be in one place only. Between two decisions nothing can change a crew's mind, so a batch is worked by a single
timeout, to the minute: to its end, to the end of its window, or to the moment at which a more urgent batch opens.
A crew none of whose batches another may take meets nobody, and goes through the phase without a clock of SimPy's.
Rain days thin the work evenly: a crew puts ``work_fraction`` of a calendar day's working hours into a batch.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Sequence
from heapq import heappop, heappush
from operator import attrgetter
from typing import Any, Final, NamedTuple

import simpy

from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.operations.parameters import Crew

DAY_MINUTES: Final = 1440
"""Whole minutes are the world's unit of time."""
NEVER: Final = 1 << 60


JobKey = tuple[str, str, int]
"""Row group, task, picking pass."""


class Job(NamedTuple):
    """A batch of work that is wanted.

    Attributes
    ----------
    label, task : str
        Where, and one of :data:`orchardsim.core.labels.TASKS`.
    hours : float [hour]
        Labour hours that the whole batch needs.
    earliest, latest : float [day of season]
        Window of the work; what is not done by ``latest`` stays undone.
    priority : int
        Lower goes first; a batch that opens interrupts work of a higher number. Ties go to the earlier ``latest``,
        then the earlier ``earliest``, then the order of the list.
    picking_pass : int
        Number of the picking pass, from 0 on; 0 for other tasks.
    """

    label: str
    task: str
    hours: float
    earliest: float
    latest: float
    priority: int = 5
    picking_pass: int = 0

    @property
    def key(self) -> JobKey:
        """What the answer to the job is kept under: row group, task, picking pass."""
        return self.label, self.task, self.picking_pass


class Done(NamedTuple):
    """What became of a job: share done, day about which it was done (hours-weighted mean) and hours spent.

    ``mean_day`` is the window's middle for a job of no hours, and its end for one on which nobody worked.
    ``end_day`` is the day on which the last work was put in.
    """

    share: float
    mean_day: float
    hours: float
    end_day: float


class Batch:
    """A part of a job as the crews see it."""

    __slots__ = ("closed", "earliest", "end", "index", "key", "latest", "left", "moment", "taken_until", "whole")

    def __init__(self, index: int, key: tuple[int, ...], hours: float, earliest: int, latest: int) -> None:
        self.index = index
        self.key = key
        self.whole = hours
        self.left = hours
        self.earliest = earliest
        self.latest = latest
        self.moment = 0.0
        """Sum of hours times twice the minute about which they were worked."""
        self.end = earliest
        self.taken_until = -1
        self.closed = False


WorkedHook = Callable[[int, str, int, int, float], None]


class CrewWorld:
    """The crews of one farm in one trial.

    Each phase runs on a SimPy clock of its own, in minutes since year 0, because the phases of early and late
    cultivars overlap; a crew starts a phase when it has come free from the one before.

    ``crews``: in order of call; where two are free for the same batch, the first takes it.
    """

    def __init__(self, crews: Sequence[Crew]) -> None:
        self.crews = tuple(crews)
        self.free_from = [0] * len(self.crews)
        """Minute at which each crew ended its last work."""
        self.daily_hours = tuple(crew.workers * crew.hours_per_day * crew.days_per_week / 7 for crew in crews)
        self._skilled: dict[str, tuple[int, ...]] = {}

    def skilled(self, task: str) -> tuple[int, ...]:
        """Numbers of the crews that do a task."""
        numbers = self._skilled.get(task)
        if numbers is None:
            numbers = tuple(number for number, crew in enumerate(self.crews) if task in crew.tasks)
            self._skilled[task] = numbers
        return numbers

    def capacity(self, task: str, days: float, work_fraction: float, turnout: Sequence[float]) -> float:
        """Labour hours that all crews able to do a task hold in a number of days."""
        return sum(self.daily_hours[number] * turnout[number] * work_fraction * days for number in self.skilled(task))

    def work(
        self,
        year: int,
        jobs: Sequence[Job],
        phase_start: float,
        phase_end: float,
        work_fraction: float,
        turnout: Sequence[float],
        hook: WorkedHook | None = None,
    ) -> list[Done]:
        """Work through the jobs of a phase.

        Parameters
        ----------
        year : int
            Year of the plan.
        jobs : sequence of Job
            Windows are cut to the phase.
        phase_start, phase_end : float [day of season]
        work_fraction : float [1]
            Share of days fit for field work.
        turnout : sequence of float [1]
            Share of each crew that can be had.
        hook : callable, optional
            Called with (job number, crew name, start minute, end minute, hours) for each stretch of work.
        """
        base = year * YEAR_DAYS * DAY_MINUTES
        rates = [
            hours * share * work_fraction / DAY_MINUTES for hours, share in zip(self.daily_hours, turnout, strict=True)
        ]
        opens = base + round(phase_start * DAY_MINUTES)
        closes = base + round(phase_end * DAY_MINUTES)
        boards, parts_of = self._boards(jobs, rates, base, opens, closes)
        alone = hook is None and all(len(parts) < 2 for parts in parts_of)
        env = None if alone else simpy.Environment(initial_time=opens)
        at_work = [
            self._serve(env, number, max(opens, self.free_from[number]), rates[number], board, hook)
            for number, board in enumerate(boards)
            if board
        ]
        if env is not None:
            env.run(until=env.all_of([env.process(crew) for crew in at_work]))
        else:
            for crew in at_work:
                next(crew, None)  # to its end
        return [_outcome(job, parts, base, phase_start, phase_end) for job, parts in zip(jobs, parts_of, strict=True)]

    def _boards(
        self, jobs: Sequence[Job], rates: Sequence[float], base: int, opens: int, closes: int
    ) -> tuple[list[list[Batch]], list[list[Batch]]]:
        """Batches of work by crew, and the same by job."""
        boards: list[list[Batch]] = [[] for _ in self.crews]
        parts_of: list[list[Batch]] = []
        able_to: dict[str, list[int]] = {}
        for index, (_, task, hours, first, last, priority, _) in enumerate(jobs):
            parts: list[Batch] = []
            parts_of.append(parts)
            earliest = base + round(first * DAY_MINUTES)
            if earliest < opens:
                earliest = opens
            latest = base + round(last * DAY_MINUTES)
            if latest > closes:
                latest = closes
            if hours <= 0 or latest <= earliest:
                continue
            if task not in able_to:
                able_to[task] = [number for number in self.skilled(task) if rates[number] > 0]
            able = able_to[task]
            if not able:
                continue
            if len(able) == 1:
                # no crew's number: nobody else may take it
                part = Batch(index, (priority, latest, earliest, index, len(boards)), hours, earliest, latest)
                parts.append(part)
                boards[able[0]].append(part)
                continue
            # Crews that can share a job get it in parts of their own strength, and any of them may take any part.
            strength = sum(rates[number] for number in able)
            for number in able:
                key = (priority, latest, earliest, index, number)
                parts.append(Batch(index, key, hours * rates[number] / strength, earliest, latest))
            for number in able:
                boards[number].extend(parts)
        return boards, parts_of

    def _serve(
        self,
        env: simpy.Environment | None,
        number: int,
        now: int,
        rate: float,
        board: list[Batch],
        hook: WorkedHook | None,
    ) -> Generator[Any, Any, None]:
        """Process of one crew through one phase: take the most urgent open batch, work, decide again.

        Without an environment it meets no other crew, and never waits.
        """
        if env is not None and now > env.now:
            yield env.timeout(now - env.now)
        future = sorted(board, key=attrgetter("earliest"), reverse=True)
        ready: list[tuple[tuple[int, ...], Batch]] = []
        while True:
            while future and future[-1].earliest <= now:
                batch = future.pop()
                # of a shared job's parts a crew takes its own first, so that all come to an end together
                heappush(ready, ((*batch.key[:4], -1) if batch.key[4] == number else batch.key, batch))
            chosen, wake = _most_urgent(ready, now)
            if chosen is None:
                if future and future[-1].earliest < wake:
                    wake = future[-1].earliest
                if wake == NEVER:
                    break
                if env is not None:
                    yield env.timeout(wake - now)
                now = wake
                continue
            needed = math.ceil(chosen.left / rate - 1e-9)
            stop = now + needed
            if stop > chosen.latest:
                stop = chosen.latest
            # Only a batch of a better priority interrupts; one that merely precedes in the ties does not.
            priority = chosen.key[0]
            for batch in reversed(future):
                if batch.earliest >= stop:
                    break
                if batch.key[0] < priority:
                    stop = batch.earliest
                    break
            if env is not None:
                chosen.taken_until = stop
                yield env.timeout(stop - now)
                chosen.taken_until = -1
            if stop - now >= needed:
                hours = chosen.left
                chosen.left = 0.0
                chosen.closed = True
            else:
                hours = rate * (stop - now)
                chosen.left -= hours
            chosen.moment += hours * (now + stop)
            chosen.end = stop
            self.free_from[number] = stop
            if hook is not None:
                hook(chosen.index, self.crews[number].name, now, stop, hours)
            now = stop


def _most_urgent(ready: list[tuple[tuple[int, ...], Batch]], now: int) -> tuple[Batch | None, int]:
    """Open batch that a crew takes up now; without one, when the next comes free that others work at."""
    chosen: Batch | None = None
    wake, elsewhere = NEVER, []
    while ready:
        batch = ready[0][1]
        if batch.closed or batch.latest <= now:
            heappop(ready)
        elif batch.taken_until >= 0:
            wake = min(wake, batch.taken_until)
            elsewhere.append(heappop(ready))
        else:
            chosen = batch
            break
    for entry in elsewhere:
        heappush(ready, entry)
    return chosen, wake


def _outcome(job: Job, parts: Sequence[Batch], base: int, phase_start: float, phase_end: float) -> Done:
    if len(parts) == 1 and parts[0].left == 0.0:
        part = parts[0]
        return Done(
            1.0, (part.moment / (2 * job.hours) - base) / DAY_MINUTES, job.hours, (part.end - base) / DAY_MINUTES
        )
    first, last = max(job.earliest, phase_start), min(job.latest, phase_end)
    if job.hours <= 0:
        return Done(1.0, (first + last) / 2, 0.0, first)
    hours = sum(part.whole - part.left for part in parts)
    if hours <= 0:
        return Done(0.0, last, 0.0, last)
    left = sum(part.left for part in parts)
    moment = sum(part.moment for part in parts)
    end = max(part.end for part in parts if part.left < part.whole)
    share = 1.0 if left == 0.0 else hours / job.hours
    return Done(
        share,
        (moment / (2 * hours) - base) / DAY_MINUTES,
        job.hours if left == 0.0 else hours,
        (end - base) / DAY_MINUTES,
    )
