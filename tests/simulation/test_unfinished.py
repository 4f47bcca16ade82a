"""Work that a short crew leaves undone: its hours add up, and the trees feel it.

Directions are common practice in the trade, no source needed; limits are those of the plan itself: a crew that bends no
branch grows the trees of a plan that bends none.
"""

from __future__ import annotations

import copy

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import orchardsim
from orchardsim.core.labels import TASKS
from orchardsim.results import whole_farm
from orchardsim.simulation.backlog import CARRIED, Backlog, trees_reached
from orchardsim.simulation.trial_range import run_trials
from tests.simulation.small_plan import CONFIGS, SMALL

TRIALS, YEARS, SEED = 3, 9, 4
NOBODY = 1e-6
FIELD_TASKS = [task for task in TASKS if task not in ("frost_protection", "upkeep")]


def run(workers: dict[str, float] | None = None, **tables: object):
    """The small plan with crews of their own for some tasks, and the usual crew for the others."""
    table = copy.deepcopy(SMALL)
    if workers:
        rest = [task for task in FIELD_TASKS if task not in workers]
        few = [{"name": task, "workers": number, "tasks": [task]} for task, number in workers.items()]
        table["crews"] = [{"name": "all", "workers": 6, "tasks": rest}, *few]
    table.update(tables)
    return orchardsim.simulate(orchardsim.load_plan(table, base=CONFIGS), trials=TRIALS, years=YEARS, seed=SEED)


@pytest.fixture(scope="module")
def usual():
    return run()


def hours(found, name: str, task: str) -> np.ndarray:
    return found[name].sel(task=task).sum("block").values


def test_a_full_crew_leaves_nothing(usual):
    assert float(usual.labour_undone.sum()) == 0
    assert float(usual.labour_carried.sum()) == 0


def test_what_is_asked_is_done_carried_or_dropped():
    """Nobody prunes: each year's hours stand beside half of the last year's, and nothing is done.

    Shoots in plenty ask for more pruning; that is set aside, so that both runs ask for the same.
    """
    usual, none = (run(workers, physiology={"usual_shoots": 20}) for workers in (None, {"dormant_pruning": NOBODY}))
    own = hours(usual, "labour_hours", "dormant_pruning")
    left, carried = hours(none, "labour_undone", "dormant_pruning"), hours(none, "labour_carried", "dormant_pruning")
    assert hours(none, "labour_hours", "dormant_pruning").max() < 0.01
    asked = own.copy()
    asked[:, 1:] += carried[:, :-1]
    assert left == pytest.approx(asked, rel=0.03)  # a few trees more or fewer are alive
    assert carried == pytest.approx(CARRIED["dormant_pruning"] * own, rel=0.03)


def test_a_support_waits_until_it_is_built(usual):
    """A builder with about a third of the hours needed in a season builds for some years, and finishes."""
    whole = hours(usual, "labour_hours", "support_building").sum(axis=1)
    slow = run({"support_building": float(whole.mean()) / 2500})
    assert (hours(slow, "labour_hours", "support_building") > 0).sum(axis=1).min() > 1
    assert hours(slow, "labour_hours", "support_building").sum(axis=1) == pytest.approx(whole, rel=1e-6)
    left, carried = hours(slow, "labour_undone", "support_building"), hours(slow, "labour_carried", "support_building")
    assert left == pytest.approx(carried, rel=1e-9, abs=1e-9)
    assert (left[:, -1] == 0).all()


def test_trees_without_their_support_blow_over(usual):
    """More die by wind while no support stands, and as many where wires make no difference to the hazard."""
    none = run({"support_building": NOBODY})
    lost, usually = (one.trees_lost.sel(cause="wind").sum("block").sum() for one in (none, usual))
    assert float(lost) > 4 * float(usually)
    alike = {"wind_unsupported": 1.0, "collapse": "0 /km"}
    one, other = run(hazards=alike), run({"support_building": NOBODY}, hazards=alike)
    assert np.array_equal(one.trees_lost.values, other.trees_lost.values)


def test_trees_that_are_never_pruned_shade_their_fruit(usual):
    """More flowers stay on at first; after some winters less of the fruit colours."""
    none = run({"dormant_pruning": NOBODY})
    cut, uncut = (whole_farm(one) for one in (usual, none))
    third = int(usual.leaf.isel(block=0).values.tolist().index(4))
    assert float(uncut.flower_clusters.isel(year=third).mean()) > float(cut.flower_clusters.isel(year=third).mean())

    def coloured(found):
        last = found.packed_mass.isel(year=slice(-3, None))
        return float(last.sel(grade="extra_fancy").sum() / found.harvested_mass.isel(year=slice(-3, None)).sum())

    assert coloured(uncut) < 0.95 * coloured(cut)


