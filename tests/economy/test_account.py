"""The account, loan, tax, what stands at the end, and the measures drawn from them."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy_financial
import pytest

from orchardsim.core.ledger_items import ITEM, items_of
from orchardsim.economy.account import (
    BeforeInterest,
    before_interest,
    depreciation,
    draw_bearable,
    reserve_needed,
    run_account,
)
from orchardsim.economy.parameters import OUTLETS, Tax
from orchardsim.economy.prices import FRESH_OUTLETS
from orchardsim.economy.remarks import money_remarks
from tests.economy.sample_farm import (
    block,
    costs,
    finance,
    insurance,
    item,
    market,
    quantities,
    run,
    still_market,
    two_blocks,
)


def test_account_follows_the_ledger_quarter_by_quarter() -> None:
    terms = finance(opening_cash=20_000.0, household_draw=4_000.0)
    ledger, _ = run(f=terms)
    net = ledger.flows.sum(axis=(3, 4)).reshape(3, -1)
    balance = ledger.account.balance.reshape(3, -1)
    np.testing.assert_allclose(np.diff(balance, axis=1), net[:, 1:] - 1_000.0, rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(balance[:, 0], 20_000 + net[:, 0] - 1_000.0)
    interest = -item(ledger, "interest").reshape(3, -1)
    rate = ((1 + terms.loan_rate) / (1 + terms.inflation)) ** 0.25 - 1
    np.testing.assert_allclose(interest[:, 1:], rate * np.maximum(-balance[:, :-1], 0), rtol=1e-12, atol=1e-9)


def test_a_term_loan_closes() -> None:
    """Principal paid back in full; yearly interest as numpy-financial's ipmt gives it."""
    terms = finance(opening_cash=1e7, loan_amount=50_000.0, loan_years=8, term_loan_rate=0.06, inflation=0.0)
    ledger, found = run(f=terms)
    assert ledger.account.debt[:, 7, 3] == pytest.approx(0.0, abs=1e-6)
    assert ledger.account.debt[:, 0, 0] == pytest.approx(50_000.0)
    paid = -item(ledger, "interest").sum(axis=2)[0]
    expected = -numpy_financial.ipmt(0.06, np.arange(1, 9), 8, 50_000.0)
    np.testing.assert_allclose(paid[:8], expected, rtol=1e-9)
    np.testing.assert_allclose(paid[8:], 0.0)
    payment = -numpy_financial.pmt(0.06, 8, 50_000.0)
    np.testing.assert_allclose(ledger.account.principal[:8] + expected, payment, rtol=1e-9)
    assert ledger.account.principal.sum() == pytest.approx(50_000.0)
    cover = found.debt_service_cover[:, 5]
    np.testing.assert_allclose(cover, ledger.project_cash_flow()[:, 5] / payment, rtol=1e-9)
    assert np.isnan(found.debt_service_cover[:, 12]).all()


def test_a_real_loan_rate_is_the_quoted_one_less_inflation() -> None:
    """Fisher's relation: 8 % quoted at 3 % inflation is 1.08 / 1.03 - 1 = 4.854 % real; nominal money pays the 8 %."""
    cash, nothing = np.array([[[-100.0, 0.0, 0.0, 0.0], [0.0] * 4]]), np.zeros((1, 2))
    for basis, expected in (("real", 100 * 1.08 / 1.03), ("nominal", 108.0)):
        terms = finance(loan_rate=0.08, inflation=0.03, basis=basis)
        assert run_account(BeforeInterest(cash, nothing, nothing), terms).balance[0, 1, 0] == pytest.approx(-expected)


def test_payback_is_of_the_summed_net_cash_flow() -> None:
    """By the definition in the variable table, interest included."""
    q = quantities([block()], full_crop=14.0)
    ledger, found = run([block()], q, f=finance(loan_rate=0.12))
    summed = np.cumsum(ledger.net_cash_flow().sum(axis=2), axis=1)
    for trial, year in enumerate(found.payback_year):
        if np.isfinite(year):
            assert (summed[trial, int(year) :] >= 0).all()
            assert summed[trial, int(year) - 1] < 0
        else:
            assert summed[trial, -1] < 0
    cheap = run([block()], q, f=finance(loan_rate=0.0))[1].payback_year
    assert (cheap < found.payback_year).all()


