"""Rows of configs/first_row.toml that grow at known levels, measured with tape, count and scale, and learned from."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from orchardsim.analysis.learning import Answer, Table, learn, levels_of_parts, table_of
from orchardsim.analysis.sights import Seen, seen_of
from orchardsim.core.futures import Doubt
from orchardsim.plan import Plan
from orchardsim.plan.measurements import parse_measurements
from orchardsim.simulation.replay import Replay

PLAN = Path(__file__).parents[2] / "configs" / "first_row.toml"
SURE = {"stock_by_site": 1.0, "cultivar_by_site": 1.0, "fruit_set": 1.0, "fruit_size": 1.0}


def measured_row(plan: Plan, trees: int, everything: bool = True) -> Seen:
    """Which trees are measured, and how well; the values are replaced."""
    per_row = plan.blocks[0].plan.layout.trees_per_row
    rows = [(1 + tree // per_row, 1 + tree % per_row) for tree in range(trees)]
    lines = [f"{year}-11-18,first_row,{r},{t},trunk_girth,90,mm" for year in (2019, 2020) for r, t in rows]
    if everything:
        for month, measure in (("04", "flower_clusters"), ("06", "fruit_set"), ("08", "fruit_count")):
            lines += [f"2020-{month}-08,first_row,{r},{t},{measure},20," for r, t in rows[::3]]
        lines += ["2020-08-20,first_row,,,yield,400,kg", "2020-08-20,first_row,,,fruit_mass,200,g"]
    text = "date,block,row,tree,measure,value,unit\n" + "\n".join(lines)
    return seen_of(plan, parse_measurements(text, plan, "rows").rows, "rows")


def grown_at(plan: Plan, seen: Seen, levels: Mapping[str, float], seed: int) -> Seen:
    """What is seen of a row that grew at known levels, with the errors of reading."""
    stated = {name: {"": Doubt(value, 0.0)} for name, value in levels.items()}
    futures = dataclasses.replace(plan.futures, stated={**plan.futures.stated, **stated})
    values = Replay(dataclasses.replace(plan, futures=futures), seen.sights, seed).run(range(1)).values[0]
    return dataclasses.replace(seen, values=values)


class Learner:
    """Learns from many rows of one plan and one way of measuring: the rows to learn from are grown once."""

    def __init__(self, plan: Plan, seen: Seen) -> None:
        self.replay = Replay(plan, seen.sights, 1)
        self.table: Table = table_of(self.replay, range(2000))

    def answer(self, seen: Seen) -> Answer:
        """What a row leaves open."""
        return learn(self.replay.plan, seen, self.table, np.random.default_rng(1))

    def growth(self, seen: Seen) -> np.ndarray:
        """Growth of the row's trees, drawn."""
        answer = self.answer(seen)
        spread = math.sqrt(0.30**2 + 0.10**2 + 0.06**2)
        return np.exp(spread * levels_of_parts(self.replay.plan, answer.parts, answer.found.draws)[:, 0])
