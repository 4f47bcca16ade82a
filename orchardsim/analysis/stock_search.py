"""Search for the cheapest replacement policy of one row group: the yard's stock rules replayed over known losses.

What a policy brings is counted per trial, at year 0: worth of every replant in its year, less trees, keep and planting.
Losses of the first planting hardly depend on whether gaps are filled, so they are simulated once.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.policy_runs import Array, never_filled
from orchardsim.core.calendar import QUARTERS
from orchardsim.core.ledger_items import ITEM, LEDGER_ITEMS
from orchardsim.core.streams import Streams
from orchardsim.economy.account import remaining_value
from orchardsim.economy.payments import growth, paid_with_deposit
from orchardsim.operations.draws import draw_operations
from orchardsim.operations.nursery import StockDraws, StockYears, binomial_quantile, replay_stock, stock_policy
from orchardsim.operations.parameters import Replacement
from orchardsim.plan import Plan
from orchardsim.simulation.money import block_leaf

SHARES: Final = (0, 0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.10, 0.125, 0.15, 0.20, 0.25, 0.30, 0.40)
"""Spares at planting that are tried, as shares of the trees planted."""
LEVELS: Final = (
    (0.0, 0.0), (0.0, 0.01), (0.0, 0.02), (0.0, 0.03), (0.0, 0.05), (0.01, 0.01), (0.01, 0.02), (0.01, 0.03),
    (0.02, 0.02), (0.02, 0.04), (0.03, 0.03), (0.03, 0.06), (0.05, 0.05), (0.05, 0.10), (0.08, 0.08), (0.10, 0.15),
)  # fmt: skip
"""Reorder points and order-up-to levels that are tried, as shares of the trees planted."""
ROUNDS: Final = 8


class StockMoney(NamedTuple):
    """What replacement trees of a label cost, at year 0; arrays (year,).

    Attributes
    ----------
    tree : float [money/tree]
    deposit_share : float [1]
    trees : array [1]
        Present value of 1 of money spent on trees in a year.
    keep : array [money/tree/year]
        Of one spare, its labour apart.
    keep_hour : array [money/hour]
    replant : array [money/tree]
        Labour and care of filling one gap.
    """

    tree: float
    deposit_share: float
    trees: Array
    keep: Array
    keep_hour: Array
    replant: Array


class Spent(NamedTuple):
    """Present value of what a policy costs by trial, (trial,) [money]."""

    trees: Array
    keep: Array
    replanting: Array

    @property
    def total(self) -> Array:
        """Sum of the three."""
        return self.trees + self.keep + self.replanting


def year_weights(plan: Plan, label: int, years: int) -> Array:
    """What money in a year counts at year 0 beside its own discount, (year,) [1].

    The remaining value of a mature block rests on the margins of its last years, so money spent in them counts again.
    """
    leaf = block_leaf(plan, years)[:, label : label + 1]
    # a rich block, so that no floor of the remaining value is near; one trial for 1 of money in each year
    flows = np.zeros((years + 1, years, len(QUARTERS), 1, len(LEDGER_ITEMS)))
    flows[:, :, 0, 0, ITEM["fresh_sales"]] = 1e6
    flows[np.arange(years), np.arange(years), 0, 0, ITEM["replacement_trees"]] = 1.0
    costs = dataclasses.replace(plan.costs, overhead_farm=0.0)
    index = growth(costs.cost_trend, plan.finance, years)
    alone: Any = types.SimpleNamespace(leaf=leaf)  # all that the rule reads of the quantities
    money = plan.money[label : label + 1]
    rest = remaining_value(flows, alone, money, costs, plan.finance, index).sum(axis=1)
    weights: Array = (rest[:-1] - rest[-1]) * (1 + plan.finance.discount_rate) ** -(years - 1)
    return weights


def stock_money(plan: Plan, label: int, years: int, *, at_end: bool = True) -> StockMoney:
    """Prices of a label's replacement trees as the ledger books them.

    ``at_end``: whether money counts again where the block's remaining value rests on it.

    Notes
    -----
    All labour is counted as paid, also where the family does it.
    """
    costs, finance, money = plan.costs, plan.finance, plan.money[label]
    discount = (1 + finance.discount_rate) ** -np.arange(years, dtype=float)
    if at_end:
        discount = discount + year_weights(plan, label, years)
    index = growth(costs.cost_trend, finance, years) * discount
    wage = costs.wage * (1 + costs.labour_charges) * growth(costs.wage_trend, finance, years) * discount
    return StockMoney(
        money.tree_price if money.replacement_price is None else money.replacement_price,
        finance.deposit_share,
        index,
        costs.spare_upkeep * index,
        wage,
        (costs.replant_care + (costs.trunk_guard if money.guarded else 0.0)) * index
        + wage / plan.work_rates.replanting,
    )


def gap_cost(money: StockMoney) -> Array:
    """Tree, labour and care of one gap filled in a year, (year,) [money]."""
    return money.tree * money.trees + money.replant


def spent(money: StockMoney, policy: Replacement, flows: tuple[Array, Array, Array, Array]) -> Spent:
    """Present value of a policy's trees, keep and planting; flows as :meth:`PolicyRun.flows`."""
    ordered, bought, on_hand, replanted = flows
    pay = paid_with_deposit(ordered, bought, money.tree, money.deposit_share)
    keep = money.keep + policy.keeping.upkeep_hours * money.keep_hour
    return Spent((pay * money.trees).sum(axis=1), (on_hand * keep).sum(axis=1), (replanted * money.replant).sum(axis=1))


