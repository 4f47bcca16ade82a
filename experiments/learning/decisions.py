"""What sixty measured trees of a first row change of the next planting, by ground and price; where they rightly do not.

Seven rows are to come beside a first row in its second leaf (configs/first_row.toml). Spacings, and loads of crop, are
weighed before any measurement and after sixty trees of a row on weak, middling and strong ground were measured, at
several price levels. Trees are walked once for each option, and money is counted again at each price. All is invented.

Usage: ``python experiments/learning/decisions.py --out DIR [--trials 120] [--parts spacing crop_load]``
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

import orchardsim
from orchardsim.analysis.decision import Money, base_tables, normals_of, shift_of
from orchardsim.analysis.learning import learned_of
from orchardsim.core.futures import Doubt, Learned
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.plan.coming import NOT_PLANTED, ways_to_plant
from orchardsim.plan.keys import with_keys
from orchardsim.simulation.futures import draw_future
from orchardsim.simulation.replay import level_normals
from orchardsim.simulation.same_futures import SameFutures

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.learning.rows import PLAN, SURE, Learner, grown_at, measured_row

PARTS = ("spacing", "crop_load", "stock_and_spacing")
YEARS, ROWS = 20, 3000
GROUND = (0.7, 1.0, 1.4)
PRICES = tuple(round(0.8 + 0.05 * step, 2) for step in range(25))
SPACINGS = ("0.7 m", "1.0 m", "1.4 m", "2.0 m")
CROP_LOADS = ((0, 2, 3, 4), (0, 4, 5, 6), (0, 6, 7, 9), (0, 8, 10, 12))
"""Fruit left per cm2 of trunk by leaf; the last holds on."""
STOCKS = {"M.9": "0.8 m", "G.935": "1.0 m", "MM.106": "1.75 m", "MM.111": "2.5 m"}
"""Each stock at a spacing of its own."""
SURE_BY = 2.0
"""Standard errors by which a gain must exceed its own error to count as beyond it."""


def at_price(plan: Plan, price: float) -> Plan:
    """The plan where fruit brings so much of its price."""
    level = {**plan.futures.stated.get("price_level", {})}
    for group in plan.groups:
        before = plan.futures.doubt("price_level", group.cultivar_name)
        level[group.cultivar_name] = Doubt(price, before.spread)
    stated = {**plan.futures.stated, "price_level": level}
    return dataclasses.replace(plan, futures=dataclasses.replace(plan.futures, stated=stated))


def money_by_price(plan: Plan, options: Mapping[str, Mapping[str, Any]], trials: int) -> dict[float, Money]:
    """Net present value of every option, and of planting nothing, at every price."""
    raw = base_tables(plan)
    tables = {name: with_keys(raw, changes, name) for name, changes in options.items()}
    ways = ways_to_plant(plan, raw, tables, (0,), PLAN.parent)
    npv: dict[float, list[np.ndarray]] = {price: [] for price in PRICES}
    for own in ways.values():
        same = SameFutures(own, trials, YEARS, 1)
        totals = same.walked(own)
        for price in PRICES:
            npv[price].append(same.values(at_price(own, price), totals))
    names, normals = level_normals(plan, draw_future(plan, Streams(1), range(trials)))
    sharp = [place for place, name in enumerate(names) if name in ("growth of next_rows", "fruit_set of Gala")]
    return {
        price: Money((*tables, NOT_PLANTED), np.stack(own), np.zeros((len(own), trials)), normals, tuple(sharp))
        for price, own in npv.items()
    }


def choices(plan: Plan, by_price: Mapping[float, Money], learned: Mapping[float, Learned]) -> list[dict[str, object]]:
    """The best option before and after measuring, by price and true ground."""
    before = normals_of(plan, None, 1, range(ROWS))
    after = {truth: normals_of(plan, own, 1, range(ROWS)) for truth, own in learned.items()}
    found = []
    for price, money in by_price.items():
        for truth, normals in after.items():
            shift = shift_of(money, before, normals, np.random.default_rng(1))
            old, new = (int(np.argmax(values)) for values in (shift.before, shift.after))
            gain, error = shift.after[new] - shift.after[old], shift.after_error[new]
            found.append(
                {
                    "price_over_catalogue": price,
                    "true_ground": truth,
                    "before": money.names[old],
                    "after": money.names[new],
                    "gain_of_changing": round(gain),
                    "error": round(error),
                    "changes": "beyond the error" if gain > SURE_BY * error else "no" if new == old else "within it",
                    "npv_before": dict(zip(money.names, map(round, shift.before), strict=True)),
                    "npv_after": dict(zip(money.names, map(round, shift.after), strict=True)),
                }
            )
    return found


def planted(money: Money) -> Money:
    """Only the ways to plant: for land that is planted whatever comes."""
    return money.part(range(len(money.names) - 1))


def learned_rows(plan: Plan) -> dict[float, Learned]:
    """What sixty trees of a row on each ground tell."""
    seen = measured_row(plan, 60)
    learner = Learner(plan, seen)
    answers = {truth: learner.answer(grown_at(plan, seen, {**SURE, "site_growth": truth}, 91)) for truth in GROUND}
    return {truth: learned_of(one.parts, one.found.draws) for truth, one in answers.items()}


def words(load: Sequence[int]) -> str:
    """A load of crop in words."""
    return ", ".join(map(str, load)) + " fruit per cm2 by leaf"


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the parts and write the numbers; what other parts found before stays."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=120)
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    plan = orchardsim.load_plan(PLAN)
    learned = learned_rows(plan)
    spacing = {f"{one} between trees": {"block.next_rows.tree_spacing": one} for one in SPACINGS}
    load = {words(one): {"block.next_rows.crop_load_target": list(one)} for one in CROP_LOADS}
    path = options.out / "decisions.json"
    document = json.loads(path.read_text()) if path.exists() else {}
    stock = {
        f"{name} at {room}": {"block.next_rows.rootstock": name, "block.next_rows.tree_spacing": room}
        for name, room in STOCKS.items()
    }
    for part, ways in zip(PARTS, (spacing, load, stock), strict=True):
        if part in options.parts:
            money = money_by_price(plan, ways, options.trials)
            document[part] = {
                "trials": options.trials,
                "years": YEARS,
                "choices": choices(plan, money, learned),
                "planted_anyway": choices(plan, {price: planted(own) for price, own in money.items()}, learned),
            }
    path.write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
