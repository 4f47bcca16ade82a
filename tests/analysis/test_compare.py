"""Plans in the same futures: paired differences against scipy, dominance and choice on hand-made cases, wording."""

from __future__ import annotations

import html
import itertools
import json
import re

import numpy as np
import pytest
from scipy import stats

import orchardsim
from orchardsim.analysis.compare import check_plans, compare, difference, measure_limit, same_tree_blocks
from orchardsim.core.errors import InputError
from orchardsim.report.compare.page import KIND
from orchardsim.report.compare.words import (
    comparison_screen,
    comparison_sentences,
    comparison_table,
    luck_text,
    verdict_text,
)
from orchardsim.results.comparison import Comparison, Measure, Pair, PlanFacts, comparison_document, decide
from orchardsim.risk.comparison import luck_order
from tests.screens import fits_a_screen
from tests.simulation.small_plan import SMALL, small_plan

TRIALS, YEARS = 12, 12
UNSURE = "cannot be told apart with 40 futures"


def wide_plan():
    """The small plan's land and name with trees twice as far apart."""
    return small_plan(block=[{**SMALL["block"][0], "tree_spacing": "2.0 m"}])


@pytest.fixture(scope="module")
def found() -> Comparison:
    return compare([small_plan(), wide_plan()], trials=TRIALS, years=YEARS, seed=3)


def measure(values, *, key: str = "npv", better: str = "high", has_mean: bool = True) -> Measure:
    return Measure(key, key, "", "money", better, has_mean, values=np.asarray(values, dtype=float))  # type: ignore[arg-type]


def hand_made(*npvs, record_error: float = float("nan")) -> Comparison:
    """A comparison of plans with given NPV by trial."""
    values = np.array(npvs, dtype=float)
    count, trials = values.shape
    npv = measure(values)
    debt = measure(np.full((count, trials), 5000.0) + np.arange(count)[:, None], key="peak_borrowing", better="low")
    payback = Measure("payback_year", "payback year", "", "year", "low", False, values=np.full((count, trials), 8.0))
    limit = measure_limit(npv, np.random.default_rng(1))
    pairs = tuple(
        Pair(
            one, other, "npv", {"npv": difference(npv, one, other, limit)},
            luck_order(values[one], values[other], np.random.default_rng(1)),
            luck_order(values[other], values[one], np.random.default_rng(1)), (), record_error, None,
        )
        for one, other in itertools.combinations(range(count), 2)
    )  # fmt: skip
    attrs = {
        "display_units": "metric", "currency": "USD", "price_year": "2024", "real_or_nominal": "real",
        "bin_mass": 400.0, "box_mass": 19.0, "weather_words": "made by hand", "baseline_years": "[1991, 2020]",
        "version": "0",
    }  # fmt: skip
    names = ("one", "two", "three")
    facts = tuple(
        PlanFacts("ABC"[place], names[place], names[place], names[place], 1e4, 1e4, 10, True) for place in range(count)
    )
    cash = np.zeros((count, trials, 5))
    return Comparison(
        facts, trials, 5, 1, {"npv": npv, "peak_borrowing": debt, "payback_year": payback}, "npv", pairs,
        decide(values.mean(axis=1), pairs), (), cash, cash, attrs,
    )  # fmt: skip


def test_paired_difference_agrees_with_the_paired_test_of_scipy():
    """The normal interval of the mean difference against scipy's t test of pairs, with its own quantile put in.

    scipy 1.15 ``ttest_rel``: mean difference / t statistic is the standard error.
    """
    rng = np.random.default_rng(4)
    season = rng.normal(0, 100, 80)
    a, b = season + rng.normal(10, 5, 80), season + rng.normal(0, 5, 80)
    limit = float(stats.norm.ppf(0.975))
    one = difference(measure([a, b]), 0, 1, limit)
    reference = stats.ttest_rel(a, b)
    assert one.centre / one.standard_error == pytest.approx(reference.statistic, rel=1e-12)
    half = limit * one.standard_error
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


def test_intervals_of_pairs_that_hold_together_against_tukey():
    """Three independent plans of one spread: the limit of all three paired differences by the studentised range.

    scipy 1.15 ``studentized_range`` with many degrees of freedom gives 3.3145 / sqrt(2) = 2.3437 at 95 % (the table of
    Tukey's test, k = 3: 3.31). Mean of 20 limits, each from 1,000 resamples of 400 trials: error some 0.02.
    """
    wanted = stats.studentized_range.ppf(0.95, 3, 10_000) / np.sqrt(2)
    found = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        found.append(measure_limit(measure(rng.normal(size=(3, 400))), rng))
    assert np.mean(found) == pytest.approx(wanted, abs=0.06)
    # Two plans: one pair, Student's t at least (table: 2.0010 at 59 degrees of freedom).
    two = measure_limit(measure(np.random.default_rng(1).normal(size=(2, 60))), np.random.default_rng(1))
    assert 2.0010 <= two < 2.3


