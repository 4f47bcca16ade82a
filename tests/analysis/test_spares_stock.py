"""The search over stock policies against the closed forms of stock control, and the replay against the yard itself."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from orchardsim.analysis.policy_runs import no_replacement, run_policy
from orchardsim.analysis.stock_search import (
    Losses,
    Replay,
    StockMoney,
    independent_losses,
    search,
    spent,
    stock_draws,
    stock_money,
    year_weights,
)
from orchardsim.core.ledger_items import ITEM
from orchardsim.core.streams import Streams
from orchardsim.economy.finance import npv
from orchardsim.operations.nursery import StockDraws, binomial_quantile
from orchardsim.operations.parameters import Replacement
from orchardsim.simulation.trial_range import run_trials
from tests.simulation.small_plan import small_plan

CALM = Replacement(
    spare_death=0.0,
    shortfall_probability=0.0,
    delay_probability=0.0,
    reorder=False,
    reorder_point=0.0,
    order_up_to=0.0,
    last_refill_leaf=2,
)
"""A nursery and a row in which nothing goes wrong; gaps of leaf 1 are filled in leaf 2, and that is all."""


def draws(trials: int, years: int, uniform: float = 0.5) -> list[StockDraws]:
    return [StockDraws(*([uniform] * years for _ in range(6)))] * trials


def money(tree: float = 10.0, years: int = 4, keep: float = 0.0) -> StockMoney:
    return StockMoney(tree, 0.0, np.ones(years), np.full(years, keep), np.zeros(years), np.zeros(years))


def one_season(trees: int, loss: float, value: float, trials: int = 250) -> Replay:
    """Losses in leaf 1 alone, at evenly spread points of the binomial distribution: no sampling error."""
    after = np.zeros((trials, 4), dtype=np.int64)
    after[:, 0] = [binomial_quantile(trees, loss, (t + 0.5) / trials) for t in range(trials)]
    losses = Losses(np.zeros_like(after), after)
    return Replay(trees, [1, 2, 3, 4], losses, draws(trials, 4), np.array([0.0, value, 0.0, 0.0]), money())


@pytest.mark.parametrize(("trees", "loss", "stock"), [(1200, 0.02, (30, 32, 36)), (1000, 0.03, (37, 39, 43))])
def test_spares_that_cover_independent_losses(trees: int, loss: float, stock: tuple[int, int, int]) -> None:
    """Fewest spares that fill every gap in 90, 95 and 99 % of futures: the binomial quantile (scipy.stats.binom)."""
    replay = one_season(trees, loss, 50.0, trials=2000)
    for level, expected in zip((0.90, 0.95, 0.99), stock, strict=True):

        def filled(spares: int) -> float:
            run = replay.run(dataclasses.replace(CALM, spares_at_planting=spares / trees))
            return float((run.waiting[:, 1] == 0).mean())

        assert stats.binom.ppf(level, trees, loss) == expected
        assert filled(expected) >= level > filled(expected - 1)


@pytest.mark.parametrize(("value", "tree"), [(40.0, 10.0), (13.0, 10.0), (100.0, 5.0)])
def test_the_search_finds_the_newsvendor_fractile(value: float, tree: float) -> None:
    """With one chance to use spares and nothing got for those left over, the best number is the smallest Q with
    F(Q) >= cu/(cu + co), cu = value - price and co = price (newsvendor rule, e.g. Hopp & Spearman, Factory Physics,
    section 2.4: form read). The search moves by one tree at its finest, so one step is allowed."""
    trees, loss = 1000, 0.03
    replay = one_season(trees, loss, value)
    replay.money = money(tree)
    best = search(replay, CALM).spares
    expected = stats.binom.ppf((value - tree) / value, trees, loss)
    assert abs(round(best.spares_at_planting * trees) - expected) <= 1
    assert best.last_refill_leaf == 2 and not best.reorder


def test_nothing_is_bought_where_a_replant_is_worth_less_than_it_costs() -> None:
    replay = one_season(500, 0.05, 9.0)
    families = search(replay, CALM)
    assert families.best(replay) == families.never
    assert replay.gain(families.never).max() == 0
    assert replay.margin_at_stake().max() == 0


def test_base_stock_service_for_poisson_demand() -> None:
    """One-for-one ordering with lead time L keeps hand + order - gaps at S, so no gap is left after replanting with
    the chance that L years' losses fit into S: P(D <= S), D Poisson of the mean of L years (Hopp & Spearman, Factory
    Physics, 2.4.2: form read). n = 4,000 trials in one year each; allowed 4.5 standard errors (false alarm 7e-6)."""
    years, lead, mean, level, trials = 12, 2, 3.0, 8, 4000
    rng = np.random.default_rng(11)
    before = rng.poisson(mean, size=(trials, years))
    before[:, 0] = 0
    policy = dataclasses.replace(
        CALM, spares_at_planting=level / 100, reorder=True, reorder_point=level / 100, order_up_to=level / 100,
        minimum_order=0, order_multiple=1, lead_time=lead, last_refill_leaf=80, spare_age_limit=10_000,
    )  # fmt: skip
    replay = Replay(
        100, list(range(1, years + 1)), Losses(before, np.zeros_like(before)), draws(trials, years), np.zeros(years),
        money(years=years),
    )  # fmt: skip
    run = replay.run(policy)
    served = float((run.waiting[:, 9] == 0).mean())
    # An order placed after year y's replanting comes before that of year y + 2: year 9 draws on the stock position
    # after year 7, so the losses of years 8 and 9 must fit into it.
    expected = float(stats.poisson.cdf(level, lead * mean))
    assert abs(served - expected) < 4.5 * np.sqrt(expected * (1 - expected) / trials)


policies = st.builds(
    dataclasses.replace,
    st.just(Replacement()),
    spares_at_planting=st.floats(0, 0.2),
    reorder=st.booleans(),
    reorder_point=st.floats(0, 0.03),
    order_up_to=st.floats(0.03, 0.1),
    lead_time=st.integers(0, 3),
    place=st.sampled_from(["nursery_row", "pots"]),
    last_refill_leaf=st.integers(0, 8),
    spare_death=st.floats(0, 0.5),
    pot_death=st.floats(0, 0.5),
    shortfall_probability=st.floats(0, 1),
    delay_probability=st.floats(0, 0.5),
    spot_probability=st.floats(0, 0.5),
)


@given(policies, st.integers(0, 10_000))
def test_trees_balance_and_no_stock_is_negative(policy: Replacement, seed: int) -> None:
    """Trees delivered are planted, dead, thrown out or on hand, every year; gaps and stock are never negative."""
    rng = np.random.default_rng(seed)
    years = 10
    before, after = rng.poisson(2, size=(2, 3, years))
    before[:, 0] = 0
    chance = [StockDraws(*rng.random((6, years)).tolist()) for _ in range(3)]
    replay = Replay(
        100, list(range(1, years + 1)), Losses(before, after), chance, np.zeros(years), money(years=years), (0.1, 0.05)
    )
    run = replay.run(policy)
    kept = (run.delivered - run.replanted - run.died - run.discarded).cumsum(axis=1)
    np.testing.assert_array_equal(kept, run.on_hand)
    assert all(column.min() >= 0 for column in run)
    assert run.replanted[:, [0, *range(max(policy.last_refill_leaf, 1), years)]].sum() == 0


@given(st.integers(0, 40), st.integers(0, 10_000), st.floats(0, 0.4))
def test_more_spares_never_leave_more_gaps(spares: int, seed: int, death: float) -> None:
    """In every trial and year, one spare more leaves no more gaps open, whatever dies and whenever."""
    rng = np.random.default_rng(seed)
    losses = Losses(np.zeros((4, 5), dtype=np.int64), rng.poisson(6, size=(4, 5)))
    chance = [StockDraws(*rng.random((6, 5)).tolist()) for _ in range(4)]
    replay = Replay(200, [1, 2, 3, 4, 5], losses, chance, np.zeros(5), money(years=5))
    policy = dataclasses.replace(CALM, spare_death=death, last_refill_leaf=4)
    fewer, more = (
        replay.run(dataclasses.replace(policy, spares_at_planting=number / 200)).waiting
        for number in (spares, spares + 1)
    )
    assert (more <= fewer).all()


def test_independent_losses_keep_the_mean_and_lose_the_clusters() -> None:
    """Good and bad years become binomial: the mean by year stays within 4.5 standard errors, the variance over mean of
    a year's losses falls to about 1 - p (binomial distribution)."""
    rng = np.random.default_rng(3)
    bad = rng.random((3000, 1)) < 0.2
    lost = rng.binomial(500, np.where(bad, 0.10, 0.01), size=(3000, 2))
    losses = Losses(lost, np.zeros_like(lost))
    streams = [np.random.default_rng(100 + t) for t in range(3000)]
    alone = independent_losses(losses, 500, streams).before
    first = alone[:, 0]
    assert abs(first.mean() - lost[:, 0].mean()) < 4.5 * first.std() / np.sqrt(3000)
    share = first.mean() / 500
    # the standard error of a variance ratio of n normal values is sqrt(2 / n)
    assert abs(first.var() / first.mean() - (1 - share)) < 4.5 * np.sqrt(2 / 3000)
    assert lost[:, 0].var() / lost[:, 0].mean() > 5


