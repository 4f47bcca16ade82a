"""Where the time of a run goes, measured in one process: job R (11,400 trees) and the demo plan.

``python experiments/benchmark/run.py [--trials N] [--out DIR]`` prints a table and writes ``benchmark.json`` and
``benchmark.txt``. Times are of the processor, so that other work on the machine counts little. Machines differ, so the
ratio of the tree phase to its floor, measured in the same process, says more than the times. The floor is the random
draws that the tree phase makes for a tree and year, and its exponentials, logarithms and square roots, on float32
arrays of the size of a small tile, as NumPy makes them; not one multiplication. The machine's own prices stand beside
those of the machines for which the budgets were set, for a reader to scale.
"""

from __future__ import annotations

import argparse
import json
import os
import time
import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

import orchardsim
from orchardsim.core.streams import Streams
from orchardsim.operations.yard import Yard
from orchardsim.simulation import rest_to_bloom, trial_range
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.trial_range import RANGE_TRIALS
from orchardsim.trees import losses as tree_losses
from orchardsim.trees import model as tree_model

ROOT = Path(__file__).parents[2]
YEARS = 20
ROUNDS = 10
"""Runs of which the fastest counts: other work on a shared machine takes caches and clock rate away."""
CALLS = {
    # set and thinning of the tree share one draw
    "normal": {"draw_year": 1},
    # a power is written as exp(exponent log(base)), so it counts as one of each
    "exp": {
        "wood_wanted": 1,
        "wood_cost": 1,
        "return_bloom": 1,
        "growth level to the source exponent (open_canopy)": 1,
        "interception": 1,
        "set_fruit": 1,
        "find_excess, by hand": 1,
        "set_shape, height, spread and how narrow": 3,
        "shares_above, one for three sizes": 1,
        "colour_share": 1,
        "bitter_pit_share": 1,
    },
    "log": {"wood_wanted": 1, "wood_cost": 1, "return_bloom": 1, "open_canopy": 1, "set_shape": 2},
    "sqrt": {"soft_minimum, twice two": 4, "hedge_interception": 1, "two_limits with curvature": 2},
}
"""Calls on whole arrays that the tree phase makes in a year, by function of ``orchardsim.trees``: read from its code.
Bearing by leaf, whole-block factors and the few trees planted are left out."""
BUDGET_PRICES = {"multiply": 0.12, "exp": 0.5, "power": 1.2, "uniform": 2.0, "normal": 8.0}
"""ns per float32 element on the machines for which the budget was set (multiply: middle of 0.08 to 0.16)."""
BUDGETS = {"tree phase": 40.0, "losses with draws": 15.0, "whole": 90.0}
"""ns per tree and year and core: most that job R should take on those machines."""
ROOMS: dict[str, tuple[Any, tuple[str, ...]]] = {
    "trees": (
        tree_model,
        (
            "ask_dormant_work",
            "apply_pruning",
            "bloom_to_closed_canopy",
            "apply_thinning",
            "closed_canopy_to_harvest",
            "ask_harvest_work",
            "apply_summer_pruning",
            "apply_picking",
            "harvest_to_leaf_fall",
            "observe",
        ),
    ),
    "losses": (tree_losses, ("rest_losses", "season_losses", "winter_injury")),
    "draws": (rest_to_bloom, ("draw_year",)),
    "loss draws": (rest_to_bloom, ("draw_losses",)),
    "operations": (Yard, ("work", "planting", "first_planting", "order_review", "close")),
    "economy": (trial_range, ("money_results",)),
}


class Clock:
    """Wraps the functions of each room and adds up their time."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = defaultdict(float)
        self.kept: list[tuple[Any, str, Callable[..., Any]]] = []

    def __enter__(self) -> Clock:
        for room, (place, names) in ROOMS.items():
            for name in names:
                original = getattr(place, name)
                self.kept.append((place, name, original))
                setattr(place, name, self._timed(room, original))
        return self

    def __exit__(self, *exception: object) -> None:
        for place, name, original in self.kept:
            setattr(place, name, original)

    def _timed(self, room: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*values: Any, **named: Any) -> Any:
            start = time.thread_time()
            try:
                return function(*values, **named)
            finally:
                self.spent[room] += time.thread_time() - start

        return timed


def job_r(rows: int = 57) -> orchardsim.plan.Plan:
    """4 ha net at 1.0 x 3.5 m: 57 rows of 200 trees; or other rows."""
    table = tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))
    block = table["block"][0]
    for key in ("group", "pollinizer", "trees", "gross_area"):
        block.pop(key, None)
    block |= {"cultivar": "Gala", "rootstock": "M.9", "row_length": "200 m", "net_area": f"{700 * rows} m2"}
    table["block"] = [block]
    return orchardsim.load_plan(table, base=ROOT / "configs")


def prices(size: int, rounds: int = 15, repeats: int = 8) -> dict[str, float]:
    """Nanoseconds per float32 element of single operations on an array of a size: the best of some rounds."""
    rng = Streams(1).at("floor")
    x = np.linspace(0.1, 2, size, dtype=np.float32)
    out = np.empty_like(x)
    operations: dict[str, Callable[[], object]] = {
        "multiply": lambda: np.multiply(x, x, out=out),
        "exp": lambda: np.exp(x, out=out),
        "log": lambda: np.log(x, out=out),
        "sqrt": lambda: np.sqrt(x, out=out),
        "power": lambda: np.power(x, np.float32(0.37), out=out),
        "uniform": lambda: rng.random(out=out, dtype=np.float32),
        "normal": lambda: rng.standard_normal(out=out, dtype=np.float32),
    }
    found = dict.fromkeys(operations, float("inf"))
    for _ in range(rounds):
        for name, operation in operations.items():
            start = time.thread_time()
            for _ in range(repeats):
                operation()
            found[name] = min(found[name], 1e9 * (time.thread_time() - start) / repeats / size)
    return found


def floor(price: dict[str, float]) -> float:
    """Nanoseconds per tree and year of the tree phase's draws and transcendental functions alone."""
    return sum(sum(calls.values()) * price[name] for name, calls in CALLS.items())


