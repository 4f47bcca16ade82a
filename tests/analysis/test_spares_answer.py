"""The whole search on a small plan: what it promises, what it refuses, and what it says."""

from __future__ import annotations

import dataclasses
import json
import tomllib

import numpy as np
import pytest

import orchardsim
from orchardsim.analysis.gap_value import gap_value, run_gaps, valued_years
from orchardsim.analysis.policy_outcomes import _first_missed, _opened, label_policy
from orchardsim.analysis.policy_runs import PolicyRun, cut, no_replacement, run_policy
from orchardsim.analysis.spares import _last_above
from orchardsim.cli.main import main
from orchardsim.core.errors import InputError
from orchardsim.report.spares.plan_lines import policy_lines
from orchardsim.report.spares.words import clustering_text, policy_text, spares_screen, spares_sentences, spares_table
from orchardsim.results.spares import Amount, Clustering, LabelPolicy, SparesAnswer, spares_document
from tests.cli.test_run_command import PLAN, refused
from tests.screens import fits_a_screen
from tests.simulation.small_plan import SMALL, small_plan

YEARS = 7


@pytest.fixture(scope="module")
def answer() -> SparesAnswer:
    return orchardsim.spares(small_plan(), trials=8, years=YEARS, seed=3)


def test_costs_are_paired_with_the_full_simulation(answer: SparesAnswer) -> None:
    """Cost and gain over filling no gap sum to the same for every policy; parts sum to the cost."""
    sums = [one.cost.mean + one.gain.mean for one in answer.outcomes]
    np.testing.assert_allclose(sums, sums[0], rtol=1e-9)
    for one in answer.outcomes:
        assert one.trees + one.keep + one.replanting + one.margin_lost == pytest.approx(one.cost.mean)
        assert one.bought.mean - one.replanted.mean == pytest.approx(one.left_over.mean)
        assert one.dearer.mean == pytest.approx(one.cost.mean - answer.decision.cheapest.cost.mean)
        assert one.dearer.mean >= 0


def test_the_chosen_stands_first_and_nothing_is_bought_where_no_gap_is_filled(answer: SparesAnswer) -> None:
    keys = [one.key for one in answer.outcomes]
    assert keys[0] == "best" and keys[-1] == "none"
    none = answer.outcome("none")
    assert none is not None and none.bought.mean == none.trees == none.keep == none.replanting == 0
    assert none.filled is None and none.filled_gaps is None
    assert answer.choosing_trials == answer.reporting_trials == 4


def test_printed_lines_put_the_recommendation_into_a_plan(answer: SparesAnswer) -> None:
    """A plan with the lines follows the recommended rules, tree by tree; the lines are valid TOML."""
    printed = tomllib.loads("\n".join(policy_lines(answer)))
    plan = small_plan(**printed)
    groups = {group.label: group for group in plan.groups}
    for told in answer.decision.advised.policies:
        own = label_policy(told.label, groups[told.label].trees, groups[told.label].refill)
        assert own == told if told.fills else not own.fills


def test_the_reporting_trials_are_fresh(answer: SparesAnswer) -> None:
    """Losses that the answer shows are those of trials 4 to 7, which had no part in the choice."""
    plan = small_plan()
    run = run_policy(plan, no_replacement(plan), None, range(4, 8), YEARS, 3)
    for number, one in enumerate(answer.clustering):
        leaf = np.arange(YEARS)
        within = (leaf >= 1) & (leaf <= one.leaf)
        lost = (run.lost_before + run.lost_after)[:, within, number].sum(axis=1)
        np.testing.assert_array_equal(one.lost, lost)


def test_document_and_words(answer: SparesAnswer) -> None:
    document = spares_document(answer)
    text = json.dumps(document, allow_nan=False)
    assert "jobs" not in document and str(answer.seed) in text
    assert len(document["outcomes"]) == len(answer.outcomes)
    words = " ".join(spares_sentences(answer))
    assert "\u00b1" in words
    screen = spares_screen(answer)
    assert fits_a_screen(screen) and screen.startswith("Recommendation:")
    table = spares_table(answer)
    assert all(one.name in table for one in answer.outcomes)


@pytest.mark.slow
def test_spares_of_a_standing_block_are_plain_numbers_too() -> None:
    standing = small_plan(block=[{**SMALL["block"][0], "year_planted": -4}])
    found = spares_document(orchardsim.spares(standing, trials=8, years=YEARS, seed=3))
    assert json.loads(json.dumps(found, allow_nan=False)) == found


@pytest.mark.slow
def test_the_answer_does_not_depend_on_the_number_of_processes(answer: SparesAnswer) -> None:
    again = orchardsim.spares(small_plan(), trials=8, years=YEARS, seed=3, jobs=2)
    assert spares_document(again) == spares_document(answer)


