"""From sights to what they leave open of the levels: simulated rows, emulator, tempered draws, and checks on itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from orchardsim.analysis.sights import Seen
from orchardsim.core.futures import OPEN_LEVELS, Learned, Part, combined
from orchardsim.core.handover import ArrayStruct
from orchardsim.plan import Plan
from orchardsim.risk.posterior import Emulator, Tempered, log_density, tempered_draws, whitening
from orchardsim.simulation.futures import Levels, level_keys
from orchardsim.simulation.replay import FELT_LEVELS, Replay, level_normals

Array = NDArray[np.float64]
ROWS: Final = 2000
"""Simulated rows of a round; the second round is drawn about what the first found."""
DRAWS: Final = 1000
"""Draws that are kept."""
WIDER: Final = 1.6
"""Spread of the second round's levels over that of the first round's answer, so that it surely covers it."""
CONFLICT: Final = 0.005
"""Chance below which sights do not agree with what was known before, or with each other."""
TOLD: Final = 0.97
"""Parts whose spread keeps more than this share, and whose mean stays, are left as the plan has them."""


@dataclass(frozen=True)
class Conflict:
    """Sights that do not agree: of which family and year, and how unlikely they are."""

    family: str
    year: int
    chance: float


@dataclass(frozen=True)
class Table(ArrayStruct):
    """Simulated rows, ready to learn from.

    Attributes
    ----------
    names : tuple of str
        Of the levels that trees feel.
    normals : array, (row, level)
    values : array, (row, sight)
        Without gaps.
    """

    names: tuple[str, ...]
    normals: Array
    values: Array

    def part(self, chosen: Sequence[int] | NDArray[np.int64]) -> Table:
        """Some of the sights."""
        return dataclasses.replace(self, values=self.values[:, chosen])


@dataclass(frozen=True)
class Answer:
    """What sights leave open of the parts behind the levels.

    Attributes
    ----------
    parts : tuple of (level, key)
    conflicts : tuple of Conflict
        With what was known before; their sights were given so much error that they hardly count.
    misfit : float
        Factor on all errors because the sights do not agree with each other; 1 where they do.
    errors : array, (sight, sight)
        Errors as they were used, without the rows' luck.
    """

    parts: tuple[Part, ...]
    found: Tempered
    conflicts: tuple[Conflict, ...]
    misfit: float
    emulator: Emulator
    errors: Array


def felt_parts(plan: Plan) -> tuple[Part, ...]:
    """Standard normals behind the levels that trees in the ground can tell of, the plan's known ones left out."""
    parts: list[Part] = []
    for level in FELT_LEVELS:
        shared, keys = OPEN_LEVELS[level].shared, list(dict.fromkeys(level_keys(plan, level)))
        keys = [key for key in keys if plan.futures.doubt(level, key).spread > 0]
        if keys and shared > 0:
            parts.append((level, ""))
        if shared < 1:
            parts += [(level, key) for key in keys if key]
    return tuple(parts)


def levels_of_parts(plan: Plan, parts: Sequence[Part], draws: Array) -> Array:
    """What trees feel, (draw, level), at standard normals (draw, part); parts that are not named stand at 0."""
    place = {part: column for column, part in enumerate(parts)}
    zero = np.zeros(len(draws))
    values = {}
    for level in FELT_LEVELS:
        keys = level_keys(plan, level)
        common = draws[:, place[level, ""]] if (level, "") in place else zero
        own = [draws[:, place[level, key]] if key and (level, key) in place else zero for key in keys]
        values[level] = plan.futures.values(level, keys, combined(level, common, np.stack(own, axis=1)))
    return level_normals(plan, Levels(values))[1]


def table_of(replay: Replay, trials: range, plan: Plan | None = None) -> Table:
    """Grow rows and look at them; a row that lacks a sight (its trees died) is given the others' median of it."""
    grown = replay.run(trials, plan)
    names, normals = level_normals(grown.plan, grown.levels)
    values = grown.values.copy()
    for column in values.T:
        gone = np.isnan(column)
        if gone.any():
            column[gone] = np.median(column[~gone]) if not gone.all() else 0.0
    return Table(names, normals, values)


