"""Policies in the full simulation: what each costs, what it leaves open, what it leaves over."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.policy_runs import Array, Policies, PolicyRun
from orchardsim.analysis.stock_search import Replay, spent, stock_money
from orchardsim.operations.nursery import spares_to_buy, stock_policy
from orchardsim.operations.parameters import Replacement
from orchardsim.plan import Plan
from orchardsim.results.spares import Amount, LabelPolicy, PolicyOutcome
from orchardsim.risk.bands import quantile, wilson_interval
from orchardsim.risk.comparison import simultaneous_limit
from orchardsim.simulation.money import block_leaf

LEVEL: Final = 0.95
"""Level of the intervals; those of all pairs of policies hold together."""


def amount(values: NDArray[Any]) -> Amount:
    """Mean over trials and its standard error."""
    data = np.asarray(values, dtype=float)
    return Amount(float(data.mean()), float(data.std(ddof=1) / np.sqrt(data.size)))


def label_policy(label: str, trees: int, policy: Replacement, leaf: int = 0) -> LabelPolicy:
    """A policy in whole trees of a label.

    ``leaf``: the block's leaf in year 0: what stands already gets no spares with its planting.
    """
    levels = stock_policy(policy, trees)
    first = max(leaf, 2)
    orders = policy.reorder and policy.last_refill_leaf >= first
    return LabelPolicy(
        label,
        trees,
        spares_to_buy(policy, trees) if leaf <= 1 else 0,
        policy.place,
        # at the level itself nothing is ordered
        min(levels.reorder_point, levels.order_up_to - 1) if orders else None,
        levels.order_up_to if orders else None,
        policy.last_refill_leaf,
        first,
    )


def first_leaves(plan: Plan) -> dict[str, int]:
    """Leaf of each label's block in year 0."""
    return {label: block.leaf(0) for block in plan.blocks for label in block.labels}


def policy_outcomes(
    plan: Plan,
    candidates: Mapping[str, tuple[str, Policies]],
    runs: Mapping[str, PolicyRun],
    replays: Sequence[Replay],
    years: int,
    scale: float,
    rng: np.random.Generator,
) -> tuple[PolicyOutcome, ...]:
    """What each policy costs and leaves open, beside the cheapest.

    Parameters
    ----------
    candidates : mapping from key to name and policies
    runs : mapping from key to PolicyRun
        Full simulation of each over the reporting trials.
    replays : sequence of Replay
        By label, over the same trials.
    scale : float
        See :func:`margin_scale`.
    rng : Generator
        For the bootstrap of the limits.
    """
    stake = scale * np.sum([replay.margin_at_stake() for replay in replays], axis=0)
    cost = {key: stake - (run.npv - runs["none"].npv) for key, run in runs.items()}
    cheapest = min(cost, key=lambda key: float(cost[key].mean()))
    limit = _limit(cost, rng)
    leaves = first_leaves(plan)
    planted = block_leaf(plan, years) >= 1
    trees = np.array([replay.trees for replay in replays])
    outcomes = []
    for key, (name, policies) in candidates.items():
        run = runs[key]
        paid = _paid(plan, run, policies, years)
        dearer = amount(cost[key] - cost[cheapest])
        replayed = np.sum(
            [replay.gain(policies[label]) for label, replay in zip(plan.labels, replays, strict=True)], axis=0
        )
        left = (run.bought - run.replanted).sum(axis=(1, 2))
        outcomes.append(
            PolicyOutcome(
                key=key,
                name=name,
                policies=tuple(
                    label_policy(label, int(number), policies[label], leaves[label])
                    for label, number in zip(plan.labels, trees, strict=True)
                ),
                cost=amount(cost[key]),
                trees=paid["trees"],
                keep=paid["keep"],
                replanting=paid["replanting"],
                margin_lost=float(cost[key].mean()) - sum(paid.values()),
                dearer=dearer,
                dearer_low=dearer.mean - limit * dearer.error,
                dearer_high=dearer.mean + limit * dearer.error,
                replay_gain=float(replayed.mean()),
                gain=amount(run.npv - runs["none"].npv),
                **_filled(run),
                tree_years_lost=amount(((trees - run.alive) * planted).sum(axis=(1, 2))),
                bought=amount(run.bought.sum(axis=(1, 2))),
                replanted=amount(run.replanted.sum(axis=(1, 2))),
                left_over=amount(left),
                left_over_high=float(quantile(left, 0.95, whole=True).value),
            )
        )
    return tuple(outcomes)


def _paid(plan: Plan, run: PolicyRun, policies: Policies, years: int) -> dict[str, float]:
    """Mean money for trees, their keep and replanting."""
    parts = [
        spent(stock_money(plan, number, years, at_end=False), policies[label], run.flows(number))
        for number, label in enumerate(plan.labels)
    ]
    return {part: sum(float(getattr(own, part).mean()) for own in parts) for part in ("trees", "keep", "replanting")}


def _filled(run: PolicyRun) -> dict[str, Any]:
    """Chance that a trial leaves no gap open, with its limits; shares of seasons and of gaps; None without gaps."""
    names = ("filled", "filled_low", "filled_high", "filled_seasons", "filled_gaps")
    if not run.wanted.any():
        return dict(zip(names, (None, math.nan, math.nan, None, None), strict=True))
    chance = wilson_interval(int((run.waiting.sum(axis=(1, 2)) == 0).sum()), len(run.npv), LEVEL)
    seasons = float((run.waiting[:, run.wanted.any(axis=0)] == 0).mean())
    gaps = 1 - float(_first_missed(run).sum()) / float(_opened(run).sum())
    return dict(zip(names, (chance.value, chance.low, chance.high, seasons, gaps), strict=True))


def _limit(cost: Mapping[str, Array], rng: np.random.Generator) -> float:
    """Half width in standard errors of the differences of all pairs of policies, that hold together."""
    pairs = [cost[key] - cost[other] for key, other in itertools.combinations(cost, 2)]
    return simultaneous_limit(np.stack(pairs, axis=1), rng, LEVEL) if pairs else 0.0


def margin_scale(
    plan: Plan,
    candidates: Mapping[str, tuple[str, Policies]],
    runs: Mapping[str, PolicyRun],
    replays: Sequence[Replay],
) -> float:
    """Margin that replants brought in the full simulation over what their worth by year makes of them [1].

    The worth by year is measured on other trials; prices and crops of the reporting trials may be better or worse.
    """
    brought = reckoned = 0.0
    for key, (_, policies) in candidates.items():
        run = runs[key]
        brought += float((run.npv - runs["none"].npv).mean())
        for number, (label, replay) in enumerate(zip(plan.labels, replays, strict=True)):
            brought += float(spent(replay.money, policies[label], run.flows(number)).total.mean())
            reckoned += float((run.replanted[:, :, number] @ replay.value).mean())
    return brought / reckoned if brought > 0 and reckoned > 0 else 1.0


def _opened(run: PolicyRun) -> Array:
    """Gaps that are new at each year's replanting: wanted, less what was left open the year before."""
    carried = np.zeros_like(run.waiting)
    carried[:, 1:] = run.waiting[:, :-1]
    return run.wanted - np.minimum(carried, run.wanted)


def _first_missed(run: PolicyRun) -> Array:
    """New gaps that stay open in their first planting season: the oldest gaps are filled first."""
    return np.minimum(run.waiting, _opened(run))
