"""Grows measured blocks again through the seasons since their planting, and looks at the trees as a grower would.

Work is taken as done in time, as in all years before year 0. Seasons of the record are the years' own; years that the
record does not hold are drawn from its baseline, for each simulated row anew.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.futures import HAZARD_CAUSES, OPEN_LEVELS
from orchardsim.core.labels import CAUSES
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan, ResolvedBlock
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.futures import Levels, draw_future
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.step import Step, Steps, inserted
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.year import PAST_YEAR

Array = NDArray[np.float64]
GROWTH_DAYS: Final = 130
"""day; from full bloom until a trunk has made its year's growth, evenly (assumption: early September)."""
TILE_POSITIONS: Final = 60_000
COUNT_FLOOR: Final = 0.5
"""Fruit or clusters added to a tree's mean before the logarithm, so that none is a number too."""
MASS_FLOOR: Final = 0.1
"""kg; the same for crops."""


@dataclass(frozen=True)
class Sight:
    """What was seen of some trees at one time, as one number.

    Attributes
    ----------
    measure : str
        trunk_area, height, flower_clusters, fruit_set, fruit_count, fruit_mass, yield or dead_trees.
    year, day : int
        Year of the plan, and day of that season's window.
    block : str
    positions : tuple of int
        Planting positions of the trees.
    whole : bool
        A total of all positions, the dead among them.
    cause : str
        Of dead trees; empty: all causes.
    """

    measure: str
    year: int
    day: int
    block: str
    positions: tuple[int, ...]
    whole: bool = False
    cause: str = ""


FLOORS: Final = {"trunk_area": 0.0, "height": 0.0, "fruit_mass": 0.0, "yield": MASS_FLOOR}
"""Added before the logarithm; :data:`COUNT_FLOOR` to all others."""


def linked(measure: str, value: Array | float) -> Array:
    """A mean on the scale on which errors are even: logarithms; square roots of dead trees."""
    if measure == "dead_trees":
        return np.sqrt(np.asarray(value) + 0.375)  # Anscombe 1948: steadies the variance of counts
    with np.errstate(divide="ignore", invalid="ignore"):
        logarithm: Array = np.log(np.asarray(value, dtype=np.float64) + FLOORS.get(measure, COUNT_FLOOR))
    return logarithm


def unlinked(measure: str, value: Array | float) -> Array:
    """The number behind :func:`linked`."""
    if measure == "dead_trees":
        return np.maximum(np.asarray(value), 0.0) ** 2 - 0.375
    number: Array = np.maximum(np.exp(np.asarray(value, dtype=np.float64)) - FLOORS.get(measure, COUNT_FLOOR), 0.0)
    return number


@dataclass(frozen=True)
class Replayed:
    """Simulated rows.

    Attributes
    ----------
    values : array, (row, sight)
        On the scale of :func:`linked`; NaN where a simulated row had no such tree.
    levels : Levels
        That each row met, over the labels of ``plan``.
    plan : Plan
        The measured blocks alone, years counted from the first planting.
    lacking : tuple of int
        Calendar years that the record does not hold.
    """

    values: Array
    levels: Levels
    plan: Plan
    lacking: tuple[int, ...]


def replay_plan(plan: Plan, names: Sequence[str]) -> tuple[Plan, int]:
    """The named blocks alone on their own seasons, years counted from the first planting; and that year of the plan."""
    chosen = [block for block in plan.blocks if block.name in names]
    first = min(block.year_planted for block in chosen)
    assert plan.calendar_year is not None
    weather = dataclasses.replace(
        plan.weather,
        method="resample" if plan.weather.record is not None else plan.weather.method,
        trend="keep",
        warming=tuple(0.0 for _ in plan.weather.warming),
        baseline_years=None,
    )
    shifted = tuple(_shifted(block, -first) for block in chosen)
    return dataclasses.replace(plan, blocks=shifted, weather=weather, calendar_year=plan.calendar_year + first), first