def test_what_standing_blocks_earn_pays_no_new_planting_back() -> None:
    """Beside an old block that earns from year 0 on, payback and rate of return are those of the new block's flow."""
    blocks = [block("old", year_planted=-12), block("new", year_planted=3)]
    ledger, found = run(blocks, quantities(blocks, full_crop=40.0), f=finance(loan_rate=0.0))
    assert (np.cumsum(ledger.net_cash_flow().sum(axis=2), axis=1) > 0).all()
    own = ledger.net_cash_flow()[:, :, 1]
    summed = np.cumsum(own, axis=1)
    for trial, year in enumerate(found.payback_year.astype(int)):
        assert summed[trial, year - 1] < 0 <= summed[trial, year:].min() and year > 3
    own[:, -1] += ledger.receivable[:, 1] + ledger.remaining_by_block[:, 1]
    expected = [numpy_financial.irr(flow) for flow in own]
    np.testing.assert_allclose(found.irr, expected, rtol=1e-6)


def test_peak_borrowing_is_the_seasonal_peak() -> None:
    ledger, found = run(q=quantities(two_blocks(), full_crop=9.0))
    debt = -ledger.account.balance.min(axis=(1, 2))
    np.testing.assert_allclose(found.peak_borrowing, debt)
    at_years_end = -ledger.account.balance[:, :, 3].min(axis=1)
    assert (found.peak_borrowing >= at_years_end).all()
    assert (found.peak_borrowing > at_years_end).any()
    rows = np.arange(3)
    at_peak = ledger.account.balance[rows, found.peak_borrowing_year, found.peak_borrowing_quarter]
    np.testing.assert_allclose(-at_peak, debt)


def test_value_and_rate_agree_with_the_reference_library() -> None:
    terms = finance()
    ledger, found = run(f=terms)
    flows = ledger.project_cash_flow()
    with_value = flows.copy()
    with_value[:, -1] += ledger.remaining_value
    for trial in range(3):
        assert found.npv_without_remaining_value[trial] == pytest.approx(
            numpy_financial.npv(terms.discount_rate, flows[trial]), rel=1e-9
        )
        assert npv_at(found.irr[trial], with_value[trial]) == pytest.approx(0.0, abs=1e-3)
        if found.irr_roots[trial] == 1:
            assert found.irr[trial] == pytest.approx(numpy_financial.irr(with_value[trial]), abs=1e-7)


def npv_at(rate: float, flows: np.ndarray) -> float:
    return float(numpy_financial.npv(rate, flows))


def test_remaining_value_by_hand() -> None:
    """Same yearly margin: the annuity to the planned removal, less the removal then."""
    blocks = [block()]
    q = quantities(blocks, trials=1, full_crop=14.0)
    still = still_market((1.0,))
    steady = {
        name: np.broadcast_to(getattr(q, name)[:, -1:], getattr(q, name).shape).copy()
        for name in ("harvested_mass", "packed_mass", "labour_hours")
    }
    terms = finance(planned_removal_leaf=30, discount_rate=0.06)
    ledger, _ = run(blocks, dataclasses.replace(q, **steady), m=still, f=terms)
    yearly = ledger.yearly()[0, -1, 0].sum()
    left = 30 - 20
    removal = costs().old_orchard_removal * blocks[0].geometry.gross_area
    expected = -numpy_financial.pv(0.06, left, yearly) - removal * 1.06**-left
    assert ledger.remaining_value[0] == pytest.approx(expected, rel=1e-9)
    longer, _ = run([block(planned_removal_leaf=40)], dataclasses.replace(q, **steady), m=still, f=terms)
    expected = -numpy_financial.pv(0.06, 20, yearly) - removal * 1.06**-20
    assert longer.remaining_value[0] == pytest.approx(expected, rel=1e-9)
    _, overdue = run(blocks, f=finance(planned_removal_leaf=15))
    np.testing.assert_allclose(overdue.remaining_value, -removal)


def test_a_block_pulled_in_the_last_year_has_no_value_left() -> None:
    """Its removal is paid in that year; no crop follows it, so nothing remains, whether the run ends then or later."""
    for years in (20, 22):
        ledger, _ = run([block(removal_year=19)], quantities([block(removal_year=19)], years=years))
        assert (item(ledger, "old_orchard_removal")[:, 19, 3] < 0).all()
        np.testing.assert_array_equal(ledger.remaining_value, 0.0)


