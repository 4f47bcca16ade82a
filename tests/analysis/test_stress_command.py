"""The stress test as a user meets it: numbers, table, page, files, bad input."""

from __future__ import annotations

import dataclasses
import json
import re
from html import unescape

import numpy as np
import pytest

import orchardsim
from orchardsim.analysis.stress import middle, recovery, stress, stress_size
from orchardsim.cli.main import main
from orchardsim.core.errors import InputError
from orchardsim.report.stress.page import KIND
from orchardsim.report.stress.words import leaves_text, stress_screen, stress_sentences, stress_table
from orchardsim.results.folder import OutputFolder
from orchardsim.results.stress import stress_document
from tests.cli.test_run_command import PLAN
from tests.screens import fits_a_screen
from tests.simulation.small_plan import small_plan

ONLY = ["late_frost", "price_slump", "hard_winter"]
TRIALS, YEARS, SEED = 6, 9, 5


@pytest.fixture(scope="module")
def plan():
    return small_plan()


@pytest.fixture(scope="module")
def found(plan):
    counted = []
    result = stress(plan, trials=TRIALS, years=YEARS, seed=SEED, bad_seasons=ONLY, progress=counted.append)
    assert sum(counted) == stress_size(plan, TRIALS, YEARS, ONLY) == TRIALS * (8 + 7 + 8)
    return result


def test_every_leaf_is_struck(found):
    assert [season.name for season in found.seasons] == ONLY
    assert [moment.leaf for moment in found.seasons[0].moments] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert [moment.year for moment in found.seasons[1].moments] == [1, 2, 3, 4, 5, 6, 7]
    assert all(moment.last_year == moment.year + 1 for moment in found.seasons[1].moments)


def test_costs_are_paired_means_of_whole_runs(plan, found):
    """The usual run's numbers against an ordinary run of the plan."""
    own = orchardsim.simulate(plan, trials=TRIALS, years=YEARS, seed=SEED)
    cash = own.npv_without_remaining_value.values
    assert found.usual.present_cash.value == pytest.approx(cash.mean())
    assert found.usual.present_cash.standard_error == pytest.approx(cash.std(ddof=1) / np.sqrt(TRIALS))
    np.testing.assert_allclose(found.usual.crop, own.harvested_mass.sum("block").mean("trial"))
    assert found.usual.trees_lost.value == pytest.approx(
        float(own.trees_lost.sum("block").sum(("year", "cause")).mean())
    )


def test_the_worst_leaf_is_the_dearest(found):
    for season in found.seasons:
        costs = [moment.cash_lost.value for moment in season.moments]
        assert season.worst_moment.cash_lost.value == max(costs)
        assert season.worst_moment.leaf in season.close


def test_a_slump_costs_money_and_no_fruit(found):
    slump = found.seasons[1]
    assert all(moment.crop_lost.value == 0 and moment.trees_lost.value == 0 for moment in slump.moments)
    assert slump.worst_moment.cash_lost.value > 0


def test_a_hard_winter_spares_the_year_of_planting(found):
    """Trees planted in spring have not met the winter before."""
    first, *later = found.seasons[2].moments
    assert first.cash_lost.value == 0 and first.trees_lost.value == 0
    assert later[0].trees_lost.value > 0


def test_jobs_change_nothing(plan):
    runs = [stress(plan, trials=4, years=5, seed=SEED, bad_seasons=["hail"], jobs=jobs) for jobs in (1, 2)]
    assert stress_document(runs[0]) == stress_document(runs[1])


def test_recovery_by_hand():
    usual = np.full((2, 6), 10.0)
    shocked = np.array([[10.0, 1.0, 7.0, 9.0, 10.0, 9.6], [10.0, 1.0, 9.0, 10.0, 10.0, 9.6]])
    # means 10, 1, 8, 9.5, 10, 9.6: only the year after the shocked year 1 is more than 5 % short
    assert recovery(shocked, usual, 1) == 1
    assert recovery(usual, usual, 1) == 0
    assert recovery(0.9 * usual, usual, 1) == np.inf
    assert np.isnan(recovery(usual, usual, 5))


def test_middle_counts_never_as_late():
    assert middle(np.array([7.0, np.inf, 9.0, np.inf])) == 9
    assert middle(np.array([np.inf, np.inf, 9.0])) == np.inf


def test_leaves_as_ranges():
    assert leaves_text((1, 2, 3, 7)) == "1-3, 7"
    assert leaves_text(()) == ""


