"""Plans in the same futures: paired differences against scipy, dominance and choice on hand-made cases, wording."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from scipy import stats

import orchardsim
from orchardsim.analysis.compare import check_plans, choose, compare, difference, same_tree_blocks
from orchardsim.core.errors import InputError
from orchardsim.report.compare_page import write_comparison
from orchardsim.report.compare_table import comparison_table
from orchardsim.report.compare_words import comparison_sentences, dominance_text, verdict_text
from orchardsim.results.comparison import Choice, Comparison, Measure, Pair, PlanFacts, comparison_document
from orchardsim.risk.comparison import dominance
from tests.simulation.small_plan import SMALL, small_plan

TRIALS, YEARS = 12, 12
UNSURE = "cannot be told apart with 40 trials"


def wide_plan():
    """The small plan's land and name with trees twice as far apart."""
    return small_plan(block=[{**SMALL["block"][0], "tree_spacing": "2.0 m"}])


@pytest.fixture(scope="module")
def found() -> Comparison:
    return compare([small_plan(), wide_plan()], trials=TRIALS, years=YEARS, seed=3)


def measure(values, *, key: str = "npv", better: str = "high", has_mean: bool = True) -> Measure:
    return Measure(key, key, "", "money", better, np.asarray(values, dtype=float), has_mean)  # type: ignore[arg-type]


def hand_made(a, b) -> Comparison:
    """A comparison of two plans with given NPV by trial."""
    values = np.array([a, b], dtype=float)
    trials = values.shape[1]
    npv = measure(values)
    debt = measure(np.full((2, trials), 5000.0) + np.arange(2)[:, None], key="peak_borrowing", better="low")
    payback = Measure("payback_year", "payback year", "", "year", "low", np.full((2, trials), 8.0), False, True)
    pair = Pair(
        0, 1, {"npv": difference(npv, 0, 1, 0.95)},
        dominance(values[0], values[1], np.random.default_rng(1)),
        dominance(values[1], values[0], np.random.default_rng(1)), (), float("nan"), None,
    )  # fmt: skip
    attrs = {
        "units": "metric", "currency": "USD", "price_year": "2024", "real_or_nominal": "real", "bin_mass": 400.0,
        "box_mass": 19.0, "weather_method": "made by hand", "baseline_years": "[1991, 2020]", "version": "0",
    }  # fmt: skip
    facts = tuple(
        PlanFacts(label, name, name, name, 1e4, 1e4, 10, False) for label, name in (("A", "one"), ("B", "two"))
    )
    cash = np.zeros((2, trials, 5))
    return Comparison(
        facts, trials, 5, 1, {"npv": npv, "peak_borrowing": debt, "payback_year": payback}, "npv", (pair,),
        choose(npv), cash, cash, attrs,
    )  # fmt: skip


def test_paired_difference_agrees_with_the_paired_test_of_scipy():
    """The normal interval of the mean difference against scipy's t test of pairs, with its own quantile put in.

    scipy 1.15 ``ttest_rel``: mean difference / t statistic is the standard error.
    """
    rng = np.random.default_rng(4)
    season = rng.normal(0, 100, 80)
    a, b = season + rng.normal(10, 5, 80), season + rng.normal(0, 5, 80)
    one = difference(measure([a, b]), 0, 1, 0.95)
    reference = stats.ttest_rel(a, b)
    assert one.centre / one.standard_error == pytest.approx(reference.statistic, rel=1e-12)
    half = stats.norm.ppf(0.975) * one.standard_error
    assert (one.low, one.high) == pytest.approx((one.centre - half, one.centre + half), rel=1e-6)
    assert one.correlation == pytest.approx(stats.pearsonr(a, b).statistic, rel=1e-12)
    interval = stats.binomtest(int((a > b).sum()), 80).proportion_ci(method="wilson")
    assert (one.chance_better.low, one.chance_better.high) == pytest.approx((interval.low, interval.high), rel=1e-6)


def test_payback_is_told_by_its_middle_difference():
    """By hand: differences -2, -2, 0 (both never), -inf, -1: the middle is -2; four of five earlier, one tie."""
    a = [8.0, 9.0, np.inf, 10.0, 11.0]
    b = [10.0, 11.0, np.inf, np.inf, 12.0]
    one = difference(measure([a, b], key="payback_year", better="low", has_mean=False), 0, 1, 0.95)
    assert one.centre_is == "median"
    assert one.centre == -2.0
    assert (one.chance_better.count, one.ties) == (4, 1)
    # Five pairs are too few for a 95 % interval of a median: chance 2 x 0.5^5 = 6 % lies outside the extremes.
    assert not one.told_apart