def test_no_plan_is_best_where_halves_of_the_trials_disagree():
    """B looks best in the first half only: over all trials nothing tells them apart, and no sentence names a winner."""
    lucky = np.tile([9.0, 11.0, 9.0, 11.0, 1.0, 3.0, 1.0, 3.0], 5)
    steady = np.tile([4.0, 6.0, 4.0, 6.0, 5.0, 7.0, 5.0, 7.0], 5)
    found = hand_made(steady, lucky)
    assert found.decision.best is None and found.decision.outcome == "unsure"
    words = " ".join(comparison_sentences(found))
    assert "No plan is best" in words and "is best." not in words and "more than" not in words.split("owes")[0]


def test_a_winner_leads_every_other_plan_in_table_and_sentence():
    """Verdict, table and sentence agree: a winner is named only where its lead on each other plan is above zero."""
    rng = np.random.default_rng(8)
    for _ in range(60):
        shift = rng.choice([0.0, 0.4], 3)[:, None]
        found = hand_made(*(rng.normal(size=(3, 30)) + rng.normal(size=30) + shift))
        best = found.decision.best
        leads = [found.difference("npv", found.decision.leader, other) for other in range(3)
                 if other != found.decision.leader]  # fmt: skip
        assert (best is not None) == all(one.low > 0 for one in leads)
        words = comparison_sentences(found)
        named = [line for line in words if line.endswith("is best.")]
        assert len(named) == (best is not None)
        if best is not None:
            assert f"{found.plans[best].label} (" in named[0]
            verdicts = [verdict_text(found, found.pair(best, other)) for other in range(3) if other != best]
            assert verdicts == [f"{found.plans[best].label} is better"] * 2


def test_a_difference_turned_round_by_hand():
    """A - B is -2, 0, 3, -1: A wins once, B twice, one tie."""
    one = difference(measure([[1.0, 2.0, 5.0, 3.0], [3.0, 2.0, 2.0, 4.0]]), 0, 1, 3.0)
    other = one.turned()
    assert (one.chance_better.count, other.chance_better.count, other.ties) == (1, 2, 1)
    assert (other.low, other.high) == (-one.high, -one.low)
    assert other.turned() == one


def test_equal_plans_give_the_same_results(found):
    same = compare([small_plan(), small_plan(title="the same under another title")], trials=4, years=4)
    assert same.pairs[0].outcome == same.decision.outcome == "same"
    assert verdict_text(same, same.pairs[0]) == "same results"
    words = comparison_sentences(same)
    assert "give the same results in all 4 futures" in words[0]
    assert not any("is best" in line for line in words)


@pytest.mark.parametrize(
    ("a", "b", "verdict", "order"),
    [
        (np.arange(40) + 1000.0, np.arange(40.0), "A is better", "A throughout"),
        (np.arange(40.0), np.arange(40) + 1000.0, "B is better", "B throughout"),
        (50 + np.linspace(-1, 1, 40), 49.9 + np.linspace(-40, 40, 40)[::-1], UNSURE, "unstable"),
        (np.tile([0.0, 10.0], 20), np.tile([10.0, 0.0], 20), UNSURE, "none"),
    ],
)  # fmt: skip
def test_verdict_and_luck_in_words(a, b, verdict, order):
    """Always better: throughout. Nearly the same mean with hardly any spread: not told apart, and not stable."""
    found = hand_made(a, b)
    assert verdict_text(found, found.pairs[0]) == verdict
    if order != "unstable":
        assert luck_text(found, found.pairs[0]) == order
    else:
        assert not found.pairs[0].luck.first_order


def test_an_order_of_luck_is_never_told_without_its_caution():
    """Rule of three: 60 trials miss what happens in less than about 3/60 = 1 in 20 futures (Hanley & Lippman-Hand 1983,
    JAMA 249:1743: from memory)."""
    found = hand_made(np.arange(60) + 1000.0, np.arange(60.0))
    assert luck_text(found, found.pairs[0]) == "A throughout"
    table = " ".join(comparison_table(found).split())
    assert "in these 60 futures only: disasters rarer than 1 in 21 may be missing" in table
    assert "ominan" not in table


def test_a_short_record_takes_the_certainty_away():
    def compared(error):
        return hand_made(np.arange(40) + 1000.0, np.arange(40.0), record_error=error)

    short, sure = compared(600.0), compared(500.0)
    assert verdict_text(short, short.pairs[0]) == "A ahead, but the weather record is too short to be sure"
    assert short.decision.best is None and "too short" in comparison_sentences(short)[0]
    assert verdict_text(sure, sure.pairs[0]) == "A is better"
    assert sure.decision.best == 0


