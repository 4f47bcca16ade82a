"""Which replacement policy is recommended, and that the words lead with it; invented numbers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from orchardsim.analysis.policy_outcomes import label_policy
from orchardsim.analysis.spares import _as_cheap
from orchardsim.operations.parameters import Replacement
from orchardsim.report.spares.words import (
    flat_text,
    formats_of,
    outcome_cells,
    policy_text,
    spares_sentences,
    worth_text,
)
from orchardsim.results.spares import Amount, CostCurve, LabelPolicy, PolicyOutcome, RefillWorth, SparesAnswer

ATTRS = {
    "display_units": "metric", "currency": "USD", "price_year": 2024, "real_or_nominal": "real", "bin_mass": 400.0,
    "box_mass": 19.0, "baseline_years": "[1991, 2020]", "weather_words": "sampled",
}  # fmt: skip


def outcome(key: str, name: str, cost: float, dearer: tuple[float, float], last_leaf: int = 8) -> PolicyOutcome:
    """A policy whose cost lies above the chosen one's within limits."""
    fills = key != "none"
    policy = LabelPolicy("north", 1000, 20 if fills else 0, "nursery_row", 4, 9, last_leaf if fills else -1)
    mean = sum(dearer) / 2
    error = (dearer[1] - dearer[0]) / 5
    amount = Amount(100.0, 5.0)
    return PolicyOutcome(
        key=key, name=name, policies=(policy,), cost=Amount(cost, 50.0), trees=cost, keep=0.0, replanting=0.0,
        margin_lost=0.0, dearer=Amount(mean, error), dearer_low=dearer[0], dearer_high=dearer[1],
        gain=amount, replay_gain=0.0, filled=0.8, filled_low=0.7, filled_high=0.9, filled_seasons=0.8,
        filled_gaps=0.8, tree_years_lost=amount, bought=amount, replanted=amount, left_over=amount, left_over_high=9.0,
    )  # fmt: skip


def answer(*others: PolicyOutcome, worth: tuple[RefillWorth, ...] = ()) -> SparesAnswer:
    """An answer whose cheapest policy costs 2,000."""
    best = outcome("best", "best that the search found", 2000.0, (0.0, 0.0))
    return SparesAnswer(
        outcomes=(best, *others), curves=(), worth=worth, clustering=(), choosing_trials=100, reporting_trials=100,
        worth_trials=50, years=20, seed=1, lead_time=2, minimum_order=10, order_multiple=10, attrs=ATTRS,
    )  # fmt: skip


SIMPLE = outcome("orders", "best with later orders alone", 2030.0, (-40.0, 100.0), last_leaf=5)
PLAINEST = outcome("rule_3", "3 % spare at planting, no more", 2040.0, (-20.0, 100.0))
DEAR = outcome("none", "no gap filled", 4000.0, (1500.0, 2500.0))
UNSURE = outcome("none", "no gap filled", 2900.0, (-100.0, 1900.0))


@pytest.mark.parametrize(
    ("others", "key"),
    [
        ((DEAR,), "best"),  # told apart: dearer
        ((SIMPLE, DEAR), "orders"),  # as good as the best, and simpler
        ((SIMPLE, PLAINEST, DEAR), "rule_3"),  # the simplest of those as good
        ((UNSURE,), "best"),  # too few trials to tell is no proof of being as good
    ],
)
def test_the_simplest_policy_that_is_not_worse_is_recommended(others, key):
    found = answer(*others)
    assert found.decision.advised.key == key
    cells = outcome_cells(found, formats_of(found))
    marked = [row[0] for row in cells if "(recommended)" in row[0]]
    assert marked == [f"{found.decision.advised.name} (recommended)"]


def test_one_recommendation_leads_then_its_cost_then_why():
    lines = spares_sentences(answer(SIMPLE, DEAR))
    assert lines[0].startswith("north:") and "to leaf 5" in lines[0]
    words = " ".join(lines)
    assert "2,030" in words and "Why: it is simpler than the cheapest policy" in words
    best = " ".join(spares_sentences(answer(DEAR)))
    assert "2,000" in best and "none costs less" in best and "tell it apart from every dearer one" in best
    for line in [*lines, *spares_sentences(answer(DEAR))]:
        assert len(line.split()) < 30