@dataclass(frozen=True)
class Losses:
    """Trees of the first planting of one label that are lost, (trial, year), before and after the replanting."""

    before: NDArray[np.int64]
    after: NDArray[np.int64]


StockRun = StockYears[Array]
"""Replayed stock, (trial, year) [trees]."""


def flows_of(run: StockRun) -> tuple[Array, Array, Array, Array]:
    """Trees ordered, bought, on hand and replanted."""
    return run.ordered, run.delivered, run.on_hand, run.replanted


class Replay:
    """Replays replacement policies of one label over the same losses, nursery trade and prices.

    Parameters
    ----------
    trees : int
        Planted.
    leaf : sequence of int, (year,)
    draws : sequence of StockDraws, one per trial
    value : array, (year,) [money/tree]
        Worth of a replant at year 0, before its cost.
    replant_loss : sequence of float [1/year]
    """

    def __init__(
        self,
        trees: int,
        leaf: Sequence[int],
        losses: Losses,
        draws: Sequence[StockDraws],
        value: Array,
        money: StockMoney,
        replant_loss: Sequence[float] = (),
    ) -> None:
        self.trees, self.leaf, self.losses, self.draws = trees, [int(age) for age in leaf], losses, draws
        self.value, self.money, self.replant_loss = value, money, tuple(replant_loss)
        self._before, self._after = losses.before.tolist(), losses.after.tolist()
        self._found: dict[Replacement, Array] = {}

    def run(self, policy: Replacement) -> StockRun:
        """All trials under a policy."""
        levels = stock_policy(policy, self.trees)
        # An order can be late, but hardly six years in a row.
        stop = sum(age <= max(policy.last_refill_leaf, 1) + 6 for age in self.leaf)
        columns = np.zeros((len(StockYears._fields), len(self.draws), len(self.leaf)))
        for trial, draws in enumerate(self.draws):
            columns[:, trial, :stop] = replay_stock(
                policy,
                levels,
                self.trees,
                self.leaf[:stop],
                self._before[trial],
                self._after[trial],
                draws,
                self.replant_loss,
            )
        return StockRun(*columns)

    def gain(self, policy: Replacement) -> Array:
        """Worth of the replants less all that the policy costs, (trial,) [money]."""
        if policy not in self._found:
            run = self.run(policy)
            self._found[policy] = run.replanted @ self.value - spent(self.money, policy, flows_of(run)).total
        return self._found[policy]

    def worth_filling(self) -> Array:
        """Loss by year and gap if it is not filled: the replant's worth where that covers its cost, else 0 (year,)."""
        return np.where((self.value > gap_cost(self.money)) & (np.array(self.leaf) > 1), self.value, 0.0)

    @property
    def fill_leaves(self) -> list[int]:
        """Leaves of the block in which filling a gap is worth its cost."""
        return [age for age, worth in zip(self.leaf, self.worth_filling(), strict=True) if worth > 0]

    def over(self, losses: Losses) -> Replay:
        """The same replay over other losses."""
        return Replay(self.trees, self.leaf, losses, self.draws, self.value, self.money, self.replant_loss)

    def margin_at_stake(self) -> Array:
        """Margin that is there for the filling, (trial,) [money].

        Worth of all replants where every gap that is worth filling is filled in the first planting season after it
        opens, places of dead replants too.
        """
        if not self.fill_leaves:
            return np.zeros(len(self.draws))
        at_once = Replacement(
            spares_at_planting=0.0, place="none", reorder=False, spot_probability=1.0,
            last_refill_leaf=max(self.fill_leaves),
        )  # fmt: skip
        stake: Array = self.run(at_once).replanted @ self.worth_filling()
        return stake


