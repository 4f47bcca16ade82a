"""Fit the shared tree parameters to the published targets, leave targets out, and tell how well they are known.

    python experiments/calibration/fit.py --out DIR                 least squares from the catalogue's values
    python experiments/calibration/fit.py --out DIR --starts 4      also from places around them
    python experiments/calibration/fit.py --out DIR --without T7,T10    leave targets out and predict them
    python experiments/calibration/fit.py --out DIR --intervals     profile of each parameter

A target's error is how far its figure lies outside the middle three quarters of its tolerance, in half widths of it; the
fit is nonlinear least squares (trust region, SciPy) on these, with a pull of a twentieth towards the middle of each box.
Plantings hold their random numbers fixed, so the errors are smooth in the parameters.
"""  # noqa: E501

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
import time
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.calibration.cases import GOOD_GROWER, Draws, Row
from experiments.calibration.harness import load_physiology
from orchardsim.trees.parameters import Physiology

BOXES: Final[dict[str, tuple[float, float]]] = {
    "leaf_per_trunk": (0.2, 1.5),
    "leaf_per_reach": (1, 6),
    "competition": (0, 1),
    "leaf_of_roots": (5, 30),
    "shoot_pull": (0.02, 1),
    "trunk_growth": (0.5, 9),
    "size_exponent": (0.4, 2.5),
    "fruit_curvature": (0.2, 0.97),
    "good": (1.1, 2.0),
}
"""What is fitted, with the box that it is searched in; ``good`` is the good grower's site level."""
NAMES: Final = tuple(BOXES)
LOW, HIGH = (np.array([BOXES[name][end] for name in NAMES]) for end in (0, 1))
WEIGHTS: Final = {
    **dict.fromkeys(("T7", "T11", "T13", "T14", "T15", "T30", "T32", "T33"), 2.0),
    **dict.fromkeys(("T8", "T24", "T31"), 4.0),
    **dict.fromkeys(("T2", "T6", "T9", "T10"), 6.0),
    **dict.fromkeys(("T3", "T23", "T25", "T26", "T28"), 10.0),
    "own": 0.5,
}
"""Targets that bear on how close to plant and what to plant, and those that whole plans meet narrowly, count more."""
PULL: Final = 0.05
MOST: Final = 6.0
"""Half widths beyond which an error counts no more."""
RISE: Final = 1.0
"""Rise of the cost that ends a parameter's interval: one squared half width of a tolerance."""
DRAWS: Final = 4
"""Draws of soil, trees and years that a figure is a mean over."""
Point = NDArray[np.float64]


