"""Replacement trees of one label: spares that age and die, orders on their way, and the rule for ordering.

The stock logic has no clock of its own, so that a search over policies can run it alone; the yard calls it in the
order of its year: :meth:`TreeStock.age`, :meth:`receive`, :meth:`take`, :meth:`review`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, NamedTuple, TypeVar

from scipy.special import bdtr, bdtrik

from orchardsim.core.errors import IdentityError
from orchardsim.operations.parameters import Replacement


@dataclass(frozen=True)
class StockPolicy:
    """Levels of one label in whole trees."""

    reorder_point: int
    order_up_to: int
    minimum_order: int = 0
    order_multiple: int = 1


def stock_policy(replacement: Replacement, trees: int) -> StockPolicy:
    """Levels in trees of a policy given as shares of the trees planted, rounded up.

    Examples
    --------
    >>> stock_policy(Replacement(reorder_point=0.01, order_up_to=0.025), 1000)
    StockPolicy(reorder_point=10, order_up_to=25, minimum_order=10, order_multiple=10)
    """
    return StockPolicy(
        math.ceil(round(replacement.reorder_point * trees, 9)),
        math.ceil(round(replacement.order_up_to * trees, 9)),
        replacement.minimum_order,
        replacement.order_multiple,
    )


def order_quantity(policy: StockPolicy, position: float) -> int:
    """Trees to order at a stock position: none above the reorder point, else up to the level.

    ``position`` [trees]: on hand and on order, less gaps waiting and losses expected before delivery.

    The (s, S) rule of stock control: at or below s, order S less the position. The order is then raised to the
    nursery's minimum and rounded up to its multiple.

    Examples
    --------
    >>> policy = StockPolicy(reorder_point=5, order_up_to=20, minimum_order=10, order_multiple=10)
    >>> order_quantity(policy, 6), order_quantity(policy, 5), order_quantity(policy, -3)
    (0, 20, 30)
    """
    if position > policy.reorder_point:
        return 0
    wanted = policy.order_up_to - position
    if wanted <= 0:
        return 0
    wanted = max(wanted, policy.minimum_order)
    return math.ceil(round(wanted / policy.order_multiple, 9)) * policy.order_multiple


def binomial_quantile(number: int, probability: float, uniform: float) -> int:
    """Smallest k with P(K <= k) >= uniform, K binomial: one prepared uniform makes one binomial draw.

    Examples
    --------
    >>> binomial_quantile(1200, 0.02, 0.90), binomial_quantile(10, 0.0, 0.5), binomial_quantile(10, 1.0, 0.5)
    (30, 0, 10)
    """
    if number <= 0 or probability <= 0 or uniform <= 0:
        return 0
    if probability >= 1:
        return number
    if uniform <= (1 - probability) ** number:
        return 0
    quantile = math.ceil(bdtrik(uniform, number, probability))
    # The continuous inverse may stop a rounding error above a whole number.
    while quantile > 0 and bdtr(quantile - 1, number, probability) >= uniform:
        quantile -= 1
    return min(quantile, number)


def spares_to_buy(replacement: Replacement, trees: int) -> int:
    """Spares bought with the first planting of so many trees."""
    return round(replacement.spares_at_planting * trees) if replacement.place != "none" else 0


def lacking_trees(replacement: Replacement, due: int, short: float, short_share: float) -> int:
    """Trees that a delivery lacks.

    ``short`` and ``short_share``: prepared uniforms that say whether the delivery is short, and by how much.
    """
    if not due or short >= replacement.shortfall_probability:
        return 0
    return round(due * replacement.shortfall_share * short_share)


def arrival_year(replacement: Replacement, year: int) -> int:
    """Year in which an order placed at a year's review is due."""
    return max(year + replacement.lead_time, year + 1)


