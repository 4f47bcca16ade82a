"""Which replacement policy is recommended, and that the words lead with it; invented numbers."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.report.spares_table import outcome_cells
from orchardsim.report.spares_words import recommended, show_of, spares_sentences, worth_text
from orchardsim.results.spares import Amount, LabelPolicy, PolicyOutcome, RefillWorth, SparesAnswer

ATTRS = {
    "units": "metric", "currency": "USD", "price_year": 2024, "real_or_nominal": "real", "bin_mass": 400.0,
    "box_mass": 19.0, "baseline_years": "[1991, 2020]", "weather_method": "sampled",
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
    """An answer whose chosen policy costs 2,000."""
    best = outcome("best", "chosen policy", 2000.0, (0.0, 0.0))
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
    assert recommended(found).key == key
    cells = outcome_cells(found, show_of(found))
    marked = [row[0] for row in cells if "(recommended)" in row[0]]
    assert marked == [f"{recommended(found).name} (recommended)"]


def test_one_recommendation_leads_then_its_cost_then_why():
    lines = spares_sentences(answer(SIMPLE, DEAR))
    assert lines[0].startswith("Recommendation: north:") and "to leaf 5" in lines[0]
    assert "2,030" in lines[1]
    assert lines[2].startswith("Why: it is simpler")
    assert sum("Recommendation" in line for line in lines) == 1
    best = spares_sentences(answer(DEAR))
    assert "2,000" in best[1] and "tell it apart from every other" in best[2]


def test_the_worth_of_one_gap_does_not_contradict_the_rule():
    worth = RefillWorth("north", np.array([2, 5]), np.ones(2), np.ones(2), np.ones(2), np.array([0.5, 0.4]), 5, 5)
    assert "one gap by itself" in worth_text(worth, 8)
    assert "one gap by itself" not in worth_text(worth, 5)
