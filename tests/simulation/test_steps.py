"""Every step of a year reads and writes what it declares, and nothing else.

A year is walked with every part of the tile under watch: what a step touches must stand in its lists, what it changes
among what it writes; what it writes without reading must not depend on what was there.
"""

from __future__ import annotations

import copy
import inspect
import pickle
import re
from collections import defaultdict
from typing import Any

import numpy as np
import pytest

import orchardsim
from orchardsim.core.labels import TASKS
from orchardsim.core.streams import Streams
from orchardsim.core.variables import RESULTS
from orchardsim.operations.yard import Yard
from orchardsim.simulation.block_run import BlockRun, WorkAsked, WorkDone
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.state_table import EVERY_TREE, STATE
from orchardsim.simulation.step import Step, inserted, replaced, without
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.year import PAST_YEAR, YEAR
from orchardsim.trees import year as loops
from orchardsim.trees.state import TreeState
from tests.simulation.small_plan import CONFIGS, SMALL

TRIALS, YEARS, SEED = range(3), 7, 4
BLOCK_NAMES = {"planted": "standing", "removed": "standing"} | {
    name: name
    for name in (
        "alive",
        "uncut_strikes",
        "season",
        "draws",
        "loss_draws",
        "backlog",
        "fruit_kept",
        "fruit_thinned",
        "fruit_lost",
    )
}
TILE_NAMES = {"season_rows": "season_rows", "yards": "yards", "single_trees": "single_trees"}
TREE_NAMES = {name.removeprefix("trees."): name for name in STATE if name.startswith("trees.")}
DONE_NAMES = {name.removeprefix("done."): name for name in STATE if name.startswith("done.")}
WHOLE = {part: {name for name in STATE if name.startswith(f"{part}.")} for part in ("asked", "done")}
"""What is made anew together."""
TOUCHED: set[str] = set()


def watched(kind: type, names: dict[str, str]) -> type:
    """A class that notes which of its attributes are touched."""

    def get(self: Any, name: str) -> Any:
        if name in names:
            TOUCHED.add(names[name])
        return object.__getattribute__(self, name)

    def put(self: Any, name: str, value: Any) -> None:
        if name in names:
            TOUCHED.add(names[name])
        if name in WHOLE:
            TOUCHED.update(WHOLE[name])
        object.__setattr__(self, name, value)

    return type(f"Watched{kind.__name__}", (kind,), {"__getattribute__": get, "__setattr__": put})


class WatchedDict(dict):
    """A dict that notes which of its keys are touched."""

    prefix = ""

    def __getitem__(self, key: str) -> Any:
        TOUCHED.add(self.prefix + key)
        return super().__getitem__(key)

    def __setitem__(self, key: str, value: Any) -> None:
        TOUCHED.add(self.prefix + key)
        super().__setitem__(key, value)


class WatchedHours(WatchedDict):
    """Hours asked, by task."""

    prefix = "asked."


WATCHED = {
    kind: watched(kind, names)
    for kind, names in (
        (BlockRun, BLOCK_NAMES),
        (Tile, TILE_NAMES),
        (TreeState, TREE_NAMES),
        (WorkDone, DONE_NAMES),
        (WorkAsked, {"ripe_mass": "asked.ripe_mass"}),
    )
}


def watch(tile: Tile) -> None:
    """Put every part of a tile under watch; what steps make anew is caught by calling it again."""
    for part in (tile, tile.totals, *tile.blocks, *(b.state for b in tile.blocks)):
        part.__class__ = WATCHED.get(type(part), type(part))
    for block in tile.blocks:
        for part in (block.asked, block.done):
            part.__class__ = WATCHED.get(type(part), type(part))
        if not isinstance(block.asked.hours, WatchedHours):
            block.asked.hours = WatchedHours(block.asked.hours)
    if not isinstance(tile.totals.arrays, WatchedDict):
        tile.totals.arrays = WatchedDict(tile.totals.arrays)
    TOUCHED.clear()