def test_a_stated_removal_after_the_run_bounds_the_remaining_life() -> None:
    """Pulled three years after the last: worth what a planned removal at that leaf is worth, 20 + 3."""
    q = quantities([block()], full_crop=14.0)
    stated, _ = run([block(removal_year=22)], q)
    planned, _ = run([block(planned_removal_leaf=23)], q)
    later, _ = run([block()], q, f=finance(planned_removal_leaf=40))
    np.testing.assert_allclose(stated.remaining_value, planned.remaining_value, rtol=1e-12)
    assert (stated.remaining_value < later.remaining_value).all()


def test_smallest_reserve_by_hand() -> None:
    """Out 100, then in 40, 80: no credit needs 100. A line of 50 at no interest needs 50; with interest a little more.

    At 12 % a year a debt of 50 grows to 50 x 1.12^(1/4) = 51.44 before the 40 come in, which the line must not hold.
    """
    cash = np.array([[[-100.0, 0.0, 40.0, 80.0]]])
    nothing = np.zeros((1, 1))
    for line, rate, expected in ((0.0, 0.12, 100.0), (50.0, 0.0, 50.0), (50.0, 0.12, 100 - 50 / 1.12**0.25)):
        terms = finance(credit_line=line, loan_rate=rate, inflation=0.0)
        assert reserve_needed(BeforeInterest(cash, nothing, nothing), terms)[0] == pytest.approx(expected, abs=1e-6)


def test_the_smallest_reserve_just_suffices() -> None:
    ledger, _ = run()
    terms = finance(credit_line=30_000.0)
    need = reserve_needed(before_interest(ledger.flows, terms), terms)
    assert (need > 0).all()
    trial = int(need.argmax())
    ledger, _ = run(f=dataclasses.replace(terms, opening_cash=float(need[trial])))
    enough = ledger.account.balance
    assert enough[trial].min() == pytest.approx(-30_000.0, abs=0.01)
    assert (enough.min(axis=(1, 2)) >= -30_000.01).all()


def test_establishment_cost_is_the_present_value_of_its_items() -> None:
    ledger, found = run()
    yearly = -sum(item(ledger, name).sum(axis=2) for name in items_of("capital"))
    for trial in range(3):
        assert found.establishment_cost[trial] == pytest.approx(numpy_financial.npv(0.05, yearly[trial]), rel=1e-9)


def test_remarks_say_what_will_surprise() -> None:
    blocks, m = [block()], market()
    quiet = dataclasses.replace(costs(), narrow_machines=30_000.0, machine_ownership=0.0)
    assert money_remarks(blocks, quiet, m, finance(inflation=0.0), 20) == []
    twice = dataclasses.replace(quiet, machine_ownership=costs().machine_ownership)
    (said,) = money_remarks(blocks, twice, m, finance(inflation=0.0), 20)
    assert "costs.machine_ownership" in said
    (said,) = money_remarks([block(protection="wind_machine")], quiet, m, finance(inflation=0.0), 20)
    # 4 ha (9.884 acres) at the catalogue's 4,000 dollars an acre
    assert "would cost 39,5" in said and "bought whole" in said
    (said,) = money_remarks(blocks, quiet, m, finance(), 20)
    assert "6.35 %" in said and "3.96 %" in said and "2.30 %" in said
    loud = money_remarks(
        [block(), block("old", year_planted=-30), block("new", year_planted=17)],
        costs(),
        m,
        finance(credit_line=5_000.0, basis="nominal", inflation=0.0, insurance=insurance(coverage=0.0)),
        20,
    )
    for words in (
        "more than cash",
        "inflation is 0",
        "narrow machines",
        "old is in leaf 50",
        "new is only in leaf 3",
        "covers nothing",
    ):
        assert any(words in line for line in loud), words
    unpriced = dataclasses.replace(m.fruit["Gala"], direct=float("nan"))
    stall = dataclasses.replace(
        m,
        fruit=dict(m.fruit) | {"Gala": unpriced},
        outlets=dict(m.outlets) | {"direct": dataclasses.replace(m.outlets["direct"], volume=500.0)},
    )
    assert any(
        "direct takes no Gala" in line for line in money_remarks(blocks, quiet, stall, finance(inflation=0.02), 20)
    )


