"""The worth of waiting: plant all now, or the first row now and the rest after some years of measuring it."""

from __future__ import annotations

import dataclasses
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
    sharp_levels,
    worth_of,
)
from orchardsim.analysis.next_measurements import evenly, seen_with_errors
from orchardsim.analysis.sights import AUTUMN, SEASON_MIDDLE
from orchardsim.core.futures import Learned
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.plan.coming import planted_later, without_coming, young_blocks
from orchardsim.plan.study_waiting import Waiting
from orchardsim.results.next import WaitAnswer, WaitRow
from orchardsim.simulation.futures import draw_future
from orchardsim.simulation.replay import Sight, level_normals

Array = NDArray[np.float64]
WAITS: Final = (1, 2, 3)
"""Years of waiting that are weighed."""
WAIT_ROWS: Final = 3000
MEASURED_TREES: Final = 60
MEASURED: Final = ("trunk_area", "flower_clusters", "fruit_count", "yield")


def yearly_sights(plan: Plan, seasons: Sequence[int]) -> list[Sight]:
    """What a grower measures of the first row in each season of waiting: sixty girths, bloom, fruit, crop."""
    found = []
    young = young_blocks(plan)
    for block in (one for one in plan.blocks if one.name in young):
        for label in block.labels:
            positions = block.positions(label)
            trees = evenly(positions, min(MEASURED_TREES, len(positions)))
            for year in seasons:
                for measure in MEASURED:
                    day = AUTUMN if measure == "trunk_area" else SEASON_MIDDLE
                    whole = measure == "yield"
                    found.append(Sight(measure, year, day, block.name, positions if whole else trees, whole))
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
    known = plan.with_futures(learned=learned)
    normals, seen = first_row_seen(known, first_season, (0, *WAITS), seed)
    rows = weigh(money, len(options), (0, *WAITS), normals, seen, np.random.default_rng(seed))
    return WaitAnswer((*(one.name for one in options), NOT_PLANTED), rows, trials, years, plan.currency)


def weighed_in_study(
    plan: Plan, waiting: Waiting, npv: Array, peak_borrowing: Array, *, years: int, seed: int
) -> WaitAnswer:
    """What waiting is worth in one circumstance of a study.

    Parameters
    ----------
    plan : Plan
        Of a cell: its levels and its young blocks are those of all options.
    npv, peak_borrowing : array, (option, trial) [currency]
        Options now, then after each wait, then none.
    years, seed : int
        Of the study.
    """
    trials, waits = npv.shape[1], (0, *waiting.years)
    names, felt = level_normals(plan, draw_future(plan, Streams(seed), range(trials)))
    options = tuple(f"{name}, {wait} years later" for wait in waits for name in waiting.options)
    money = Money((*options, NOT_PLANTED), npv, peak_borrowing, felt, names, sharp_levels(plan, names))
    normals, seen = first_row_seen(plan, waiting.measured_from, waits, seed)
    rows = weigh(money, len(waiting.options), waits, normals, seen, np.random.default_rng(seed))
    return WaitAnswer((*waiting.options, NOT_PLANTED), rows, trials, years, plan.currency)


def first_row_seen(plan: Plan, first_season: int, waits: Sequence[int], seed: int) -> tuple[Array, list[Array]]:
    """Simulated first rows: what their trees feel, (row, level), and what is seen of them up to the end of each wait.

    Parameters
    ----------
    plan : Plan
        Carries what is known by now.
    first_season : int
        First year of the plan that can still be measured.
    waits : sequence of int
        Years of waiting.

    Returns
    -------
    normals : array, (row, level)
    seen : list of array, (row, sight)
        With all errors, one array for each wait.
    """
    rows = range(WAIT_ROWS)
    sights = yearly_sights(plan, range(first_season, first_season + max(waits)))
    seen = seen_with_errors(plan, sights, rows, seed, np.random.default_rng(seed))
    until = [[place for place, one in enumerate(sights) if one.year < first_season + wait] for wait in waits]
    return normals_of(plan, plan.futures.learned, seed, rows), [seen[:, at] for at in until]


def weigh(
    money: Money,
    options: int,
    waits: Sequence[int],
    normals: Array,
    seen: Sequence[Array],
    rng: np.random.Generator,
) -> tuple[WaitRow, ...]:
    """What each wait brings over the first, which is none.

    Parameters
    ----------
    money : Money
        Of the options now, after each wait, and of not planting: waits x options + 1.
    options : int
        Ways to plant.
    waits : sequence of int
        Years of waiting, 0 first.
    normals, seen
        Of :func:`first_row_seen`.
    """
    resampled = money.resampled(rng)
    last = len(money.names) - 1
    rows: list[WaitRow] = []
    base: Array | None = None
    for number, wait in enumerate(waits):
        own = [*range(number * options, (number + 1) * options), last]
        row, means = _row(money, own, wait, normals, seen[number], resampled)
        if base is None:
            base = means
            rows.append(dataclasses.replace(row, error=float(np.std(means))))
        else:
            rows.append(dataclasses.replace(row, mean=row.mean - rows[0].mean, error=float(np.std(means - base))))
    return tuple(rows)


def _row(
    money: Money, own: Sequence[int], wait: int, normals: Array, seen: Array, resampled: Sequence[Array]
) -> tuple[WaitRow, Array]:
    """One wait with its own mean, and that mean in every resample."""
    part = dataclasses.replace(
        money, names=tuple(money.names[k] for k in own), npv=money.npv[own], peak_borrowing=money.peak_borrowing[own]
    )
    terms = money.terms(normals)
    mine = [one[:, own] for one in resampled]
    found = worth_of(part, normals, seen, mine)
    choice = found.choice
    alone = (terms @ part.by_levels()).mean(axis=0)
    values = [terms @ one for one in mine]
    means = np.array([value[np.arange(len(value)), choice].mean() for value in values])
    # what the policy does in the simulated futures: each trial takes the choice of the rows nearest to its levels
    taken = _nearest(part, normals, choice)
    trial = np.arange(money.npv.shape[1])
    npv, borrowing = part.npv[taken, trial], part.peak_borrowing[taken, trial]
    return WaitRow(
        years=wait,
        mean=float(alone.max() + found.worth),
        error=0.0,
        low=float(np.percentile(npv, 5)),
        peak_borrowing=float(np.median(borrowing)),
        loss=float((npv < 0).mean()),
        changed=found.changed if wait else 0.0,
        changed_error=found.changed_error if wait else 0.0,
        delay=float(alone.max()),
        learning=found.worth if wait else 0.0,
        shares=tuple(float((choice == k).mean()) for k in range(len(own))),
    ), means


def _nearest(money: Money, normals: Array, choice: NDArray[np.int64]) -> NDArray[np.int64]:
    """Choice of the simulated row whose levels are nearest to each trial's, in what counts."""
    from scipy.spatial import cKDTree

    at = list(money.sharp)
    return choice[cKDTree(normals[:, at]).query(money.normals[:, at])[1]]