def test_the_table_says_how_many_trials_and_with_what_error(found):
    text = stress_table(found)
    assert f"n = {TRIALS} futures" in text and "±" in text and "standard error" in text
    assert max(map(len, text.splitlines())) <= 130 and fits_a_screen(stress_screen(found))
    for season in found.seasons:
        assert season.title in text
    assert "not forecasts" in text
    sentences = stress_sentences(found)
    assert "What hurts most" in sentences[0]
    assert any("own cash" in sentence for sentence in sentences)


def test_a_plan_that_loses_says_that_its_dead_trees_count_for_little(found):
    for value, said in ((-9000.0, True), (9000.0, False)):
        cash = dataclasses.replace(found.usual.present_cash, value=value, standard_error=100.0)
        losing = dataclasses.replace(found, usual=dataclasses.replace(found.usual, present_cash=cash))
        assert any("dead tree saves" in sentence for sentence in stress_sentences(losing)) == said


def test_page_numbers_and_pictures_are_written(found, tmp_path):
    page = KIND.write(tmp_path / "out", found)
    html = page.read_text(encoding="utf-8")
    for season in found.seasons:
        assert season.title in html and season.changes[0]["meaning"] in unescape(html)
    assert "licensed" in html
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    names = {path.name for path in (tmp_path / "out" / "figures").iterdir()}
    assert {"stress_cash.svg", "stress_cash.csv", "stress_trees.svg", "stress_fruit.svg"} <= names
    document = json.loads((tmp_path / "out" / "stress.json").read_text(encoding="utf-8"))
    assert document["trials"] == TRIALS and len(document["seasons"]) == len(ONLY)
    moment = document["seasons"][0]["moments"][3]
    assert {"value", "standard_error"} <= moment["cash_lost"].keys()
    assert "jobs" not in json.dumps(document)
    folder = OutputFolder(tmp_path / "out", KIND.name, names=KIND.files())
    with pytest.raises(InputError, match="holds another stress test"), folder:
        raise AssertionError("opened")
    with OutputFolder(tmp_path / "out", KIND.name, names=KIND.files(), force=True):
        assert page.exists()


def test_nothing_lost_is_said_plainly(found):
    """A bad season without any cost stands as such, not as a worst leaf."""
    slump = found.seasons[1]
    none = dataclasses.replace(slump.moments[0].cash_lost, value=0.0, standard_error=0.0)
    idle = dataclasses.replace(
        slump, title="quiet year", moments=tuple(dataclasses.replace(one, cash_lost=none) for one in slump.moments)
    )
    quiet = dataclasses.replace(found, seasons=(idle,))
    assert "quiet year" in stress_sentences(quiet)[-1] and "none" in stress_table(quiet)


@pytest.fixture
def plan_file(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_the_command_runs_and_saves(plan_file, tmp_path, capsys):
    arguments = ["stress", str(plan_file), "--trials", "4", "--years", "7", "--jobs", "1", "--only", "hail"]
    assert main([*arguments, "--out", str(tmp_path / "out")]) == 0
    out = capsys.readouterr().out
    assert "hail before harvest" in out and "4 futures of 7 years" in out and fits_a_screen(out, closing=0)
    assert (tmp_path / "out" / "stress.html").exists()
    assert main([*arguments, "--out", str(tmp_path / "out")]) == 2
    assert "holds another stress test" in capsys.readouterr().err
    assert main([*arguments, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["seasons"][0]["name"] == "hail"


@pytest.mark.parametrize(
    ("extra", "message"),
    [
        (["--only", "hale"], "found 'hale'; did you mean 'hail'"),
        (["--years", "3", "--only", "worst_spell"], "more --years"),
        (["--only", "hail", "--only", "hail"], "stands twice"),
    ],
)
def test_bad_input_is_one_line(plan_file, capsys, extra, message):
    assert main(["stress", str(plan_file), *extra]) == 2
    error = capsys.readouterr().err.strip().splitlines()
    assert message in error[-1]


@pytest.mark.parametrize("extra", [["--trials", "3"], ["--trials", "x"], ["--years", "1"], ["--jobs", "0"]])
def test_bad_numbers_are_refused(plan_file, capsys, extra):
    with pytest.raises(SystemExit) as stop:
        main(["stress", str(plan_file), *extra])
    assert stop.value.code == 2
    assert "allowed" in capsys.readouterr().err or extra[1] == "x"


def test_too_few_trials_are_refused(plan):
    with pytest.raises(InputError, match="allowed 4 or more"):
        stress(plan, trials=3)
