"""What a comparison of plans found, as plain numbers: filled by the analysis, read by the report, saved as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.text import Brief
from orchardsim.results.study import MeasureFacts
from orchardsim.results.written import number
from orchardsim.risk.bands import wilson_interval

if TYPE_CHECKING:
    from orchardsim.results.published import Beside
    from orchardsim.risk.bands import Chance
    from orchardsim.risk.comparison import LuckOrder

Array = NDArray[np.float64]

POINTS: Final = (5, 25, 50, 75, 95)
LEVEL: Final = 0.95
"""Level at which all intervals of one measure hold together."""
SURE: Final = 1.96
"""Standard errors on either side of an estimate that leave out zero at 95 % (normal distribution)."""

Outcome = Literal["same", "unsure", "short record", "better"]
"""What two plans' results allow to say: the same in every trial; not told apart; told apart by the trials but not by
the weather record; one better than the other."""


@dataclass(frozen=True)
class PlanFacts:
    """One plan of a comparison.

    Attributes
    ----------
    label : str
        Letter by which tables name it.
    name, title, plan_hash : str
    planted_area, gross_area : float [m2]
    trees : int
        Planting positions of all blocks.
    plants : bool
        Whether a block is planted in the run: not where an old orchard is kept or land lies idle.
    beside : Beside, optional
        The plan beside published budgets, where they say anything of it.
    """

    label: str
    name: str
    title: str
    plan_hash: str
    planted_area: float
    gross_area: float
    trees: int
    plants: bool
    beside: Beside | None = None


@dataclass(frozen=True)
class Measure(MeasureFacts):
    """One number by which plans are compared, for every plan and trial.

    Attributes
    ----------
    values : array, (plan, trial)
        A row of nan where a plan has no such number; infinite where it never pays back or has no rate of return.
    """

    values: Array = field(kw_only=True)

    def known(self, plan: int) -> bool:
        """Whether the plan has this number."""
        return not bool(np.isnan(self.values[plan]).any())

    def points(self, plan: int) -> Array:
        """5, 25, 50, 75 and 95 % points over trials, as a run tells them; nan where there is none."""
        if not self.known(plan):
            return np.full(len(POINTS), np.nan)
        from orchardsim.risk.bands import quantile

        row = self.values[plan]
        return np.array([float(quantile(row, point / 100, whole=self.whole).value) for point in POINTS])


@dataclass(frozen=True)
class Difference:
    """First plan less second plan, trial by trial, in one measure.

    Attributes
    ----------
    measure : str
        Key of the measure.
    centre : float
        Mean of the differences, or their median where a mean makes no sense.
    centre_is : {"mean", "median"}
    standard_error : float
        Monte Carlo standard error of the centre.
    low, high : float
        Its interval; the intervals of all pairs hold together at :data:`LEVEL`.
    spread_low, spread_high : float
        5 and 95 % points of the differences over trials.
    chance_better : Chance
        That the first plan is better than the second; a tie counts for neither.
    correlation : float
        Of the two plans' values over trials; nan where one is infinite or constant.
    """

    measure: str
    centre: float
    centre_is: str
    standard_error: float
    low: float
    high: float
    spread_low: float
    spread_high: float
    chance_better: Chance
    ties: int
    correlation: float

    @property
    def told_apart(self) -> bool:
        """Whether the interval leaves out zero."""
        return self.low > 0 or self.high < 0

    @property
    def same(self) -> bool:
        """Whether both plans have the same value in every trial."""
        return self.ties == self.chance_better.trials

    def turned(self) -> Difference:
        """Second plan less first plan."""
        chance = self.chance_better
        lost = chance.trials - chance.count - self.ties
        return replace(
            self,
            centre=0.0 - self.centre,
            low=0.0 - self.high,
            high=0.0 - self.low,
            spread_low=0.0 - self.spread_high,
            spread_high=0.0 - self.spread_low,
            chance_better=wilson_interval(lost, chance.trials, chance.level),
        )


@dataclass(frozen=True)
class Pair:
    """Two plans in the same futures.

    Attributes
    ----------
    first, second : int
        Places of the plans.
    deciding : str
        Key of the measure that decides.
    luck, reverse : LuckOrder
        Of the first over the second in the deciding measure, and of the second over the first.
    same_trees : tuple of str
        Blocks whose trees meet the same draws in both plans: same name and same layout.
    record_error : float
        Standard error of the deciding mean difference that comes from the finite weather record; nan where seasons
        are not drawn from one.
    trials_needed : int or None
        Trials at which a difference of this size would be told apart; None where it is, or where there is none.
    """

    first: int
    second: int
    deciding: str
    differences: Mapping[str, Difference]
    luck: LuckOrder
    reverse: LuckOrder
    same_trees: tuple[str, ...]
    record_error: float
    trials_needed: int | None

    @property
    def outcome(self) -> Outcome:
        """What may be said of the two."""
        one = self.differences[self.deciding]
        if one.same:
            return "same"
        if not one.told_apart:
            return "unsure"
        return "short record" if SURE * self.record_error > abs(one.centre) else "better"

    @property
    def ahead(self) -> int | None:
        """The plan that the trials put ahead; None where they do not tell."""
        if self.outcome in ("same", "unsure"):
            return None
        return self.first if self.differences[self.deciding].centre > 0 else self.second


@dataclass(frozen=True)
class Decision:
    """What a comparison says: verdicts, tables and sentences are made from this and from the pairs' outcomes.

    Attributes
    ----------
    outcome : str
        "better": the leader is best. Else no plan is, for the reason given against the closest rival.
    leader : int
        Plan with the highest mean of the deciding measure over all trials.
    rivals : tuple of int
        Plans that the leader is not surely better than, the nearest first; empty where it is best.
    runner_up : int
        The plan that sentences set beside the leader: the nearest rival, or the next by its mean.
    lead : Difference
        Leader less runner-up in the deciding measure.
    """

    outcome: Outcome
    leader: int
    rivals: tuple[int, ...]
    runner_up: int
    lead: Difference

    @property
    def best(self) -> int | None:
        """The best plan; None where no plan is."""
        return self.leader if self.outcome == "better" else None


def decide(means: Array, pairs: Sequence[Pair]) -> Decision:
    """The leader by its mean, and whether it is best.

    Parameters
    ----------
    means : (plan,)
        Of the deciding measure; high values are better.
    pairs : sequence of Pair
        All pairs, in whose intervals any plan may be picked as the leader: they hold together.
    """
    order = sorted(range(len(means)), key=lambda plan: -float(means[plan]))
    leader = order[0]
    beside = {}
    for pair in pairs:
        if leader in (pair.first, pair.second):
            beside[pair.second if pair.first == leader else pair.first] = pair
    rivals = tuple(plan for plan in order[1:] if beside[plan].outcome != "better")
    ranks: tuple[Outcome, ...] = ("unsure", "short record", "same")
    kinds = {beside[plan].outcome for plan in rivals}
    outcome: Outcome = next((kind for kind in ranks if kind in kinds), "better")
    close = [plan for plan in order[1:] if outcome == "better" or beside[plan].outcome == outcome]
    pair = beside[close[0]]
    lead = pair.differences[pair.deciding]
    return Decision(outcome, leader, rivals, close[0], lead if pair.first == leader else lead.turned())


@dataclass(frozen=True)
class Contrast:
    """Something that plans state or take differently: its name, and what it is in each plan."""

    name: str
    values: tuple[str, ...]


@dataclass(frozen=True, repr=False)
class Comparison(Brief):
    """Result of :func:`orchardsim.compare`.

    Attributes
    ----------
    deciding : str
        Key of the measure that decides: NPV of the whole farm, per area where the plans are of different farms.
    contrasts : tuple of Contrast
        What differs between the plans, besides their results.
    cash : array, (plan, trial, year)
        Net cash flow of the farm summed since year 0 [currency].
    picked : array, (plan, trial, year)
        Fruit picked per hectare of land with headlands [kg/ha].
    attrs : mapping
        Of the first plan's results: units, currency, price year, bin and box, seasons.
    notes : tuple of str
        What is the same, what is not, and what to beware of.
    """

    plans: tuple[PlanFacts, ...]
    trials: int
    years: int
    seed: int
    measures: Mapping[str, Measure]
    deciding: str
    pairs: tuple[Pair, ...]
    decision: Decision
    contrasts: tuple[Contrast, ...]
    cash: Array
    picked: Array
    attrs: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def pair(self, one: int, other: int) -> Pair:
        """The pair of two plans."""
        return next(pair for pair in self.pairs if {pair.first, pair.second} == {one, other})

    def difference(self, key: str, plan: int, other: int) -> Difference | None:
        """Plan less other plan in a measure; None where one of them has no such number."""
        pair = self.pair(plan, other)
        found = pair.differences.get(key)
        return found if found is None or pair.first == plan else found.turned()


def comparison_document(found: Comparison) -> dict[str, Any]:
    """Content of ``compare.json``: SI units, six significant digits, no time, host, path or number of processes."""
    labels = [plan.label for plan in found.plans]
    return {
        "version": str(found.attrs.get("version", "")),
        "seed": found.seed,
        "trials": found.trials,
        "years": found.years,
        "currency": str(found.attrs.get("currency", "")),
        "price_year": found.attrs.get("price_year"),
        "real_or_nominal": str(found.attrs.get("real_or_nominal", "")),
        "weather_method": str(found.attrs.get("weather_method", "")),
        "weather_words": str(found.attrs.get("weather_words", "")),
        "baseline_years": found.attrs.get("baseline_years"),
        "how_to_read": {
            "difference": "first plan less second plan in the same futures; chance_better: share of futures in which "
            "the first is better, ties counting for neither",
            "interval": f"low and high hold for all pairs of a measure together at {100 * LEVEL:.0f} %",
            "luck": "first order: no less at any level of luck in these trials and in 95 % of their resamples; second "
            "order: no less in the mean of the worst so many; outcomes rarer than unseen_chance may be missing",
            "decision": "the leader has the highest mean over all trials; it is best only where it is surely better "
            "than every other plan, by intervals that hold together and beyond the record's error",
            "record_error": "standard error from the finite weather record; not part of the interval",
            "units": "currency, kg, hectare of land with headlands unless the name says planted, hour, year",
        },
        "plans": [
            {
                "label": plan.label,
                "name": plan.name,
                "title": plan.title,
                "plan_hash": plan.plan_hash,
                "planted_area_m2": number(plan.planted_area),
                "gross_area_m2": number(plan.gross_area),
                "trees": plan.trees,
                "plants": plan.plants,
            }
            for plan in found.plans
        ],
        "deciding_measure": found.deciding,
        "measures": {key: _measure(one, labels) for key, one in found.measures.items()},
        "pairs": [_pair(pair, labels) for pair in found.pairs],
        "decision": {
            "outcome": found.decision.outcome,
            "best": labels[found.decision.leader] if found.decision.best is not None else None,
            "leader": labels[found.decision.leader],
            "not_surely_behind": [labels[plan] for plan in found.decision.rivals],
            "runner_up": labels[found.decision.runner_up],
            "lead": _difference(found.decision.lead),
        },
        "differs": {one.name: dict(zip(labels, one.values, strict=True)) for one in found.contrasts},
        "notes": list(found.notes),
    }


def _measure(one: Measure, labels: list[str]) -> dict[str, Any]:
    words = {"payback_year": "never", "irr": "none"}.get(one.key, "infinite")
    by_plan: dict[str, Any] = {}
    for place, label in enumerate(labels):
        if not one.known(place):
            by_plan[label] = None
            continue
        entry = {f"p{point}": number(value, words) for point, value in zip(POINTS, one.points(place), strict=True)}
        if one.has_mean:
            values = one.values[place]
            entry["mean"] = number(float(values.mean()))
            spread = values.std(ddof=1) if np.ptp(values) > 0 else 0.0
            entry["standard_error_of_mean"] = number(float(spread / np.sqrt(values.size)))
        by_plan[label] = entry
    return {"meaning": one.meaning, "unit": one.unit, "better": one.better, "plans": by_plan}


def _difference(one: Difference) -> dict[str, Any]:
    return {
        one.centre_is: number(one.centre),
        "standard_error": number(one.standard_error, "unbounded"),
        "low": number(one.low, _signed(one.low)),
        "high": number(one.high, _signed(one.high)),
        "p5": number(one.spread_low, _signed(one.spread_low)),
        "p95": number(one.spread_high, _signed(one.spread_high)),
        "chance_better": number(one.chance_better.value),
        "chance_low": number(one.chance_better.low),
        "chance_high": number(one.chance_better.high),
        "ties": one.ties,
        "correlation": number(one.correlation),
        "told_apart": one.told_apart,
    }


def _signed(value: float) -> str:
    return "infinite" if value > 0 else "-infinite"


def _pair(pair: Pair, labels: list[str]) -> dict[str, Any]:
    return {
        "first": labels[pair.first],
        "second": labels[pair.second],
        "differences": {key: _difference(one) for key, one in pair.differences.items()},
        "outcome": pair.outcome,
        "ahead": None if pair.ahead is None else labels[pair.ahead],
        "luck": {
            "first_over_second": _luck(pair.luck),
            "second_over_first": _luck(pair.reverse),
            "unseen_chance": number(pair.luck.unseen),
        },
        "same_tree_draws_in_blocks": list(pair.same_trees),
        "record_error": number(pair.record_error),
        "trials_needed": pair.trials_needed,
    }


def _luck(found: LuckOrder) -> dict[str, bool]:
    return {"first_order_in_trials": found.first_order, "second_order_in_trials": found.second_order}