def test_land_keeps_its_price_in_the_remaining_value() -> None:
    blocks = [block()]
    plain, _ = run(blocks)
    bought, _ = run(blocks, c=dataclasses.replace(costs(), land_bought=True))
    price = costs().land_price * blocks[0].geometry.gross_area
    assert -item(bought, "land").sum(axis=(1, 2)) == pytest.approx(price)
    np.testing.assert_allclose(bought.remaining_value - plain.remaining_value, price, rtol=1e-9)


def test_land_that_passes_on_is_paid_and_valued_once() -> None:
    """A block pulled after year 7 and its successor on the same land from year 8 on: one price, paid in year 0."""
    old, new = block("old", removal_year=7), block("new", year_planted=9, order_year=7, land_from_year=8)
    c = dataclasses.replace(costs(), land_bought=True)
    price = c.land_price * old.geometry.gross_area
    plain, _ = run([old, new])
    bought, _ = run([old, new], c=c)
    paid = -item(bought, "land").sum(axis=2)
    np.testing.assert_allclose(paid[:, 0], price)
    np.testing.assert_allclose(paid[:, 1:], 0.0)
    np.testing.assert_allclose(bought.remaining_value - plain.remaining_value, price, rtol=1e-9)


def test_land_bought_later_is_paid_in_its_year() -> None:
    """No block leaves land: it is bought in year 3. A successor of twice the area buys the other half."""
    c = dataclasses.replace(costs(), land_bought=True)
    later, _ = run([block(year_planted=4, order_year=2, land_from_year=3)], c=c)
    price = c.land_price * block().geometry.gross_area
    np.testing.assert_allclose(-item(later, "land").sum(axis=2)[:, 2:5], [[0.0, price, 0.0]] * 3)
    wide = block("new", rows=40, year_planted=9, order_year=7, land_from_year=8)
    grown, _ = run([block("old", removal_year=7), wide], c=c)
    paid = -item(grown, "land").sum(axis=2)
    np.testing.assert_allclose(paid[:, [0, 8]], price)
    assert paid.sum(axis=1) == pytest.approx(2 * price)


def test_a_block_of_the_plan_is_cleared_once() -> None:
    """Its removal is charged when it is pulled; a successor that clears an old orchard finds none on that land."""
    old = block("old", removal_year=7)
    new = block("new", year_planted=9, order_year=7, land_from_year=8, clears_old_orchard=True)
    ledger, _ = run([old, new])
    once = costs().old_orchard_removal * old.geometry.gross_area
    np.testing.assert_allclose(-item(ledger, "old_orchard_removal").sum(axis=(1, 2)), once)
    unsaid = dataclasses.replace(new, land_from_year=0)
    quiet = dataclasses.replace(costs(), narrow_machines=1.0)
    loud = money_remarks([old, unsaid], quiet, market(), finance(), 20)
    assert any("new is planted after another block is pulled" in line and "cleared" in line for line in loud)
    assert not any("another block" in line for line in money_remarks([old, new], quiet, market(), finance(), 20))


def test_income_tax_by_hand() -> None:
    """Depreciation of 90 over 3 years is 30 a year. Income 10, 50, 100 less 30: loss 20 carried, then 20 - 20, then 70.

    At a quarter: 0, 0, 17.5; without carrying forward 0, 5, 17.5.
    """
    written_off = depreciation(np.array([[90.0, 0.0, 0.0]]), 3.0)
    np.testing.assert_allclose(written_off, [[30.0, 30.0, 30.0]])
    income = np.array([[10.0, 50.0, 100.0]])
    cash = np.zeros((1, 3, 4))
    cash[:, :, 3] = income
    for carry, expected in ((True, [0.0, 0.0, 17.5]), (False, [0.0, 5.0, 17.5])):
        terms = finance(opening_cash=1000.0, tax=Tax(rate=0.25, carry_forward=carry))
        account = run_account(BeforeInterest(cash, income, written_off), terms)
        np.testing.assert_allclose(account.tax[0, :, 3], expected)
        assert account.balance[0, -1, -1] == pytest.approx(1000 + 160 - sum(expected))


