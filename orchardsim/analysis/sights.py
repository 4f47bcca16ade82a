"""From measurements to sights: what was seen of which trees, with what error, on the scale on which errors are even."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.plan import Plan, ResolvedBlock
from orchardsim.plan.measurements import TRUNK, Measurement
from orchardsim.simulation.replay import COUNT_FLOOR, MASS_FLOOR, Sight, linked

Array = NDArray[np.float64]
MODEL_ERROR: Final = {
    "trunk_area": (0.05, 0.04),
    "height": (0.05, 0.05),
    "flower_clusters": (0.30, 0.20),
    "fruit_set": (0.20, 0.15),
    "fruit_count": (0.15, 0.12),
    "fruit_mass": (0.05, 0.05),
    "yield": (0.15, 0.12),
    "dead_trees": (0.20, 0.20),
}
"""By how much the model of the trees may be wrong in a measure where the levels are right, as a standard deviation on
the linked scale: in all seasons alike, and in each by itself (assumption; without it two hundred trees would prove too
much)."""
FAMILY: Final = {
    "trunk_area": "growth",
    "height": "growth",
    "flower_clusters": "bloom",
    "fruit_set": "crop",
    "fruit_count": "crop",
    "yield": "crop",
    "fruit_mass": "fruit size",
    "dead_trees": "losses",
}
"""Measures that one event spoils or moves together."""
AUTUMN: Final = 410
"""Day of the season's window that stands for leafless trees after the season."""
SEASON_MIDDLE: Final = 250


@dataclass(frozen=True)
class Seen:
    """What was seen.

    Attributes
    ----------
    labels : tuple of str
        Row group or block of each.
    trees : tuple of int
        Trees behind each.
    values : array, (sight,)
        On the linked scale.
    errors : array, (sight, sight)
        Covariance of reading errors, of tools that are off, and of a model that is.
    """

    sights: tuple[Sight, ...]
    labels: tuple[str, ...]
    trees: tuple[int, ...]
    values: Array
    errors: Array

    @property
    def groups(self) -> list[tuple[str, int]]:
        """(family, year) of each sight."""
        return [(FAMILY[one.measure], one.year) for one in self.sights]

    def part(self, chosen: Sequence[int] | NDArray[np.int64]) -> Seen:
        """Some of the sights."""
        at = [int(one) for one in chosen]

        def of(values: Sequence) -> tuple:
            return tuple(values[place] for place in at)

        return Seen(
            of(self.sights), of(self.labels), of(self.trees), self.values[at], self.errors[np.ix_(at, at)]
        )  # fmt: skip


def canonical_measure(measure: str) -> str:
    """Measure of a sight: every way to measure a trunk gives its area, every way to size fruit its mass."""
    return "trunk_area" if measure in TRUNK else "fruit_mass" if measure == "fruit_diameter" else measure


def seen_of(plan: Plan, rows: Sequence[Measurement], where: str) -> Seen:
    """Sights of measurements; bloom dates are no sights.

    Raises InputError if dead trees are told of a block of several row groups.
    """
    groups: dict[tuple[object, ...], list[Measurement]] = {}
    for one in rows:
        if one.measure == "bloom_date":
            continue
        if one.measure == "dead_trees" and one.label is None:
            raise InputError(
                where, f"line {one.line}: dead trees of block {one.block} need their row group or row; it has several"
            )
        groups.setdefault(_key(one), []).append(one)
    blocks = {block.name: block for block in plan.blocks}
    sights, labels, trees, values, reading, biases = [], [], [], [], [], []
    for own in groups.values():
        first = own[0]
        block, measure = blocks[first.block], canonical_measure(first.measure)
        positions, count, value, error = _summary(block, measure, own)
        whole = first.tree is None and measure in ("yield", "dead_trees")
        sights.append(
            Sight(measure, first.year, _moment(first), first.block, positions, whole, _cause(first))
        )  # fmt: skip
        labels.append(first.label or first.block)
        trees.append(count)
        values.append(value)
        reading.append(error)
        biases.append(((measure, first.tool), first.bias))
    return Seen(tuple(sights), tuple(labels), tuple(trees), np.array(values), covariance_of(sights, reading, biases))