def test_the_choice_is_made_on_one_half_and_told_from_the_other():
    """Plan B looks best in the first half only; the second half says that it is not."""
    lucky = np.array([9.0, 11.0, 9.0, 11.0, 1.0, 3.0, 1.0, 3.0])
    steady = np.array([4.0, 6.0, 4.0, 6.0, 5.0, 7.0, 5.0, 7.0])
    found = choose(measure([steady, lucky]))
    assert found == dataclasses.replace(found, chosen=1, choosing_trials=4, reporting_trials=4)
    assert found.mean_when_choosing == 10.0
    assert found.mean == 2.0
    assert found.leads[0].centre == -4.0
    assert found.leads[0].high < 0


def test_three_plans_widen_the_interval():
    """Two leads hold together at 95 %: each at 97.5 % (Bonferroni), half width 2.2414 (normal table)."""
    rng = np.random.default_rng(5)
    found: Choice = choose(measure(rng.normal(size=(3, 60))))
    for one in found.leads.values():
        assert (one.high - one.low) / (2 * one.standard_error) == pytest.approx(2.2414, abs=1e-4)


@pytest.mark.parametrize(
    ("a", "b", "verdict", "order"),
    [
        (np.arange(40) + 1000.0, np.arange(40.0), "A is better", "A 1st order"),
        (np.arange(40.0), np.arange(40) + 1000.0, "B is better", "B 1st order"),
        (50 + np.linspace(-1, 1, 40), 49.9 + np.linspace(-40, 40, 40)[::-1], UNSURE, "A 2nd order"),
        (np.tile([0.0, 10.0], 20), np.tile([10.0, 0.0], 20), UNSURE, "none"),
    ],
)  # fmt: skip
def test_verdict_and_dominance_in_words(a, b, verdict, order):
    """Always better: first order. Nearly the same mean with hardly any spread: second order, but not told apart."""
    found = hand_made(a, b)
    assert verdict_text(found, found.pairs[0]) == verdict
    if order != "A 2nd order":
        assert dominance_text(found, found.pairs[0]) == order
    else:
        assert found.pairs[0].dominance.second_order
        assert not found.pairs[0].dominance.first_order_claimed


def test_a_short_record_takes_the_certainty_away():
    found = hand_made(np.arange(40) + 1000.0, np.arange(40.0))
    pair = dataclasses.replace(found.pairs[0], record_error=600.0)
    assert verdict_text(found, pair) == "A ahead, but the weather record is too short to be sure"
    assert verdict_text(found, dataclasses.replace(pair, record_error=500.0)) == "A is better"


def test_sentences_say_when_nothing_is_sure_and_when_all_lose():
    unsure = comparison_sentences(hand_made(np.tile([0.0, 10.0], 20), np.tile([10.0, 0.0], 20)))
    assert len(unsure) == 3
    assert "cannot be told apart with 20 trials" in unsure[0]
    sure = comparison_sentences(hand_made(np.arange(40) + 1000.0, np.arange(40.0)))
    assert "A (one) is best: in the same seasons" in sure[0]
    assert "USD 1,000 more" in sure[0]
    # Of 40 trials the second half, 20, speaks of the lead; Wilson's interval of 20 of 20 reaches down to 83.9 %.
    assert "in 20 of 20 futures tried (in the long run between 84 and 100 of 100)" in sure[2]
    losing = comparison_sentences(hand_made(np.arange(40) - 5000.0, np.arange(40.0) - 9000.0))
    assert "even that loses USD" in losing[0]


def test_the_terminal_says_which_trials_chose_and_how_payback_and_npv_part():
    found = hand_made(np.arange(40) + 1000.0, np.arange(40.0))
    table = " ".join(comparison_table(found).split())
    assert "chosen on the first 20 trials" in table
    assert "40 of 40" in table
    assert table.count("Payback counts the interest") == 1


def test_plans_meet_the_same_seasons_and_runs_repeat(found):
    again = compare([small_plan(), wide_plan()], trials=TRIALS, years=YEARS, seed=3)
    assert comparison_document(again) == comparison_document(found)
    assert "Trial by trial, all plans meet the same seasons and the same prices." in found.notes
    assert found.pairs[0].same_trees == ()
    one = orchardsim.simulate(small_plan(), trials=TRIALS, years=YEARS, seed=3)
    np.testing.assert_array_equal(found.measures["npv"].values[0], one["npv"].values)
    outlay = found.measures["outlay"].values
    assert (outlay[0] > outlay[1]).all()  # twice the trees on the same land
    assert np.ptp(outlay[0]) == 0


