"""What a search for a replacement policy found, as plain numbers: filled by the analysis, read by the report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.text import Brief
from orchardsim.results.written import number, plain

Array = NDArray[np.float64]

PLAINER: Final = ("none", "rule_2", "rule_3", "rule_5", "spares", "orders", "farm")
"""Policies that are simpler than one with its own numbers for each row group, the simplest first."""
NEAR: Final = 0.05
"""Share of the cheapest policy's cost within which another counts as good, if it cannot be told apart (a choice)."""


@dataclass(frozen=True)
class LabelPolicy:
    """Replacement rules of one row group, in whole trees.

    Attributes
    ----------
    trees : int
        Planted.
    spares : int
        Bought with the planting.
    place : str
        "nursery_row", "pots" or "none".
    reorder_point, order_up_to : int or None
        At or below the one, lots are ordered till the stock reaches at least the other, which is always higher; a
        reorder point of -1 means that open gaps alone are ordered for. None: nothing is ordered after planting.
    last_leaf : int
        Last leaf in which gaps are filled; below 2 none is.
    first_leaf : int
        First leaf of the block in which a gap can be filled within the run.
    """

    label: str
    trees: int
    spares: int
    place: str
    reorder_point: int | None
    order_up_to: int | None
    last_leaf: int
    first_leaf: int = 2

    @property
    def fills(self) -> bool:
        """Whether any gap is ever filled."""
        return self.last_leaf >= self.first_leaf and (self.spares > 0 or self.order_up_to is not None)


@dataclass(frozen=True)
class Amount:
    """A mean over trials with its Monte Carlo standard error."""

    mean: float
    error: float


@dataclass(frozen=True)
class PolicyOutcome:
    """One policy in the full simulation of the reporting trials; money at year 0.

    Attributes
    ----------
    key, name : str
    cost : Amount [money]
        Trees, keep, planting and the margin lost while places stand empty.
    trees, keep, replanting, margin_lost : float [money]
        Parts of the cost.
    dearer : Amount [money]
        Cost less that of the cheapest policy, in the same trials.
    dearer_low, dearer_high : float [money]
        Its limits; those of all pairs of policies hold together at 95 %, so the cheapest may be picked afterwards.
    gain : Amount [money]
        Net present value less that of filling no gap.
    replay_gain : float [money]
        The same from the replay that made the choice, over the reporting trials.
    filled : float or None [1]
        Share of trials in which every gap that the policy means to fill is filled in the first planting season
        after it opens; None where it means to fill none.
    filled_low, filled_high : float
        Limits of that share at 95 %.
    filled_seasons : float or None [1]
        Share of planting seasons, over trials and row groups, after which no gap is left open.
    filled_gaps : float or None [1]
        Share of those gaps that are filled in the first planting season.
    tree_years_lost : Amount [tree years]
        Places that stood empty, summed over the years from planting.
    bought, replanted, left_over : Amount [trees]
        ``left_over``: bought and never planted (died, thrown out, or still there at the end).
    left_over_high : float [trees]
        95 % point.
    """

    key: str
    name: str
    policies: tuple[LabelPolicy, ...]
    cost: Amount
    trees: float
    keep: float
    replanting: float
    margin_lost: float
    dearer: Amount
    dearer_low: float
    dearer_high: float
    gain: Amount
    replay_gain: float
    filled: float | None
    filled_low: float
    filled_high: float
    filled_seasons: float | None
    filled_gaps: float | None
    tree_years_lost: Amount
    bought: Amount
    replanted: Amount
    left_over: Amount
    left_over_high: float

    @property
    def told_apart(self) -> bool:
        """Whether its cost differs from the cheapest policy's by more than chance."""
        return self.dearer_low > 0 or self.dearer_high < 0

    @property
    def differs(self) -> bool:
        """Whether it costs anything else than the cheapest policy, in any trial."""
        return self.dearer.mean != 0 or self.dearer.error != 0


@dataclass(frozen=True)
class SparesDecision:
    """What the search advises: table, sentences and lines for the plan are made from this.

    Attributes
    ----------
    advised : PolicyOutcome
        The plainest policy that costs the same as the cheapest, as far as the trials tell; else the cheapest.
    cheapest : PolicyOutcome
        Lowest mean cost over the reporting trials.
    ties : tuple of PolicyOutcome
        Other policies that the trials cannot tell from the cheapest.
    """

    advised: PolicyOutcome
    cheapest: PolicyOutcome
    ties: tuple[PolicyOutcome, ...]


def decide_spares(outcomes: Sequence[PolicyOutcome]) -> SparesDecision:
    """The cheapest policy, those as good, and the plainest of them.

    Notes
    -----
    A policy that cannot be told from the cheapest counts as good only where its mean lies close (:data:`NEAR`): too few
    trials to tell are no proof.
    """
    cheapest = min(outcomes, key=lambda one: one.cost.mean)
    near = [
        one
        for one in outcomes
        if not one.differs or (not one.told_apart and one.dearer.mean <= NEAR * abs(cheapest.cost.mean))
    ]
    ranked = sorted(near, key=lambda one: PLAINER.index(one.key) if one.key in PLAINER else len(PLAINER))
    advised = ranked[0] if ranked and ranked[0].key in PLAINER else cheapest
    return SparesDecision(
        advised, cheapest, tuple(one for one in outcomes if one.differs and not one.told_apart and one is not cheapest)
    )