def _cause(one: Measurement) -> str:
    return "" if one.cause == "unknown" else one.cause


def _moment(one: Measurement) -> int:
    """Day on which trees are looked at: trunks by ten days in the season, all else once a season."""
    if canonical_measure(one.measure) not in ("trunk_area", "height"):
        return SEASON_MIDDLE
    return AUTUMN if one.day >= 365 else 10 * round(one.day / 10)


def _key(one: Measurement) -> tuple[object, ...]:
    measure = canonical_measure(one.measure)
    if measure == "dead_trees":
        return measure, one.block, one.label, one.year, _cause(one)
    place = ("tree",) if one.tree is not None else (one.row, one.trees)
    return measure, one.tool, one.block, one.label, one.year, _moment(one), *place


def _summary(
    block: ResolvedBlock, measure: str, own: Sequence[Measurement]
) -> tuple[tuple[int, ...], int, float, float]:
    """Positions, trees, linked value, and its standard deviation by reading errors."""
    if measure == "dead_trees":
        positions = block.positions(own[0].label)
        return positions, len(positions), float(linked(measure, sum(one.value for one in own))), 0.0
    if own[0].tree is not None:
        by_tree: dict[int, list[Measurement]] = {}
        for one in own:
            assert one.row is not None and one.tree is not None
            by_tree.setdefault((one.row - 1) * block.plan.layout.trees_per_row + one.tree - 1, []).append(one)
        readings = np.array([np.mean([one.value for one in each]) for each in by_tree.values()])
        errors = np.array([np.mean([one.error for one in each]) / math.sqrt(len(each)) for each in by_tree.values()])
        count = len(readings)
        if measure in ("trunk_area", "height"):
            spread = float(np.sqrt(((errors / readings) ** 2).sum()) / count)
            return tuple(by_tree), count, float(np.log(readings).mean()), spread
        mean, error = float(readings.mean()), float(np.sqrt((errors**2).sum()) / count)
        return tuple(by_tree), count, float(linked(measure, mean)), error / (mean + _floor(measure))
    first = own[0]
    positions = block.positions(first.label, first.row)
    trees = min(first.trees or len(positions), len(positions))
    mean = float(np.mean([one.value for one in own]))
    if measure == "yield":
        mean /= len(positions) if first.trees is None else 1.0
        error = first.error / (len(positions) if first.trees is None else math.sqrt(trees))
    else:
        error = first.error / math.sqrt(trees)
        if trees < len(positions):
            step = (np.arange(trees) + 0.5) * len(positions) / trees
            positions = tuple(positions[int(place)] for place in step)
    return positions, trees, float(linked(measure, mean)), error / (mean + _floor(measure))


def _floor(measure: str) -> float:
    return (
        MASS_FLOOR if measure == "yield" else 0.0 if measure in ("trunk_area", "height", "fruit_mass") else COUNT_FLOOR
    )


def covariance_of(
    sights: Sequence[Sight], reading: Sequence[float], biases: Sequence[tuple[tuple[str, str], float]]
) -> Array:
    """Covariance of what is seen and what trees are: readings, tools that are off, and a model that is.

    Parameters
    ----------
    reading : sequence of float
        Standard deviation by reading errors, on the linked scale.
    biases : sequence of ((measure, tool), relative bias)
    """
    count = len(sights)
    found = np.diag(np.array(reading) ** 2 + 1e-10) if count else np.zeros((0, 0))
    for i in range(count):
        for j in range(count):
            if sights[i].measure != sights[j].measure:
                continue
            common, own = MODEL_ERROR[sights[i].measure]
            found[i, j] += common**2
            if (sights[i].year, sights[i].cause) == (sights[j].year, sights[j].cause):
                found[i, j] += own**2
            if biases[i][0] == biases[j][0]:
                found[i, j] += biases[i][1] * biases[j][1]
    return found
