"""Investment measures against numpy-financial, published examples and cases worked by hand."""

from __future__ import annotations

import numpy as np
import numpy_financial
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.economy.finance import (
    annuity_factor,
    discounted_payback_year,
    equivalent_annual_annuity,
    irr,
    level_payment,
    mirr,
    npv,
    payback_year,
)

FLOWS = st.lists(st.floats(-1e5, 1e5), min_size=2, max_size=25)
RATES = st.floats(-0.2, 0.5)


CENTS = st.integers(0, 10_000_000).map(lambda cents: cents / 100)


@given(FLOWS, RATES)
def test_npv_agrees_with_the_reference_library(flows: list[float], rate: float) -> None:
    expected = numpy_financial.npv(rate, flows)
    gross = numpy_financial.npv(rate, np.abs(flows))
    assert float(npv(rate, flows)) == pytest.approx(expected, abs=1e-12 * (1 + gross))


def test_npv_counts_the_first_flow_at_year_zero() -> None:
    """Example of the numpy-financial documentation: 8 %, first flow undiscounted."""
    assert float(npv(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000])) == pytest.approx(3065.22, abs=0.01)


@given(st.floats(1.0, 1e5), st.lists(CENTS, min_size=1, max_size=25))
def test_irr_of_an_investment_agrees_with_the_reference_library(outlay: float, returns: list[float]) -> None:
    """One outlay, then returns: at most one root above -100 %."""
    flows = [-outlay, *returns]
    found = irr(flows)
    expected = numpy_financial.irr(flows)
    if np.isfinite(expected) and -0.99 < expected < 900:
        assert int(found.roots) == 1
        assert float(found.rate) == pytest.approx(expected, abs=1e-7, rel=1e-7)
        scale = npv(float(found.rate), np.abs(flows))
        assert abs(npv(float(found.rate), flows)) < 1e-6 * scale


def test_irr_published_examples() -> None:
    """numpy-financial documentation (after Gitman 2003, p. 348): five examples, the last one with several roots."""
    for flows, rate in (
        ([-100, 39, 59, 55, 20], 0.28095),
        ([-100, 0, 0, 74], -0.0955),
        ([-100, 100, 0, -7], -0.0833),
        ([-100, 100, 0, 7], 0.06206),
        ([-5, 10.5, 1, -8, 1], 0.0886),
    ):
        assert float(irr(flows).rate) == pytest.approx(rate, abs=5e-5)


def test_irr_says_when_there_are_several_roots_or_none() -> None:
    """-1000, 2550, -1620 has roots where x = 1/(1+r) solves 1620 x^2 - 2550 x + 1000 = 0: by hand 20 % and 35 %."""
    several = irr([-1000.0, 2550.0, -1620.0])
    assert int(several.roots) == 2
    assert float(several.rate) == pytest.approx(0.20, abs=1e-9)
    for flows in ([100.0, 10.0], [-100.0, -1.0], [0.0, 0.0, 0.0]):
        none = irr(flows)
        assert (int(none.roots), float(none.rate)) == (0, -np.inf)


def test_irr_runs_over_trials() -> None:
    flows = np.array([[-100.0, 110.0, 0.0], [-100.0, 0.0, 121.0], [-100.0, -1.0, 0.0]])
    np.testing.assert_allclose(irr(flows).rate, [0.10, 0.10, -np.inf], atol=1e-10)


@given(FLOWS, st.floats(0.0, 0.3), st.floats(0.0, 0.3))
def test_mirr_agrees_with_the_reference_library(flows: list[float], finance_rate: float, reinvest_rate: float) -> None:
    found = float(mirr(flows, finance_rate, reinvest_rate))
    if min(flows) < -1.0 and max(flows) > 1.0:
        expected = numpy_financial.mirr(flows, finance_rate, reinvest_rate)
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)
    elif min(flows) >= 0 or max(flows) <= 0:
        assert found == -np.inf


@given(st.floats(1e-4, 0.3), st.integers(1, 40), st.floats(1.0, 1e6))
def test_level_payment_and_annuity_agree_with_the_reference_library(rate: float, periods: int, amount: float) -> None:
    assert level_payment(rate, periods, amount) == pytest.approx(-numpy_financial.pmt(rate, periods, amount), rel=1e-6)
    assert float(annuity_factor(rate, periods)) == pytest.approx(-numpy_financial.pv(rate, periods, 1.0), rel=1e-6)


def test_a_loan_without_interest_is_paid_in_equal_parts() -> None:
    assert level_payment(0.0, 8, 4000.0) == 500.0
    assert float(annuity_factor(0.0, 8)) == 8.0


@pytest.mark.parametrize(
    ("rate", "payments"),
    [
        (0.05, (12_950.46, 9_634.23, 8_024.26)),
        (0.06, (13_586.80, 10_296.28, 8_718.46)),
        (0.07, (14_237.75, 10_979.46, 9_439.29)),
        (0.08, (14_902.95, 11_682.95, 10_185.22)),
    ],
)
def test_level_payment_table(rate: float, payments: tuple[float, ...]) -> None:
    """100,000 over 10, 15, 20 years: computed from A = L i / (1 - (1+i)^-n) with a desk calculation."""
    for years, payment in zip((10, 15, 20), payments, strict=True):
        assert level_payment(rate, years, 100_000) == pytest.approx(payment, abs=0.005)


def test_payback_year_is_the_first_that_lasts() -> None:
    assert float(payback_year([-10.0, 5.0, 5.0, 1.0])) == 2
    assert float(payback_year([-10.0, 12.0, -5.0, 4.0])) == 3
    assert float(payback_year([-10.0, 12.0, -5.0, 2.0])) == np.inf
    assert float(payback_year([1.0, 1.0])) == 0
    np.testing.assert_array_equal(payback_year([[-1.0, 1.0], [-1.0, 0.5]]), [1.0, np.inf])


def test_payback_does_not_hang_on_rounding() -> None:
    assert float(payback_year([-0.3, 0.1, 0.1, 0.1])) == 3


@given(FLOWS, st.floats(0.0, 0.4))
def test_discounted_payback_of_an_investment_is_no_earlier(returns: list[float], rate: float) -> None:
    """Discounting later returns can only delay the payback of one outlay followed by returns."""
    flows = [-1000.0, *np.abs(returns)]
    assert float(discounted_payback_year(rate, flows)) >= float(payback_year(flows))


@given(FLOWS, st.floats(0.001, 0.3))
def test_equivalent_annuity_has_the_same_value(flows: list[float], rate: float) -> None:
    years = len(flows) - 1
    value = float(npv(rate, flows))
    yearly = float(equivalent_annual_annuity(rate, years, value))
    assert float(npv(rate, [0.0, *[yearly] * years])) == pytest.approx(value, rel=1e-9, abs=1e-6)