def learn(
    plan: Plan,
    seen: Seen,
    table: Table,
    rng: np.random.Generator,
    *,
    count: int = DRAWS,
    conflicts: tuple[Conflict, ...] | None = None,
    prior: Table | None = None,
) -> Answer:
    """Draws from what sights leave open of the levels.

    Parameters
    ----------
    plan : Plan
        The replayed one.
    table : Table
        Rows to learn from, at levels about where the answer may lie.
    count : int
        Draws.
    conflicts : tuple of Conflict, optional
        Where they were looked for already.
    prior : Table, optional
        Rows at levels as they were known before; ``table`` by default.
    """
    before = table if prior is None else prior
    errors = seen.errors
    centre, spread = before.values.mean(axis=0), np.cov(before.values.T).reshape(errors.shape) + errors
    if conflicts is None:
        conflicts = conflicts_with(seen, centre, spread)
    errors = _widened(seen, errors, centre, spread, conflicts)
    parts = felt_parts(plan)
    emulator = Emulator.fitted(table.normals, table.values)
    misfit = 1.0
    drawn = _draw(plan, parts, seen, emulator, errors, misfit, count, rng)
    mean = emulator.mean(levels_of_parts(plan, parts, drawn.draws))
    covariance = emulator.covariance + errors
    apart = seen.values - mean
    distance = float(np.einsum("ij,jk,ik->i", apart, np.linalg.inv(covariance), apart).min())
    if chdtrc(len(seen.values), distance) < CONFLICT:
        misfit = distance / len(seen.values)
        drawn = _draw(plan, parts, seen, emulator, errors, misfit, count, rng)
    return Answer(parts, drawn, conflicts, misfit, emulator, errors)


def _draw(
    plan: Plan, parts: tuple[Part, ...], seen: Seen, emulator: Emulator, errors: Array, misfit: float, count: int,
    rng: np.random.Generator,
) -> Tempered:  # fmt: skip
    white = whitening(misfit * (emulator.covariance + errors))

    def likelihood(draws: Array) -> Array:
        return log_density(seen.values, emulator.mean(levels_of_parts(plan, parts, draws)), white)

    return tempered_draws(likelihood, len(parts), count, rng)


def _distance(seen: Seen, group: tuple[str, int], centre: Array, covariance: Array) -> tuple[list[int], float]:
    """Places of the sights of a family and year, and their squared distance from what was known before."""
    at = [place for place, own in enumerate(seen.groups) if own == group]
    apart = seen.values[at] - centre[at]
    return at, float(apart @ np.linalg.solve(covariance[np.ix_(at, at)], apart))


def conflicts_with(seen: Seen, centre: Array, covariance: Array) -> tuple[Conflict, ...]:
    """Families and years whose sights lie where what was known before hardly lets them."""
    conflicts = []
    for group in dict.fromkeys(seen.groups):
        at, distance = _distance(seen, group, centre, covariance)
        chance = float(chdtrc(len(at), distance))
        if chance < CONFLICT:
            conflicts.append(Conflict(*group, chance))
    return tuple(conflicts)


def _widened(seen: Seen, errors: Array, centre: Array, covariance: Array, conflicts: Sequence[Conflict]) -> Array:
    """Errors where sights in conflict are given so much that they stand within what was known before."""
    wide = errors.copy()
    for conflict in conflicts:
        at, distance = _distance(seen, (conflict.family, conflict.year), centre, covariance)
        block = np.ix_(at, at)
        wide[block] += distance / len(at) * covariance[block]
    return wide


def learned_of(parts: Sequence[Part], draws: Array) -> Learned:
    """What is kept: parts of which something was learned."""
    told = [
        place
        for place in range(len(parts))
        if draws[:, place].std() < TOLD or abs(draws[:, place].mean()) > 4 / np.sqrt(len(draws))
    ]
    return Learned(tuple(parts[place] for place in told), draws[:, told])


def second_round(replay: Replay, answer: Answer, rows: int) -> Table:
    """Rows grown about what the first round found, wider than that, so that the emulator is good there."""
    draws = answer.found.draws
    wide = draws.mean(axis=0) + WIDER * (draws - draws.mean(axis=0))
    return table_of(replay, range(rows, 2 * rows), replay.plan.with_futures(learned=Learned(answer.parts, wide)))
