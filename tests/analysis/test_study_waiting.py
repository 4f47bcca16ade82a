"""Waiting in a study file: the plans that it runs, what it is told of, and one clear line for what is wrong."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.analysis.measures import STUDY_MEASURES
from orchardsim.analysis.study import study_design, study_identity, study_size
from orchardsim.analysis.study_answers import study_findings
from orchardsim.core.errors import InputError
from orchardsim.plan.study import load_study
from orchardsim.report.study.page import KIND
from orchardsim.report.study.words import study_screen, study_table
from orchardsim.results.findings import findings_bytes
from orchardsim.results.next import WaitAnswer, WaitRow
from orchardsim.results.study_tables import study_document
from orchardsim.results.study_trials import StudyTrials

from ..plan.examples import CONFIGS


def declared(trials=50, **waiting):
    raw = {
        "title": "now or later",
        "plan": str(CONFIGS / "first_row.toml"),
        "trials": trials,
        "decide_by": "npv",
        "known_trials": 0,
        "factor": [
            {"name": "spacing", "key": "block.next_rows.tree_spacing", "levels": ["0.8 m", "1.4 m"]},
            {"name": "rate", "key": "finance.discount_rate", "levels": ["0.03 /year", "0.06 /year"]},
        ],
    }
    return load_study(raw | ({"waiting": {"options": "spacing", "years": [1, 2]} | waiting} if waiting else {}))


@pytest.fixture(scope="module")
def now_or_later():
    return declared(measured_from=1)


def test_every_circumstance_plants_each_option_after_each_wait_or_not_at_all(now_or_later):
    assert [one.circumstance for one in now_or_later.waitings] == ["rate 0.03 /year", "rate 0.06 /year"]
    for one, rate in zip(now_or_later.waitings, (0.03, 0.06), strict=True):
        assert one.options == ("0.8 m", "1.4 m") and one.years == (1, 2) and one.measured_from == 1
        assert [now_or_later.cells[number].plan.finance.discount_rate for number in one.cells] == [rate, rate]
        later = [next(block for block in plan.blocks if block.name == "next_rows") for plan in one.plans[:-1]]
        # the plan plants in year 2
        assert [(block.year_planted, block.geometry.tree_spacing) for block in later] == [
            (3, 0.8), (3, 1.4), (4, 0.8), (4, 1.4)
        ]  # fmt: skip
        assert [block.name for block in one.plans[-1].blocks] == ["first_row", "old_trees"]
        assert {plan.finance.discount_rate for plan in one.plans} == {rate}


def test_a_study_runs_what_waits_beside_its_cells(now_or_later):
    without = declared()
    assert study_size(now_or_later) == study_size(without) + 2 * 5 * 50
    assert study_identity(now_or_later) != study_identity(without)


def test_what_waiting_is_worth_goes_through_file_words_and_document(now_or_later):
    rows = (
        WaitRow(0, 1000.0, 300.0, -500.0, 2000.0, 0.4, 0.0, 0.0, 1000.0, 0.0, (1.0, 0.0, 0.0)),
        WaitRow(1, 900.0, 200.0, -100.0, 1500.0, 0.3, 0.35, 0.04, 700.0, 1200.0, (0.6, 0.1, 0.3)),
    )
    answer = WaitAnswer(("0.8 m", "1.4 m", "plant nothing more"), rows, 50, 20, "USD")
    npv = np.random.default_rng(1).normal(size=(4, 50))
    trials = StudyTrials(
        study_design(now_or_later), STUDY_MEASURES, {"npv": npv}, {}, {}, (("rate 0.03 /year", answer),)
    )
    found = study_findings(StudyTrials.of(trials.dataset()))
    assert found.waiting == trials.waiting
    assert "Waiting 1 year pays: USD 900 ± 200 over planting all now" in " ".join(study_screen(found).split())
    assert "What waiting is worth, rate 0.03 /year" in study_table(found)
    assert study_document(found)["waiting"][0]["rows"][1]["changed"] == 0.35
    assert findings_bytes(found)
    page = KIND.html(found, {})
    assert "<h2>What waiting is worth, rate 0.03 /year</h2>" in page and "35 % ± 4 %" in page


@pytest.mark.parametrize(
    ("waiting", "words"),
    [
        ({"options": "spaicng"}, "waiting.options: unknown factor 'spaicng', did you mean 'spacing'?"),
        ({"years": []}, "waiting.years"),
        ({"years": [0]}, "waiting.years"),
        ({"until": 3}, "waiting.until"),
        ({"trials": 12, "years": [1]}, "trials: found 12; waiting needs 50 or more"),
    ],
)
def test_what_is_wrong_gets_one_line(waiting, words):
    with pytest.raises(InputError) as caught:
        declared(**waiting)
    assert words in str(caught.value) and "\n" not in str(caught.value)