def stock_draws(plan: Plan, streams: Streams, trials: Sequence[int], years: int) -> list[list[StockDraws]]:
    """Draws by label and trial: the yard's own, and one for the deaths of replants."""
    crews = len(plan.crews)
    yards = [
        draw_operations(
            streams.at("yard", trial=t), [streams.at("yard", label, trial=t) for label in plan.labels], years, crews
        )
        for t in trials
    ]
    return [
        [
            StockDraws(
                [row[number] for row in yard.short],
                [row[number] for row in yard.short_share],
                [row[number] for row in yard.death],
                yard.delay,
                yard.spot,
                streams.at("replant loss", label, trial=t).random(years).tolist(),
            )
            for t, yard in zip(trials, yards, strict=True)
        ]
        for number, label in enumerate(plan.labels)
    ]


def independent_losses(losses: Losses, trees: int, rngs: Sequence[np.random.Generator]) -> Losses:
    """Losses of the same mean by year, in which every tree dies by itself: binomial, no good and bad years."""
    years = losses.before.shape[1]
    columns = np.stack([losses.before, losses.after], axis=2).reshape(len(losses.before), 2 * years)
    standing = trees - np.concatenate([np.zeros((len(columns), 1)), columns.cumsum(axis=1)[:, :-1]], axis=1)
    rate = columns.sum(axis=0) / np.maximum(standing.sum(axis=0), 1)
    drawn = np.zeros_like(columns)
    for trial, rng in enumerate(rngs):
        alive = trees
        for column, uniform in enumerate(rng.random(2 * years)):
            drawn[trial, column] = binomial_quantile(alive, float(rate[column]), float(uniform))
            alive -= int(drawn[trial, column])
    pairs = drawn.reshape(len(columns), years, 2)
    return Losses(pairs[..., 0], pairs[..., 1])


class Families(NamedTuple):
    """Best policy of each kind, by mean gain.

    Attributes
    ----------
    never : no gap is filled
    spares : spares bought at planting, nothing ordered later
    orders : no spares at planting, trees ordered later
    both : spares at planting and orders later, as far as they pay
    elsewhere : the best policy with the spares kept in the other place
    """

    never: Replacement
    spares: Replacement
    orders: Replacement
    both: Replacement
    elsewhere: Replacement

    def best(self, replay: Searched) -> Replacement:
        """The best of them all; simpler ones where gains are equal."""
        chosen = self.never
        for policy in self:
            if replay.gain(policy).mean() > replay.gain(chosen).mean():
                chosen = policy
        return chosen


class FarmReplay:
    """Several labels under one common policy."""

    def __init__(self, replays: Sequence[Replay]) -> None:
        self.replays = replays
        largest = max(replays, key=lambda replay: replay.trees)
        self.trees, self.leaf = largest.trees, largest.leaf

    @property
    def fill_leaves(self) -> list[int]:
        """Leaves in which filling a gap is worth its cost to one of the labels."""
        return sorted({leaf for replay in self.replays for leaf in replay.fill_leaves})

    def gain(self, policy: Replacement) -> Array:
        """Sum of the labels' gains by trial."""
        return np.sum([replay.gain(policy) for replay in self.replays], axis=0)