def measure(plan: Any, trials: int, price: dict[str, float]) -> dict[str, float]:
    """Time of a range of trials by room, in ns per tree and year: the fastest of some rounds, as for the floor."""
    positions = sum(block.plan.layout.positions for block in plan.blocks)
    streams = Streams(1)
    start = time.thread_time()
    library = build_library(plan, streams, range(trials + 1), YEARS, "sampled")
    seasons = time.thread_time() - start
    trial_range.run_trials(plan, range(trials, trials + 1), YEARS, 1, "sampled", library)
    whole, spent = float("inf"), dict[str, float]()
    for _ in range(ROUNDS):
        with Clock() as clock:
            start = time.thread_time()
            trial_range.run_trials(plan, range(trials), YEARS, 1, "sampled", library)
            taken = time.thread_time() - start
        if taken < whole:
            whole, spent = taken, clock.spent
    scale = 1e9 / (trials * YEARS * positions)
    rows = {room: seconds * scale for room, seconds in spent.items()}
    rows["books, results, the rest"] = whole * scale - sum(rows.values())
    rows["whole"] = whole * scale
    rows["tree phase"] = rows["trees"] + rows["draws"]
    rows["losses with draws"] = rows["losses"] + rows["loss draws"]
    rows["floor"] = floor(price)
    rows["tree phase / floor"] = rows["tree phase"] / rows["floor"]
    rows["seasons, once [s]"] = seasons
    rows["whole [s]"] = whole
    rows["trials"] = trials
    rows["positions"] = positions
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=RANGE_TRIALS, help="trials of job R (default: those of a task)")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "latest")
    options = parser.parse_args()
    demo = orchardsim.load_plan(ROOT / "configs" / "demo.toml")
    large = job_r()
    price = prices(trial_range.tile_size(large) * large.blocks[0].plan.layout.positions)
    found: dict[str, dict[str, Any]] = {
        "job R": measure(large, options.trials, price),
        "demo": measure(demo, 2 * options.trials, price),
        "ns per element": price,
        "calls of the floor": {name: sum(calls.values()) for name, calls in CALLS.items()},
        "machine": {"load average, 1 minute": os.getloadavg()[0], "numpy": np.__version__},
    }
    table = "\n".join(_table(found))
    print(table)
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "benchmark.txt").write_text(table + "\n", encoding="utf-8")
    document = json.dumps(found, indent=1, sort_keys=True)
    (options.out / "benchmark.json").write_text(document + "\n", encoding="utf-8")


def _table(found: dict[str, dict[str, Any]]) -> Iterator[str]:
    yield "ns per float32 element   here   where the budget was set   calls of the floor"
    for name, value in found["ns per element"].items():
        calls = sum(CALLS.get(name, {}).values()) or ""
        yield f"  {name:20s}{value:9.2f}{BUDGET_PRICES.get(name, ''):>18}{calls:>20}"
    for name in ("job R", "demo"):
        rows = found[name]
        yield f"\n{name}: {rows['positions']:.0f} trees, {rows['trials']:.0f} trials of {YEARS} years"
        for room, value in rows.items():
            if room in ("trials", "positions"):
                continue
            words = (
                "" if "[s]" in room or "/" in room else f" ns per tree and year, {value / rows['floor']:5.1f} x floor"
            )
            if name == "job R" and room in BUDGETS:
                words += f"; budget {BUDGETS[room]:.0f}"
            yield f"  {room:26s}{value:9.2f}{words}"
    yield f"\nload of the machine, 1 minute: {found['machine']['load average, 1 minute']:.1f}"


if __name__ == "__main__":
    main()
