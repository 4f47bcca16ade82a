"""What a farm opens and closes with: last year's crop, income tax on what is left, late payments, draws, no investment.

Worked by hand or with numpy-financial; textbook after-tax salvage value: worth less rate x (worth less book value).
"""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy_financial
import pytest

from orchardsim.core.ledger_items import ITEM, items_of
from orchardsim.economy.account import BeforeInterest, reserve_needed
from orchardsim.economy.parameters import Tax
from orchardsim.economy.payments import spread_payments
from tests.economy.sample_farm import block, costs, finance, insurance, item, quantities, run, still_market

RATE = 0.25


def steady(blocks):
    """The same crop and work every year, from the last year of the sample farm."""
    q = quantities(blocks, trials=1, full_crop=24.0)
    names = ("harvested_mass", "packed_mass", "labour_hours")
    return dataclasses.replace(
        q, **{name: np.broadcast_to(getattr(q, name)[:, -1:], getattr(q, name).shape).copy() for name in names}
    )


def test_a_going_farm_receives_a_full_crop_in_its_first_year() -> None:
    """30 % at once, 70 % in the next year: with the same crop every year each year receives and pays one whole crop."""
    blocks = [block(year_planted=-20)]
    paid = (0.3, 0.3, 0.4)
    terms = finance(inflation=0.0)
    for name in ("fresh_sales", "processing_sales", "packing_and_storage"):
        late, _ = run(blocks, steady(blocks), m=still_market(paid), f=terms)
        yearly = item(late, name, 0).sum(axis=2)[0]
        np.testing.assert_allclose(yearly, yearly[-1], rtol=1e-9)
    at_once, _ = run(blocks, steady(blocks), m=still_market((1.0,)), f=terms)
    assert late.flows[0, 0, :, 0].sum() == pytest.approx(at_once.flows[0, 0, :, 0].sum(), rel=1e-9)


def test_the_stated_last_crop_scales_what_is_due_and_a_new_block_opens_with_nothing() -> None:
    paid = (0.0, 1.0)
    old = block(year_planted=-20)
    q = steady([old])
    crop = float(q.harvested_mass[0, 0, 0])
    first = [
        item(run([dataclasses.replace(old, crop_before=stated)], q, m=still_market(paid))[0], "fresh_sales", 0)[0, 0, 0]
        for stated in (crop, 0.5 * crop, 0.0)
    ]
    assert first[1] == pytest.approx(0.5 * first[0]) and first[0] > 0 and first[2] == 0
    young, _ = run([block()], quantities([block()]), m=still_market(paid))
    assert item(young, "fresh_sales", 0)[0, 0, 0] == 0


def test_the_crop_before_year_0_does_not_move_the_break_even_price() -> None:
    """Its price is made: a break-even price of the run's own fruit makes NPV zero, opening money left as it is."""
    blocks = [block(year_planted=-20)]
    m, terms = still_market((0.3, 0.7)), finance(inflation=0.0)
    ledger, found = run(blocks, steady(blocks), m=m, f=terms)
    fresh = item(ledger, "fresh_sales").sum(axis=2)[0] + item(ledger, "direct_sales").sum(axis=2)[0]
    fresh[-1] += ledger.fresh_receivable[0]
    years = ledger.sales.mass.shape[1]
    discount = (1 + terms.discount_rate) ** -np.arange(years, dtype=float)
    opening = ledger.opening_fresh[0]
    assert opening[0] > 0 and opening[1:].sum() == 0
    mean_price = (ledger.sales.revenue[0, :, :, :3].sum(axis=(1, 2)) @ discount) / (
        ledger.sales.mass[0, :, :, :3].sum(axis=(1, 2)) @ discount
    )
    factor = found.break_even_price[0] / mean_price
    moved = ledger.project_cash_flow()[0] + (factor - 1) * (fresh - opening)
    assert numpy_financial.npv(terms.discount_rate, moved) == pytest.approx(0.0, abs=1e-6 * np.abs(moved).sum())


def after_tax(**changes):
    terms = finance(tax=Tax(rate=RATE, depreciation_years=30.0), **changes)
    blocks = [block()]
    return terms, *run(blocks, quantities(blocks, full_crop=24.0), f=terms)


def test_interest_shields_income_once() -> None:
    """Value does not depend on what the bank asks: its interest is charged by discounting."""
    values = [after_tax(loan_rate=rate)[2].npv for rate in (0.0, 0.15)]
    np.testing.assert_allclose(values[0], values[1], rtol=1e-12)
    paid = [-item(after_tax(loan_rate=rate)[1], "income_tax").sum(axis=(1, 2)) for rate in (0.0, 0.15)]
    assert (paid[1] < paid[0]).all()