def test_a_crew_that_bends_nothing_grows_unbent_trees():
    """Nobody ties down: the crop of each year is that of a system that leaves them at their natural angle."""
    training = SMALL["block"][0]["training"]
    none = run({"training": NOBODY})
    unbent = run(
        training_system={"upright": {"like": training, "bending_angle": "40 degree"}},
        block=[{**copy.deepcopy(SMALL["block"][0]), "training": "upright"}],
    )
    early, late = (one.harvested_mass.sum("block").mean("trial").values for one in (none, unbent))
    assert early == pytest.approx(late, rel=0.02, abs=1.0)


def test_summer_shoots_cost_colour_and_nothing_else(usual):
    """In the first year with summer pruning the crop is the same; what the best grade loses the second gains."""
    none = run({"summer_pruning": NOBODY})
    asked = hours(none, "labour_undone", "summer_pruning").mean(axis=0)
    year = int(np.flatnonzero(asked > 0)[0])
    before, after = (whole_farm(one).isel(year=year) for one in (usual, none))
    assert after.crop_mass.values == pytest.approx(before.crop_mass.values, rel=1e-6)
    best, second = ((after - before).packed_mass.sel(grade=grade).values for grade in ("extra_fancy", "fancy"))
    assert (best < 0).all()
    assert best + second == pytest.approx(np.zeros(TRIALS), abs=1e-3 * float(before.crop_mass.max()))


@given(
    own=st.floats(0.0, 1000.0),
    inherited=st.floats(0.0, 500.0),
    behind=st.floats(0.0, 1.0),
    shares=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
)
@example(own=5e-324, inherited=1.0, behind=1.0, shares=(0.0, 0.0))
def test_more_hours_reach_more_trees(own, inherited, behind, shares):
    """No hours reach none, all hours reach all, and more hours never fewer; trees passed over come first."""
    if behind == 0 or own + inherited < 1e-3:
        inherited, own = 0.0, max(own, 1e-3)
    less, more = sorted(shares)
    one = np.ones(1)

    def reached(done: float) -> float:
        return float(trees_reached(done * one, own * one, inherited * one, behind * one)[0])

    total = own + inherited
    assert reached(total) == 1.0
    assert 0 <= reached(less * total) <= reached(more * total) + 1e-12
    assert reached(0.0) <= behind


def test_crews_begin_where_they_stopped():
    """60 of 100 hours a year: the second year starts at the trees passed over, with half as much again on them."""
    backlog, one = Backlog(1, 1), np.ones((1, 1))
    assert float(backlog.ask("dormant_pruning", 100 * one)[0, 0]) == 100
    assert backlog.settle("dormant_pruning", 60 * one) == (pytest.approx(0.6 * one), pytest.approx(0 * one))
    assert float(backlog.ask("dormant_pruning", 100 * one)[0, 0]) == pytest.approx(120)
    # all 60 hours go into the 40 trees passed over: 40 of this year's and 20 inherited
    assert backlog.settle("dormant_pruning", 60 * one) == (pytest.approx(0.4 * one), pytest.approx(0.6 * one))
    # of the 60 hours left 50 are this year's own: half of them is inherited
    assert float(backlog.carried["dormant_pruning"][0, 0]) == pytest.approx(25)
    backlog.drop()
    assert float(backlog.carried["dormant_pruning"][0, 0]) == 0


def test_the_group_that_ranks_first_is_thinned_first():
    """A crew that cannot thin all serves the row group of the better rank; the other is left with more to do."""
    left = {}
    for first in ("Gala", "Honeycrisp"):
        block = copy.deepcopy(SMALL["block"][0])
        for group in block["group"]:
            group["crew_rank"] = 1 if group["name"] == first else 9
        found = run({"thinning": 0.004}, block=[block])
        left[first] = {
            name: float(found.labour_undone.sel(block=f"wires/{name}", task="thinning").sum())
            for name in ("Gala", "Honeycrisp")
        }
    assert left["Gala"]["Gala"] < 0.8 * left["Honeycrisp"]["Gala"]
    assert left["Honeycrisp"]["Honeycrisp"] < 0.8 * left["Gala"]["Honeycrisp"]


def test_short_crews_do_not_depend_on_the_batch():
    """Trials 2 and 3 of a short-handed farm, walked with 0 and 1 or without: the same to the last bit."""
    table = copy.deepcopy(SMALL)
    few = {"training": 0.004, "dormant_pruning": 0.004, "summer_pruning": 0.004, "support_building": 0.002}
    rest = [task for task in FIELD_TASKS if task not in few]
    table["crews"] = [{"name": "all", "workers": 6, "tasks": rest}]
    table["crews"] += [{"name": task, "workers": number, "tasks": [task]} for task, number in few.items()]
    table["hazards"] = {"blight_strike": 0.3}
    plan = orchardsim.load_plan(table, base=CONFIGS)
    together, alone = (run_trials(plan, trials, YEARS, SEED, "sampled") for trials in (range(4), range(2, 4)))
    assert alone["labour_undone"].sum() > 0
    for name in ("labour_undone", "labour_carried", "trees_lost", "packed_mass", "net_cash_flow"):
        np.testing.assert_array_equal(together[name][2:], alone[name], err_msg=name)