@dataclass(frozen=True)
class CostCurve:
    """Cost by number of spares bought at planting, one row group, replayed over the reporting trials.

    Attributes
    ----------
    trees : int
        Planted.
    spares : int array, (point,)
    cost, error : array, (point,) [money]
        All else as in the advised policy (or the best with orders, where it has none).
    cost_alone, error_alone : array, (point,) [money]
        With nothing ordered later.
    spent, margin_lost : array, (point,) [money]
        Parts of ``cost_alone``.
    filled_alone : array, (point,) [1]
        Share of trials in which spares alone fill every gap in its first planting season.
    chosen : int
        Spares of the advised policy.
    low, high : int
        Numbers of spares, from one to the other, whose cost cannot be told from that of the advised number and lies
        close to it.
    spent_more : float [money]
        What the highest of them spends on trees, keep and planting above the lowest.
    waiting_low, waiting_high : float [tree years]
        How long gaps that are to be filled wait, all together, with the lowest and the highest of them.
    alone_leaf : int
        Last leaf to refill of the curve with nothing ordered later.
    """

    label: str
    trees: int
    spares: NDArray[np.int64]
    cost: Array
    error: Array
    cost_alone: Array
    error_alone: Array
    spent: Array
    margin_lost: Array
    filled_alone: Array
    chosen: int
    alone_leaf: int
    low: int
    high: int
    spent_more: float
    waiting_low: float
    waiting_high: float


@dataclass(frozen=True)
class RefillWorth:
    """Worth and cost of filling one gap of a row group by leaf of the block, in money of year 0 paid in that year.

    Attributes
    ----------
    leaf : int array, (leaf,)
    worth, error, cost : array, (leaf,) [money/tree]
    crop_share : array, (leaf,) [1]
        What a replant adds to the crop of the years left, of what a mean tree bears in them.
    break_even_leaf : int or None
        Last leaf up to which the worth is above the cost; None where it never is.
    sure_leaf : int or None
        The same with the worth lower by two standard errors.
    never : bool
        Whether the worth is below the cost in every leaf by more than two standard errors.
    """

    label: str
    leaf: NDArray[np.int64]
    worth: Array
    error: Array
    cost: Array
    crop_share: Array
    break_even_leaf: int | None
    sure_leaf: int | None
    never: bool = False


@dataclass(frozen=True)
class Clustering:
    """How losses cluster, and what the answer would be if every tree died by itself.

    Attributes
    ----------
    leaf : int
        Losses are counted up to this leaf.
    lost, lost_alone : array, (trial,) [trees]
        Of the first planting, as simulated, and if every tree died by itself at the same mean rates.
    dispersion, dispersion_alone : float [1]
        Variance over mean of those.
    correlation : float [1]
        Between the fates of two trees of a trial.
    policy : LabelPolicy
        Best if every tree died by itself.
    dearer : Amount [money]
        What that policy costs more than the advised one under the losses as simulated.
    """

    label: str
    leaf: int
    lost: Array
    lost_alone: Array
    dispersion: float
    dispersion_alone: float
    correlation: float
    policy: LabelPolicy
    dearer: Amount


@dataclass(frozen=True, repr=False)
class SparesAnswer(Brief):
    """Result of :func:`orchardsim.spares`.

    Attributes
    ----------
    outcomes : tuple of PolicyOutcome
        The policy that the search found first.
    curves, worth, clustering : tuples over row groups
    choosing_trials, reporting_trials, worth_trials : int
    lead_time : int [year]
    minimum_order, order_multiple : int [trees]
    attrs : mapping
        Units, currency, price year, plan name, weather method, ...
    notes : tuple of str
        What was assumed.
    """

    outcomes: tuple[PolicyOutcome, ...]
    curves: tuple[CostCurve, ...]
    worth: tuple[RefillWorth, ...]
    clustering: tuple[Clustering, ...]
    choosing_trials: int
    reporting_trials: int
    worth_trials: int
    years: int
    seed: int
    lead_time: int
    minimum_order: int
    order_multiple: int
    attrs: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def decision(self) -> SparesDecision:
        """What is advised, and why."""
        return decide_spares(self.outcomes)

    def outcome(self, key: str) -> PolicyOutcome | None:
        """Outcome by key."""
        return next((one for one in self.outcomes if one.key == key), None)


def spares_document(found: SparesAnswer) -> dict[str, Any]:
    """Content of ``spares.json``: six significant digits, no time, host, path or number of processes."""
    # The statistics library behind it is slow to load, so it is opened when first used.
    from orchardsim.risk.bands import quantile

    return {
        **{key: value for key, value in found.attrs.items() if key != "title"},
        "title": found.attrs.get("title", ""),
        "seed": found.seed,
        "years": found.years,
        "choosing_trials": found.choosing_trials,
        "reporting_trials": found.reporting_trials,
        "worth_trials": found.worth_trials,
        "lead_time_years": found.lead_time,
        "minimum_order": found.minimum_order,
        "order_multiple": found.order_multiple,
        "how_to_read": {
            "money": "present value at year 0, in the plan's currency",
            "cost": "trees, keep, planting and the margin lost while places stand empty; full simulation",
            "dearer": "cost less that of the cheapest policy in the same trials; limits hold for all pairs together",
            "choice": "policies were searched on the choosing trials; everything else is from the reporting trials",
        },
        "advised": found.decision.advised.key,
        "cheapest": found.decision.cheapest.key,
        "not_told_from_the_cheapest": [one.key for one in found.decision.ties],
        "outcomes": [plain(one, number) | {"told_apart": one.told_apart} for one in found.outcomes],
        "curves": plain(found.curves, number),
        "refill_worth": plain(found.worth, number),
        "clustering": [
            {key: value for key, value in plain(one, number).items() if key not in ("lost", "lost_alone")}
            | {
                f"{name}_p{point}": number(float(quantile(getattr(one, name), point / 100, whole=True).value))
                for name in ("lost", "lost_alone")
                for point in (5, 50, 95)
            }
            for one in found.clustering
        ],
        "notes": list(found.notes),
    }
