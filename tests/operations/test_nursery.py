"""Replacement stock against the closed forms of stock control."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from orchardsim.core.errors import IdentityError
from orchardsim.operations.nursery import (
    StockDraws,
    StockPolicy,
    StockYears,
    TreeStock,
    binomial_quantile,
    order_quantity,
    replay_stock,
    stock_policy,
)
from orchardsim.operations.parameters import Replacement


def stock_years(
    policy: StockPolicy, lost: list[int], spares: int, death: list[float] | None = None, **rules: float
) -> StockYears:
    """Years of a stock from leaf 2 on, bought in leaf 1: ``spares``; nothing happens to spares and deliveries unless
    ``rules`` say so, ``death`` being the draws that decide how many spares die."""
    calm = {"spare_death": 0.0, "spare_age_limit": 10**9, "lead_time": 1, "last_refill_leaf": 10**9}
    calm |= {"delay_probability": 0.0, "shortfall_probability": 0.0, "spares_at_planting": spares / TREES}
    years = len(lost) + 1
    draws = StockDraws(*[[0.5] * years] * 6)._replace(death=[0.5, *(death or [0.5] * len(lost))])
    found = replay_stock(
        Replacement(**calm | rules), policy, TREES, range(1, years + 1), [0, *lost], [0] * years, draws
    )  # type: ignore[arg-type]
    return StockYears(*(column[1:] for column in found))


TREES = 1000


@pytest.mark.parametrize(("trees", "loss", "stock"), [(1200, 0.02, (30, 32, 36)), (1000, 0.03, (37, 39, 43))])
def test_spares_for_independent_losses(trees: int, loss: float, stock: tuple[int, int, int]) -> None:
    """Spares that cover independent losses in 90, 95 and 99 % of years: the binomial quantile (T21; scipy)."""
    for level, spares in zip((0.90, 0.95, 0.99), stock, strict=True):
        assert spares == stats.binom.ppf(level, trees, loss)
        assert binomial_quantile(trees, loss, level) == spares


@given(st.integers(0, 3000), st.floats(0, 1), st.floats(1e-6, 1 - 1e-6))
def test_binomial_quantile_is_scipys(number: int, probability: float, uniform: float) -> None:
    """The prepared draw inverts the binomial distribution (definition of a quantile, scipy.stats.binom)."""
    k = binomial_quantile(number, probability, uniform)
    assert 0 <= k <= number
    assert stats.binom.cdf(k, number, probability) >= uniform - 1e-9
    if k:
        assert stats.binom.cdf(k - 1, number, probability) < uniform + 1e-9


def test_stock_covers_the_share_of_years_that_the_binomial_says() -> None:
    """A stock of 32 fills every gap of 1,200 trees at 2 % in the binomial's share of one-year trials.

    n = 20,000 trials; the check allows 4.5 standard errors (false alarm 7e-6).
    """
    rng = np.random.default_rng(21)
    lost = rng.binomial(1200, 0.02, size=20_000)
    never = StockPolicy(reorder_point=-(10**9), order_up_to=0)
    filled = sum(stock_years(never, [int(k)], 32).waiting[0] == 0 for k in lost)
    expected = float(stats.binom.cdf(32, 1200, 0.02))
    assert abs(filled / lost.size - expected) < 4.5 * math.sqrt(expected * (1 - expected) / lost.size)


def test_newsvendor_fractile() -> None:
    """The cheapest one-season stock is the smallest Q with F(Q) >= cu/(cu + co).

    Newsvendor rule, e.g. Hopp & Spearman, Factory Physics, section 2.4 (form read; here for a Poisson demand of 24,
    a gap that costs 30 against a spare left over that costs 10). The mean cost of the simulated stock over 40,000
    seasons must be lowest within one tree of the rule (the cost curve is flat there: one tree off costs 1 %), and
    the expected cost of the rule's Q must agree with its sum over the Poisson distribution within 4.5 standard errors.
    """
    under, over, mean = 30.0, 10.0, 24.0
    best = int(stats.poisson.ppf(under / (under + over), mean))
    demand = np.random.default_rng(5).poisson(mean, size=40_000)
    never = StockPolicy(reorder_point=-(10**9), order_up_to=0)
    demands, times = np.unique(demand, return_counts=True)

    def costs(spares: int) -> np.ndarray:
        runs = [stock_years(never, [int(k)], spares) for k in demands]
        return np.array([under * run.waiting[0] + over * run.on_hand[0] for run in runs])

    mean_cost = {spares: np.average(costs(spares), weights=times) for spares in range(best - 6, best + 7)}
    assert abs(min(mean_cost, key=mean_cost.__getitem__) - best) <= 1
    k = np.arange(0, 200)
    cost = under * np.maximum(k - best, 0) + over * np.maximum(best - k, 0)
    exact = float(np.sum(stats.poisson.pmf(k, mean) * cost))
    spread = math.sqrt(np.average((costs(best) - mean_cost[best]) ** 2, weights=times))
    assert abs(mean_cost[best] - exact) < 4.5 * spread / math.sqrt(demand.size)


def test_base_stock_in_years() -> None:
    """Order-up-to S each year, Poisson losses, lead time L: gaps are all filled with probability P(D_L <= S).

    Base-stock model with periodic review (Hopp & Spearman, Factory Physics, 2.4; form read): stock after the year's
    replanting is S less the losses of the last L years. theta = 10, S = 15 gives P(D <= 15) = 0.9513 (the published
    pair 0.917/0.951 is G(14)/G(15)). 100,000 years; neighbouring years share losses, so the standard error is taken
    from batches of 100 years; 4.5 standard errors.
    """
    years, lead, rate, level = 100_000, 2, 5.0, 15
    lost = np.random.default_rng(11).poisson(rate, size=years).tolist()
    run = stock_years(StockPolicy(reorder_point=level - 1, order_up_to=level), lost, level, lead_time=lead)
    service = stats.poisson.cdf(level, lead * rate)
    assert round(float(service), 3) == 0.951
    full = (np.array(run.waiting[lead:]) == 0)[: (years - lead) // 100 * 100].reshape(-1, 100).mean(axis=1)
    assert abs(full.mean() - service) < 4.5 * full.std(ddof=1) / math.sqrt(full.size)
    # expected gaps waiting: E max(D - S, 0)
    k = np.arange(0, 200)
    waiting = np.array(run.waiting[lead:])[: full.size * 100].reshape(-1, 100).mean(axis=1)
    exact = float(np.sum(stats.poisson.pmf(k, lead * rate) * np.maximum(k - level, 0)))
    assert abs(waiting.mean() - exact) < 4.5 * waiting.std(ddof=1) / math.sqrt(waiting.size)


def test_base_stock_one_for_one() -> None:
    """One-for-one replenishment: a loss finds a spare with probability G(S - 1), backlog averages B(S).

    Hopp & Spearman, Factory Physics, 2.4.2 (read): theta = 10, r = S - 1 = 14: G(14) = 0.917; G(15) = 0.951 would be
    the continuous form misused. 60,000 losses as a Poisson stream in time; batches of 200 losses, 4.5 standard errors.
    """
    rng = np.random.default_rng(3)
    losses, level, lead = 60_000, 15, 10.0
    stock = TreeStock()
    stock.receive(level)
    due: list[float] = []
    now, first, waiting = 0.0, 0, 0
    found = np.zeros(losses)
    for number, gap in enumerate(rng.exponential(1.0, size=losses)):
        now += gap
        while first < len(due) and due[first] <= now:
            first += 1
            stock.receive(1)
            waiting -= stock.take(min(1, waiting))
        found[number] = stock.on_hand > 0
        waiting += 1
        waiting -= stock.take(waiting)
        due.append(now + lead)
    fill = found[2000:].reshape(-1, 200).mean(axis=1)
    exact = float(stats.poisson.cdf(level - 1, lead))
    assert round(exact, 3) == 0.917
    error = fill.std(ddof=1) / math.sqrt(fill.size)
    assert abs(fill.mean() - exact) < 4.5 * error
    assert abs(fill.mean() - float(stats.poisson.cdf(level, lead))) > 4.5 * error


@given(st.integers(-50, 80), st.integers(0, 80), st.integers(0, 60), st.integers(1, 25), st.integers(-100, 100))
def test_order_quantity_obeys_the_rule(point: int, extra: int, least: int, multiple: int, position: int) -> None:
    """(s, S) rule: nothing above s; at or below it at least up to S, at least the minimum, in whole multiples."""
    policy = StockPolicy(point, point + extra, least, multiple)
    ordered = order_quantity(policy, position)
    if position > point or (position == point and extra == 0):
        assert ordered == 0
    else:
        assert ordered % multiple == 0
        assert ordered >= least
        assert position + ordered >= policy.order_up_to
        assert position + ordered < max(policy.order_up_to, position + least) + multiple


@given(st.lists(st.tuples(st.integers(0, 40), st.floats(0.001, 0.999)), min_size=1, max_size=25), st.integers(0, 60))
def test_books_of_the_stock_balance(years: list[tuple[int, float]], spares: int) -> None:
    """No negative stock; what came in is out, dead, thrown away or still there."""
    losses, draws = zip(*years, strict=True)
    run = stock_years(
        StockPolicy(5, 20, 3, 2), list(losses), spares, list(draws), lead_time=2, spare_death=0.1, spare_age_limit=2
    )
    assert min(run.on_hand) >= 0
    assert min(run.waiting) >= 0
    before, waiting = spares, 0
    for year, (lost, _) in enumerate(years):
        flow = run.delivered[year] - run.died[year] - run.discarded[year] - run.replanted[year]
        assert run.on_hand[year] == before + flow
        assert run.waiting[year] == waiting + lost - run.replanted[year]
        before, waiting = run.on_hand[year], run.waiting[year]


def test_oldest_spares_go_first_and_old_ones_are_thrown_out() -> None:
    """A spare bought this year outlives one of the year before; by hand."""
    stock = TreeStock()
    stock.receive(4)
    assert stock.age(0.0, 0.5, 2) == (0, 0)
    stock.receive(3)
    assert stock.take(2) == 2
    assert stock.age(0.0, 0.5, 2) == (0, 0)
    assert stock.age(0.0, 0.5, 2) == (0, 2)
    assert stock.on_hand == 3
    with pytest.raises(IdentityError):
        stock.receive(-1)


def test_policy_levels_round_up() -> None:
    """2.5 % of 1,000 trees are 25, of 1,001 are 26; binary fractions do not add a tree (1 % of 700 is 7)."""
    assert stock_policy(Replacement(order_up_to=0.025), 1000).order_up_to == 25
    assert stock_policy(Replacement(order_up_to=0.025), 1001).order_up_to == 26
    assert stock_policy(Replacement(order_up_to=0.01), 700).order_up_to == 7
