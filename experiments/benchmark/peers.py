"""The same formulas as written by hand in other ways: how long a tree and year takes, and how that grows.

``python experiments/benchmark/peers.py [--out DIR]`` lets trees go through winters with the hazards of
:mod:`orchardsim.trees.competing` (cold, voles, deer, trunk injury): as this project does it
(compiled loops, compiled draws), with arrays of NumPy in double and in single precision, with an object per tree, with
a process per tree of an event library (SimPy), and with an agent library (Mesa). All but the compiled loops
call one plain function on their own kind of numbers, and all must lose the same trees from the same random numbers.
The compiled loops also tell the cause, narrow escapes and patches of ground.
Prints a table and writes ``peers.json``, ``peers.txt`` and ``peers.png``. Times are of the processor.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import simpy

from orchardsim.core.draws import address, fill_uniforms
from orchardsim.core.streams import Streams
from orchardsim.trees.competing import RestLevel
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import patch_grid
from orchardsim.trees.loss_hazards import tree_hazards
from orchardsim.trees.loss_kernels import Losses, rest_kernel
from orchardsim.trees.loss_traits import GroundPatches

YEARS = 20
PER_ROW = 100
HAZARDS = replace(Hazards(), patchiness=0.0, maimed=0.0)
COLD, SOIL, SHORTFALL, HARDINESS, ROOTS = -24.0, -7.0, 0.0, -30.0, -10.0
VOLES, DEER, TRUNK = 0.01, 0.005, 0.003


def winter(xp: Any, h: Hazards, leaf: Any, height: Any) -> Any:
    """Hazard of a healthy tree in a winter, on numbers (``xp`` is math) or on arrays (numpy)."""

    def soft(excess: Any) -> Any:
        return xp.log(1 + xp.exp(excess))

    weakness = h.cold_youth * xp.exp((1 - leaf) / 3)
    cold = soft((HARDINESS + weakness - COLD) / h.cold_width - math.log(19))
    cold = cold + soft((SHORTFALL + weakness - h.acclimation_kill) / h.cold_width)
    cold = cold + soft((ROOTS + 0.2 * weakness - SOIL) / h.root_width)
    voles = VOLES * (1 + h.vole_youth * xp.exp((1 - leaf) / 3))
    deer = DEER * xp.exp(-height / h.deer_height)
    return cold + voles + deer + TRUNK * xp.exp((1 - leaf) / h.trunk_injury_age_scale)


def height_of(leaf: Any) -> Any:
    """m; a stand-in for growth that all share."""
    return 0.5 + 0.25 * leaf


def uniforms(trees: int) -> np.ndarray:
    """The random numbers that all use, (year, tree)."""
    out = np.empty((YEARS, 1, trees), np.float32)
    spare = np.empty((1, trees), np.float32)
    for year in range(YEARS):
        fill_uniforms(address(Streams(1), "peers", "", range(1), year), 0, out[year], spare)
    return out[:, 0]


def compiled_loops(trees: int, draws: np.ndarray) -> int:
    rows = -(-trees // PER_ROW)
    grid = patch_grid(rows, PER_ROW)
    level = RestLevel(COLD, SOIL, SHORTFALL, HARDINESS, ROOTS, VOLES, DEER, TRUNK, 0)  # type: ignore[call-arg] # fields of a table
    levels = np.array([[level]], np.float32)
    alive, leaf = np.ones((1, trees), np.bool_), np.zeros((1, trees), np.int16)
    health, height = np.ones((1, trees), np.float32), np.empty((1, trees), np.float32)
    found = Losses(np.empty((1, trees), np.int8), np.empty((1, trees), np.float32), np.zeros((1, trees), np.bool_))
    hazards, ground = tree_hazards(HAZARDS), GroundPatches(np.zeros(rows, np.int64), *grid.weights)
    even = np.zeros((1, *grid.shape), np.float32)
    for year in range(YEARS):
        leaf += 1
        height[...] = height_of(leaf)
        rest_kernel(
            hazards, levels, ground, np.float32(1), even, draws[year : year + 1], alive, leaf, health, height,
            found,
        )  # fmt: skip
        alive &= found.cause == 0
    return int(alive.sum())


def arrays(trees: int, draws: np.ndarray, kind: type) -> int:
    alive, leaf = np.ones(trees, np.bool_), np.zeros(trees, kind)
    for year in range(YEARS):
        leaf += 1
        death = -np.expm1(-winter(np, HAZARDS, leaf, height_of(leaf)))
        alive &= draws[year] >= death
    return int(alive.sum())


class Tree:
    """A tree as a program of objects writes it."""

    def __init__(self, draws: list[float]) -> None:
        self.alive, self.leaf, self.draws = True, 0, draws

    def live_through(self, year: int) -> None:
        self.leaf += 1
        if self.draws[year] < -math.expm1(-winter(math, HAZARDS, self.leaf, height_of(self.leaf))):
            self.alive = False


def objects(trees: int, draws: np.ndarray) -> int:
    block = [Tree(column) for column in draws.T.tolist()]
    for year in range(YEARS):
        for tree in block:
            if tree.alive:
                tree.live_through(year)
    return sum(tree.alive for tree in block)


def processes(trees: int, draws: np.ndarray) -> int:
    environment = simpy.Environment()

    def life(tree: Tree) -> Any:
        for year in range(YEARS):
            yield environment.timeout(1)
            tree.live_through(year)
            if not tree.alive:
                return

    block = [Tree(column) for column in draws.T.tolist()]
    for tree in block:
        environment.process(life(tree))
    environment.run()
    return sum(tree.alive for tree in block)


def agents(trees: int, draws: np.ndarray) -> int:
    import mesa

    class Orchard(mesa.Model):
        def __init__(self) -> None:
            super().__init__(rng=1)
            for column in draws.T.tolist():
                AgentTree(self, column)

    class AgentTree(mesa.Agent):
        def __init__(self, model: mesa.Model, column: list[float]) -> None:
            super().__init__(model)
            self.tree = Tree(column)

        def grow(self) -> None:
            self.tree.live_through(int(self.model.steps) - 1)
            if not self.tree.alive:
                self.remove()

    orchard = Orchard()
    for _ in range(YEARS):
        orchard.steps += 1
        orchard.agents.do("grow")
    return len(orchard.agents)


WAYS: dict[str, Callable[[int, np.ndarray], int]] = {
    "compiled loops": compiled_loops,
    "arrays, single": lambda trees, draws: arrays(trees, draws, np.float32),
    "arrays, double": lambda trees, draws: arrays(trees, draws, np.float64),
    "object per tree": objects,
    "process per tree": processes,
    "agent library": agents,
}


def timed(way: Callable[[int, np.ndarray], int], trees: int, rounds: int) -> tuple[float, int]:
    """ns per tree and year, the best of some rounds, and the trees alive at the end."""
    draws, best, left = uniforms(trees), math.inf, 0
    for _ in range(rounds):
        random.seed(1)
        start = time.process_time()
        left = way(trees, draws)
        best = min(best, time.process_time() - start)
    return 1e9 * best / (trees * YEARS), left


def picture(found: dict[str, dict[str, float]], path: Path) -> None:
    """Time per tree and year against the number of trees."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(7, 4.5), layout="constrained")
    for (name, row), marker in zip(found.items(), "os^vDX", strict=True):
        axes.loglog([int(trees) for trees in row], list(row.values()), marker=marker, label=name)
    axes.set(xlabel="trees", ylabel="ns per tree and year", title="Winter losses of a tree, the same formulas")
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)
    figure.savefig(path, dpi=110)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trees", type=int, nargs="+", default=[100, 1000, 10_000])
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "latest")
    options = parser.parse_args()
    found: dict[str, dict[str, float]] = {}
    table: list[str] = []

    def tell(name: str, values: Iterable[str]) -> None:
        table.append(name.ljust(28) + "".join(value.rjust(12) for value in values))
        print(table[-1], flush=True)

    tell(f"ns per tree and year, {YEARS} years", [f"{trees:,d}" for trees in options.trees])
    alive: dict[int, int] = {}
    for name, way in WAYS.items():
        row = {}
        for trees in options.trees:
            spent, left = timed(way, trees, 3 if trees < 5000 else 2)
            # single and double precision may differ where a random number falls between
            if abs(left - alive.setdefault(trees, left)) > 2:
                raise SystemExit(f"{name}: {left} of {trees} trees alive, others {alive[trees]}")
            row[str(trees)] = spent
        found[name] = row
        tell(f"  {name}", [f"{spent:,.1f}" for spent in row.values()])
    tell("  alive at the end", [f"{alive[trees]:,d}" for trees in options.trees])
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "peers.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    (options.out / "peers.txt").write_text("\n".join(table) + "\n", encoding="utf-8")
    picture(found, options.out / "peers.png")


if __name__ == "__main__":
    main()