def expected_losses(replacement: Replacement, trees: int, leaf: int, years: int) -> float:
    """Trees expected to be lost in the years until an order comes, as far as their gaps are still to be filled.

    Parameters
    ----------
    trees : int
        Planted.
    leaf : int
        The block's leaf when the order is placed.
    years : int
        Until it comes.

    Examples
    --------
    >>> rule = Replacement(expected_loss=(0.03, 0.02, 0.01), last_refill_leaf=5)
    >>> round(expected_losses(rule, 1000, 1, 2), 6), round(expected_losses(rule, 1000, 4, 2), 6)
    (30.0, 10.0)
    """
    shares = replacement.expected_loss
    if not shares:
        return 0.0
    last = min(leaf + years, replacement.last_refill_leaf)
    return trees * math.fsum(shares[min(each, len(shares)) - 1] for each in range(max(leaf + 1, 1), last + 1))


class TreeStock:
    """Spares on hand by age, and trees on order by year of delivery, of one label."""

    __slots__ = ("cohorts", "due")

    def __init__(self) -> None:
        self.cohorts: list[list[int]] = []
        """[age in years, trees], oldest first."""
        self.due: dict[int, int] = {}

    @property
    def on_hand(self) -> int:
        """Spares that stand ready."""
        total = 0
        for _, trees in self.cohorts:
            total += trees
        return total

    @property
    def on_order(self) -> int:
        """Trees ordered and not yet delivered."""
        return sum(self.due.values())

    def age(self, death: float, uniform: float, age_limit: int) -> tuple[int, int]:
        """One year passes: some spares die, those beyond the limit are thrown out.

        Parameters
        ----------
        death : float [1/year]
        uniform : float
            Prepared draw that decides how many die.
        age_limit : int [year]

        Returns
        -------
        died, discarded : int
        """
        died = binomial_quantile(self.on_hand, death, uniform)
        self._remove(died)
        discarded = 0
        kept = []
        for age, trees in self.cohorts:
            if age + 1 > age_limit:
                discarded += trees
            else:
                kept.append([age + 1, trees])
        self.cohorts = kept
        return died, discarded

    def receive(self, trees: int) -> None:
        """Put new trees into the stock."""
        if trees < 0:
            raise IdentityError(f"a delivery of {trees} trees")
        if trees:
            self.cohorts.append([0, trees])

    def take(self, wanted: int) -> int:
        """Take up to ``wanted`` spares, oldest first; returns how many there were."""
        taken = min(int(wanted), self.on_hand)
        self._remove(taken)
        return taken

    def discard_all(self) -> int:
        """Throw out every spare (no place to keep them, or nothing left to refill)."""
        trees = self.on_hand
        self.cohorts = []
        return trees

    def review(
        self,
        replacement: Replacement,
        policy: StockPolicy,
        gaps: float,
        expected: float,
        year: int,
        leaf: int | None,
    ) -> tuple[int, int]:
        """A label's review at the end of a year: throw out what is of no use, order what the policy asks for.

        Parameters
        ----------
        policy : StockPolicy
            Its levels for this label.
        gaps, expected : float [trees]
            That wait to be filled; that are expected before delivery.
        leaf : int or None
            The block's leaf this season. No tree is ordered that would come after the last leaf in which gaps are
            filled; spares left in that leaf are thrown out. None: no such limits.

        Returns
        -------
        ordered, discarded : int [trees]
        """
        arrival = arrival_year(replacement, year)
        discarded = 0
        if leaf is not None:
            if leaf >= replacement.last_refill_leaf:
                discarded = self.discard_all()
            if not 1 <= leaf + arrival - year <= replacement.last_refill_leaf:
                return 0, discarded
        if not replacement.reorder:
            return 0, discarded
        trees = order_quantity(policy, self.on_hand + self.on_order - gaps - expected)
        if trees:
            self.due[arrival] = self.due.get(arrival, 0) + trees
        return trees, discarded

    def _remove(self, trees: int) -> None:
        if trees < 0:
            raise IdentityError(f"{trees} trees taken from the stock")
        while trees:
            cohort = self.cohorts[0]
            part = min(trees, cohort[1])
            cohort[1] -= part
            trees -= part
            if not cohort[1]:
                self.cohorts.pop(0)


Years = TypeVar("Years")


