"""Where the time of a run goes, measured in one process: job R (11,400 trees) and the demo plan.

``python experiments/benchmark/run.py [--trials N] [--out DIR]`` prints a table and writes ``benchmark.json``. Machines
differ and are shared, so the ratios to the floor measured in the same run say more than the times. The floor is
what no implementation of these formulas on arrays can avoid: the random draws of a tree and year, and its
exponentials and powers, on float32 arrays of the same size.
"""

from __future__ import annotations

import argparse
import json
import time
import tomllib
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

import orchardsim
from orchardsim.core.streams import Streams
from orchardsim.operations.yard import Yard
from orchardsim.simulation import tile as tile_module
from orchardsim.simulation import unit as unit_module
from orchardsim.simulation.seasons import build_library

ROOT = Path(__file__).parents[2]
YEARS = 20
TRANSCENDENTAL = {"exp": 8, "power": 8}
"""Calls per tree and year that the formulas of growth, light and bearing need: counted in ``trees``; the floor
prices them at this machine's speed."""
ROOMS: dict[str, tuple[Any, tuple[str, ...]]] = {
    "trees": (
        tile_module.trees,
        (
            "rest_to_bloom",
            "bloom_to_closed_canopy",
            "thin",
            "closed_canopy_to_harvest",
            "ripe_fruit",
            "harvest",
            "harvest_to_leaf_fall",
            "observe",
        ),
    ),
    "losses": (tile_module.losses, ("rest_losses", "season_losses", "winter_injury")),
    "draws": (tile_module, ("draw_year",)),
    "loss draws": (tile_module.losses, ("draw_losses",)),
    "operations": (Yard, ("work", "planting", "first_planting", "order_review", "close")),
    "economy": (unit_module, ("money_results",)),
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
            start = time.perf_counter()
            try:
                return function(*values, **named)
            finally:
                self.spent[room] += time.perf_counter() - start

        return timed


def job_r() -> orchardsim.plan.Plan:  # type: ignore[name-defined]
    """4 ha net at 1.0 x 3.5 m: 57 rows of 200 trees."""
    table = tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))
    block = table["block"][0]
    for key in ("group", "pollinizer", "trees", "gross_area"):
        block.pop(key, None)
    block |= {"cultivar": "Gala", "rootstock": "M.9", "row_length": "200 m", "net_area": "39900 m2"}
    table["block"] = [block]
    return orchardsim.load_plan(table, base=ROOT / "configs")


def floor(positions: int, repeats: int = 200) -> float:
    """Seconds per tree and year of the draws and transcendental functions alone."""
    rng = Streams(1).at("floor")
    x = np.linspace(0.1, 2, positions, dtype=np.float32)
    out = np.empty_like(x)
    start = time.perf_counter()
    for _ in range(repeats):
        rng.standard_normal(out=out, dtype=np.float32)
        for _ in range(2):
            rng.random(out=out, dtype=np.float32)
        for _ in range(TRANSCENDENTAL["exp"]):
            np.exp(x, out=out)
        for _ in range(TRANSCENDENTAL["power"]):
            np.power(x, np.float32(0.37), out=out)
    return (time.perf_counter() - start) / repeats / positions


def measure(plan: Any, trials: int) -> dict[str, float]:
    """Time of a unit of work by room, in ns per tree and year."""
    positions = sum(block.plan.layout.positions for block in plan.blocks)
    streams = Streams(1)
    start = time.perf_counter()
    library = build_library(plan, streams, range(trials + 1), YEARS, "sampled")
    seasons = time.perf_counter() - start
    unit_module.run_unit(plan, range(trials, trials + 1), YEARS, 1, "sampled", library)
    with Clock() as clock:
        start = time.perf_counter()
        unit_module.run_unit(plan, range(trials), YEARS, 1, "sampled", library)
        whole = time.perf_counter() - start
    scale = 1e9 / (trials * YEARS * positions)
    rows = {room: spent * scale for room, spent in clock.spent.items()}
    rows["books, results, the rest"] = whole * scale - sum(rows.values())
    rows["whole"] = whole * scale
    rows["floor"] = floor(positions) * 1e9
    rows["seasons, once [s]"] = seasons
    rows["whole [s]"] = whole
    rows["trials"] = trials
    rows["positions"] = positions
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=4, help="trials of job R (default 4)")
    parser.add_argument("--out", type=Path, help="folder for benchmark.json")
    options = parser.parse_args()
    demo = orchardsim.load_plan(ROOT / "configs" / "demo.toml")
    found = {"job R": measure(job_r(), options.trials), "demo": measure(demo, 10 * options.trials)}
    for name, rows in found.items():
        print(f"\n{name}: {rows['positions']:.0f} trees, {rows['trials']:.0f} trials of {YEARS} years")
        for room, value in rows.items():
            if room in ("trials", "positions"):
                continue
            unit = "" if "[s]" in room else f" ns per tree and year, {value / rows['floor']:5.1f} x floor"
            print(f"  {room:26s}{value:9.2f}{unit}")
    if options.out is not None:
        options.out.mkdir(parents=True, exist_ok=True)
        path = options.out / "benchmark.json"
        path.write_text(json.dumps(found, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
