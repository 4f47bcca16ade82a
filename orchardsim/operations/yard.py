"""The working place of one farm in one trial: replacement trees, deliveries, planting and crews.

A year runs in this order: spares age (first call of the year), deliveries come, gaps are filled in the replant
window, crews work phase by phase, stock is reviewed and orders go out. An order is a SimPy process on the yard's
calendar of whole days, that waits for its delivery; the crews of a phase are processes too. Totals add up as things
happen; the event log is kept only with ``trace``.
"""

from __future__ import annotations

import copy
from collections import defaultdict
from collections.abc import Generator, Mapping, Sequence
from typing import Any

import simpy

from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.core.errors import IdentityError
from orchardsim.operations.crews import DAY_MINUTES, CrewWorld, Done, Job, JobKey
from orchardsim.operations.draws import YardDraws
from orchardsim.operations.log import Event, EventLog, check_sums
from orchardsim.operations.nursery import (
    TreeStock,
    arrival_year,
    expected_losses,
    lacking_trees,
    spares_to_buy,
    stock_policy,
)
from orchardsim.operations.parameters import YardParameters

PLANTING_PRIORITY = 0
"""Trees out of the ground do not wait: planting goes before all other work."""
HOURS_TOLERANCE = 1e-6
"""Largest gap in the books of hours, as a share of the hours asked of a task in a year."""