def test_sentences_say_when_nothing_is_sure_and_when_all_lose():
    unsure = comparison_sentences(hand_made(np.tile([0.0, 10.0], 20), np.tile([10.0, 0.0], 20)))
    assert "40 futures cannot tell A (one) from B (two)" in unsure[0]
    sure = comparison_sentences(hand_made(np.arange(40) + 1000.0, np.arange(40.0)))
    assert "A (one) is best." in sure[0]
    assert "brings USD 1,000 more than B" in sure[1]
    # Wilson's interval of 40 of 40 reaches down to 91.2 %.
    assert any("in 40 of 40 futures (in the long run 91 to 100 of 100)" in line for line in sure)
    losing = comparison_sentences(hand_made(np.arange(40) - 5000.0, np.arange(40.0) - 9000.0))
    assert any("Even A loses USD" in line for line in losing)
    for line in [*unsure, *sure, *losing]:
        assert len(line.split()) < 30


def test_the_terminal_says_which_run_agrees_and_how_payback_and_npv_part():
    found = hand_made(np.arange(40) + 1000.0, np.arange(40.0))
    assert fits_a_screen(comparison_screen(found)) and "A (one) is best." in comparison_screen(found)
    table = " ".join(comparison_table(found).split())
    assert "with --trials 40 --years 5 --seed 1" in table
    assert "40 of 40" in table
    assert table.count("Payback counts the interest") == 1


def test_plans_meet_the_same_seasons_and_runs_repeat(found):
    again = compare([small_plan(), wide_plan()], trials=TRIALS, years=YEARS, seed=3)
    assert comparison_document(again) == comparison_document(found)
    assert "In each future all plans meet the same seasons and the same prices." in found.notes
    assert found.pairs[0].same_trees == ()
    one = orchardsim.simulate(small_plan(), trials=TRIALS, years=YEARS, seed=3)
    np.testing.assert_array_equal(found.measures["npv"].values[0], one["npv"].values)
    outlay = found.measures["outlay"].values
    assert (outlay[0] > outlay[1]).all()  # twice the trees on the same land
    assert np.corrcoef(outlay)[0, 1] > 0.9  # one level of costs for both


def test_a_kept_orchard_invests_nothing_and_has_no_ratio():
    old = small_plan(block=[{**SMALL["block"][0], "year_planted": -12}])
    both = compare([small_plan(), old], trials=4, years=12)
    ratio = both.measures["npv_per_money"]
    assert ratio.known(0)
    assert not ratio.known(1)
    assert "npv_per_money" not in both.pairs[0].differences
    assert not both.plans[1].plants
    assert "–" in comparison_table(both)


def test_swapping_the_plans_turns_the_differences_round(found):
    turned = compare([wide_plan(), small_plan()], trials=TRIALS, years=YEARS, seed=3)
    one, other = found.pairs[0].differences, turned.pairs[0].differences
    assert one.keys() == other.keys()
    for key, here in one.items():
        assert other[key].centre == pytest.approx(-here.centre, rel=1e-9)
        assert other[key].low == pytest.approx(-here.high, rel=1e-9)
    assert found.decision.leader == 1 - turned.decision.leader


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
    assert both.pairs[0].luck.first_order


def test_other_land_is_compared_per_area():
    block = {**SMALL["block"][0], "row_length": "32 m"}
    other = small_plan(block=[block], site={**SMALL["site"], "name": "another farm"})
    both = compare([small_plan(), other], trials=4, years=8)
    assert both.deciding == "npv_per_area"
    assert any("different areas of land" in note for note in both.notes)
    hectares = both.plans[1].gross_area / 1e4
    np.testing.assert_allclose(
        both.measures["npv_per_area"].values[1], both.measures["npv"].values[1] / hectares, rtol=1e-12
    )


def test_the_page_and_the_numbers_are_written(found, tmp_path):
    page = KIND.write(tmp_path / "out", found)
    text = html.unescape(re.sub("</?button[^>]*>", "", page.read_text(encoding="utf-8")))
    for sentence in comparison_sentences(found):
        assert sentence in text
    assert text.count("<svg") == 4
    document = json.loads((tmp_path / "out" / "compare.json").read_text(encoding="utf-8"))
    assert [plan["label"] for plan in document["plans"]] == ["A", "B"]
    assert document["pairs"][0]["differences"]["npv"]["mean"] == pytest.approx(
        found.measures["npv"].values[0].mean() - found.measures["npv"].values[1].mean(), rel=1e-5
    )
    assert str(tmp_path) not in json.dumps(document)
    assert {path.suffix for path in (tmp_path / "out" / "figures").iterdir()} == {".svg", ".csv"}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"currency": "EUR", "usd_rate": 1.0}, "currency"),
        ({"units": "us"}, "units"),
        ({"price_year": 2020}, "price_year"),
        ({"finance": {"discount_rate": "0.07 1/year"}}, "finance.discount_rate"),
        ({"finance": {"basis": "nominal"}}, "finance.basis"),
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