class StockYears(NamedTuple, Generic[Years]):
    """Yearly record of one label's stock alone; whole trees, one entry per year, or arrays (trial, year).

    ``waiting`` counts the gaps left open after the year's replanting.
    """

    replanted: Years
    ordered: Years
    delivered: Years
    died: Years
    discarded: Years
    on_hand: Years
    waiting: Years


class StockDraws(NamedTuple):
    """Prepared uniforms of one label and trial, one per year, as in the yard's own draws.

    ``replants`` decides how many replants die.
    """

    short: Sequence[float]
    short_share: Sequence[float]
    death: Sequence[float]
    delay: Sequence[float]
    spot: Sequence[float]
    replants: Sequence[float]


def replay_stock(
    replacement: Replacement,
    levels: StockPolicy,
    trees: int,
    leaf: Sequence[int],
    lost_before: Sequence[int],
    lost_after: Sequence[int],
    draws: StockDraws,
    replant_loss: Sequence[float] = (),
) -> StockYears[list[int]]:
    """Replay the stock of one label under a replacement policy over losses that are known beforehand.

    The years and rules are the yard's (:class:`orchardsim.operations.yard.Yard`), crews aside: whoever is wanted for
    replanting is there.

    ``delivered`` counts spares of the first planting and trees bought at short notice too.

    Parameters
    ----------
    levels : StockPolicy
        Of the label; see :func:`stock_policy`.
    trees : int
        Planted in leaf 1, with their spares.
    leaf : sequence of int, (year,)
        The block's leaf; below 1 there is no block.
    lost_before, lost_after : sequence of int, (year,)
        Trees of the first planting lost before and after the year's replanting.
    replant_loss : sequence of float [1/year]
        Chance that a replant dies in its first, second, ... year; the last holds on. None by default.
    """
    keeping = replacement.keeping
    record: StockYears[list[int]] = StockYears([], [], [], [], [], [], [])
    stock = TreeStock()
    waiting = 0
    replants: list[int] = []
    last = replacement.last_refill_leaf
    for year, age in enumerate(leaf):
        died, discarded = stock.age(keeping.death, draws.death[year], keeping.age_limit) if stock.cohorts else (0, 0)
        delivered = 0
        if due := stock.due.pop(year, 0):
            if draws.delay[year] < replacement.delay_probability:
                stock.due[year + 1] = stock.due.get(year + 1, 0) + due
            else:
                delivered = due - lacking_trees(replacement, due, draws.short[year], draws.short_share[year])
        if age == 1:
            delivered += spares_to_buy(replacement, trees)
        stock.receive(delivered)
        waiting += int(lost_before[year])
        replanted = 0
        if 1 < age <= last and waiting:
            short = waiting - stock.on_hand
            if short > 0 and draws.spot[year] < replacement.spot_probability:
                stock.receive(short)
                delivered += short
            replanted = stock.take(waiting)
            waiting -= replanted
        left_open = waiting
        waiting += int(lost_after[year])
        if replant_loss:
            replants.insert(0, replanted)
            if len(replants) > len(replant_loss):
                replants[-2] += replants.pop()
            waiting += _lose_replants(replants, replant_loss, draws.replants[year])
        ordered = 0
        if age >= 1:
            expected = expected_losses(replacement, trees, age, arrival_year(replacement, year) - year)
            ordered, thrown = stock.review(replacement, levels, waiting, expected, year, age)
            discarded += thrown
        if replacement.place == "none":
            discarded += stock.discard_all()
        for column, value in zip(
            record, (replanted, ordered, delivered, died, discarded, stock.on_hand, left_open), strict=True
        ):
            column.append(value)
    return record


def _lose_replants(replants: list[int], loss: Sequence[float], uniform: float) -> int:
    """Replants by years since planting, youngest first, of which some die; the youngest of all go first."""
    number = sum(replants)
    if not number:
        return 0
    risk = 0.0
    for trees, chance in zip(replants, loss, strict=False):
        risk += trees * chance
    died = rest = binomial_quantile(number, risk / number, uniform)
    age = 0
    while rest:
        part = min(rest, replants[age])
        replants[age] -= part
        rest -= part
        age += 1
    return died
