"""What the operations room needs to know from the plan: replacement trees, crews, rates of work, supports."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from orchardsim.core.errors import InputError
from orchardsim.core.labels import TASKS
from orchardsim.core.parameters import parameter

PLACES: Final = ("none", "nursery_row", "pots")


class Keeping(NamedTuple):
    """How spares keep in a place: deaths [1/year], years until they are thrown out, work per tree [hour/year]."""

    death: float
    age_limit: int
    upkeep_hours: float


@dataclass(frozen=True)
class Replacement:
    """How replacement trees are bought, kept and used."""

    spares_at_planting: float = parameter(
        "1",
        "spares bought with the first planting, as a share of the trees planted "
        "(2-5 % is grower practice: memory, no text found)",
        low=0,
        high=1,
        default=0.03,
    )
    place: str = parameter(
        "text", "where spares are kept until a gap needs them", allowed=PLACES, default="nursery_row"
    )
    reorder_point: float = parameter(
        "1",
        "order when spares on hand and on order, less gaps and losses expected before delivery, come down to this "
        "share of the trees planted. Assumption: order as soon as a shortage is in sight",
        low=0,
        high=1,
        default=0.0,
    )
    order_up_to: float = parameter(
        "1",
        "level that an order brings the same sum up to, as a share of the trees planted (assumption)",
        low=0,
        high=1,
        default=0.02,
    )
    expected_loss: tuple[float, ...] = parameter(
        "1",
        "share of the trees planted that the grower expects to lose in each leaf of the block, leaf 1 first; the "
        "last value holds on. An order allows for the losses of the years until it comes. Empty: for none",
        low=0,
        high=1,
        default=(),
    )
    reorder: bool = parameter(
        "flag",
        "whether trees are ordered again after the planting; if not, gaps are filled from its spares alone",
        default=True,
    )
    lead_time: int = parameter(
        "year",
        "years from order to delivery; two for a finished tree (read: [press_preplanting])",
        low=0,
        high=8,
        default=2,
    )
    minimum_order: int = parameter(
        "1", "smallest order that the nursery takes, trees (assumption)", low=0, high=100_000, default=10
    )
    order_multiple: int = parameter(
        "1",
        "orders come in multiples of this many trees (read for one fruit-tree grower's terms: tens)",
        low=1,
        high=1000,
        default=10,
    )
    last_refill_leaf: int = parameter(
        "leaf",
        "last leaf of the block in which a gap is refilled (memory, extension: worth it to about leaf 3-5 in "
        "close plantings)",
        low=0,
        high=80,
        default=5,
    )
    spare_death: float = parameter(
        "1/year", "share of the spares in a nursery row that die in a year (assumption)", low=0, high=1, default=0.04
    )
    spare_age_limit: int = parameter(
        "year",
        "years after which a spare in a nursery row is too big to move and is thrown out (assumption)",
        low=0,
        high=10,
        default=3,
    )
    upkeep_hours: float = parameter(
        "hour",
        "work to keep one spare in a nursery row for a year: water, weeds, training (assumption)",
        low=0,
        high=5,
        default=0.15,
    )
    pot_death: float = parameter(
        "1/year",
        "share of the spares in pots that die in a year: roots are not cut, but pots dry out (assumption)",
        low=0,
        high=1,
        default=0.03,
    )
    pot_age_limit: int = parameter(
        "year",
        "years after which a spare in a pot is root-bound and is thrown out (assumption)",
        low=0,
        high=10,
        default=2,
    )
    pot_upkeep_hours: float = parameter(
        "hour",
        "work to keep one spare in a pot for a year: potting, daily water, training (assumption)",
        low=0,
        high=5,
        default=0.3,
    )
    shortfall_probability: float = parameter(
        "1", "chance that a nursery delivers less than ordered (assumption)", low=0, high=1, default=0.1
    )
    shortfall_share: float = parameter(
        "1", "largest share of an order that a short delivery lacks (assumption)", low=0, high=1, default=0.3
    )
    delay_probability: float = parameter(
        "1",
        "chance in a year that all deliveries come a year late, as after the nursery freeze of November 2010 "
        "(event read in the press; the rate is an assumption)",
        low=0,
        high=1,
        default=0.03,
    )
    spot_probability: float = parameter(
        "1",
        "chance in a year that trees to fill a shortage can be bought at short notice, at the late price. "
        "Assumption; in a tight market nurseries are sold out two years ahead: read, [press_tree_market]",
        low=0,
        high=1,
        default=0.0,
    )
    order_day: int = parameter(
        "day",
        "day of the biological year on which stock is reviewed and orders go out "
        "(read: nurseries want to know by June or July; 273 = 1 July in the north)",
        low=0,
        high=364,
        default=273,
    )
    window_start: int = parameter(
        "day",
        "first day of the biological year for replanting (assumption: 182 = 1 April in the north)",
        low=0,
        high=364,
        default=182,
    )
    window_end: int = parameter(
        "day",
        "last day of the biological year for replanting (assumption: 227 = mid May in the north)",
        low=0,
        high=364,
        default=227,
    )

    @property
    def keeping(self) -> Keeping:
        """What it takes to keep spares in the place chosen."""
        if self.place == "pots":
            return Keeping(self.pot_death, self.pot_age_limit, self.pot_upkeep_hours)
        return Keeping(self.spare_death, self.spare_age_limit, self.upkeep_hours)


@dataclass(frozen=True)
class Crew:
    """People who work as one body: in one place, on one task, at one time."""

    name: str = parameter("text", "name of the crew", default="farm crew")
    workers: float = parameter("1", "people in the crew", low=0, high=2000, default=6.0)
    hours_per_day: float = parameter("hour", "hours of work on a fit day", low=0, high=16, default=8.0)
    days_per_week: float = parameter("day", "working days in a week", low=0, high=7, default=6.0)
    tasks: tuple[str, ...] = parameter(
        "text",
        "tasks that the crew does",
        allowed=TASKS,
        default=tuple(task for task in TASKS if task not in ("frost_protection", "upkeep")),
    )
    turnout_spread: float = parameter(
        "1",
        "standard deviation between seasons of the share of the crew that can be had. It is never above 1 (peaks "
        "8.6-8.8 % short in Washington in 2011 and 2012: read, [press_labour_2013])",
        low=0,
        high=0.5,
        default=0.05,
    )


@dataclass(frozen=True)
class WorkRates:
    """How much work an hour holds."""

    planting: float = parameter(
        "1/hour",
        "trees planted per labour hour with a machine: 67 read (Fraser & Oakes 1999, Compact Fruit Tree 32(3)); "
        "96 derived from a 2009 press report; the default lies between",
        low=1,
        high=500,
        default=80.0,
    )
    replanting: float = parameter(
        "1/hour",
        "gaps filled per labour hour by hand among standing trees. About 333 trees in a worker's day are derived for "
        "new ground by hand ([press_replanting_2014]); scattered holes are assumed to take four times as long",
        low=0.5,
        high=200,
        default=10.0,
    )
    picking: float = parameter(
        "kg/hour",
        "fruit picked per labour hour, loaders in, drivers and supervision apart. Derived: prevailing piece pay of "
        "28.26 dollars a bin of 925 lb over the hourly minimum of 17.41, Washington 2022: 1.62 h a bin, 259 kg an "
        "hour. A good picker's 6 to 7 bins a day are 300 to 350; 4 to 8 bushels or 76 to 152 kg from memory suit "
        "tall or spot-picked trees",
        low=5,
        high=1500,
        default=260.0,
    )

    guard_minutes: float = parameter(
        "minute",
        "labour to fit a trunk guard, where the plan has guards (assumption)",
        low=0,
        high=60,
        default=1.0,
    )

    def with_guards(self) -> WorkRates:
        """The same rates where every tree planted gets its guard.

        Examples
        --------
        >>> round(WorkRates(planting=60.0, guard_minutes=1.0).with_guards().planting, 6)
        30.0
        """
        hours = self.guard_minutes / 60
        return replace(self, planting=1 / (1 / self.planting + hours), replanting=1 / (1 / self.replanting + hours))


@dataclass(frozen=True)
class SupportRates:
    """Labour to build a support, per piece (Fraser & Oakes 1999, Compact Fruit Tree 32(3): read)."""

    end_post_minutes: float = parameter("minute", "driven end-post anchor, each", low=0, high=120, default=6.0)
    line_post_minutes: float = parameter("minute", "in-line post, each", low=0, high=120, default=4.0)
    screw_anchor_minutes: float = parameter("minute", "screw anchor, each", low=0, high=120, default=3.0)
    brace_minutes: float = parameter("minute", "cross brace, each", low=0, high=240, default=15.0)
    wire_minutes: float = parameter(
        "minute", "one wire along a row of 475 ft (144.78 m), both people's time", low=0, high=600, default=60.0
    )
    tree_stake_minutes: float = parameter("minute", "conduit at each tree", low=0, high=60, default=2.0)
    clip_seconds: float = parameter("second", "wire clip, each", low=0, high=600, default=20.0)
    tie_seconds: float = parameter("second", "tree tie, each", low=0, high=600, default=20.0)


@dataclass(frozen=True)
class YardParameters:
    """All that the yard of one farm needs.

    Attributes
    ----------
    trees : mapping from label to planting positions
        Levels of the stock policy are shares of these.
    by_label : mapping from label to Replacement
        Labels whose trees, spares and orders follow rules of their own; days and chances of the nursery trade are
        ``replacement``'s for all.
    """

    replacement: Replacement
    crews: tuple[Crew, ...]
    trees: Mapping[str, int]
    rates: WorkRates = field(default_factory=WorkRates)
    by_label: Mapping[str, Replacement] = field(default_factory=dict)

    def of(self, label: str) -> Replacement:
        """Rules that a label's stock follows."""
        return self.by_label.get(label, self.replacement)


