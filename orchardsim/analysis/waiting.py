"""The worth of waiting: plant all now, or the first row now and the rest after some years of measuring it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.decision import (
    NOT_PLANTED,
    Money,
    Option,
    money_of,
    normals_of,
    option_tables,
    planted_later,
    without_coming,
    worth_of,
)
from orchardsim.analysis.learning import table_of
from orchardsim.analysis.next_measurements import READING, evenly, spread_trees, young_blocks
from orchardsim.analysis.sights import AUTUMN, SEASON_MIDDLE, covariance_of
from orchardsim.core.futures import Learned
from orchardsim.plan import Plan
from orchardsim.results.next import WaitAnswer, WaitRow
from orchardsim.simulation.replay import Replay, Sight

Array = NDArray[np.float64]
WAITS: Final = (1, 2, 3)
"""Years of waiting that are weighed."""
WAIT_ROWS: Final = 3000
MEASURED_TREES: Final = 60
MEASURED: Final = ("trunk_area", "flower_clusters", "fruit_count", "yield")


def yearly_sights(plan: Plan, seasons: Sequence[int]) -> list[Sight]:
    """What a grower measures of the first row in each season of waiting: sixty girths, bloom, fruit, crop."""
    found = []
    for name in young_blocks(plan):
        for _, positions in spread_trees(plan, name):
            trees = evenly(positions, min(MEASURED_TREES, len(positions)))
            for year in seasons:
                for measure in MEASURED:
                    day = AUTUMN if measure == "trunk_area" else SEASON_MIDDLE
                    whole = measure == "yield"
                    found.append(Sight(measure, year, day, name, tuple(positions) if whole else trees, whole))
    return found


def wait_variants(plan: Plan, raw: Mapping[str, Any], options: Sequence[Option]) -> list[tuple[str, Mapping[str, Any]]]:
    """Every option now and after each wait, and the plan without what is to come: (name, tables)."""
    found: list[tuple[str, Mapping[str, Any]]] = []
    for years in (0, *WAITS):
        later = planted_later(plan, raw, years) if years else {}
        found += [(f"{one.name}, {years} years later", option_tables(raw, one, plan.where, later)) for one in options]
    return [*found, (NOT_PLANTED, without_coming(plan, raw))]


def worth_of_waiting(
    plan: Plan,
    raw: Mapping[str, Any],
    learned: Learned | None,
    options: Sequence[Option],
    first_season: int,
    *,
    trials: int,
    years: int,
    seed: int = 1,
    jobs: int = 1,
    progress: Callable[[int], object] = lambda trials: None,
) -> WaitAnswer:
    """Weigh planting all now against waiting and measuring, in the same futures.

    Parameters
    ----------
    plan : Plan
        As it was before any measurement, from a file.
    raw : mapping
        Its tables.
    learned : Learned or None
        What is known by now.
    options : sequence of Option
        Ways to plant what is to come.
    first_season : int
        First year of the plan that can still be measured.
    """
    money = money_of(
        plan, wait_variants(plan, raw, options), trials=trials, years=years, seed=seed, jobs=jobs, progress=progress
    )  # fmt: skip
    known = dataclasses.replace(plan, futures=dataclasses.replace(plan.futures, learned=learned))
    rows = range(WAIT_ROWS)
    normals = normals_of(plan, learned, seed, rows)
    sights = yearly_sights(known, range(first_season, first_season + max(WAITS)))
    table = table_of(Replay(known, sights, seed), rows)
    rng = np.random.default_rng(seed)
    reading = [READING[one.measure] / math.sqrt(len(one.positions)) for one in sights]
    errors = covariance_of(sights, reading, [((one.measure, ""), 0.01) for one in sights])
    seen = table.values + rng.multivariate_normal(np.zeros(len(sights)), errors, size=WAIT_ROWS, method="eigh")
    resampled = money.resampled(rng)
    found = []
    for number, wait in enumerate((0, *WAITS)):
        own = [number * len(options) + place for place in range(len(options))] + [len(money.names) - 1]
        at = [place for place, sight in enumerate(sights) if sight.year < first_season + wait]
        found.append(_row(money, own, wait, normals, seen[:, at], resampled))
    first = found[0][0]
    answers = [
        dataclasses.replace(row, mean=row.mean - first.mean, error=error) if row.years else row
        for row, error in (
            (row, _error(found[0][1], draws) if row.years else _error(None, draws)) for row, draws in found
        )
    ]
    return WaitAnswer(
        (*(one.name for one in options), NOT_PLANTED), tuple(answers), trials, years, plan.currency
    )  # fmt: skip


def _error(base: Array | None, draws: Array) -> float:
    return float(np.std(draws if base is None else draws - base))


def _row(
    money: Money, own: Sequence[int], wait: int, normals: Array, seen: Array, resampled: Sequence[Array]
) -> tuple[WaitRow, Array]:
    """One way, and its mean in every resample."""
    part = dataclasses.replace(
        money, names=tuple(money.names[k] for k in own), npv=money.npv[own], peak_borrowing=money.peak_borrowing[own]
    )
    terms = money.terms(normals)
    mine = [one[:, own] for one in resampled]
    worth, _, changed, choice = worth_of(part, normals, seen, mine)
    coefficients = part.by_levels()
    alone = (terms @ coefficients).mean(axis=0)
    draws = []
    for one in mine:
        value = terms @ one
        draws.append(float(value[np.arange(len(value)), choice].mean()))
    # what the policy does in the simulated futures: each trial takes the choice of the rows nearest to its levels
    taken = _nearest(part, normals, choice)
    trial = np.arange(money.npv.shape[1])
    npv, borrowing = part.npv[taken, trial], part.peak_borrowing[taken, trial]
    shares = tuple(float((choice == k).mean()) for k in range(len(own)))
    row = WaitRow(
        wait, float(alone.max() + worth), 0.0, float(np.percentile(npv, 5)), float(np.median(borrowing)),
        float((npv < 0).mean()), changed if wait else 0.0, float(alone.max()), worth, shares,
    )  # fmt: skip
    return row, np.array(draws)


def _nearest(money: Money, normals: Array, choice: NDArray[np.int64]) -> NDArray[np.int64]:
    """Choice of the simulated row whose levels are nearest to each trial's, in what counts."""
    from scipy.spatial import cKDTree

    at = list(money.sharp)
    return choice[cKDTree(normals[:, at]).query(money.normals[:, at])[1]]
