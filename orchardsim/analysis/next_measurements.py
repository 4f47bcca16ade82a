"""Which measurements to take next, by what they are worth to the planting to come; and a sheet to take them on."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.decision import Money, normals_of, shift_of, worth_of
from orchardsim.analysis.learning import table_of
from orchardsim.analysis.sights import SIGHT_KINDS, covariance_of
from orchardsim.core.futures import Learned
from orchardsim.plan import Plan
from orchardsim.plan.coming import young_blocks
from orchardsim.plan.measurements import KINDS
from orchardsim.results.next import Candidate, FieldSheet, NextAnswer
from orchardsim.simulation.replay import Replay, Sight

Array = NDArray[np.float64]
NEXT_ROWS: Final = 3000
SHOWN: Final = 10
HORIZON: Final = 2
"""Seasons that are looked at."""
SAMPLES: Final = (10, 20, 60)
"""Numbers of trees that are weighed."""
TAKEN_AS: Final = {"trunk_area": "trunk_girth"}
_WHEN_ORDER: Final = (
    "at pink bud", "after June drop, before thinning", "at harvest", "in autumn", "after leaf fall"
)  # fmt: skip
UNITS: Final = {
    "metric": {"trunk_girth": "mm", "height": "m", "fruit_mass": "g", "yield": "kg"},
    "us": {"trunk_girth": "inch", "height": "ft", "fruit_mass": "oz", "yield": "lb"},
}
"""Units on the field sheet by those of the plan."""


def young_sights(
    plan: Plan, seasons: Sequence[int], measures: Iterable[str], samples: Sequence[int]
) -> list[tuple[Sight, str, int]]:
    """What could be measured in the young row groups, each with its label and number of trees.

    ``samples``: numbers of trees of a measure that is no total; all trees where a row group has fewer than any.
    """
    young, sights = young_blocks(plan), []
    for block in plan.blocks:
        for label in block.labels if block.name in young else ():
            positions = block.positions(label)
            some = [trees for trees in samples if trees <= len(positions)] or [len(positions)]
            for year, measure in itertools.product(seasons, measures):
                kind = SIGHT_KINDS[measure]
                for trees in [len(positions)] if kind.whole else some:
                    chosen = evenly(positions, trees)
                    sights.append((Sight(measure, year, kind.day, block.name, chosen, kind.whole), label, trees))
    return sights


def evenly(positions: Sequence[int], trees: int) -> tuple[int, ...]:
    """A spread sample: trees at even steps along the rows, none at the very end of the first."""
    step = len(positions) / trees
    return tuple(positions[int((number + 0.5) * step)] for number in range(trees))


def seen_with_errors(plan: Plan, sights: Sequence[Sight], rows: range, seed: int, rng: np.random.Generator) -> Array:
    """What would be seen of simulated rows of trees, with all errors, (row, sight)."""
    grown = table_of(Replay(plan, sights, seed), rows).values
    reading = [SIGHT_KINDS[sight.measure].reading_error / math.sqrt(max(len(sight.positions), 1)) for sight in sights]
    errors = covariance_of(sights, reading, [((sight.measure, ""), 0.01) for sight in sights])
    return grown + rng.multivariate_normal(np.zeros(len(sights)), errors, size=len(rows), method="eigh")


def _fewest_trees(candidates: Sequence[Candidate]) -> list[int]:
    """Places of the candidates to show, the best first.

    Of one measure and season the fewest trees that bring nearly all its worth stand for the others.
    """
    order = sorted(range(len(candidates)), key=lambda place: (-candidates[place].worth, candidates[place].trees))
    chosen: list[int] = []
    for place in order:
        same = [
            other for other in order
            if (candidates[other].measure, candidates[other].label, candidates[other].year)
            == (candidates[place].measure, candidates[place].label, candidates[place].year)
        ]  # fmt: skip
        most = max(candidates[other].worth for other in same)
        best = min(
            (other for other in same if candidates[other].worth >= 0.9 * most),
            key=lambda other: candidates[other].trees,
        )
        if best not in chosen:
            chosen.append(best)
    return sorted(chosen, key=lambda place: -candidates[place].worth)[:SHOWN]


def next_measurements(
    plan: Plan,
    learned: Learned | None,
    money: Money,
    first_season: int,
    *,
    seed: int = 1,
) -> NextAnswer:
    """Rank what could be measured by what it is worth to the planting to come.

    Parameters
    ----------
    plan : Plan
        As it was before any measurement.
    learned : Learned or None
        What is known by now.
    money : Money
        Of the options, :func:`orchardsim.analysis.decision.money_of`.
    first_season : int
        First year of the plan that can still be measured.
    """
    known = plan.with_futures(learned=learned)
    candidates = young_sights(known, range(first_season, first_season + HORIZON), SIGHT_KINDS, SAMPLES)
    sights = [sight for sight, _, _ in candidates]
    rows = range(NEXT_ROWS)
    rng = np.random.default_rng(seed)
    seen = seen_with_errors(known, sights, rows, seed, rng)
    normals = normals_of(plan, learned, seed, rows)
    resampled = money.resampled(rng)
    weighed = []
    for place, (sight, label, trees) in enumerate(candidates):
        told = worth_of(money, normals, seen[:, [place]], resampled)
        weighed.append(
            Candidate(
                TAKEN_AS.get(sight.measure, sight.measure), label, sight.year, plan.harvest_year(sight.year),
                SIGHT_KINDS[sight.measure].when, trees, told.worth, told.error, told.changed,
            )
        )  # fmt: skip
    chosen = _fewest_trees(weighed)
    together = worth_of(money, normals, seen[:, chosen], resampled)
    perfect = worth_of(money, normals, normals[:, list(money.sharp)], resampled)
    shift = shift_of(money, normals_of(plan, None, seed, rows), normals, rng)
    return NextAnswer(
        options=money.names,
        before=shift.before,
        now=shift.after,
        before_error=shift.before_error,
        now_error=shift.after_error,
        candidates=tuple(weighed[place] for place in chosen),
        together=(together.worth, together.error, together.changed),
        perfect=(perfect.worth, perfect.error),
        trials=money.npv.shape[1],
        rows=NEXT_ROWS,
        currency=plan.currency,
        sheet=field_sheet(plan, [weighed[place] for place in chosen]),
    )


def field_sheet(plan: Plan, candidates: Sequence[Candidate]) -> FieldSheet:
    """The sheet for the earliest season among the candidates: a spread sample of trees, and what to measure on them."""
    season = min((candidate.year for candidate in candidates), default=0)
    mine = [candidate for candidate in candidates if candidate.year == season]
    trees: list[tuple[str, int, int]] = []
    for block in plan.blocks:
        for label in block.labels:
            wanted = max(
                (candidate.trees for candidate in mine if candidate.label == label and _by_tree(candidate.measure)),
                default=0,
            )
            if wanted:
                per_row = block.plan.layout.trees_per_row
                trees += [(label, 1 + at // per_row, 1 + at % per_row) for at in evenly(block.positions(label), wanted)]
    mine.sort(key=lambda candidate: _WHEN_ORDER.index(candidate.when))
    by_tree = {candidate.measure: candidate.when for candidate in mine if _by_tree(candidate.measure)}
    by_label = {
        (candidate.label, candidate.measure): candidate.when for candidate in mine if not _by_tree(candidate.measure)
    }
    units = plan.units
    return FieldSheet(
        title=plan.title,
        season=str(plan.harvest_year(season)),
        trees=tuple(trees),
        measures=tuple((measure, *_unit_and_tool(measure, units), when) for measure, when in by_tree.items()),
        whole=tuple(
            (label, measure, *_unit_and_tool(measure, units), when) for (label, measure), when in by_label.items()
        ),
        meanings={candidate.measure: KINDS[candidate.measure].meaning for candidate in mine},
    )  # fmt: skip


def _unit_and_tool(measure: str, units: str) -> tuple[str, str]:
    return UNITS[units].get(measure, ""), next(iter(KINDS[measure].tools))


def _by_tree(measure: str) -> bool:
    return measure not in SIGHT_KINDS or not SIGHT_KINDS[measure].whole