class Fit:
    """Errors of the targets as a function of the boxed parameters, each from 0 to 1."""

    def __init__(self, trees: int, without: frozenset[str]) -> None:
        self.plantings = Draws(DRAWS, trees)
        self.without = without
        self.base = load_physiology()

    def start(self) -> Point:
        """The catalogue's values and the good grower's level."""
        known = {**dataclasses.asdict(self.base), "good": GOOD_GROWER}
        return np.clip((np.array([known[name] for name in NAMES]) - LOW) / (HIGH - LOW), 0.01, 0.99)

    def parameters(self, point: Point) -> tuple[Physiology, float]:
        values = dict(zip(NAMES, (LOW + point * (HIGH - LOW)).tolist(), strict=True))
        good = values.pop("good")
        return dataclasses.replace(self.base, **values), good

    def rows(self, point: Point) -> list[Row]:
        return self.plantings.figures(*self.parameters(point))

    def errors(self, point: Point) -> Point:
        counted = [row for row in self.rows(point) if row.id not in self.without]
        errors = [np.sqrt(row.weight * WEIGHTS.get(row.id, 1.0)) * min(row.miss, MOST) for row in counted]
        return np.concatenate([np.nan_to_num(errors, nan=MOST), PULL * (point - 0.5)])

    def improve(self, point: Point, rounds: int = 3) -> tuple[Point, float]:
        """Least squares from a point; a few rounds with finer differences."""
        cost = np.inf
        for number in range(rounds):
            step = 2e-2 if number < 2 else 8e-3
            found = least_squares(self.errors, point, bounds=(0, 1), diff_step=step, max_nfev=10, x_scale=0.1)
            point, last, cost = np.clip(found.x, 0.01, 0.99), cost, 2 * found.cost
            if last - cost < 1e-3:
                break
        return point, cost

    def interval(self, best: Point, at: int) -> tuple[float, float]:
        """Ends of a parameter's profile: where the cost, the others refitted by one linear step, rises by one."""
        slope = self.jacobian(best)
        others = np.delete(np.arange(len(best)), at)
        normal = slope.T @ slope
        # curvature of the cost along the parameter with the others at their best: Schur complement
        inner = normal[np.ix_(others, others)]
        curvature = normal[at, at] - normal[at, others] @ np.linalg.solve(inner, normal[others, at])
        half = np.sqrt(RISE / max(curvature, 1e-9))
        ends = np.clip([best[at] - half, best[at] + half], 0, 1)
        width = HIGH[at] - LOW[at]
        return float(LOW[at] + ends[0] * width), float(LOW[at] + ends[1] * width)

    def jacobian(self, point: Point) -> NDArray[np.float64]:
        if getattr(self, "_at", None) is None or not np.array_equal(self._at, point):
            step = 2e-2
            columns = []
            for i in range(len(point)):
                up, down = point.copy(), point.copy()
                up[i], down[i] = min(point[i] + step, 1), max(point[i] - step, 0)
                columns.append((self.slopes(up) - self.slopes(down)) / (up[i] - down[i]))
            self._at, self._jacobian = point.copy(), np.stack(columns, axis=1)
        return self._jacobian

    def slopes(self, point: Point) -> Point:
        """Figures themselves in half widths (also inside the tolerance), so that met rows inform the interval too."""
        counted = [row for row in self.rows(point) if row.id not in self.without]
        places = [np.sqrt(row.weight) * np.clip(row.place, -MOST, MOST) for row in counted]
        return np.concatenate([np.nan_to_num(places, nan=MOST), PULL * (point - 0.5)])


def table(rows: list[Row], without: frozenset[str] = frozenset()) -> str:
    lines = []
    for row in rows:
        verdict = ("met" if row.met else "MISSED") + (" (left out)" if row.id in without else "")
        lines.append(
            f"{row.id:4s} {row.what:64.64s} {row.published:>16s} [{row.low:.3g}, {row.high:.3g}] {row.value:9.3g} {verdict}"  # noqa: E501
        )
    lines.append(f"{sum(row.met for row in rows)} of {len(rows)} rows met")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trees", type=int, default=48, help="trees in each row of a planting")
    parser.add_argument("--starts", type=int, default=1)
    parser.add_argument("--without", default="")
    parser.add_argument("--intervals", action="store_true")
    parser.add_argument("--keep", action="store_true", help="take the catalogue's values as they are")
    options = parser.parse_args()
    without = frozenset(filter(None, options.without.split(",")))
    fit, rng, began = Fit(options.trees, without), np.random.default_rng(1), time.time()
    best, least = fit.start(), float((fit.errors(fit.start()) ** 2).sum())
    for number in range(0 if options.keep else options.starts):
        point = fit.start() if number == 0 else np.clip(fit.start() + rng.normal(0, 0.12, len(NAMES)), 0.03, 0.97)
        if without:
            point = 0.5 * point + 0.25  # halfway to the middle: what was left out must not be remembered
        point, cost = fit.improve(point)
        print(f"start {number}: {cost:.3f} after {time.time() - began:.0f} s", flush=True)
        if cost < least or (without and number == 0):
            best, least = point, cost
    values = dict(zip(NAMES, (LOW + best * (HIGH - LOW)).tolist(), strict=True))
    text = table(Fit(2 * options.trees, without).rows(best), without)
    found: dict[str, object] = {"cost": least, "values": values, "without": sorted(without)}
    if options.intervals:
        found["intervals"] = {name: fit.interval(best, i) for i, name in enumerate(NAMES)}
        for name, (low, high) in found["intervals"].items():  # type: ignore[attr-defined]
            text += f"\n{name:22s} {values[name]:9.4g}   {low:.4g} to {high:.4g}   box {BOXES[name]}"
    print(text)
    options.out.mkdir(parents=True, exist_ok=True)
    name = "without_" + "_".join(sorted(without)) if without else "fit"
    (options.out / f"{name}.json").write_text(json.dumps(found, indent=1) + "\n")
    (options.out / f"{name}.txt").write_text(text + "\n")


if __name__ == "__main__":
    main()
