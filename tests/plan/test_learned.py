"""The file of what was learned, the plan that names it, and plan files changed with their comments."""

from __future__ import annotations

import dataclasses
import tomllib

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.core.futures import Learned
from orchardsim.core.streams import Streams
from orchardsim.plan import load_plan
from orchardsim.plan.describe import plan_lines
from orchardsim.plan.keys import with_keys
from orchardsim.plan.learned import LearnedFile, ground_of, read_learned
from orchardsim.plan.reading import read_toml
from orchardsim.plan.rewriting import rewritten

from .examples import CONFIGS

PLAN = load_plan(CONFIGS / "first_row.toml")
PARTS = (("site_growth", ""), ("site_growth", "first_row"))


@pytest.fixture
def folder(tmp_path):
    """A folder with a plan that carries what was learned."""
    draws = np.column_stack([np.linspace(0.9, 1.1, 40), np.linspace(0.4, 0.6, 40)])
    file = LearnedFile(("first_row",), ground_of(PLAN, ("first_row",)), Learned(PARTS, draws), {}, (("a", "b"),))
    (tmp_path / "learned.json").write_text(file.text())
    text = rewritten((CONFIGS / "first_row.toml").read_text(), {("futures", "learned"): "learned.json"}, "plan")
    (tmp_path / "plan.toml").write_text(text)
    return tmp_path


def test_a_plan_carries_what_was_learned(folder):
    plan = load_plan(folder / "plan.toml")
    drawn = plan.futures.drawn("site_growth", ["first_row", "next_rows"], Streams(1), range(400))
    # first row: exp(0.30 sqrt(0.5) (1.0 + 0.5)), half of the variance the farm's; the other block has its own part open
    assert np.log(drawn[:, 0]).mean() == pytest.approx(0.30 * (0.5**0.5 + 0.5 * 0.5**0.5), abs=0.01)
    assert np.log(drawn[:, 0]).std() < 0.03
    assert np.log(drawn[:, 1]).std() == pytest.approx(0.30 * 0.5**0.5, rel=0.15)
    assert plan.with_known_futures().futures.drawn("site_growth", ["first_row"], Streams(1), range(2)) == pytest.approx(
        np.exp(0.30 * (0.5**0.5 + 0.5 * 0.5**0.5)), rel=1e-3
    )
    assert plan.hash != PLAN.hash


def test_check_says_what_was_learned(folder):
    told = [line for line in plan_lines(load_plan(folder / "plan.toml")) if line.startswith("  learned")]
    assert told == ["  learned  from measured trees, in place of the plan's own spread: site growth"]
    assert not [line for line in plan_lines(PLAN) if line.startswith("  learned")]


def test_other_levels_are_drawn_as_before(folder):
    plan = load_plan(folder / "plan.toml")
    one, other = (each.futures.drawn("price_level", ["Gala"], Streams(1), range(9)) for each in (plan, PLAN))
    np.testing.assert_array_equal(one, other)


def test_a_damaged_file_is_refused(folder):
    path = folder / "learned.json"
    path.write_text(path.read_text().replace("0.9,", "0.8,", 1))
    with pytest.raises(InputError, match="is damaged"):
        load_plan(folder / "plan.toml")
    path.write_text("{}")
    with pytest.raises(InputError, match="is damaged"):
        read_learned(path, "plan")
    path.unlink()
    with pytest.raises(InputError, match="no such file"):
        load_plan(folder / "plan.toml")


@pytest.mark.parametrize(
    "change",
    [
        {"block.first_row.tree_spacing": "1.2 m"},
        {"block.first_row.rootstock": "M.9"},
        {"futures.site_growth": "known 1.2"},
        {"weather.record": "bundled cool"},
    ],
)
def test_another_plan_is_refused(folder, change):
    with pytest.raises(InputError, match="another plan"):
        load_plan(with_keys(read_toml(folder / "plan.toml"), change, "x"), base=folder)


def test_what_was_not_measured_may_change(folder):
    change = {"block.next_rows.tree_spacing": "1.3 m", "costs.wage": "20 USD/hour", "block.next_rows.rootstock": "M.9"}
    plan = load_plan(with_keys(read_toml(folder / "plan.toml"), change, "x"), base=folder)
    assert plan.futures.learned is not None


def test_a_plan_is_changed_with_its_comments():
    text = 'a = 1 # one\n[cultivar."Red Delicious"] # ours\nchill_requirement = 60 # old\n\n[[block]]\nname = "x"\n'
    found = rewritten(
        text, {('cultivar."Red Delicious"', "chill_requirement"): 58.5, ("futures", "learned"): "l.json"}, "p"
    )  # fmt: skip
    assert "# one" in found and "# ours" in found
    read = tomllib.loads(found)
    assert read["cultivar"]["Red Delicious"]["chill_requirement"] == 58.5
    assert read["futures"] == {"learned": "l.json"} and read["block"] == [{"name": "x"}]
    with pytest.raises(InputError, match="headers of their own"):
        rewritten("futures = { site_growth = 'known' }\n", {("futures", "learned"): "l.json"}, "p")


def test_learned_draws_meet_the_same_trials_under_every_seed_and_plan():
    learned = Learned(PARTS, np.arange(8.0).reshape(4, 2))
    np.testing.assert_array_equal(learned.rows(1, range(5)), [1, 2, 3, 0, 1])
    moved = dataclasses.replace(PLAN.futures, learned=learned)
    a = moved.drawn("site_growth", ["first_row"], Streams(1), range(2, 4))
    b = moved.drawn("site_growth", ["next_rows", "first_row"], Streams(1), range(4))[2:, 1:]
    np.testing.assert_array_equal(a, b)
