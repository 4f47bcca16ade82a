"""The numbers of a plan to state first: those it leaves to the catalogue that move its result most."""

from __future__ import annotations

import dataclasses
import functools
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.labels import FRESH, TASKS
from orchardsim.core.parameters import parameters_of
from orchardsim.plan import Plan
from orchardsim.plan.row_group import RowGroup
from orchardsim.results.first_numbers import FirstNumber, FirstNumbers
from orchardsim.risk.bands import mean
from orchardsim.simulation.same_futures import SameFutures, middle_of, with_hours, with_level
from orchardsim.simulation.totals import Totals

MORE: Final = 0.10
"""Share by which each number is raised (definition of this list)."""
TRIALS: Final = 12
YEARS: Final = 20
LACKING: Final = 0.05
"""Share of a task's hours in its busiest year from which its crews are said to be too few (wording only)."""
TREE_LEVELS: Final = (
    "site_growth", "fruit_set", "fruit_size", "thinning_skill", "hazard_level", "hail_frequency",
)  # fmt: skip
"""Levels of trees and fruit that a tenth can be added to; 1 is the catalogue's own."""
FRESH_PRICE: Final = ("wholesale_extra_fancy", "wholesale_fancy")
TREE_PRICES: Final = ("tree_price", "extra_tree_price", "replacement_price", "spot_price")
NOT_SCALED: Final = ("bin_mass", "storage_limit", "narrow_row", "machine_life", "fence_shape", "young_density")
"""Numbers that measure or bound and cost nothing themselves."""


@dataclass(frozen=True)
class _Lever:
    key: str
    meaning: str
    value: Any
    unit: str
    plan: Plan


def first_numbers(plan: Plan, *, most: int = 10, trials: int = TRIALS, years: int = YEARS) -> FirstNumbers:
    """Numbers that the plan does not state, by what a tenth more of each does to NPV.

    Parameters
    ----------
    most : int
        Numbers kept.
    trials, years : int
        Of the simulation; open levels stand at their middle.

    Notes
    -----
    Trees and fruit are simulated once for all numbers of money and once for each level of trees and fruit; all meet the
    same seasons and prices, so that a difference of few trials is that of the number.
    """
    start = time.monotonic()
    known = plan.with_known_futures()
    futures = SameFutures(known, trials, years, seed=1)
    usual = futures.walked(known)
    base = futures.values(known, usual)
    told = {assumption.key: assumption for assumption in plan.assumptions}
    stated = {stated.key for stated in plan.stated}
    numbers = []

    def add(key: str, meaning: str, value: Any, unit: str, values: Any, status: str = "") -> None:
        change = mean(values - base)
        own = told[key].status if key in told else status
        numbers.append(
            FirstNumber(
                key, meaning, value, unit, own or "assumption", float(change.value), float(change.standard_error)
            )
        )

    for lever in _money_levers(known):
        if lever.key in told:
            add(lever.key, lever.meaning, lever.value, lever.unit, futures.values(lever.plan, usual))
    for task, key in _hours(plan).items():
        said = any(own.rpartition(".")[2] == key.rpartition(".")[2] for own in stated)
        if usual.arrays["labour_hours"][..., TASKS.index(task)].any() and not said:
            more = with_hours(usual, task, 1 + MORE)
            words = f"hours of {task.replace('_', ' ')}"
            add(key, words, None, "hour", futures.values(known, more), "assumption")
    for name in TREE_LEVELS:
        if name not in plan.futures.stated and not (name == "site_growth" and "site.site_growth" in stated):
            changed = with_level(known, name, middle_of(plan, name).middle * (1 + MORE))
            row = OPEN_LEVELS[name]
            add(
                f"futures.{name}",
                row.meaning,
                None,
                row.unit,
                futures.values(changed, futures.walked(changed)),
                row.status,
            )
    if "pack_out" not in plan.futures.stated:
        share = float(usual.arrays["packed_mass"][..., FRESH].sum() / max(usual.arrays["harvested_mass"].sum(), 1e-9))
        if 0 < share < 1:
            raised = min(share * (1 + MORE), 0.99)
            odds = float(np.log(raised / (1 - raised)) - np.log(share / (1 - share)))
            changed = with_level(known, "pack_out", middle_of(plan, "pack_out").middle + odds)
            values = futures.values(changed, futures.walked(changed))
            add("futures.pack_out", "share of the fruit that packs fresh", share, "1", values, "assumption")
    numbers.sort(key=lambda number: -abs(number.change))
    seconds = time.monotonic() - start
    npv, lacking, unpicked = float(base.mean()), lacking_hours(usual), _unpicked(usual)
    return FirstNumbers(tuple(numbers[:most]), npv, trials, years, len(numbers), seconds, lacking, unpicked)