class Yard:
    """The yard of one trial.

    Parameters
    ----------
    labels : sequence of str
        Labels of the blocks (row groups), in the plan's order.
    draws : YardDraws
        For this trial, of at least as many years as the yard is used for.
    trace : bool
        Keep the event log.

    Attributes
    ----------
    trees : dict from (year, label, kind) to trees
        Kinds: ordered, bought (with the first planting), delivered, spot (bought at short notice), died, discarded,
        replanted.
    asked, hours, undone : dicts from (year, label, task) to hours
        Wanted, done, and not done in the year; what is asked is done or left undone, to the minute.
    on_hand : dict from (year, label) to spares held when the year was closed
    """

    def __init__(
        self, parameters: YardParameters, labels: Sequence[str], draws: YardDraws, trace: bool = False
    ) -> None:
        self.parameters = parameters
        self.labels = tuple(labels)
        self.draws = draws
        self.log = EventLog() if trace else None
        self.world = CrewWorld(parameters.crews)
        self.calendar = simpy.Environment()
        self.stocks = {label: TreeStock() for label in self.labels}
        self.policies = {
            label: stock_policy(parameters.of(label), parameters.trees.get(label, 0)) for label in self.labels
        }
        self.trees: dict[tuple[int, str, str], int] = defaultdict(int)
        self.asked: dict[tuple[int, str, str], float] = defaultdict(float)
        self.hours: dict[tuple[int, str, str], float] = defaultdict(float)
        self.undone: dict[tuple[int, str, str], float] = defaultdict(float)
        self.on_hand: dict[tuple[int, str], int] = {}
        self._year = -1
        self._waiting: list[Job] = []
        self._turnout: list[float] = [1.0] * len(parameters.crews)

    def copied(self, draws: YardDraws | None = None) -> Yard:
        """A yard in the same state that goes its own way from here; between two years only, and without a log.

        ``draws``, optional: draws of the copy, where its coming years differ.
        """
        if self.log is not None:
            raise ValueError("a yard that keeps a log cannot be copied")
        twin = Yard(self.parameters, self.labels, self.draws if draws is None else draws)
        twin.world.free_from = list(self.world.free_from)
        twin.stocks = copy.deepcopy(self.stocks)
        twin.trees.update(self.trees)
        twin.asked.update(self.asked)
        twin.hours.update(self.hours)
        twin.on_hand.update(self.on_hand)
        twin.undone.update(self.undone)
        twin._year, twin._waiting, twin._turnout = self._year, list(self._waiting), list(self._turnout)
        # A process cannot be copied; every order that waits stands in the stock, and starts to wait again.
        twin.calendar = simpy.Environment(initial_time=self.calendar.now)
        for label, stock in twin.stocks.items():
            for arrival in stock.due:
                twin.calendar.process(twin._deliver(label, arrival))
        return twin

    def begin_year(self, year: int) -> None:
        """Let spares age, take in the year's deliveries; called by the first use of a year, and safe to repeat."""
        if year == self._year:
            return
        if year < self._year:
            raise IdentityError(f"year {year} asked of a yard that has reached year {self._year}")
        for passed in range(self._year + 1, year + 1):
            if passed:
                self._close_year(passed - 1)
            self._year = passed
            self._open_year(passed)

    def first_planting(
        self,
        year: int,
        planted: Mapping[str, int],
        window_start: float,
        window_end: float,
        extra: Mapping[str, float] | None = None,
    ) -> dict[str, int]:
        """Plant new blocks and buy their spares; returns the spares bought by label.

        Parameters
        ----------
        planted : mapping from label to trees planted
        window_start, window_end : float [day of season]
        extra : mapping, optional
            By label, trees beside the positions (pollinizers) that are planted too and need no spares.
        """
        self.begin_year(year)
        bought = {}
        for label, trees in planted.items():
            if trees <= 0:
                continue
            hours = (trees + (extra or {}).get(label, 0.0)) / self.parameters.rates.planting
            self._await_work(Job(label, "planting", hours, window_start, window_end, PLANTING_PRIORITY))
            self._note(year, window_start, "planted", label, int(trees))
            spares = spares_to_buy(self.parameters.of(label), trees)
            bought[label] = spares
            if spares:
                self.stocks[label].receive(spares)
                self._move(year, window_start, "bought", label, spares)
        return bought

    def planting(
        self, year: int, window_start: float, window_end: float, wanted: Mapping[str, int], work_fraction: float = 1.0
    ) -> dict[str, int]:
        """Fill gaps from the stock.

        Returns trees planted by label, never more than the gaps, the spares on hand, or what the crews can plant in the
        window. The work itself is done, before all other work, by the next call of :meth:`work`.

        Parameters
        ----------
        window_start, window_end : float [day of season]
        wanted : mapping from label to gaps to fill
            In order of preference where the crews cannot plant all.
        work_fraction : float [1]
            Share of days fit for work in the window.
        """
        self.begin_year(year)
        planted = {}
        rate = self.parameters.rates.replanting
        committed = sum(job.hours for job in self._waiting)
        days = max(0.0, window_end - window_start)
        hours = self.world.capacity("replanting", days, work_fraction, self._turnout) - committed
        for label, gaps in wanted.items():
            possible = min(int(gaps), int(max(0.0, hours) * rate))
            trees = 0
            if possible > 0:
                stock = self.stocks[label]
                short = possible - stock.on_hand
                if short > 0 and self.draws.spot[year] < self.parameters.replacement.spot_probability:
                    stock.receive(short)
                    self._move(year, window_start, "spot", label, short)
                trees = stock.take(possible)
            planted[label] = trees
            if trees:
                hours -= trees / rate
                self._await_work(Job(label, "replanting", trees / rate, window_start, window_end, PLANTING_PRIORITY))
                self._move(year, window_start, "replanted", label, trees)
        return planted

    def work(
        self, year: int, phase_start_day: float, phase_end_day: float, jobs: Sequence[Job], work_fraction: float
    ) -> dict[JobKey, Done]:
        """Work through a phase's jobs; returns what became of each, by row group, task and picking pass.

        Planting that waits is done first, in its own window even where that reaches beyond the phase, and is booked
        in :attr:`hours`, but not returned. A job whose window runs
        on beyond the phase keeps its place: what is undone goes on in the year's next phases, booked but not
        returned again.
        """
        self.begin_year(year)
        waiting, self._waiting = self._waiting, []
        for job in waiting:
            if job.task in ("planting", "replanting"):
                phase_start_day = min(phase_start_day, job.earliest)
                phase_end_day = max(phase_end_day, job.latest)
        for job in jobs:
            if job.hours > 0:
                self.asked[year, job.label, job.task] += job.hours
        batch = [*jobs, *waiting]
        hook = None
        if self.log is not None:
            log = self.log
            base = year * YEAR_DAYS * DAY_MINUTES

            def hook(index: int, crew: str, start: int, stop: int, hours: float) -> None:
                job = batch[index]
                days = (start - base) / DAY_MINUTES, (stop - base) / DAY_MINUTES
                log.add(Event(year, *days, "worked", job.label, job.task, crew, 0, hours, job.earliest))

        done = self.world.work(year, batch, phase_start_day, phase_end_day, work_fraction, self._turnout, hook)
        hours = self.hours
        for job, outcome in zip(batch, done, strict=True):
            if outcome.hours:
                hours[year, job.label, job.task] += outcome.hours
            if outcome.share < 1:
                rest = job._replace(hours=job.hours - outcome.hours)
                if job.latest > phase_end_day:
                    self._waiting.append(rest)
                else:
                    self._leave_undone(year, rest)
        answers = {job.key: outcome for job, outcome in zip(jobs, done[: len(jobs)], strict=True)}
        if len(answers) < len(jobs):
            raise IdentityError(f"year {year}: a row group asks twice for the same task")
        return answers

    def order_review(
        self,
        year: int,
        on_day: float,
        gaps: Mapping[str, int],
        leaf: Mapping[str, int] | None = None,
    ) -> dict[str, int]:
        """Review the stock and place orders; returns trees ordered by label.

        An order allows for the losses that the label's rules expect by leaf before it would be planted.

        Parameters
        ----------
        on_day : float [day of season]
        gaps : mapping from label to gaps that wait to be filled
        leaf : mapping from label to the block's leaf this season, optional
            No tree is ordered that would come after the last leaf in which gaps are filled; spares left in that leaf
            are thrown out.
        """
        self.begin_year(year)
        today = year * YEAR_DAYS + round(on_day)
        self._await_day(today)
        ordered = {}
        for label, waiting in gaps.items():
            policy = self.parameters.of(label)
            planted, age = self.parameters.trees.get(label, 0), leaf[label] if leaf is not None else None
            losses = expected_losses(policy, planted, age or 0, arrival_year(policy, year) - year)
            trees, left = self.stocks[label].review(policy, self.policies[label], waiting, losses, year, age)
            ordered[label] = trees
            if left:
                self._move(year, on_day, "discarded", label, left)
            if trees:
                self._move(year, on_day, "ordered", label, trees)
                self.calendar.process(self._deliver(label, arrival_year(policy, year)))
        return ordered

    def close(self) -> None:
        """Close the last year and check the books; the log's sums too where one is kept."""
        if self._year >= 0:
            self._close_year(self._year)
        for key, hours in self.asked.items():
            done, left = self.hours.get(key, 0.0), self.undone.get(key, 0.0)
            if abs(hours - done - left) > HOURS_TOLERANCE * max(hours, 1.0):
                raise IdentityError(f"{key[2]} of {key[1]} in year {key[0]}: {done} + {left} is not {hours} hours")
        if self.log is not None:
            check_sums(self.log, self.trees, self.hours)

    def _open_year(self, year: int) -> None:
        policy = self.parameters.replacement
        draws = self.draws
        share = draws.crew_share.get(year, 1.0)
        self._turnout = [
            share * min(1.0, max(0.0, 1.0 + crew.turnout_spread * draw))
            for crew, draw in zip(self.parameters.crews, draws.turnout[year], strict=True)
        ]
        for index, label in enumerate(self.labels):
            stock = self.stocks[label]
            if stock.cohorts:
                keeping = self.parameters.of(label).keeping
                died, discarded = stock.age(keeping.death, draws.death[year][index], keeping.age_limit)
                if died:
                    self._move(year, 0, "died", label, died)
                if discarded:
                    self._move(year, 0, "discarded", label, discarded)
        self._await_day(year * YEAR_DAYS + policy.window_start + 1)

    def _await_day(self, day: float) -> None:
        """Let happen what waits for a moment before ``day``; most years nothing does, and the clock stays behind."""
        if self.calendar.peek() < day:
            self.calendar.run(until=day)

    def _deliver(self, label: str, arrival: int) -> Generator[Any, Any, None]:
        """Process of an order: wait for the year of delivery, and another if the trade is late; trees come short."""
        policy = self.parameters.replacement
        draws = self.draws
        stock = self.stocks[label]
        while True:
            yield self.calendar.timeout(arrival * YEAR_DAYS + policy.window_start - self.calendar.now)
            due = stock.due.pop(arrival, 0)
            if not due or draws.delay[arrival] >= policy.delay_probability:
                break
            self._note(arrival, policy.window_start, "late_delivery", label, due)
            arrival += 1
            stock.due[arrival] = stock.due.get(arrival, 0) + due
        index = self.labels.index(label)
        if lacking := lacking_trees(policy, due, draws.short[arrival][index], draws.short_share[arrival][index]):
            due -= lacking
            self._note(arrival, policy.window_start, "short_delivery", label, lacking)
        if due:
            stock.receive(due)
            self._move(arrival, policy.window_start, "delivered", label, due)

    def _close_year(self, year: int) -> None:
        for job in self._waiting:
            self._leave_undone(year, job)
        self._waiting = []
        for label, stock in self.stocks.items():
            policy = self.parameters.of(label)
            if policy.place == "none" and (left := stock.discard_all()):
                self._move(year, self.parameters.replacement.window_end, "discarded", label, left)
            held = stock.on_hand
            before = self.on_hand.get((year - 1, label), 0)
            trees = self.trees
            flow = (
                trees.get((year, label, "bought"), 0)
                + trees.get((year, label, "delivered"), 0)
                + trees.get((year, label, "spot"), 0)
                - trees.get((year, label, "died"), 0)
                - trees.get((year, label, "discarded"), 0)
                - trees.get((year, label, "replanted"), 0)
            )
            if held < 0 or before + flow != held:
                raise IdentityError(f"spares of {label} in year {year}: {before} + {flow} is not {held}")
            self.on_hand[year, label] = held
            if held and policy.keeping.upkeep_hours:
                hours = held * policy.keeping.upkeep_hours
                self.hours[year, label, "upkeep"] += hours
                if self.log is not None:
                    self.log.add(Event(year, 0, YEAR_DAYS, "upkeep", label, "upkeep", "", held, hours))

    def _leave_undone(self, year: int, job: Job) -> None:
        if job.hours > 0:
            self.undone[year, job.label, job.task] += job.hours
        if self.log is not None and job.hours > 0:
            self.log.add(Event(year, job.earliest, job.latest, "unfinished", job.label, job.task, "", 0, job.hours))

    def _await_work(self, job: Job) -> None:
        self.asked[self._year, job.label, job.task] += job.hours
        self._waiting.append(job)

    def _move(self, year: int, day: float, kind: str, label: str, trees: int) -> None:
        self.trees[year, label, kind] += trees
        self._note(year, day, kind, label, trees)

    def _note(self, year: int, day: float, kind: str, label: str, trees: int) -> None:
        if self.log is not None:
            self.log.add(Event(year, day, day, kind, label, "", "", trees, 0.0))