GROUP_KEYS: Final = (
    "spares_at_planting",
    "place",
    "reorder",
    "reorder_point",
    "order_up_to",
    "last_refill_leaf",
)
"""Rules that a row group may have of its own; lead time, lots, deaths and chances are the same for all."""


def check_replacement(where: str, replacement: Replacement) -> None:
    """Stop with an InputError on a replacement policy that contradicts itself; ``where``: file and section."""
    if replacement.place == "none" and replacement.spares_at_planting > 0:
        raise InputError(
            f"{where}.place",
            f"found 'none' with spares_at_planting = {replacement.spares_at_planting:g}: spares need a place; "
            "allowed: 'nursery_row', 'pots', or spares_at_planting = 0",
        )
    if replacement.order_up_to < replacement.reorder_point:
        raise InputError(
            f"{where}.order_up_to",
            f"found {replacement.order_up_to:g}, below reorder_point = {replacement.reorder_point:g}; "
            "allowed: at least the reorder point",
        )
    if replacement.window_end <= replacement.window_start:
        raise InputError(
            f"{where}.window_end",
            f"found day {replacement.window_end}, not after window_start = day {replacement.window_start}",
        )


TASK_DAYS: Final = {
    "planting": 45,
    "support_building": 150,
    "dormant_pruning": 120,
    "training": 45,
    "summer_pruning": 33,
}
"""Days a year that a task's window is usually open (common practice, no source), for remarks alone: the windows of a
run follow its seasons."""