def test_a_gap_filled_at_the_end_adds_next_to_nothing() -> None:
    """A tree planted in the last year has no time to bear: it adds less to the crop than one planted in leaf 2."""
    plan = small_plan(hazards={"crown_rot": "0.2 /year"})
    run = run_gaps(plan, None, range(3), YEARS, 1)
    value = gap_value(plan, run, YEARS)
    assert list(value.years) == list(valued_years(plan, YEARS)) and value.years[-1] == YEARS - 1
    assert (run.filled[:, 0] > 0).any() and (value.trees >= 0).all()
    by_year = value.by_year(YEARS)
    assert (by_year[: value.years[0]] == 0).all()
    assert all(0 <= risk <= 1 for risk in value.loss)
    assert np.nanmax(np.abs(value.crop_share[-1])) < np.nanmin(value.crop_share[0])


def test_new_gaps_and_those_missed_in_their_first_season() -> None:
    """By hand: 3 gaps open, 1 is filled; then 2 more open and 3 are filled, the oldest first: 1 new one waits."""
    wanted, waiting = np.array([[[3.0], [4.0]]]), np.array([[[2.0], [1.0]]])
    zero = np.zeros_like(wanted)
    run = PolicyRun(zero, zero, wanted, waiting, zero, zero, zero, zero, zero, np.zeros(1))
    assert _opened(run).ravel().tolist() == [3.0, 2.0]
    assert _first_missed(run).ravel().tolist() == [2.0, 1.0]


def test_break_even_leaf_by_straight_lines() -> None:
    """By hand: a surplus of 4 in leaf 2, 2 in leaf 4 and -2 in leaf 8 is 0 in leaf 6: the last leaf above 0 is 5."""
    leaf = np.array([2, 4, 8])
    assert _last_above(leaf, np.array([4.0, 2.0, -2.0])) == 5
    assert _last_above(leaf, np.array([-1.0, 2.0, 3.0])) is None
    assert _last_above(leaf, np.array([1.0, 2.0, 3.0])) == 8


def test_trials_are_cut_without_loss() -> None:
    parts = cut(range(3, 14), 4)
    assert [t for part in parts for t in part] == list(range(3, 14)) and len(parts) == 4


def test_words_of_policies(answer: SparesAnswer) -> None:
    policy = LabelPolicy("north", 1000, 32, "pots", 10, 25, 6)
    text = " ".join(policy_text(policy, dataclasses.replace(answer, lead_time=2, minimum_order=10, order_multiple=10)))
    assert "32 spares" in text and "3.2 %" in text and "in pots" in text and "to leaf 6" in text
    assert "10 or fewer" in text and "25 or more" in text and "2 years later" in text
    alone = " ".join(policy_text(dataclasses.replace(policy, reorder_point=None, order_up_to=None), answer))
    assert "Order nothing later" in alone


def test_a_difference_within_chance_is_not_called_one(answer: SparesAnswer) -> None:
    from orchardsim.report.spares.words import formats_of

    advised = LabelPolicy("north", 1000, 32, "pots", 10, 25, 6)
    other = dataclasses.replace(advised, spares=20)
    lost = np.array([10.0, 20.0])
    one = Clustering("north", 5, lost, lost, 3.0, 1.0, 0.01, other, Amount(10.0, 9.0))
    assert "about the same" in " ".join(clustering_text(one, advised, formats_of(answer)))
    sure = dataclasses.replace(one, dearer=Amount(100.0, 9.0))
    assert "would cost" in " ".join(clustering_text(sure, advised, formats_of(answer)))
    assert "would be the same" in " ".join(
        clustering_text(dataclasses.replace(one, policy=advised), advised, formats_of(answer))
    )


def test_bad_input_is_one_clear_line(tmp_path, capsys) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(PLAN + '[replacement]\nlead_time = "6 year"\n', encoding="utf-8")
    line = refused(capsys, "spares", str(path), "--years", "5")
    assert "lead_time" in line and "6" in line and "5" in line
    path.write_text(PLAN + '[replacement]\nplace = "none"\nspares_at_planting = 0.02\n', encoding="utf-8")
    line = refused(capsys, "spares", str(path))
    assert "place" in line and "nursery_row" in line
    path.write_text(PLAN.replace("year_planted = 1", "year_planted = 4"), encoding="utf-8")
    line = refused(capsys, "spares", str(path), "--years", "5")
    assert "year_planted" in line and "--years" in line
    with pytest.raises(InputError, match="trials"):
        orchardsim.spares(small_plan(), trials=4)


def test_command_saves_everything_and_overwrites_nothing(tmp_path, capsys) -> None:
    path, out = tmp_path / "plan.toml", tmp_path / "out"
    path.write_text(PLAN, encoding="utf-8")
    words = ["spares", str(path), "--trials", "8", "--years", "4", "--jobs", "1", "--out", str(out)]
    assert main([*words, "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    saved = json.loads((out / "spares.json").read_text(encoding="utf-8"))
    assert printed.items() <= saved.items() and saved["sentences"]
    names = {file.name for file in (out / "figures").iterdir()}
    assert {"spares_cost_curve.svg", "spares_policies.csv", "spares_worth.svg", "spares_clustering.svg"} <= names
    page = (out / "spares.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 4 and "What was assumed" in page
    line = refused(capsys, *words)
    assert "--force" in line
