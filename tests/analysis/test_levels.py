"""Numbers to state first, one open level at a time, prices against yields, and outcomes that lose."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from orchardsim.analysis.first_numbers import MORE, first_numbers, lacking_hours
from orchardsim.analysis.levels import ends, look_at_levels
from orchardsim.cli.main import main
from orchardsim.core.futures import Doubt
from orchardsim.core.labels import TASKS
from orchardsim.economy.indicators import indicators
from orchardsim.report.check import crew_lines, first_number_lines, opening_text, short_meaning, state_first_text
from orchardsim.report.levels.words import levels_screen, levels_text
from orchardsim.results.first_numbers import FirstNumbers
from orchardsim.simulation.same_futures import SameFutures, present_value, with_hours, with_yield
from orchardsim.simulation.totals import Totals
from tests.screens import fits_a_screen
from tests.simulation.small_plan import small_plan

TRIALS, YEARS = 3, 7


@pytest.fixture(scope="module")
def plan():
    return small_plan().with_known_futures()


@pytest.fixture(scope="module")
def futures(plan):
    return SameFutures(plan, TRIALS, YEARS, 1)


@pytest.fixture(scope="module")
def usual(plan, futures):
    return futures.walked(plan)


def test_the_value_is_that_of_a_run(plan, futures, usual):
    ledger = futures.ledger(plan, usual)
    np.testing.assert_allclose(present_value(ledger, plan), indicators(ledger, plan.finance).npv, rtol=1e-12)


def test_prices_and_yields_move_sales_in_proportion(plan, futures, usual):
    """Twice the fruit sells for twice the money at given prices, twice the price as well; picking hours double too."""
    sold = futures.ledger(plan, usual).sales.revenue.sum()
    assert futures.ledger(plan, with_yield(usual, 2.0)).sales.revenue.sum() == pytest.approx(2 * sold)
    assert futures.ledger(plan, usual, 2.0).sales.revenue.sum() == pytest.approx(2 * sold)
    assert with_yield(usual, 2.0).arrays["labour_hours"].sum() > usual.arrays["labour_hours"].sum()
    assert with_hours(usual, "planting", 1.0).arrays["labour_hours"].sum() == usual.arrays["labour_hours"].sum()


def test_ends_of_a_level_by_hand():
    """Normal quantile 1.6449 of 95 % (standard tables): exp(0.12 x 1.6449) = 1.2182 of a log spread of 0.12."""
    plan = small_plan()
    low, middle, high = ends(plan, "price_level")
    assert (low, middle, high) == pytest.approx((1 / 1.2182, 1.0, 1.2182), rel=1e-4)
    narrow = dataclasses.replace(plan.futures, stated={"winter_cold": {"": Doubt(2.0, 0.5)}})
    low, _, high = ends(dataclasses.replace(plan, futures=narrow), "winter_cold")
    assert (low, high) == pytest.approx((2 - 0.82243, 2 + 0.82243), rel=1e-4)


def test_ten_numbers_come_with_what_a_tenth_does(plan):
    """The wage list is ranked; a tenth more packing costs a tenth of the packing charges, discounted, and no less."""
    found = first_numbers(plan, most=200, trials=TRIALS, years=YEARS)
    assert (found.lacking, found.unpicked) == ((), 0.0)
    changes = [abs(one.change) for one in found.numbers]
    assert changes == sorted(changes, reverse=True)
    by_key = {one.key: one for one in found.numbers}
    futures = SameFutures(plan, TRIALS, YEARS, 1)
    walked = futures.walked(plan)
    dearer = dataclasses.replace(plan, costs=dataclasses.replace(plan.costs, packing=plan.costs.packing * (1 + MORE)))
    expected = (futures.values(dearer, walked) - futures.values(plan, walked)).mean()
    assert by_key["costs.packing"].change == pytest.approx(expected)
    assert by_key["costs.packing"].change <= 0
    stated = {one.key for one in plan.stated}
    assert not stated & set(by_key)
    text = "\n".join(first_number_lines(dataclasses.replace(found, numbers=found.numbers[:10]), plan.formats))
    assert found.numbers[0].key in text and "NPV" in text
    screen = opening_text(plan) + "\n" + state_first_text(dataclasses.replace(found, numbers=found.numbers[:10]), plan)
    assert fits_a_screen(screen, closing=1) and "..." not in screen + text
    assert all(word in text for one in found.numbers[:10] for word in short_meaning(one.meaning).split())


def test_crews_that_cannot_do_the_work_are_named():
    """100 hours of picking asked in year 1, 40 done: told; one hour of thinning in 101 left undone: not."""
    totals = Totals(2, 3, ("home",))
    done, left = totals.arrays["labour_hours"], totals.arrays["labour_undone"]
    done[:, :, 0, TASKS.index("picking")], left[:, 1, 0, TASKS.index("picking")] = 40.0, 60.0
    done[:, :, 0, TASKS.index("thinning")], left[:, 1, 0, TASKS.index("thinning")] = 100.0, 1.0
    assert lacking_hours(totals) == (("picking", 100.0, 40.0),)
    found = FirstNumbers((), 0.0, 2, 3, 0, 0.0, lacking_hours(totals), 0.5)
    (line,) = crew_lines(found)
    assert "picking 40 of 100" in line and "50 % of all fruit" in line
    assert crew_lines(dataclasses.replace(found, lacking=())) == []


def test_levels_are_looked_at_one_by_one(plan):
    """Known levels are left out; what is dearer lowers NPV, and the widest stands first."""
    stated = {name: {"": Doubt(1.0, 0.0)} for name in ("site_growth", "fruit_set", "fruit_size", "stock_by_site",
              "cultivar_by_site", "hazard_level", "hail_frequency", "thinning_skill")}  # fmt: skip
    stated |= {"pack_out": {"": Doubt(0.0, 0.0)}, "winter_cold": {"": Doubt(0.0, 0.0)}}
    narrow = dataclasses.replace(small_plan(), futures=dataclasses.replace(small_plan().futures, stated=stated))
    found = look_at_levels(narrow, trials=TRIALS, years=YEARS, seed=1)
    names = [one.name for one in found.swings]
    assert set(names) == {"price_level", "price_drift", "packing_charge", "storage_charge", "cost_level", "wage_level",
                          "wage_growth"}  # fmt: skip
    widths = [one.width for one in found.swings]
    assert widths == sorted(widths, reverse=True)
    cost = found.swings[names.index("cost_level")]
    assert cost.npv_low > found.npv > cost.npv_high
    even = dict(zip(found.price_by_yield.yields, found.price_by_yield.break_even, strict=True))
    assert even[0.5] > even[1.0] > even[1.5]
    for one in found.losing:
        assert 0 <= one.trials <= one.of <= TRIALS
    assert len(found.debt_not_covered) == YEARS
    assert "price level" in levels_text(found) and fits_a_screen(levels_screen(found))


SCENARIOS = """
[scenario.cheap_fruit]
market.fruit.Gala.wholesale_extra_fancy = "0.40 USD/lb"