def test_a_kept_orchard_invests_nothing_and_has_no_ratio():
    old = small_plan(block=[{**SMALL["block"][0], "year_planted": -12}])
    both = compare([small_plan(), old], trials=4, years=12)
    ratio = both.measures["npv_per_money"]
    assert ratio.known(0)
    assert not ratio.known(1)
    assert "npv_per_money" not in both.pairs[0].differences
    assert both.plans[1].established
    assert "–" in comparison_table(both)


def test_swapping_the_plans_turns_the_differences_round(found):
    turned = compare([wide_plan(), small_plan()], trials=TRIALS, years=YEARS, seed=3)
    one, other = found.pairs[0].differences, turned.pairs[0].differences
    assert one.keys() == other.keys()
    for key, here in one.items():
        assert other[key].centre == pytest.approx(-here.centre, rel=1e-9)
        assert other[key].low == pytest.approx(-here.high, rel=1e-9)
    assert found.choice.chosen == 1 - turned.choice.chosen


def test_trees_are_paired_only_where_name_and_layout_agree():
    changed = small_plan(costs={"wage": "30 USD/hour"})
    assert same_tree_blocks(small_plan(), changed) == ("wires",)
    assert same_tree_blocks(small_plan(), wide_plan()) == ()
    renamed = small_plan(block=[{**SMALL["block"][0], "name": "other"}])
    assert same_tree_blocks(small_plan(), renamed) == ()


def test_the_same_trees_leave_only_the_price_of_work_between_plans():
    """Same layout, dearer hours: every tree, loss and hour agrees; only money differs, and in every trial."""
    both = compare([small_plan(), small_plan(costs={"wage": "30 USD/hour"})], trials=4, years=8)
    assert both.pairs[0].same_trees == ("wires",)
    for key in ("picked_per_area", "hours_per_area", "trees_lost_share"):
        np.testing.assert_array_equal(both.measures[key].values[0], both.measures[key].values[1])
    one = both.pairs[0].differences["npv"]
    assert one.chance_better.value == 1.0
    assert both.pairs[0].dominance.first_order_claimed


def test_other_land_is_compared_per_area():
    block = {**SMALL["block"][0], "row_length": "32 m"}
    both = compare([small_plan(), small_plan(block=[block])], trials=4, years=8)
    assert both.deciding == "npv_per_area"
    assert any("different areas of land" in note for note in both.notes)
    hectares = both.plans[1].gross_area / 1e4
    np.testing.assert_allclose(
        both.measures["npv_per_area"].values[1], both.measures["npv"].values[1] / hectares, rtol=1e-12
    )


def test_the_page_and_the_numbers_are_written(found, tmp_path):
    page = write_comparison(tmp_path / "out", found)
    text = page.read_text(encoding="utf-8")
    for sentence in comparison_sentences(found):
        assert sentence.split(",")[0] in text
    assert text.count("<svg") == 4
    document = json.loads((tmp_path / "out" / "compare.json").read_text(encoding="utf-8"))
    assert [plan["label"] for plan in document["plans"]] == ["A", "B"]
    assert document["pairs"][0]["differences"]["npv"]["mean"] == pytest.approx(
        found.measures["npv"].values[0].mean() - found.measures["npv"].values[1].mean(), rel=1e-5
    )
    assert str(tmp_path) not in json.dumps(document)
    assert {path.suffix for path in (tmp_path / "out" / "figures").iterdir()} == {".svg", ".png"}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"currency": "EUR"}, "currency"),
        ({"units": "us"}, "units"),
        ({"price_year": 2020}, "price_year"),
        ({"finance": {"discount_rate": "0.07 1/year"}}, "finance.discount_rate"),
        ({"finance": {"basis": "nominal"}}, "finance.basis"),
        ({"title": "another title"}, "same plan"),
    ],
)
def test_plans_that_cannot_be_compared(change, says):
    with pytest.raises(InputError, match=says):
        check_plans([small_plan(), small_plan(**change)])


def test_one_plan_or_too_few_trials_are_refused():
    with pytest.raises(InputError, match="two or more"):
        check_plans([small_plan()])
    with pytest.raises(InputError, match="allowed 4 or more"):
        compare([small_plan(), wide_plan()], trials=3)
