"""The worth of waiting: plant all now, or the first row now and the rest after some years of measuring it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.decision import Money, normals_of, worth_of
from orchardsim.analysis.next_measurements import seen_with_errors, young_sights
from orchardsim.plan import Plan
from orchardsim.plan.coming import NOT_PLANTED
from orchardsim.results.next import WaitAnswer, WaitRow

Array = NDArray[np.float64]
WAITS: Final = (0, 1, 2, 3)
"""Years of waiting that are weighed."""
WAIT_ROWS: Final = 3000
MEASURED_TREES: Final = 60
MEASURED: Final = ("trunk_area", "flower_clusters", "fruit_count", "yield")
"""What a grower measures of the first row in each season of waiting: sixty girths, bloom, fruit, crop."""


def worth_of_waiting(
    plan: Plan, money: Money, options: Sequence[str], waits: Sequence[int], first_season: int, years: int, seed: int
) -> WaitAnswer:
    """Weigh planting all now against waiting and measuring, in the same futures.

    Parameters
    ----------
    plan : Plan
        Carries what is known by now; its levels and its young blocks are those of all options.
    money : Money
        Of the options after each wait, and of not planting: waits x options + 1.
    options : sequence of str
        Ways to plant what is to come.
    waits : sequence of int
        Years of waiting, 0 first.
    first_season : int
        First year of the plan that can still be measured.
    years : int
        Of each future.
    """
    normals, seen = first_row_seen(plan, first_season, waits, seed)
    rows = weigh(money, len(options), waits, normals, seen, np.random.default_rng(seed))
    return WaitAnswer((*options, NOT_PLANTED), rows, money.npv.shape[1], years, plan.currency)


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
    seasons = range(first_season, first_season + max(waits))
    sights = [sight for sight, *_ in young_sights(plan, seasons, MEASURED, (MEASURED_TREES,))]
    seen = seen_with_errors(plan, sights, rows, seed, np.random.default_rng(seed))
    until = [[place for place, sight in enumerate(sights) if sight.year < first_season + wait] for wait in waits]
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
    part = money.part(own)
    terms = money.terms(normals)
    mine = [resample[:, own] for resample in resampled]
    told = worth_of(part, normals, seen, mine)
    choice = told.choice
    alone = (terms @ part.by_levels()).mean(axis=0)
    values = [terms @ resample for resample in mine]
    means = np.array([value[np.arange(len(value)), choice].mean() for value in values])
    # what the policy does in the simulated futures: each trial takes the choice of the rows nearest to its levels
    taken = _nearest(part, normals, choice)
    trial = np.arange(money.npv.shape[1])
    npv, borrowing = part.npv[taken, trial], part.peak_borrowing[taken, trial]
    return WaitRow(
        years=wait,
        mean=float(alone.max() + told.worth),
        error=0.0,
        low=float(np.percentile(npv, 5)),
        peak_borrowing=float(np.median(borrowing)),
        loss=float((npv < 0).mean()),
        changed=told.changed if wait else 0.0,
        changed_error=told.changed_error if wait else 0.0,
        delay=float(alone.max()),
        learning=told.worth if wait else 0.0,
        shares=tuple(float((choice == k).mean()) for k in range(len(own))),
    ), means


def _nearest(money: Money, normals: Array, choice: NDArray[np.int64]) -> NDArray[np.int64]:
    """Choice of the simulated row whose levels are nearest to each trial's, in what counts."""
    from scipy.spatial import cKDTree

    at = list(money.sharp)
    return choice[cKDTree(normals[:, at]).query(money.normals[:, at])[1]]