def note_loops(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loops over trees take all arrays at once: note those that their code names."""
    for name, loop in vars(loops).items():
        code = inspect.getsource(loop.py_func) if hasattr(loop, "py_func") else ""
        if "(trees: Any" in code.replace("\n    ", ""):
            named = set(re.findall(r"trees\.(\w+)\[", code))

            def noted(*given: Any, _loop: Any = loop, _named: set[str] = named) -> Any:
                TOUCHED.update(f"trees.{one}" for one in _named)
                return _loop(*given)

            monkeypatch.setattr(loops, name, noted)


def yard_state(yard: Yard) -> Any:
    stocks = {label: (stock.cohorts, stock.due) for label, stock in yard.stocks.items()}
    counts = [dict(one) for one in (yard.trees, yard.asked, yard.hours, yard.undone, yard.on_hand)]
    return [stocks, counts, list(yard._waiting), yard.world.free_from, yard._year]


def values(tile: Tile) -> dict[str, bytes]:
    """Every name of the tables with what it holds now."""
    found: dict[str, list[Any]] = defaultdict(list)
    for name, array in dict.items(tile.totals.arrays):
        found[name].append(array)
    found["yards"] += [yard_state(yard) for yard in tile.yards]
    found["season_rows"].append(tile.season_rows)
    found["single_trees"].append(tile.single_trees)
    for block in tile.blocks:
        for attribute, name in BLOCK_NAMES.items():
            value = getattr(block, attribute)
            found[name].append(vars(value) if attribute == "backlog" else value)
        for attribute, name in TREE_NAMES.items():
            found[name].append(getattr(block.state, attribute))
        for attribute, name in DONE_NAMES.items():
            found[name].append(getattr(block.done, attribute))
        for task, hours in dict.items(block.asked.hours):
            found[f"asked.{task}"].append(hours)
        found["asked.ripe_mass"].append(block.asked.ripe_mass)
    return {name: pickle.dumps(value) for name, value in found.items()}


def short_handed_plan() -> orchardsim.plan.Plan:
    """A small farm where everything happens: old and new blocks, removal, few hands, frost, hail and blight."""
    table = copy.deepcopy(SMALL)
    new = table["block"][0]
    frosty = {"protection": "overhead_sprinklers", "hail_storms": "1 /year"}
    old = copy.deepcopy(new) | {"name": "old", "year_planted": -6, "year_removed": 4}
    table["block"] = [new | frosty, old | frosty]
    few = {task: 0.001 for task in ("training", "dormant_pruning", "summer_pruning", "thinning", "picking")}
    few["support_building"] = 0.003
    rest = [task for task in TASKS if task not in (*few, "frost_protection", "upkeep")]
    table["crews"] = [{"name": "all", "workers": 6, "tasks": rest}]
    table["crews"] += [{"name": task, "workers": number, "tasks": [task]} for task, number in few.items()]
    table["hazards"] = {"blight_strike": 0.3, "blight_sanitation": 0.5}
    return orchardsim.load_plan(table, base=CONFIGS)


def open_tile(plan: orchardsim.plan.Plan) -> Tile:
    streams = Streams(SEED)
    library = build_library(plan, streams, TRIALS, YEARS, "sampled")
    tile = Tile(plan, library, streams, TRIALS, YEARS, Totals(len(TRIALS), YEARS, plan.labels), 0, {})
    tile.open()
    return tile


@pytest.fixture(scope="module")
def found() -> dict[str, tuple[set[str], set[str]]]:
    """What each step touched and changed in some years of a short-handed farm."""
    patch = pytest.MonkeyPatch()
    note_loops(patch)
    tile = open_tile(short_handed_plan())
    seen: dict[str, tuple[set[str], set[str]]] = {step.name: (set(), set()) for step in YEAR}
    for year in range(YEARS):
        for step in YEAR:
            before = values(tile)
            watch(tile)
            step.run(tile, year)
            touched = set(TOUCHED)
            after = values(tile)
            seen[step.name][0].update(touched)
            seen[step.name][1].update(name for name in after if before.get(name) != after[name])
    patch.undo()
    return seen


@pytest.mark.parametrize("step", YEAR, ids=lambda step: step.name)
def test_a_step_keeps_to_its_lists(step: Step, found) -> None:
    touched, changed = found[step.name]
    declared = {*step.reads, *step.writes}
    assert declared <= RESULTS.keys() | STATE.keys()
    assert touched <= declared, "touches what it does not declare"
    assert changed <= {*step.writes}, "changes what it does not say that it writes"
    assert {*step.reads} <= touched, "declares that it reads what it never touches"
    assert {*step.writes} - {*EVERY_TREE.split()} <= changed, "declares that it writes what it never changes"
    assert {*step.writes} <= touched, "declares that it writes what it never touches"


TREE_STEPS = ("apply_pruning", "set_fruit", "apply_thinning", "grow_fruit", "grow_to_leaf_fall")
"""Steps that make numbers of every tree anew."""


def test_what_is_written_without_being_read_is_made_anew() -> None:
    """Rubbish in all that a step says that it makes anew changes no result."""

    def walked(rubbish: bool) -> dict[str, np.ndarray]:
        tile = open_tile(short_handed_plan())
        for year in range(YEARS):
            for step in YEAR:
                if rubbish and step.name in TREE_STEPS:
                    spoil(tile, {*step.writes} - {*step.reads})
                step.run(tile, year)
        tile.close()
        return tile.totals.arrays

    def spoil(tile: Tile, names: set[str]) -> None:
        for block in tile.standing:
            for name in names & {*EVERY_TREE.split()} - {"trees.overgrown"}:
                getattr(block.state, name.removeprefix("trees.")).fill(123)

    clean, spoilt = walked(False), walked(True)
    for name, array in clean.items():
        np.testing.assert_array_equal(array, spoilt[name], err_msg=name)


def test_a_year_is_changed_by_name() -> None:
    """Steps are replaced, put in and left out by their name; a name that no step has is told."""
    names = [step.name for step in YEAR]
    assert len(names) == len({*names})
    assert [step.name for step in replaced(YEAR, "set_fruit", lambda tile, year: None)] == names
    new = Step("look", lambda tile, year: None, (), ())
    assert [step.name for step in inserted(YEAR, "set_fruit", new)][names.index("set_fruit") + 1] == "look"
    assert "set_fruit" not in [step.name for step in without(YEAR, ("set_fruit",))]
    assert {step.name for step in PAST_YEAR} < {*names}
    with pytest.raises(KeyError, match="grow_fruit"):
        replaced(YEAR, "grow_fruits", new.run)
