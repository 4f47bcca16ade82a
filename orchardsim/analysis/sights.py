"""From measurements to sights: what was seen of which trees, with what error, on the scale on which errors are even."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.plan import Plan, ResolvedBlock
from orchardsim.plan.measurements import TRUNK, Measurement
from orchardsim.simulation.replay import COUNT_FLOOR, FLOORS, Sight, linked

Array = NDArray[np.float64]


class SightKind(NamedTuple):
    """What is known of one measure of trees; errors are standard deviations on the linked scale (assumptions).

    Attributes
    ----------
    family : str
        Measures that one event spoils or moves together.
    model_error, season_error : float
        By how much the model of the trees may be wrong where the levels are right: in all seasons alike, and in each by
        itself. Without them two hundred trees would prove too much.
    reading_error : float
        Of one tree with the usual tool.
    when : str
        At which time of the season it is taken.
    unit : str
        On pages.
    whole : bool
        A total of all trees, not a mean of some.
    """

    family: str
    model_error: float
    season_error: float
    reading_error: float
    when: str
    unit: str = "per tree"
    whole: bool = False

    @property
    def day(self) -> int:
        """Day of the season's window on which trees are looked at."""
        return AUTUMN if self.family == "growth" else SEASON_MIDDLE


SIGHT_KINDS: Final = {
    "trunk_area": SightKind("growth", 0.05, 0.04, 0.05, "after leaf fall", "cm²"),
    "height": SightKind("growth", 0.05, 0.05, 0.03, "after leaf fall", "m"),
    "flower_clusters": SightKind("bloom", 0.30, 0.20, 0.06, "at pink bud"),
    "fruit_set": SightKind("crop", 0.20, 0.15, 0.06, "after June drop, before thinning"),
    "fruit_count": SightKind("crop", 0.15, 0.12, 0.06, "at harvest"),
    "fruit_mass": SightKind("fruit size", 0.05, 0.05, 0.03, "at harvest", "g"),
    "yield": SightKind("crop", 0.15, 0.12, 0.03, "at harvest", "kg/tree", whole=True),
    "dead_trees": SightKind("losses", 0.20, 0.20, 0.0, "in autumn", "trees", whole=True),
}
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
        return [(SIGHT_KINDS[sight.measure].family, sight.year) for sight in self.sights]

    def part(self, chosen: Sequence[int] | NDArray[np.int64]) -> Seen:
        """Some of the sights."""
        at = [int(place) for place in chosen]

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
    for row in rows:
        if row.measure == "bloom_date":
            continue
        if row.measure == "dead_trees" and row.label is None:
            raise InputError(
                where, f"line {row.line}: dead trees of block {row.block} need their row group or row; it has several"
            )
        groups.setdefault(_key(row), []).append(row)
    blocks = {block.name: block for block in plan.blocks}
    sights, labels, trees, values, reading, biases = [], [], [], [], [], []
    for own in groups.values():
        first = own[0]
        block, measure = blocks[first.block], canonical_measure(first.measure)
        positions, count, value, error = _summary(block, measure, own)
        whole = first.tree is None and SIGHT_KINDS[measure].whole
        sights.append(
            Sight(measure, first.year, _moment(first), first.block, positions, whole, _cause(first))
        )  # fmt: skip
        labels.append(first.label or first.block)
        trees.append(count)
        values.append(value)
        reading.append(error)
        biases.append(((measure, first.tool), first.bias))
    return Seen(tuple(sights), tuple(labels), tuple(trees), np.array(values), covariance_of(sights, reading, biases))


def _cause(row: Measurement) -> str:
    return "" if row.cause == "unknown" else row.cause


def _moment(row: Measurement) -> int:
    """Day on which trees are looked at: trunks by ten days in the season, all else once a season."""
    if SIGHT_KINDS[canonical_measure(row.measure)].family != "growth":
        return SEASON_MIDDLE
    return AUTUMN if row.day >= 365 else 10 * round(row.day / 10)


def _key(row: Measurement) -> tuple[object, ...]:
    measure = canonical_measure(row.measure)
    if measure == "dead_trees":
        return measure, row.block, row.label, row.year, _cause(row)
    place = ("tree",) if row.tree is not None else (row.row, row.trees)
    return measure, row.tool, row.block, row.label, row.year, _moment(row), *place


def _summary(
    block: ResolvedBlock, measure: str, own: Sequence[Measurement]
) -> tuple[tuple[int, ...], int, float, float]:
    """Positions, trees, linked value, and its standard deviation by reading errors."""
    if measure == "dead_trees":
        positions = block.positions(own[0].label)
        return positions, len(positions), float(linked(measure, sum(row.value for row in own))), 0.0
    if own[0].tree is not None:
        by_tree: dict[int, list[Measurement]] = {}
        for row in own:
            assert row.row is not None and row.tree is not None
            by_tree.setdefault((row.row - 1) * block.plan.layout.trees_per_row + row.tree - 1, []).append(row)
        readings = np.array([np.mean([row.value for row in each]) for each in by_tree.values()])
        errors = np.array([np.mean([row.error for row in each]) / math.sqrt(len(each)) for each in by_tree.values()])
        count = len(readings)
        if SIGHT_KINDS[measure].family == "growth":
            spread = float(np.sqrt(((errors / readings) ** 2).sum()) / count)
            return tuple(by_tree), count, float(np.log(readings).mean()), spread
        mean, error = float(readings.mean()), float(np.sqrt((errors**2).sum()) / count)
        return tuple(by_tree), count, float(linked(measure, mean)), error / (mean + FLOORS.get(measure, COUNT_FLOOR))
    first = own[0]
    positions = block.positions(first.label, first.row)
    trees = min(first.trees or len(positions), len(positions))
    mean = float(np.mean([row.value for row in own]))
    if measure == "yield":
        mean /= len(positions) if first.trees is None else 1.0
        error = first.error / (len(positions) if first.trees is None else math.sqrt(trees))
    else:
        error = first.error / math.sqrt(trees)
        if trees < len(positions):
            step = (np.arange(trees) + 0.5) * len(positions) / trees
            positions = tuple(positions[int(place)] for place in step)
    return positions, trees, float(linked(measure, mean)), error / (mean + FLOORS.get(measure, COUNT_FLOOR))


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

    def same(names: Sequence[object]) -> NDArray[np.bool_]:
        places = {name: place for place, name in enumerate(names)}
        codes = np.array([places[name] for name in names], dtype=np.int64)
        return codes[:, None] == codes

    def product(errors: Sequence[float]) -> Array:
        return np.outer(errors, errors)

    kinds = [SIGHT_KINDS[sight.measure] for sight in sights]
    alike = same([sight.measure for sight in sights])
    season = same([(sight.measure, sight.year, sight.cause) for sight in sights])
    covariance: Array = np.diag(np.asarray(reading, dtype=np.float64) ** 2 + 1e-10)
    covariance = covariance + alike * product([kind.model_error for kind in kinds])
    covariance = covariance + season * product([kind.season_error for kind in kinds])
    return covariance + (alike & same([tool for tool, _ in biases])) * product([bias for _, bias in biases])
