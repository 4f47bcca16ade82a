"""What a search for a replacement policy found, as plain numbers: filled by the analysis, read by the report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.results.summary import number

Array = NDArray[np.float64]

SPARES_FILE: Final = "spares.json"
SPARES_PAGE: Final = "spares.html"
KIND: Final = "search for spares"
"""What the files are, in the words of a message."""


@dataclass(frozen=True)
class LabelPolicy:
    """Replacement rules of one row group, in whole trees.

    Attributes
    ----------
    label : str
    trees : int
        Planted.
    spares : int
        Bought with the planting.
    place : str
        "nursery_row", "pots" or "none".
    reorder_point, order_up_to : int or None
        None: nothing is ordered after planting.
    last_leaf : int
        Last leaf in which gaps are filled; below 2 none is.
    """

    label: str
    trees: int
    spares: int
    place: str
    reorder_point: int | None
    order_up_to: int | None
    last_leaf: int

    @property
    def fills(self) -> bool:
        """Whether any gap is ever filled."""
        return self.last_leaf > 1 and (self.spares > 0 or self.order_up_to is not None)


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
    policies : tuple of LabelPolicy
    cost : Amount [money]
        Trees, keep, planting and the margin lost while places stand empty.
    trees, keep, replanting, margin_lost : float [money]
        Parts of the cost.
    dearer : Amount [money]
        Cost less that of the chosen policy, in the same trials; high values are worse.
    dearer_low, dearer_high : float [money]
        Its limits; those of all policies hold together at 95 %.
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
        """Whether its cost differs from the chosen policy's by more than chance."""
        return self.dearer_low > 0 or self.dearer_high < 0


@dataclass(frozen=True)
class CostCurve:
    """Cost by number of spares bought at planting, one row group, replayed over the reporting trials.

    Attributes
    ----------
    label : str
    trees : int
        Planted.
    spares : int array, (point,)
    cost, error : array, (point,) [money]
        All else as in the chosen policy (or the best with orders, where the choice has none).
    cost_alone, error_alone : array, (point,) [money]
        With nothing ordered later.
    spent, margin_lost : array, (point,) [money]
        Parts of ``cost_alone``.
    filled_alone : array, (point,) [1]
        Share of trials in which spares alone fill every gap in its first planting season.
    chosen : int
        Spares of the chosen policy.
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
    """

    label: str
    leaf: NDArray[np.int64]
    worth: Array
    error: Array
    cost: Array
    crop_share: Array
    break_even_leaf: int | None
    sure_leaf: int | None


@dataclass(frozen=True)
class Clustering:
    """How losses cluster, and what the answer would be if every tree died by itself.

    Attributes
    ----------
    label : str
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
        What that policy costs more than the chosen one under the losses as simulated.
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


@dataclass(frozen=True)
class SparesAnswer:
    """Result of :func:`orchardsim.spares`.

    Attributes
    ----------
    outcomes : tuple of PolicyOutcome
        The chosen policy first.
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
    def chosen(self) -> PolicyOutcome:
        """The policy chosen."""
        return self.outcomes[0]

    def outcome(self, key: str) -> PolicyOutcome | None:
        """Outcome by key."""
        return next((one for one in self.outcomes if one.key == key), None)


def spares_document(found: SparesAnswer) -> dict[str, Any]:
    """Content of ``spares.json``: six significant digits, no time, host, path or number of processes."""
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
            "dearer": "cost less that of the chosen policy in the same trials; limits hold for all policies together",
            "choice": "policies were chosen on the choosing trials; everything else is from the reporting trials",
        },
        "outcomes": [_outcome(one) for one in found.outcomes],
        "curves": [_plain(one) for one in found.curves],
        "refill_worth": [_plain(one) for one in found.worth],
        "clustering": [
            _plain(one, leave_out=("lost", "lost_alone"))
            | {
                f"{name}_p{point}": number(float(np.quantile(getattr(one, name), point / 100, method="inverted_cdf")))
                for name in ("lost", "lost_alone")
                for point in (5, 50, 95)
            }
            for one in found.clustering
        ],
        "notes": list(found.notes),
    }


def _outcome(one: PolicyOutcome) -> dict[str, Any]:
    return _plain(one) | {"told_apart": one.told_apart}


def _plain(one: Any, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    return {name: _value(getattr(one, name)) for name in one.__dataclass_fields__ if name not in leave_out}


def _value(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return [_value(item) for item in value.tolist()]
    if isinstance(value, tuple):
        return [_value(item) for item in value]
    if hasattr(value, "__dataclass_fields__"):
        return _plain(value)
    if isinstance(value, float):
        return number(value)
    return value