def lacking_hours(totals: Totals) -> tuple[tuple[str, float, float], ...]:
    """Tasks of which a twentieth or more is left undone in the year that asks for most: task, hours asked, done."""
    done, left = (totals.arrays[name].sum(axis=2).mean(axis=0) for name in ("labour_hours", "labour_undone"))
    asked = done + left
    busiest = asked.argmax(axis=0)
    rows = [
        (task, float(asked[year, at]), float(done[year, at]))
        for at, (task, year) in enumerate(zip(TASKS, busiest, strict=True))
    ]
    return tuple(row for row in rows if row[1] - row[2] > LACKING * row[1])


def _unpicked(totals: Totals) -> float:
    """Share of the fruit grown that hangs, where pickers lack hours."""
    if not totals.arrays["labour_undone"][..., TASKS.index("picking")].any():
        return 0.0
    return 1.0 - float(totals.arrays["harvested_mass"].sum() / totals.arrays["crop_mass"].sum())


def _hours(plan: Plan) -> dict[str, str]:
    """Task -> key of a plan that states how long it takes."""
    systems = [group.training_name for group in plan.groups]
    training = f"training_system.{systems[0]}" if systems else "training_system"
    return {
        "dormant_pruning": f"{training}.pruning_minutes",
        "training": f"{training}.training_minutes",
        "thinning": "block.thinning.seconds_per_fruit",
        "picking": "work_rates.picking",
    }


def _money_levers(plan: Plan) -> Iterator[_Lever]:
    """Every number of money of the plan with the plan in which it is a tenth larger."""
    for section in ("costs", "finance", "market"):
        part = getattr(plan, section)
        for name, value, unit, meaning, larger in _larger(part):
            yield _Lever(f"{section}.{name}", meaning, value, unit, dataclasses.replace(plan, **{section: larger}))
    for name, fruit in plan.market.fruit.items():
        for keys, value, unit, meaning, larger in _larger_fruit(fruit):
            market = dataclasses.replace(plan.market, fruit={**plan.market.fruit, name: larger})
            words = f"{meaning}, {name}"
            yield _Lever(f"market.fruit.{name}.{keys}", words, value, unit, dataclasses.replace(plan, market=market))
    for grade, price in plan.tree_price.items():
        dearer = plan.with_groups(functools.partial(_dearer_trees, grade=grade, more=MORE * price.price))
        words = f"price of a {grade.replace('_', ' ')} tree"
        yield _Lever(f"tree_price.{grade}.price", words, price.price, "money/tree", dearer)


def _larger(part: Any) -> Iterator[tuple[str, Any, str, str, Any]]:
    for name, info in parameters_of(type(part)).items():
        value = getattr(part, name)
        if name in NOT_SCALED or isinstance(value, (bool, str, int)) or not np.any(value):
            continue
        if not np.all(np.isfinite(value)):
            continue
        more = tuple(each * (1 + MORE) for each in value) if isinstance(value, tuple) else value * (1 + MORE)
        if info.high is not None and np.max(more) > info.high:
            continue
        meaning = re.sub(r" \((?:read|computed|derived|memory|common practice|assumption)\b.*", "", info.meaning)
        yield name, value, info.unit, meaning, dataclasses.replace(part, **{name: more})


def _larger_fruit(fruit: Any) -> Iterator[tuple[str, Any, str, str, Any]]:
    both = {name: getattr(fruit, name) * (1 + MORE) for name in FRESH_PRICE}
    words = "packed price of both fresh grades"
    yield FRESH_PRICE[0], fruit.wholesale_extra_fancy, "money/kg", words, dataclasses.replace(fruit, **both)
    for name, value, unit, meaning, larger in _larger(fruit):
        if name not in (*FRESH_PRICE, "pass_price"):
            yield name, value, unit, meaning, larger


def _dearer_trees(group: RowGroup, grade: str, more: float) -> RowGroup:
    if group.grade_name != grade:
        return group
    prices = {name: getattr(group.money, name) for name in TREE_PRICES}
    dearer = {name: price + more for name, price in prices.items() if price is not None}
    return dataclasses.replace(group, money=dataclasses.replace(group.money, **dearer))