Searched = Replay | FarmReplay


def search(replay: Searched, start: Replacement) -> Families:
    """Best policies: one setting after the other is changed while the mean gain rises.

    Parameters
    ----------
    replay : Replay or FarmReplay
    start : Replacement
        The plan's own: its lead time, lots, deaths and chances stay.
    """
    never = never_filled(start)
    if not replay.fill_leaves:
        return Families(never, never, never, never, never)
    leaf = min(replay.fill_leaves, key=lambda leaf: abs(leaf - 5))
    row = dataclasses.replace(never, place="nursery_row", last_refill_leaf=leaf)
    spares = dataclasses.replace(row, spares_at_planting=0.03)
    spares = improve(replay, spares, spares_choices, leaf_choices, place_choices)
    orders = dataclasses.replace(row, reorder=True, order_up_to=0.02)
    orders = improve(replay, orders, order_choices, leaf_choices, place_choices)
    both = dataclasses.replace(spares, reorder=True, last_refill_leaf=orders.last_refill_leaf)
    both = dataclasses.replace(both, reorder_point=orders.reorder_point, order_up_to=orders.order_up_to)
    both = improve(replay, both)
    own = improve(replay, dataclasses.replace(start, last_refill_leaf=leaf))
    if replay.gain(own).mean() > replay.gain(both).mean():
        both = own
    families = Families(never, spares, orders, both, both)
    best = families.best(replay)
    if best == never:
        return families
    other = dataclasses.replace(best, place="pots" if best.place == "nursery_row" else "nursery_row")
    return families._replace(elsewhere=improve(replay, other, spares_choices, order_choices))


def improve(replay: Searched, policy: Replacement, *changes: Changes) -> Replacement:
    """Change one setting after the other while the mean gain rises; every setting where none is named."""
    changes = changes or (spares_choices, order_choices, leaf_choices, place_choices)
    for _ in range(ROUNDS):
        before = policy
        for change in changes:
            policy = _best(replay, policy, change(replay, policy))
        if policy == before:
            break
    return policy


def _best(replay: Searched, policy: Replacement, others: Iterable[Replacement]) -> Replacement:
    gain = replay.gain(policy).mean()
    for other in others:
        if (found := replay.gain(other).mean()) > gain:
            policy, gain = other, found
    return policy


def spares_choices(replay: Searched, policy: Replacement) -> Iterator[Replacement]:
    """The policy with other numbers of spares at planting: whole trees, by shares and close to its own."""
    if policy.place == "none" or 1 not in replay.leaf:
        return
    own = round(policy.spares_at_planting * replay.trees)
    numbers = {round(share * replay.trees) for share in SHARES} | {own + step for step in (-4, -2, -1, 1, 2, 4)}
    for number in sorted(numbers - {own}):
        if 0 <= number <= replay.trees:
            yield dataclasses.replace(policy, spares_at_planting=number / replay.trees)


def order_choices(replay: Searched, policy: Replacement) -> Iterator[Replacement]:
    """The policy without orders after planting, and with other levels."""
    yield dataclasses.replace(policy, reorder=False, reorder_point=0.0, order_up_to=0.0)
    for point, level in LEVELS:
        yield dataclasses.replace(policy, reorder=True, reorder_point=point, order_up_to=level)


def leaf_choices(replay: Searched, policy: Replacement) -> Iterator[Replacement]:
    """The policy with other last leaves to refill: of those in which a filled gap is worth its cost."""
    for leaf in replay.fill_leaves:
        yield dataclasses.replace(policy, last_refill_leaf=leaf)


def place_choices(replay: Searched, policy: Replacement) -> Iterator[Replacement]:
    """The policy with spares kept elsewhere; nowhere only where none are bought at planting."""
    for place in ("nursery_row", "pots", *(("none",) if policy.spares_at_planting == 0 else ())):
        yield dataclasses.replace(policy, place=place)


Changes = Callable[[Searched, Replacement], Iterator[Replacement]]