def _shifted(block: ResolvedBlock, years: int) -> ResolvedBlock:
    own = dataclasses.replace(
        block.plan,
        year_planted=block.year_planted + years,
        year_removed=None,
        trunk_area_at_start=None,
        crop_at_start=None,
    )
    return dataclasses.replace(block, plan=own)


class Replay:
    """Grows the measured blocks of a plan again, as often as asked.

    ``sights``: in the order of the values' columns.
    """

    def __init__(self, plan: Plan, sights: Sequence[Sight], seed: int) -> None:
        self.sights = tuple(sights)
        self.plan, self.first = replay_plan(plan, [sight.block for sight in sights])
        self.years = max(sight.year for sight in sights) - self.first + 1
        self.seed = seed
        self._library: SeasonLibrary | None = None
        self.lacking: tuple[int, ...] = ()

    def library(self, trials: range) -> SeasonLibrary:
        """Seasons of so many rows; those of the record are the same in all."""
        if self._library is None or len(self._library.sample.season_rows) < trials.stop:
            drawn = build_library(self.plan, Streams(self.seed), range(trials.stop), self.years, "sampled")
            sample = drawn.sample
            assert self.plan.calendar_year is not None
            known = {int(sample.seasons.harvest_year[row]): int(row) for row in sample.history}
            if self.plan.weather.record is None:
                known = {}
            calendar = {year: self.plan.calendar_year + year for year in range(self.years)}
            self.lacking = tuple(own for own in calendar.values() if own not in known)
            rows = {
                year: np.full(trials.stop, known[own], dtype=np.int64) for year, own in calendar.items() if own in known
            }
            self._library = drawn.with_season_rows(rows)
        return self._library

    def run(self, trials: range, plan: Plan | None = None) -> Replayed:
        """Grow rows ``trials``.

        ``plan``, optional: the same blocks under other futures, in place of the replayed plan.
        """
        grown = self.plan if plan is None else plan
        library = self.library(trials)
        streams = Streams(self.seed)
        positions = sum(block.plan.layout.positions for block in grown.blocks)
        size = max(1, min(TILE_POSITIONS // max(positions, 1), 500))
        parts = []
        for start in range(trials.start, trials.stop, size):
            tile_trials = range(start, min(start + size, trials.stop))
            parts.append(self._tile(grown, library, streams, tile_trials))
        return Replayed(np.concatenate(parts), draw_future(grown, streams, trials), grown, self.lacking)

    def _tile(self, plan: Plan, library: SeasonLibrary, streams: Streams, trials: range) -> Array:
        watch = _Watch()
        totals = Totals(len(trials), self.years, plan.labels)
        tile = Tile(plan, library, streams, trials, self.years, totals, trials.start, steps=_steps(watch), yards=False)
        values = np.full((len(trials), len(self.sights)), np.nan)
        for year in range(self.years):
            tile.walk(year)
            for column, sight in enumerate(self.sights):
                if sight.year - self.first == year:
                    values[:, column] = _seen(tile, watch, sight, year)
        return values


class _Watch:
    """Keeps what a year's later steps change: the trunk in spring, the fruit after the drop."""

    def __init__(self) -> None:
        self.kept: dict[int, dict[str, NDArray[np.float32]]] = {}

    def __call__(self, tile: Tile, year: int) -> None:
        for block in tile.standing:
            state = block.state
            names = {"trunk_area": state.trunk_area, "height": state.height, "fruit_set": state.fruit_number}
            self.kept[block.number] = {name: values.copy() for name, values in names.items()}


def _steps(watch: _Watch) -> Steps:
    """The year of a past season, with a look at the trees after the natural drop."""
    look = Step("look_after_drop", watch, ("standing", "trees.trunk_area", "trees.height", "trees.fruit_number"), ())
    return inserted(PAST_YEAR, "set_fruit", look)


def _seen(tile: Tile, watch: _Watch, sight: Sight, year: int) -> Array:
    """A sight in every row of a tile, on the linked scale."""
    block = next(block for block in tile.blocks if block.resolved.name == sight.block)
    if sight.measure == "dead_trees":
        return linked(sight.measure, _dead(tile, block, sight, year))
    at = np.asarray(sight.positions)
    state, kept = block.state, watch.kept[block.number]
    usual = state.alive[:, at] & (state.leaf[:, at] == block.resolved.leaf(year))
    count = usual.sum(axis=1)

    def mean(values: NDArray[np.floating]) -> Array:
        total = (values * usual).sum(axis=1, dtype=np.float64)
        return np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)

    if sight.measure in ("trunk_area", "height"):
        spring, autumn = kept[sight.measure][:, at], getattr(state, sight.measure)[:, at]
        bloom = tile.library.of(block.number, "bloom_day", tile.season_rows)
        grown = np.clip((sight.day - bloom) / GROWTH_DAYS, 0.0, 1.0)[:, np.asarray(block.model.position_group)[at]]
        return mean(np.log(np.maximum(spring + grown * (autumn - spring), 1e-3)))
    if sight.measure == "fruit_mass":
        mass, number = mean(state.last_crop[:, at]), mean(state.fruit_number[:, at])
        grams = np.divide(1000 * mass, number, out=np.full(len(mass), np.nan), where=number > 0.02)
        return linked(sight.measure, grams)
    if sight.measure == "yield":
        crop = state.last_crop[:, at]
        return linked(sight.measure, crop.sum(axis=1, dtype=np.float64) / len(at) if sight.whole else mean(crop))
    values = {
        "flower_clusters": state.bloom_clusters,
        "fruit_set": kept["fruit_set"],
        "fruit_count": state.fruit_number,
    }
    return linked(sight.measure, mean(values[sight.measure][:, at]))


def _dead(tile: Tile, block: BlockRun, sight: Sight, year: int) -> Array:
    """Trees that a row group lost in a year, to one cause or to all."""
    group = int(np.asarray(block.model.position_group)[sight.positions[0]])
    lost = tile.result("trees_lost", block, year)[:, group]
    return lost[:, CAUSES.index(sight.cause)] if sight.cause else lost.sum(axis=-1)


def level_normals(plan: Plan, levels: Levels) -> tuple[tuple[str, ...], Array]:
    """What the trees feel of the open levels, as numbers of about unit spread.

    Growth comes as one number for each row group, since ground, stock and cultivar act as their product.

    Returns
    -------
    names : tuple of str
        "growth of LABEL", "fruit_set of CULTIVAR", "thinning_skill", "hazard_level of CAUSE", ...
    normals : array, (row, name)
    """
    names: list[str] = []
    columns: list[Array] = []
    for column, label in enumerate(plan.labels):
        names.append(f"growth of {label}")
        columns.append(np.log(levels.growth[:, column]) / GROWTH_SPREAD)
    for level in ("fruit_set", "fruit_size", "thinning_skill", "winter_cold", "hazard_level"):
        row = OPEN_LEVELS[level]
        values = levels.values[level]
        keys = {
            "cultivar": [group.cultivar_name for group in plan.groups],
            "farm": [""],
            "cause": list(HAZARD_CAUSES),
        }[row.scope]
        for key in dict.fromkeys(keys):
            own = values[:, keys.index(key)]
            names.append(f"{level} of {key}" if key else level)
            columns.append((np.log(own) if row.family == "lognormal" else own - row.middle) / row.spread)
    return tuple(names), np.stack(columns, axis=1)


GROWTH_LEVELS: Final = ("site_growth", "stock_by_site", "cultivar_by_site")
GROWTH_SPREAD: Final = math.sqrt(sum(OPEN_LEVELS[name].spread ** 2 for name in GROWTH_LEVELS))
"""Log standard deviation of growth in the table of levels, that of a row group's number of unit spread."""
FELT_LEVELS: Final = (*GROWTH_LEVELS, "fruit_set", "fruit_size", "thinning_skill", "winter_cold", "hazard_level")
"""Open levels that trees in the ground can tell of."""
