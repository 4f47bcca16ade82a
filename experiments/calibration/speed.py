"""Time of the tree phase per tree-year, against its floor: only its random draws and transcendental functions.

    python experiments/calibration/speed.py [--trials 2] [--years 20] [--repeat 3]

Block of job R: 57 rows of 200 trees. The two are measured in turn in one process; the smallest of the repeats counts.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from cases import spindle
from harness import NORTH, load_physiology, season_of

from orchardsim.core.streams import Streams
from orchardsim.trees import model as trees
from orchardsim.trees.block import BlockModel
from orchardsim.trees.variation import draw_year


def tree_phase(trials: int, years: int) -> float:
    """Seconds of ``years`` seasons of the tree phase, draws included."""
    model = BlockModel(spindle(1.0, 1.0, 3.5, rows=57, trees_per_row=200), load_physiology())
    streams = Streams(1)
    state = model.new_state(trials)
    season = season_of(NORTH["Gala"], trials, 1)
    done = np.ones((trials, 1))
    draws = None
    spent = 0.0
    for year in range(years):
        start = time.perf_counter()
        draws = draw_year([streams.at("trees", "x", trial=t, year=year) for t in range(trials)], model.positions, draws)
        trees.rest_to_bloom(model, state)
        if year == 0:
            model.plant(state, draws)
        trees.bloom_to_closed_canopy(model, state, season, draws)
        trees.thin(model, state, done, done * 0)
        trees.closed_canopy_to_harvest(model, state, season)
        trees.ripe_fruit(model, state, season)
        trees.harvest(model, state, np.ones((trials, 1, model.pass_count)), done * 0)
        trees.harvest_to_leaf_fall(model, state, season)
        trees.observe(model, state)
        spent += time.perf_counter() - start
    return spent


def floor(trials: int, years: int) -> float:
    """Seconds of the same draws, exponentials, powers and roots alone."""
    streams = Streams(1)
    positions = 57 * 200
    value = np.full((trials, positions), 0.7, dtype=np.float32)
    out = np.empty_like(value)
    draws = None
    start = time.perf_counter()
    for year in range(years):
        draws = draw_year([streams.at("trees", "x", trial=t, year=year) for t in range(trials)], positions, draws)
        for _ in range(EXPONENTIALS):
            np.exp(value, out=out)
        for _ in range(POWERS):
            np.power(value, np.float32(0.37), out=out)
        for _ in range(ROOTS):
            np.sqrt(value, out=out)
    return time.perf_counter() - start


EXPONENTIALS, POWERS, ROOTS = 9, 6, 7
"""Transcendental calls per tree-year in the model: set, thinning, interception, bearing, colour, pits, three sizes;
level, wood wanted, wood cost, height, spread, return bloom; two soft minima, hedge, two fruit limits."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=2)
    parser.add_argument("--years", type=int, default=20)
    parser.add_argument("--repeat", type=int, default=3)
    chosen = parser.parse_args()
    tree_years = chosen.trials * chosen.years * 57 * 200
    spent, least = [], []
    for _ in range(chosen.repeat):
        spent.append(tree_phase(chosen.trials, chosen.years))
        least.append(floor(chosen.trials, chosen.years))
    ours, base = min(spent) / tree_years * 1e9, min(least) / tree_years * 1e9
    print(f"tree phase {ours:.1f} ns per tree-year, floor {base:.1f} ns, ratio {ours / base:.2f}")


if __name__ == "__main__":
    main()