@pytest.fixture(scope="module")
def plan():
    return small_plan()


def test_replay_does_what_the_yard_does() -> None:
    """Fed with the losses of a full simulation, the replay moves the very same trees in the very same years."""
    trade = {"shortfall_probability": 0.5, "delay_probability": 0.3, "spot_probability": 0.2, "lead_time": "1 year"}
    plan = small_plan(replacement={**trade, "minimum_order": 2, "order_multiple": 1})
    trials, years = range(2, 8), 8
    rule = dataclasses.replace(
        plan.replacement, spares_at_planting=0.06, reorder_point=0.04, order_up_to=0.08, spare_death=0.3,
        last_refill_leaf=6, expected_loss=(0.06, 0.02),
    )  # fmt: skip
    other = dataclasses.replace(rule, place="pots", pot_death=0.4, last_refill_leaf=4, order_up_to=0.05)
    rules = dict(zip(plan.labels, (rule, other), strict=True))
    run = run_policy(plan, rules, None, trials, years, 5)
    chance = stock_draws(plan, Streams(5), trials, years)
    planted = [group.trees for group in plan.groups]
    moved = 0
    for number, label in enumerate(plan.labels):
        losses = Losses(run.lost_before[:, :, number].astype(np.int64), run.lost_after[:, :, number].astype(np.int64))
        replay = Replay(
            planted[number], list(range(years)), losses, chance[number], np.zeros(years),
            stock_money(plan, number, years),
        )  # fmt: skip
        found = replay.run(rules[label])
        for name, column in (("replanted", found.replanted), ("ordered", found.ordered), ("bought", found.delivered)):
            np.testing.assert_array_equal(column, getattr(run, name)[:, :, number], err_msg=name)
        np.testing.assert_array_equal(found.on_hand, run.on_hand[:, :, number])
        windows = run.wanted[:, :, number] > 0
        np.testing.assert_array_equal(found.waiting[windows], run.waiting[:, :, number][windows])
        moved += found.replanted.sum() + found.ordered.sum()
    assert moved > 20