def test_what_is_left_and_what_is_owed_is_taxed() -> None:
    """Salvage: V - t (V - book); book is the outlays less 20 of 30 years' straight-line depreciation, year by year."""
    terms, ledger, found = after_tax()
    untaxed, _ = run([block()], quantities([block()], full_crop=24.0), f=finance())
    yearly = ledger.farm_by_year()
    capital = [ITEM[name] for name in items_of("capital")]
    outlays = -yearly[:, :, capital].sum(axis=2)
    years = outlays.shape[1]
    book = sum(outlays[:, year] * (1 - (years - year) / 30.0) for year in range(years))
    worth = untaxed.remaining_value
    owed = ledger.receivable.sum(axis=1)
    flows = yearly.sum(axis=2) - yearly[..., ITEM["interest"]] - yearly[..., ITEM["income_tax"]]
    for trial in range(3):
        carried, taxes = 0.0, []
        for year in range(years):
            written = sum(outlays[trial, before] / 30.0 for before in range(year + 1))
            income = flows[trial, year] + outlays[trial, year] - written
            used = min(max(income, 0.0), carried)
            taxes.append(RATE * (max(income, 0.0) - used))
            carried += max(-income, 0.0) - used
        assert carried == 0.0 and taxes[-1] > 0
        project = flows[trial] - taxes
        project[-1] += owed[trial] * (1 - RATE)
        assert found.npv_without_remaining_value[trial] == pytest.approx(
            numpy_financial.npv(terms.discount_rate, project), rel=1e-9
        )
        project[-1] += worth[trial] - RATE * (worth[trial] - book[trial])
        assert found.npv[trial] == pytest.approx(numpy_financial.npv(terms.discount_rate, project), rel=1e-9)


def test_late_payments_are_worth_the_same_in_both_bases() -> None:
    """Real and nominal books of one farm have one value, at (1 + r)(1 + i) - 1 in nominal money (Fisher)."""
    inflation, real_rate = 0.04, 0.05
    m = still_market((0.2, 0.2, 0.2, 0.2, 0.1, 0.1))
    blocks = [block(year_planted=-3), block("young", year_planted=1)]
    q = quantities(blocks)
    insured = insurance(coverage=0.75)
    values = [
        run(blocks, q, m=m, f=finance(basis=basis, inflation=inflation, discount_rate=rate, insurance=insured))[1]
        for basis, rate in (("real", real_rate), ("nominal", (1 + real_rate) * (1 + inflation) - 1))
    ]
    np.testing.assert_allclose(values[0].npv_without_remaining_value, values[1].npv_without_remaining_value, rtol=1e-9)


def test_payments_by_hand() -> None:
    """100 sold in autumn, half at once, half a quarter on, 10 % inflation: 50, and 50 / 1.1 in the next year."""
    received, owed = spread_payments(np.array([[100.0, 100.0]]), (0.5, 0.5), year_later=1 / 1.1)
    np.testing.assert_allclose(received[0], [[0, 0, 0, 50], [50 / 1.1, 0, 0, 50]])
    assert owed[0] == pytest.approx(50.0)
    received, _ = spread_payments(np.zeros((1, 2)), (0.5, 0.5), before=np.array([80.0]))
    np.testing.assert_allclose(received[0], [[40, 0, 0, 0], [0, 0, 0, 0]])


def test_a_plan_that_invests_nothing_has_no_return_and_no_payback() -> None:
    old = [block(year_planted=-20)]
    _, found = run(old, quantities(old))
    for name in ("irr", "irr_without_remaining_value", "mirr", "payback_year", "discounted_payback_year"):
        assert np.isnan(getattr(found, name)).all(), name
    assert (found.irr_roots == 0).all() and np.isfinite(found.npv).all()
    both = [block(year_planted=-20), block("new", year_planted=1)]
    _, mixed = run(both, quantities(both))
    assert not np.isnan(mixed.irr).any() and not np.isnan(mixed.payback_year).any()


def test_the_reserve_holds_the_household_draw_as_stated() -> None:
    """No cash flow, 1,200 drawn a year for two years: 2,400 without credit, 2,000 with a credit line of 400."""
    nothing, still = np.zeros((1, 2, 4)), np.zeros((1, 2))
    free = finance(household_draw=1200.0, loan_rate=0.0, inflation=0.0)
    assert reserve_needed(BeforeInterest(nothing, still, still), free)[0] == pytest.approx(2400.0, abs=1e-5)
    line = dataclasses.replace(free, credit_line=400.0)
    assert reserve_needed(BeforeInterest(nothing, still, still), line)[0] == pytest.approx(2000.0, abs=1e-5)
    below_zero = dataclasses.replace(free, inflation=0.05)  # a debt that shrinks by itself does not lower the reserve
    assert reserve_needed(BeforeInterest(nothing, still, still), below_zero)[0] == pytest.approx(2400.0, abs=1e-5)


def test_overhead_holds_no_interest() -> None:
    """The account charges it; the catalogue's overhead says that it was taken off."""
    from tests.economy.sample_farm import catalogue

    source = catalogue("costs.toml")["costs"]["overhead_area"]["source"]
    assert "less 50" in source and costs().overhead_area * 4046.8564224 == pytest.approx(250.0)
