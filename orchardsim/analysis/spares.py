"""How many replacement trees to hold and order, and when: search on one set of trials, report on fresh ones."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.analysis.gap_value import GapRun, GapValue, gap_value, run_gaps
from orchardsim.analysis.policy_outcomes import amount, first_leaves, label_policy, margin_scale, policy_outcomes
from orchardsim.analysis.policy_runs import (
    Array,
    Policies,
    PolicyRun,
    cut,
    no_replacement,
    run_policy,
)
from orchardsim.analysis.stock_search import (
    Families,
    FarmReplay,
    Losses,
    Replay,
    StockRun,
    flows_of,
    gap_cost,
    independent_losses,
    search,
    spent,
    stock_draws,
    stock_money,
)
from orchardsim.core.errors import InputError
from orchardsim.core.pool import Task, WorkerPool, worker_pool
from orchardsim.core.streams import Streams
from orchardsim.operations.nursery import spares_to_buy
from orchardsim.operations.parameters import Replacement
from orchardsim.plan import Plan
from orchardsim.results.spares import (
    NEAR,
    Clustering,
    CostCurve,
    RefillWorth,
    SparesAnswer,
    decide_spares,
)
from orchardsim.simulation.arguments import check_arguments
from orchardsim.simulation.money import block_leaf
from orchardsim.simulation.run import check_run
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.trees.loss_clustering import dispersion

LEAST_TRIALS: Final = 8
WORTH_TRIALS: Final = 16
"""Trials of a batch of twin runs; each takes as long as some twelve common ones."""
MOST_WORTH_TRIALS: Final = 64
"""Twin runs go on to so many trials while it cannot be told whether the first gap filled brings back its cost."""
SURE: Final = 2.0
"""Standard errors beyond which a worth is spoken of as above or below its cost."""
RULES: Final = (0.02, 0.03, 0.05)
"""One-line rules set beside the answer: this share of spares at planting, nothing ordered later (2-5 % is grower
practice: memory, no text found)."""
CURVE_SHARES: Final = (0, 0.005, 0.01, 0.015, 0.02, 0.025, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.10, 0.12, 0.15, 0.20)
CURVE_COLUMNS: Final = ("cost", "error", "cost_alone", "error_alone", "spent", "margin_lost", "filled_alone")


def spares(
    plan: Plan,
    *,
    trials: int = 200,
    years: int = 20,
    seed: int = 1,
    jobs: int = 1,
    progress: Callable[[int], Any] | None = None,
) -> SparesAnswer:
    """Search for the replacement policy that costs a plan least, trees and empty places counted.

    Raises InputError if the plan's replacement rules contradict themselves, or there are too few trials.

    Parameters
    ----------
    plan : Plan
        Its lead time, lots, chances of the nursery trade, prices and wages hold for every policy.
    trials : int
        The first half chooses, the second half reports.
    years, seed, jobs
        As in :func:`orchardsim.simulate`; results do not depend on ``jobs``.
    progress : callable, optional
        Called with the per cent of the work just done; they sum to 100.

    Notes
    -----
    Losses of the first planting and the worth of a filled gap by year come from simulations of the plan itself; the
    stock rules are replayed over them for some hundred policies per row group. The chosen policy, the best of each
    kind and the one-line rules are then simulated in full over fresh trials. A policy's cost is the margin there for
    the filling, less what its net present value is above that of filling no gap, in the same trial.
    """
    check_arguments(trials=trials, years=years, seed=seed, jobs=jobs)
    check_spares(plan, trials, years)
    half = trials // 2
    choosing, reporting = range(half), range(half, trials)
    library = None
    if plan.weather.method != "parametric":
        library = build_library(plan, Streams(seed), range(trials), years, "sampled")
    with worker_pool(jobs) as workers:
        work = _Work(plan, library, years, seed, workers, progress)
        base = _measure(work, choosing)
        choice = _choose(work, choosing, base)
        candidates = _candidates(plan, choice)
        runs = _simulate(work, candidates, reporting)
    value, fresh = work.value, work.replays(reporting, runs["none"])
    scale = margin_scale(plan, candidates, runs, fresh)
    outcomes = policy_outcomes(plan, candidates, runs, fresh, years, scale, Streams(seed).at("bootstrap", "spares"))
    advised = candidates[decide_spares(outcomes).advised.key][1]
    work.done(100)
    return SparesAnswer(
        outcomes=outcomes,
        curves=tuple(
            _curve(label, replay, families, advised[label], scale)
            for label, replay, families in zip(plan.labels, fresh, choice.families, strict=True)
        ),
        worth=tuple(_worth(work, number, fresh[number]) for number in range(len(plan.labels))),
        clustering=_clustering(work, reporting, choice, advised, fresh),
        choosing_trials=len(choosing),
        reporting_trials=len(reporting),
        worth_trials=value.trials,
        years=years,
        seed=seed,
        lead_time=plan.replacement.lead_time,
        minimum_order=plan.replacement.minimum_order,
        order_multiple=plan.replacement.order_multiple,
        attrs=_attrs(plan, library, years, seed),
        notes=_notes(plan, value),
    )


def check_spares(plan: Plan, trials: int, years: int) -> None:
    """Whether a search can be made as asked.

    Raises InputError: one line naming what was found and what is allowed.
    """
    if trials < LEAST_TRIALS:
        raise InputError("trials", f"found {trials}, allowed {LEAST_TRIALS} or more: half choose, half report")
    check_run(plan, trials, years)
    for block in plan.blocks:
        if block.year_planted >= years - 1:
            raise InputError(
                plan.where,
                f"block {block.name}.year_planted: found year {block.year_planted}, but gaps are filled from the year "
                f"after on, and the run ends with year {years - 1}; allowed: an earlier year, or more --years",
            )


class _Work:
    """One search: the plan and its seasons, who does the work, what a filled gap is worth, how much is done."""

    value: GapValue

    def __init__(
        self,
        plan: Plan,
        library: SeasonLibrary | None,
        years: int,
        seed: int,
        workers: WorkerPool,
        progress: Callable[[int], Any] | None,
    ) -> None:
        self.plan, self.library, self.years, self.seed = plan, library, years, seed
        self.workers, self.progress, self.told = workers, progress, 0

    def done(self, percent: float) -> None:
        """Tell whoever waits of work done up to this percentage."""
        if self.progress is not None and int(percent) > self.told:
            self.progress(int(percent) - self.told)
            self.told = int(percent)

    def results(self, tasks: Sequence[Task], start: int, end: int) -> list[Any]:
        """Results of tasks, in their order, which take the work from one percentage to another."""
        results: dict[int, Any] = {}
        for number, result in self.workers.finished(tasks):
            results[number] = result
            self.done(start + (end - start) * len(results) / len(tasks))
        return [results[number] for number in range(len(tasks))]

    def policy_tasks(self, policies: Policies, trials: range) -> list[Task]:
        """Full simulation of some trials, in pieces."""
        return [
            (run_policy, (self.plan, policies, self.library, part, self.years, self.seed)) for part in cut(trials, 4)
        ]

    def twin_tasks(self, trials: range) -> list[Task]:
        """Twin runs of some trials, in pieces."""
        return [(run_gaps, (self.plan, self.library, part, self.years, self.seed)) for part in cut(trials, 4)]

    def undecided(self) -> NDArray[np.bool_]:
        """Labels whose first gap is worth neither surely more nor surely less than its cost: (label,)."""
        value = self.value
        unsure = np.zeros(value.value.shape[1], dtype=bool)
        for label in range(unsure.size):
            known = np.flatnonzero(np.isfinite(value.value[:, label]))
            if known.size:
                first = known[0]
                cost = gap_cost(stock_money(self.plan, label, self.years))[value.years[first]]
                unsure[label] = abs(value.value[first, label] - cost) <= SURE * value.error[first, label]
        return unsure

    def replays(self, trials: range, base: PolicyRun) -> list[Replay]:
        """Replays by label over the losses of some trials in which no gap was filled."""
        plan = self.plan
        leaf = block_leaf(plan, self.years)
        draws = stock_draws(plan, Streams(self.seed), trials, self.years)
        worth = self.value.by_year(self.years)
        undecided = self.undecided()
        replays = []
        for number, group in enumerate(plan.groups):
            before = base.lost_before[:, :, number].astype(np.int64)
            after = base.lost_after[:, :, number].astype(np.int64)
            if leaf[0, number] > 1:
                # gaps that a standing block begins with
                before[:, 0] = group.trees - base.alive[:, 0, number].astype(np.int64) - after[:, 0]
            money = stock_money(plan, number, self.years)
            if undecided[number]:
                # what cannot be told from noise is not claimed: such gaps count as just worth their cost
                worth[:, number] = np.minimum(worth[:, number], gap_cost(money))
            replays.append(
                Replay(
                    group.trees,
                    leaf[:, number].tolist(),
                    Losses(before, after),
                    draws[number],
                    worth[:, number],
                    money,
                    self.value.loss,
                )
            )
        return replays

    def alone(self, trials: range, replays: Sequence[Replay]) -> list[Replay]:
        """The same replays with losses of the same means in which every tree dies by itself."""
        streams = Streams(self.seed)
        return [
            replay.over(
                independent_losses(
                    replay.losses, replay.trees, [streams.at("independent losses", label, trial=t) for t in trials]
                )
            )
            for label, replay in zip(self.plan.labels, replays, strict=True)
        ]


def _measure(work: _Work, trials: range) -> PolicyRun:
    """Losses where no gap is filled; finds the worth of filling one too."""
    last = min(trials.start + MOST_WORTH_TRIALS, trials.stop)
    few = range(trials.start, min(trials.start + WORTH_TRIALS, trials.stop))
    twins = work.twin_tasks(few)
    results = work.results([*twins, *work.policy_tasks(no_replacement(work.plan), trials)], 0, 25)
    gaps, base = GapRun.joined(results[: len(twins)]), PolicyRun.joined(results[len(twins) :])
    work.value = gap_value(work.plan, gaps, work.years)
    while few.stop < last and work.undecided().any():
        few = range(few.stop, min(few.stop + WORTH_TRIALS, last))
        gaps = GapRun.joined([gaps, *work.results(work.twin_tasks(few), 25, 25)])
        work.value = gap_value(work.plan, gaps, work.years)
    return base


@dataclass(frozen=True)
class _Choice:
    """Best policies by label of each kind, for the farm as a whole, and with trees that die by themselves."""

    families: list[Families]
    best: Policies
    farm: Replacement
    alone: Policies


def _search(replay: Replay | FarmReplay, start: Replacement) -> tuple[Families, Replacement]:
    families = search(replay, start)
    return families, families.best(replay)


def _choose(work: _Work, trials: range, base: PolicyRun) -> _Choice:
    plan = work.plan
    replays = work.replays(trials, base)
    everything: list[Replay | FarmReplay] = [*replays, *work.alone(trials, replays)]
    starts = [group.refill for group in plan.groups] * 2
    if len(replays) > 1:
        everything.append(FarmReplay(replays))
        starts.append(plan.replacement)
    results = work.results([(_search, pair) for pair in zip(everything, starts, strict=True)], 25, 40)
    families, best = zip(*results, strict=True)
    count = len(replays)
    return _Choice(
        list(families[:count]),
        dict(zip(plan.labels, best[:count], strict=True)),
        best[2 * count if count > 1 else 0],
        dict(zip(plan.labels, best[count : 2 * count], strict=True)),
    )


def _elsewhere(choice: _Choice) -> str:
    """Where the chosen policy does not keep its spares."""
    places = {families.elsewhere.place for families in choice.families if families.elsewhere != families.never}
    names = {"pots": "in pots", "nursery_row": "in a nursery row"}
    return names.get(next(iter(places)), "elsewhere") if len(places) == 1 else "in the other place"


def _candidates(plan: Plan, choice: _Choice) -> dict[str, tuple[str, Policies]]:
    """Policies to simulate in full, the chosen one first; the same policy stands once."""
    own = plan.replacement
    place = own.place if own.place != "none" else "nursery_row"

    def of_kind(kind: str) -> Policies:
        return {
            label: getattr(families, kind) if choice.best[label] != families.never else families.never
            for label, families in zip(plan.labels, choice.families, strict=True)
        }

    listed: list[tuple[str, str, Policies]] = [
        ("best", "best that the search found", choice.best),
        ("farm", "one rule for all row groups", dict.fromkeys(plan.labels, choice.farm)),
        ("spares", "best with spares at planting alone", of_kind("spares")),
        ("orders", "best with later orders alone", of_kind("orders")),
        ("elsewhere", f"best with spares {_elsewhere(choice)}", of_kind("elsewhere")),
        ("plan", "the plan's own rule", {group.label: group.refill for group in plan.groups}),
    ]
    for share in RULES:
        rule = dataclasses.replace(
            own, spares_at_planting=share, place=place, reorder=False, reorder_point=0.0, order_up_to=0.0
        )
        name = f"{100 * share:.0f} % spare at planting, no more"
        listed.append((f"rule_{100 * share:.0f}", name, dict.fromkeys(plan.labels, rule)))
    listed.append(("none", "no gap filled", no_replacement(plan)))
    candidates: dict[str, tuple[str, Policies]] = {}
    leaves, nothing = first_leaves(plan), no_replacement(plan)
    for key, name, given in listed:
        policies = {
            group.label: given[group.label]
            if label_policy(group.label, group.trees, given[group.label], leaves[group.label]).fills
            else nothing[group.label]
            for group in plan.groups
        }
        if key in ("best", "none") or all(
            policies != one for one in (nothing, *(kept for _, kept in candidates.values()))
        ):
            candidates[key] = name, policies
    return candidates


def _simulate(work: _Work, candidates: Mapping[str, tuple[str, Policies]], trials: range) -> dict[str, PolicyRun]:
    """Every candidate in full."""
    tasks = [work.policy_tasks(policies, trials) for _, policies in candidates.values()]
    results = iter(work.results([task for own in tasks for task in own], 40, 98))
    return {key: PolicyRun.joined([next(results) for _ in own]) for key, own in zip(candidates, tasks, strict=True)}


def _curve(label: str, replay: Replay, families: Families, best: Replacement, scale: float) -> CostCurve:
    chosen = spares_to_buy(best, replay.trees)
    numbers = sorted({*(round(share * replay.trees) for share in CURVE_SHARES), chosen})
    stake = replay.margin_at_stake()
    ordering, alone = (
        dataclasses.replace(policy, place=policy.place if policy.place != "none" else "nursery_row")
        for policy in (best if best.reorder else families.both, families.spares)
    )

    def parts(policy: Replacement, count: int) -> tuple[StockRun, Array, Array]:
        policy = dataclasses.replace(policy, spares_at_planting=count / replay.trees)
        run = replay.run(policy)
        return run, spent(replay.money, policy, flows_of(run)).total, scale * (stake - run.replanted @ replay.value)

    with_orders, without = ({count: parts(policy, count) for count in numbers} for policy in (ordering, alone))
    told, tried = (ordering, with_orders) if best.reorder else (alone, without)
    low, high = _as_cheap({count: paid + missed for count, (_, paid, missed) in tried.items()}, chosen)
    ends = [tried[count] for count in (low, high)]
    waiting_low, waiting_high = (
        float(run.waiting[:, _open_years(replay, told)].sum(axis=1).mean()) for run, *_ in ends
    )
    rows = []
    for count in numbers:
        _, paid, missed = with_orders[count]
        both = amount(paid + missed)
        run, paid, missed = without[count]
        lone = amount(paid + missed)
        filled = float((run.waiting[:, _open_years(replay, alone)].sum(axis=1) == 0).mean())
        rows.append((both.mean, both.error, lone.mean, lone.error, paid.mean(), missed.mean(), filled))
    curve: dict[str, Any] = dict(zip(CURVE_COLUMNS, np.array(rows).T, strict=True))
    return CostCurve(
        label,
        replay.trees,
        np.array(numbers),
        **curve,
        chosen=chosen,
        alone_leaf=alone.last_refill_leaf,
        low=low,
        high=high,
        spent_more=float((ends[1][1] - ends[0][1]).mean()),
        waiting_low=waiting_low,
        waiting_high=waiting_high,
    )


def _as_cheap(cost: Mapping[int, Array], number: int) -> tuple[int, int]:
    """Lowest and highest number of spares, without a gap between, that cost the same as ``number``.

    ``cost``, mapping from number of spares to (trial,) [money].

    Notes
    -----
    The same: not told apart trial by trial, and within :data:`orchardsim.results.spares.NEAR` of it on average.
    """
    room = NEAR * abs(float(cost[number].mean()))

    def same(other: int) -> bool:
        gap = amount(cost[other] - cost[number])
        return abs(gap.mean) <= min(SURE * gap.error, room)

    def reach(others: Iterable[int]) -> int:
        last = number
        for other in others:
            if not same(other):
                break
            last = other
        return last

    ordered = sorted(cost)
    at = ordered.index(number)
    return reach(reversed(ordered[:at])), reach(ordered[at + 1 :])


def _open_years(replay: Replay, policy: Replacement) -> NDArray[np.bool_]:
    leaf = np.array(replay.leaf)
    return np.asarray((leaf > 1) & (leaf <= policy.last_refill_leaf))


def _worth(work: _Work, number: int, replay: Replay) -> RefillWorth:
    plan, value = work.plan, work.value
    leaf = np.array(replay.leaf)
    known = np.isfinite(value.value[:, number]) & (leaf[value.years] > 1)
    at = value.years[known]
    later = (1 + plan.finance.discount_rate) ** at
    worth, error = value.value[known, number] * later, value.error[known, number] * later
    # what counts at the end of the run again is no price that anybody pays
    cost = gap_cost(stock_money(plan, number, work.years, at_end=False))[at] * later
    surplus = (value.value[known, number] - gap_cost(replay.money)[at]) * later
    return RefillWorth(
        plan.labels[number],
        leaf[at],
        worth,
        error,
        cost,
        value.crop_share[known, number],
        _last_above(leaf[at], surplus),
        _last_above(leaf[at], surplus - SURE * error),
        bool((surplus + SURE * error < 0).all()),
    )


def _last_above(leaf: NDArray[np.int64], surplus: Array) -> int | None:
    """Last leaf up to which a surplus stays above 0, by straight lines between the leaves valued."""
    every = np.arange(leaf[0], leaf[-1] + 1)
    below = np.flatnonzero(np.interp(every, leaf, surplus) <= 0)
    if not below.size:
        return int(every[-1])
    return int(every[below[0] - 1]) if below[0] > 0 else None


def _clustering(
    work: _Work, trials: range, choice: _Choice, advised: Policies, replays: Sequence[Replay]
) -> tuple[Clustering, ...]:
    clusterings = []
    alone = work.alone(trials, replays)
    for number, label in enumerate(work.plan.labels):
        replay, best, other = replays[number], advised[label], choice.alone[label]
        last = best.last_refill_leaf if best.last_refill_leaf > 1 else work.plan.groups[number].refill.last_refill_leaf
        leaf = np.array(replay.leaf)
        within = (leaf >= 1) & (leaf < max(last, 2))
        if not within.any():
            within = leaf >= 1
        lost, lost_alone = (
            (each.losses.before + each.losses.after)[:, within].sum(axis=1).astype(float)
            for each in (replay, alone[number])
        )
        spread = dispersion(lost, replay.trees)
        clusterings.append(
            Clustering(
                label,
                int(leaf[within].max()),
                lost,
                lost_alone,
                spread.variance_to_mean,
                dispersion(lost_alone, replay.trees).variance_to_mean,
                spread.correlation,
                label_policy(label, replay.trees, other, replay.leaf[0]),
                amount(replay.gain(best) - replay.gain(other)),
            )
        )
    return tuple(clusterings)


def _attrs(plan: Plan, library: SeasonLibrary | None, years: int, seed: int) -> dict[str, Any]:
    sample = (library or build_library(plan, Streams(seed), range(1), years, "sampled")).sample
    return {
        **plan.terms,
        "discount_rate": plan.finance.discount_rate,
        "version": orchardsim.__version__,
        "plan_hash": plan.hash,
        "weather_method": sample.method,
        "weather_words": sample.method_words,
        "baseline_years": json.dumps(list(sample.baseline_years)),
    }


def _notes(plan: Plan, value: GapValue) -> tuple[str, ...]:
    own = plan.replacement
    risk = ", ".join(f"{100 * share:.1f} %" for share in value.loss)
    return (
        f"Nursery (plan or default): {own.lead_time} years from order to delivery, orders of at least "
        f"{own.minimum_order} in lots of {own.order_multiple}. {100 * own.shortfall_probability:.0f} % of deliveries "
        f"are short by up to {100 * own.shortfall_share:.0f} %; in {100 * own.delay_probability:.0f} % of years all "
        "come a year late.",
        f"Spares in a nursery row: {100 * own.spare_death:.0f} % die a year, thrown out after {own.spare_age_limit} "
        f"years, {own.upkeep_hours:g} hours a year each; in pots: {100 * own.pot_death:.0f} %, {own.pot_age_limit} "
        f"years, {own.pot_upkeep_hours:g} hours (assumptions). A tree from either takes equally well (assumption).",
        "Spares serve their own row group only: the same cultivar on the same stock.",
        f"Worth of a filled gap: twin runs of {value.trials} trials in which a year's gaps are filled or left. Trees "
        "did die there, and all earlier gaps were filled. Replants grow among their neighbours in the model, and "
        "neighbours of a gap get its light and room. The fruit missed is scaled to what replants brought in the full "
        "simulation of the reporting trials. It is counted against filling each gap that is worth it, and "
        "the places of dead replants, in the first planting season.",
        f"Replants die in their first, second, ... year at {risk} (from the same twin runs).",
        "All labour is counted as paid. A tree left over is worth nothing. Interest is left out, and income tax too in "
        "the worth of a gap. What the blocks are worth at the end counts, and rests on the margins of the last years.",
        "The search takes it that crews are there when gaps are to be filled, and that filling gaps changes no loss of "
        "the trees around them. The full simulation of each policy does not.",
    )