def test_policies_meet_the_same_futures(plan) -> None:
    """Trees lost before any gap is filled are the same under every policy, trial by trial."""
    none = no_replacement(plan)
    other = {label: dataclasses.replace(plan.replacement, spares_at_planting=0.3) for label in plan.labels}
    first, second = (run_policy(plan, rules, None, range(3), 5, 2) for rules in (none, other))
    np.testing.assert_array_equal(first.lost_after[:, 1], second.lost_after[:, 1])
    np.testing.assert_array_equal(first.lost_before[:, 2], second.lost_before[:, 2])
    assert second.replanted.sum() > 0 and first.replanted.sum() == 0


def test_stock_money_is_what_the_ledger_books(plan) -> None:
    """Trees, care, keep and planting labour at year 0 equal the ledger's item, whole farm."""
    years, trials = 8, range(3)
    plan = plan.with_known_futures()  # stock is weighed at the plan's own costs
    arrays = run_trials(plan, trials, years, 4, "sampled")
    run = run_policy(plan, dict.fromkeys(plan.labels, plan.replacement), None, trials, years, 4)
    expected = -npv(plan.finance.discount_rate, arrays["ledger"][..., ITEM["replacement_trees"]].sum(axis=2))
    found = np.zeros(len(trials))
    for number in range(len(plan.labels)):
        # the hours of keeping spares stand under another item of the ledger
        priced = stock_money(plan, number, years, at_end=False)._replace(keep_hour=np.zeros(years))
        found += spent(priced, plan.replacement, run.flows(number)).total
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    assert expected.min() > 0


def test_money_of_the_last_years_counts_in_what_the_block_is_worth(plan) -> None:
    """Weight of a mature year: annuity over the years left, shared by the years that the remaining value rests on
    (annuity factor: definition; the rule of the remaining value is the economy room's)."""
    years = 20
    weights = year_weights(plan, 0, years)
    finance = plan.finance
    leaf = np.arange(years)
    mature = np.flatnonzero(leaf >= finance.mature_leaf)[-finance.remaining_years :]
    money = plan.money[0]
    life = finance.planned_removal_leaf if money.planned_removal_leaf is None else money.planned_removal_leaf
    left = np.arange(1, life - leaf[-1] + 1)
    annuity = ((1 + finance.discount_rate) ** -left.astype(float)).sum()
    expected = np.zeros(years)
    expected[mature] = annuity / mature.size * (1 + finance.discount_rate) ** -(years - 1.0)
    np.testing.assert_allclose(weights, expected, rtol=1e-6, atol=1e-9)


def test_margin_at_stake_counts_every_gap_worth_filling() -> None:
    """By hand: 3 trees lost in leaf 1 and 2 before the planting of leaf 3; a replant is worth 40, 30 and 5 in leaves
    2, 3 and 4 and costs 10: 3 x 40 + 2 x 30; the gap of leaf 3 could be filled in leaf 4 only and is not worth it."""
    before, after = np.array([[0, 0, 2, 0]]), np.array([[3, 0, 1, 0]])
    replay = Replay(
        100, [1, 2, 3, 4], Losses(before, after), draws(1, 4), np.array([0.0, 40.0, 30.0, 5.0]), money(10.0)
    )
    assert replay.fill_leaves == [2, 3]
    assert replay.margin_at_stake().tolist() == [180.0]