def test_a_policy_that_the_search_found_is_not_called_cheapest_where_another_costs_less():
    """The search ran on other trials: over the reporting ones filling no gap costs 72 less, and that is advised."""
    found = dataclasses.replace(
        answer(),
        outcomes=(
            outcome("best", "best that the search found", 2072.0, (20.0, 124.0)),
            outcome("none", "no gap filled", 2000.0, (0.0, 0.0)),
        ),
    )
    assert (found.decision.advised.key, found.decision.cheapest.key) == ("none", "none")
    words = " ".join(spares_sentences(found))
    assert "less." not in words and "fill no gaps" in words
    assert "The search chose its best on 100 other futures; on these fresh ones it costs USD 72" in words
    dearer = [row[3] for row in outcome_cells(found, formats_of(found))[1:]]
    assert dearer == ["72", ""]


def test_no_rule_whose_parts_conflict_is_printed():
    """Back up to 0 with lots of 10 means: lots of 10 until open gaps are covered."""
    gaps = dataclasses.replace(outcome("best", "", 1.0, (0.0, 0.0)).policies[0], reorder_point=-1, order_up_to=0)
    text = " ".join(policy_text(gaps, answer()))
    assert "When that is below 0, order in lots of 10 until all gaps are covered" in text
    assert "up to 0" not in text and "at least" not in text
    full = " ".join(policy_text(dataclasses.replace(gaps, reorder_point=4, order_up_to=6), answer()))
    assert "is 4 or fewer, order in lots of 10 until it is 6 or more" in full


def test_an_old_block_is_not_told_to_fill_to_a_young_leaf():
    """A block that stands in leaf 29 has no leaf 4 to come: a rule to leaf 4 fills nothing there."""
    assert not LabelPolicy("old", 45, 0, "none", 0, 1, 4, first_leaf=29).fills
    assert LabelPolicy("old", 45, 0, "none", 0, 1, 33, first_leaf=29).fills
    old = label_policy("old", 45, Replacement(spares_at_planting=0.05, place="nursery_row", last_refill_leaf=4), 29)
    assert old.spares == 0 and not old.fills


def test_a_flat_bottom_is_told_with_reasons_for_either_end():
    """Costs by hand, five trials: 2 and 4 spares differ by noise alone, 8 cost 50 more in every trial."""
    noise = np.array([-3.0, 2.0, 0.0, 4.0, -2.0])
    cost = {0: 150 + noise, 2: 100 + noise, 4: 100 - noise, 8: 150 + noise}
    assert _as_cheap(cost, 4) == (2, 4)
    assert _as_cheap(cost, 8) == (8, 8)
    curve = CostCurve(
        "north", 100, np.array([2, 4]), *(np.zeros(2) for _ in range(7)), chosen=4, alone_leaf=5, low=2, high=4,
        spent_more=16.0, waiting_low=9.0, waiting_high=4.0,
    )  # fmt: skip
    text = " ".join(flat_text(curve, formats_of(answer())))
    assert "anything from 2 to 4 spares at planting costs the same, within noise" in text
    assert "USD 16 less" in text and "open gaps wait 5 tree-years less" in text


def test_the_worth_of_a_gap_is_claimed_only_where_it_is_told_from_noise():
    formats = formats_of(answer())
    worth = RefillWorth("north", np.array([2, 5]), np.ones(2), np.ones(2), np.ones(2), np.array([0.5, 0.4]), 9, 5)
    assert "one gap by itself" not in " ".join(worth_text(worth, 16, formats, 8))
    text = " ".join(worth_text(worth, 16, formats, 12))
    assert "replanting pays through leaf 5." in text and "Up to leaf 9 it may pay" in text
    assert "one gap by itself" in text
    assert "one gap by itself" not in " ".join(worth_text(worth, 16, formats, 5))
    unsure = " ".join(worth_text(dataclasses.replace(worth, sure_leaf=None), 64, formats))
    assert "64 twin futures cannot tell whether replanting pays" in unsure and "pays through" not in unsure
    never = worth_text(dataclasses.replace(worth, sure_leaf=None, break_even_leaf=None, never=True), 16, formats)
    assert never == ["north: replanting pays in no leaf."]
