"""Policies in the full simulation: what each costs, what it leaves open, what it leaves over."""

from __future__ import annotations

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
from orchardsim.risk.bands import wilson_interval
from orchardsim.risk.comparison import paired_difference
from orchardsim.simulation.money import block_leaf

LEVEL: Final = 0.95
"""Level of the intervals; those of all policies against the chosen one hold together."""


def amount(values: NDArray[Any]) -> Amount:
    """Mean over trials and its standard error."""
    data = np.asarray(values, dtype=float)
    return Amount(float(data.mean()), float(data.std(ddof=1) / np.sqrt(data.size)))


def label_policy(label: str, trees: int, policy: Replacement) -> LabelPolicy:
    """A policy in whole trees of a label."""
    levels = stock_policy(policy, trees)
    orders = policy.reorder and policy.last_refill_leaf > 1
    return LabelPolicy(
        label,
        trees,
        spares_to_buy(policy, trees),
        policy.place,
        levels.reorder_point if orders else None,
        levels.order_up_to if orders else None,
        policy.last_refill_leaf,
    )


def policy_outcomes(
    plan: Plan,
    candidates: Mapping[str, tuple[str, Policies]],
    runs: Mapping[str, PolicyRun],
    replays: Sequence[Replay],
    years: int,
    scale: float,
) -> tuple[PolicyOutcome, ...]:
    stake = scale * np.sum([replay.margin_at_stake() for replay in replays], axis=0)
    cost = {key: stake - (run.npv - runs["none"].npv) for key, run in runs.items()}
    level = 1 - (1 - LEVEL) / max(len(runs) - 1, 1)
    planted = np.concatenate(
        [block_leaf(plan, years)[:, number : number + 1] >= 1 for number in range(len(plan.labels))], 1
    )
    trees = np.array([replay.trees for replay in replays])
    found = []
    for key, (name, policies) in candidates.items():
        run = runs[key]
        parts = [
            spent(
                stock_money(plan, number, years, at_end=False),
                policies[label],
                run.ordered[:, :, number],
                run.bought[:, :, number],
                run.on_hand[:, :, number],
                run.replanted[:, :, number],
            )
            for number, label in enumerate(plan.labels)
        ]
        paid = {
            part: sum(float(getattr(one, part).mean()) for one in parts) for part in ("trees", "keep", "replanting")
        }
        dearer = paired_difference(cost[key], cost["best"], better="low", level=level)
        replayed = np.sum(
            [replay.gain(policies[label]) for label, replay in zip(plan.labels, replays, strict=True)], axis=0
        )
        chance = wilson_interval(int((run.waiting.sum(axis=(1, 2)) == 0).sum()), len(stake), LEVEL)
        fills = bool(run.wanted.any())
        open_years = run.wanted.any(axis=0)
        left = (run.bought - run.replanted).sum(axis=(1, 2))
        found.append(
            PolicyOutcome(
                key=key,
                name=name,
                policies=tuple(
                    label_policy(label, int(number), policies[label])
                    for label, number in zip(plan.labels, trees, strict=True)
                ),
                cost=amount(cost[key]),
                trees=paid["trees"],
                keep=paid["keep"],
                replanting=paid["replanting"],
                margin_lost=float(cost[key].mean()) - sum(paid.values()),
                dearer=Amount(float(dearer.mean.value), float(dearer.mean.standard_error)),
                dearer_low=dearer.mean_low,
                dearer_high=dearer.mean_high,
                replay_gain=float(replayed.mean()),
                gain=amount(run.npv - runs["none"].npv),
                filled=chance.value if fills else None,
                filled_low=chance.low if fills else float("nan"),
                filled_high=chance.high if fills else float("nan"),
                filled_seasons=float((run.waiting[:, open_years] == 0).mean()) if fills else None,
                filled_gaps=1 - float(_first_missed(run).sum()) / float(_opened(run).sum()) if fills else None,
                tree_years_lost=amount(((trees - run.alive) * planted).sum(axis=(1, 2))),
                bought=amount(run.bought.sum(axis=(1, 2))),
                replanted=amount(run.replanted.sum(axis=(1, 2))),
                left_over=amount(left),
                left_over_high=float(np.quantile(left, 0.95, method="inverted_cdf")),
            )
        )
    return tuple(found)


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
            flows = (getattr(run, name)[:, :, number] for name in ("ordered", "bought", "on_hand", "replanted"))
            brought += float(spent(replay.money, policies[label], *flows).total.mean())
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