def lacking_hours(crews: Sequence[Crew], hours: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """Tasks that the crews can never finish, even if every working day of the window is fit and theirs.

    ``hours``: that the plan asks for in its busiest year.

    Returns
    -------
    dict from task to (hours asked, hours that the crews hold)

    Examples
    --------
    >>> one = Crew("one", workers=1, hours_per_day=8, days_per_week=7)
    >>> lacking_hours([one], {"training": 360.0}), lacking_hours([one], {"training": 361.0})
    ({}, {'training': (361.0, 360.0)})
    """
    lacking = {}
    for task, days in TASK_DAYS.items():
        most = sum(
            crew.workers * crew.hours_per_day * crew.days_per_week / 7 * days for crew in crews if task in crew.tasks
        )
        if hours.get(task, 0.0) > most:
            lacking[task] = hours[task], most
    return lacking


def check_capacity(where: str, crews: Sequence[Crew], hours: Mapping[str, float]) -> list[str]:
    """Remark on work that the crews can never finish: what is left is told by the run, with what it costs.

    Raises
    ------
    InputError
        Where they cannot plant the trees, which cannot wait.
    """
    lacking = lacking_hours(crews, hours)
    if "planting" in lacking:
        asked, most = lacking["planting"]
        raise InputError(
            where,
            f"found crews that can never finish the planting: it takes {asked:,.0f} hours in its busiest year, and "
            f"they hold {most:,.0f} in some {TASK_DAYS['planting']} days; allowed: more workers, hours_per_day or "
            "days_per_week for 'planting'",
        )
    if not lacking:
        return []
    told = ", ".join(
        f"{task.replace('_', ' ')} ({asked:,.0f} hours in the busiest year, {most:.3g} to be had)"
        for task, (asked, most) in lacking.items()
    )
    return [f"the crews can never finish: {told}; the rest is left undone, and the run tells what that costs (crews)"]


def check_crews(where: str, crews: Sequence[Crew], tasks: Iterable[str]) -> None:
    """Stop with an InputError on crews that can never finish the ``tasks`` that the plan needs done."""
    names = [crew.name for crew in crews]
    for name in names:
        if names.count(name) > 1:
            raise InputError(where, f"crew {name!r} stands twice; allowed: one crew of a name")
    for crew in crews:
        for key in ("workers", "hours_per_day", "days_per_week"):
            if not (value := getattr(crew, key)) > 0 or not math.isfinite(value):
                raise InputError(
                    f"{where}.{crew.name}.{key}", f"found {value:g}: the crew can never finish; allowed: above 0"
                )
    able = {task for crew in crews for task in crew.tasks}
    for task in tasks:
        if task not in able:
            raise InputError(where, f"no crew does {task!r}, so it can never be finished; give it to a crew's tasks")
