"""What measuring and waiting are worth: closed forms, and the sheet that is read back."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import norm

from orchardsim.analysis.decision import (
    Money,
    base_tables,
    options_of,
    shift_of,
    worth_of,
)
from orchardsim.analysis.next_measurements import evenly, field_sheet
from orchardsim.analysis.waiting import weigh
from orchardsim.core.errors import InputError
from orchardsim.plan import load_plan
from orchardsim.plan.coming import NOT_PLANTED, coming_blocks, ways_to_plant, young_blocks
from orchardsim.plan.measurements import as_csv, parse_measurements
from orchardsim.report.fit.words import sheet_html
from orchardsim.results.next import Candidate

from ..plan.examples import CONFIGS

PLAN = load_plan(CONFIGS / "first_row.toml")


def money(slope=1000.0, mean=400.0, noise=300.0, trials=3000):
    """Two options that differ by a line in one level."""
    rng = np.random.default_rng(1)
    normals = rng.standard_normal((trials, 2))
    luck = noise * rng.standard_normal((2, trials))
    npv = np.stack([np.zeros(trials), mean + slope * normals[:, 0]]) + luck
    return Money(("a", "b"), npv, np.zeros((2, trials)), normals, (0,))


def loss_integral(mean, spread):
    """Worth of learning a normal gain of that mean and spread: Raiffa and Schlaifer 1961, Applied Statistical Decision
    Theory, the unit normal linear loss integral.
    """
    return spread * norm.pdf(mean / spread) - abs(mean) * norm.cdf(-abs(mean) / spread)


@pytest.mark.parametrize("error", [0.001, 1.0, 3.0])
def test_worth_of_a_measurement_follows_the_normal_loss_integral(error):
    own, rng = money(), np.random.default_rng(2)
    normals = rng.standard_normal((15_000, 2))
    seen = normals[:, :1] + error * rng.standard_normal((15_000, 1))
    worth, stated, changed, changed_error, _ = worth_of(own, normals, seen, own.resampled(rng))
    spread = 1000 / np.sqrt(1 + error**2)
    assert worth == pytest.approx(loss_integral(400, spread), abs=max(3 * stated, 8))
    assert changed == pytest.approx(norm.cdf(-400 / spread), abs=0.03)
    assert 0 < stated < 40 and 0 < changed_error < 0.03


def test_what_tells_nothing_is_worth_nothing():
    own, rng = money(), np.random.default_rng(3)
    normals = rng.standard_normal((8_000, 2))
    worth, _, changed, *_ = worth_of(own, normals, rng.standard_normal((8_000, 1)), own.resampled(rng))
    assert worth < 2 and changed < 0.01


@pytest.mark.parametrize("delay", [50.0, 300.0])
def test_worth_of_waiting_follows_the_normal_loss_integral(delay):
    """Plant now, a year later at less, or not: after a year of measuring the better of the two is taken, so waiting
    brings the loss integral and costs the delay. Of the two delays one is worth it and one is not.
    """
    mean, slope, error, rng = 400.0, 1000.0, 1.0, np.random.default_rng(6)
    now = money(slope, mean)
    npv = np.stack([now.npv[1], now.npv[1] - delay, now.npv[0]])
    own = dataclasses.replace(now, names=("now", "later", "none"), npv=npv, peak_borrowing=1000 + np.zeros_like(npv))
    normals = rng.standard_normal((8_000, 2))
    seen = [np.empty((8_000, 0)), normals[:, :1] + error * rng.standard_normal((8_000, 1))]
    none, year = weigh(own, 1, (0, 1), normals, seen, rng)
    spread = slope / np.sqrt(1 + error**2)
    learning = loss_integral(mean - delay, spread)
    assert none.mean == pytest.approx(mean, abs=60) and none.changed == none.learning == 0
    assert none.shares == (1.0, 0.0)
    assert year.delay - none.delay == pytest.approx(-delay, abs=1)
    assert year.learning == pytest.approx(learning, abs=25)
    assert year.mean == pytest.approx(learning - delay, abs=4 * year.error)
    assert 0 < year.error < 30
    assert year.changed == pytest.approx(norm.cdf(-(mean - delay) / spread), abs=max(3 * year.changed_error, 0.02))
    # not planting where the row was weak spares the worst futures
    assert year.low > none.low
    assert year.peak_borrowing == 1000


def test_a_row_on_weak_ground_changes_the_choice():
    own, rng = money(), np.random.default_rng(4)
    before = rng.standard_normal((4000, 2))
    found = shift_of(own, before, before * [0.3, 1.0] - [1.0, 0.0], rng)
    assert found.before[1] - found.before[0] == pytest.approx(400, abs=60)
    assert found.after[1] - found.after[0] == pytest.approx(-600, abs=60)
    assert found.before_error[1] == 0 and 0 < found.after_error[0] < 40


def test_what_is_to_come_is_found_moved_and_left_out():
    raw = base_tables(PLAN)
    assert coming_blocks(PLAN) == ["next_rows"] and young_blocks(PLAN) == ["first_row"]
    ways = ways_to_plant(PLAN, raw, {"as stated": raw}, (0, 2), CONFIGS)
    assert list(ways) == ["as stated, 0 years later", "as stated, 2 years later", NOT_PLANTED]
    now, later = (next(block for block in way.blocks if block.name == "next_rows") for way in list(ways.values())[:2])
    assert (now.year_planted, now.groups[0].money.order_year) == (2, 0)
    assert (later.year_planted, later.groups[0].money.order_year) == (4, 2)
    rest = ways[NOT_PLANTED]
    assert [block.name for block in rest.blocks] == ["first_row", "old_trees"]
    with pytest.raises(InputError, match="nothing to decide"):
        coming_blocks(rest)


def test_options_are_three_spacings_or_what_the_user_names():
    assert [one.changes["block.next_rows.tree_spacing"] for one in options_of(PLAN, None)] == ["0.8 m", "1 m", "1.25 m"]
    named = options_of(PLAN, 'block.next_rows.rootstock = ["M.9", "MM.111"]')
    assert [one.changes for one in named] == [{"block.next_rows.rootstock": name} for name in ("M.9", "MM.111")]
    for wrong in ("block.next_rows.rootstock", 'a.b = "x"', "a.b = [1]", "a.b = [1,"):
        with pytest.raises(InputError, match="--between"):
            options_of(PLAN, wrong)


def test_the_field_sheet_is_a_spread_sample_and_is_read_back():
    candidates = [
        Candidate("trunk_girth", "first_row", 1, 2021, "after leaf fall", 20, 10.0, 1.0, 0.1),
        Candidate("yield", "first_row", 1, 2021, "at harvest", 84, 5.0, 1.0, 0.1),
        Candidate("height", "first_row", 2, 2022, "after leaf fall", 60, 4.0, 1.0, 0.1),
    ]
    sheet = field_sheet(PLAN, candidates)
    trees = [tree for _, _, tree in sheet.trees]
    assert len(trees) == 20 and trees == sorted(set(trees)) and max(np.diff(trees)) <= 5 and 1 < trees[0] <= 3
    lines = sheet.text().splitlines()
    assert lines[:3] == [
        "block,row,tree,trunk_girth [inch],yield [lb],note", "date,,,,,", f"first_row,1,{trees[0]},,,"
    ]  # fmt: skip
    assert len(lines) == 23 and lines[-1] == "first_row,,,,,"
    with pytest.raises(InputError, match="found no measurement"):
        parse_measurements(sheet.text(), PLAN, "sheet.csv")
    filled = [lines[0], "date,,,2021-11-20,2021-08-15,", *(f"first_row,1,{tree},{6 + tree / 100},," for tree in trees)]
    found = parse_measurements("\n".join([*filled, "first_row,,,,900,"]), PLAN, "sheet.csv").rows
    assert {(one.measure, one.year, str(one.date)) for one in found} == {
        ("trunk_girth", 1, "2021-11-20"), ("yield", 1, "2021-08-15")
    }  # fmt: skip
    assert {one.tree: one.cells[5] for one in found if one.tree} == {tree: f"{6 + tree / 100}" for tree in trees}
    # what was learned keeps its readings as a list; they are the same
    assert parse_measurements(as_csv([one.cells for one in found]), PLAN, "kept").rows == tuple(
        dataclasses.replace(one, line=number) for number, one in enumerate(found, start=2)
    )
    page = sheet_html(sheet)
    assert "first_row" in page and all(f'<td class="tree">{tree}</td>' in page for tree in trees)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("block,row,tree,fruit_count\nfirst_row,1,3,20\n", "line 2: fruit_count: found '20' without a day"),
        ("block,row,tree,fruit_count,weight\n", "line 1: unknown column 'weight'"),
        ("row,tree,fruit_count\n", "missing column 'block'"),
    ],
)
def test_a_field_sheet_filled_in_wrongly_gets_one_line(text, words):
    with pytest.raises(InputError) as caught:
        parse_measurements(text, PLAN, "sheet.csv")
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_a_spread_sample_of_all_trees_is_all_trees():
    assert evenly(range(7), 7) == tuple(range(7))