def test_tax_is_due_on_income_after_interest_and_depreciation() -> None:
    """Where losses are used up by the end, all tax is the rate on all income less interest and depreciation."""
    blocks = [block()]
    terms = Tax(rate=0.25, depreciation_years=10.0)
    ledger, _ = run(blocks, quantities(blocks, full_crop=25.0), f=finance(tax=terms))
    farm = ledger.farm_by_year()
    due = -farm[..., ITEM["income_tax"]].sum(axis=1)
    assert (farm[:, -1, ITEM["income_tax"]] < 0).all()
    np.testing.assert_allclose(due, 0.25 * (farm.sum(axis=(1, 2)) + due), rtol=1e-9)


def test_at_the_break_even_price_the_value_is_zero() -> None:
    """All fresh prices times break-even over mean price: NPV without the remaining value is zero, trial by trial."""
    m = market()
    factors = (0.5, 1.0, 1.5)
    found = []
    for factor in factors:
        scaled = {
            name: dataclasses.replace(
                fruit,
                **{
                    key: getattr(fruit, key) * factor
                    for key in ("wholesale_extra_fancy", "wholesale_fancy", "direct", "pick_your_own")
                },
            )
            for name, fruit in m.fruit.items()
        }
        terms = finance(inflation=0.02, basis="nominal")
        changed = dataclasses.replace(m, fruit=scaled, commodity_price=m.commodity_price * factor)
        found.append(run(m=changed, f=terms)[1])
    # The price that is needed does not hang on the price that is got ...
    for one in found:
        np.testing.assert_allclose(one.break_even_price, found[1].break_even_price, rtol=1e-9)
    # ... and the value is linear in it, with its zero there: two runs give the line.
    low, high = (one.npv_without_remaining_value for one in (found[0], found[2]))
    zero = 0.5 - low / (high - low)
    assert ((found[1].npv_without_remaining_value > 0) == (zero < 1)).all()
    ledger, _ = run(m=m, f=finance(inflation=0.02, basis="nominal"))
    fresh = [OUTLETS.index(name) for name in FRESH_OUTLETS]
    level = 1.02 ** np.arange(ledger.account.balance.shape[1])
    weight = level * 1.0 / (1.0 + finance().discount_rate) ** np.arange(level.size)
    mean_price = (ledger.sales.revenue[..., fresh].sum(axis=(2, 3)) * weight).sum(axis=1) / (
        ledger.sales.mass[..., fresh].sum(axis=(2, 3)) * weight
    ).sum(axis=1)
    np.testing.assert_allclose(found[1].break_even_price, zero * mean_price, rtol=1e-9)


def test_bearable_draw_by_hand() -> None:
    """Without interest the bearable draw is all money shared over the years; a credit line may bind before the end."""
    cash = np.zeros((1, 4, 4))
    cash[0, 0, 0], cash[0, :, 3] = -100.0, 60.0
    nothing = np.zeros((1, 4))
    free = finance(loan_rate=0.0, inflation=0.0, household_draw=0.0, opening_cash=0.0, loan_amount=0.0)
    # (4 x 60 - 100) / 4 = 35 a year.
    assert draw_bearable(BeforeInterest(cash, nothing, nothing), free)[0] == pytest.approx(35.0, abs=1e-5)
    # A line of 120 is reached in the third quarter of year 0: 100 + 3/4 of the draw = 120.
    tight = dataclasses.replace(free, credit_line=120.0)
    assert draw_bearable(BeforeInterest(cash, nothing, nothing), tight)[0] == pytest.approx(20 / 0.75, abs=1e-5)
    # A plan that ends in debt bears none.
    assert draw_bearable(BeforeInterest(-np.abs(cash), nothing, nothing), free)[0] == 0.0


def test_the_bearable_draw_just_leaves_no_debt() -> None:
    terms = finance(loan_amount=20_000.0, loan_years=15)
    ledger, found = run(f=terms)
    for trial in np.flatnonzero(found.household_draw_bearable > 0):
        draw = float(found.household_draw_bearable[trial])
        last = [
            run(f=dataclasses.replace(terms, household_draw=draw * share))[0].account.balance[trial, -1, -1]
            for share in (0.999, 1.001)
        ]
        assert last[0] >= 0 > last[1]
    with_draw, _ = run(f=dataclasses.replace(terms, household_draw=1_000.0))
    assert (with_draw.account.balance[:, -1, -1] < ledger.account.balance[:, -1, -1]).all()