[scenario.dear_packing]
"costs.packing" = "0.35 USD/lb"
"""


@pytest.fixture
def with_scenarios(tmp_path):
    from tests.plan.examples import DEMO

    def write(text=SCENARIOS):
        path = tmp_path / "plan.toml"
        path.write_text(DEMO.read_text(encoding="utf-8") + text, encoding="utf-8")
        return path

    return write


def test_scenarios_are_the_plan_with_other_keys(with_scenarios):
    import orchardsim
    from orchardsim.core.units import POUND
    from orchardsim.plan import load_scenarios

    path = with_scenarios()
    base, cheap, dear = load_scenarios(path)
    assert [base.scenario, cheap.scenario, dear.scenario] == ["as planned", "cheap_fruit", "dear_packing"]
    assert cheap.market.fruit["Gala"].wholesale_extra_fancy * POUND == pytest.approx(0.40)
    assert dear.costs.packing * POUND == pytest.approx(0.35)
    assert base.hash == orchardsim.load_plan(path).hash != cheap.hash


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("\n[scenario.a]\ncosts.paking = 1\n", "[scenario.a]: costs.paking: unknown key"),
        ("\n[scenario.a]\n", "scenario.a: found nothing that differs"),
        ("\n[scenario]\na = 3\n", "scenario.a: found 3, expected a table of keys that differ"),
        ("\n[scenario.a]\ncosts.packing = '-1 USD/lb'\n", "[scenario.a]: costs.packing"),
        ("", "found one plan without scenarios"),
    ],
)
def test_a_faulty_scenario_is_one_clear_line(with_scenarios, capsys, text, told):
    assert main(["compare", str(with_scenarios(text)), "--trials", "4"]) == 2
    said = capsys.readouterr().err
    assert told in said and said.count("\n") == 1
