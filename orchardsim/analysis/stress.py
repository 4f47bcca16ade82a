"""Named bad seasons placed at every leaf: what each costs against the same trials without it."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.analysis.bad_seasons import BAD_SEASONS, BadSeason
from orchardsim.analysis.prepared_shocks import PreparedShocks, check_bad_season, prepare_shocks
from orchardsim.core.errors import IdentityError, InputError, nearest_names
from orchardsim.core.pool import worker_pool
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.results.stress import BACK, SURVIVING, Estimate, Moment, Stress, Stressed, Usual
from orchardsim.risk.bands import mean, quantile
from orchardsim.simulation.arguments import check_arguments
from orchardsim.simulation.money import block_leaf
from orchardsim.simulation.run import check_run
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.shocks import Outcome, run_shocks
from orchardsim.simulation.trial_range import tile_size

Array = NDArray[np.float64]
RESAMPLES: Final = 400
"""Resampled sets of trials behind the interval of the recovery."""


def stress(
    plan: Plan,
    *,
    trials: int = 24,
    years: int = 20,
    seed: int = 1,
    jobs: int = 1,
    bad_seasons: Sequence[str | BadSeason] | None = None,
    progress: Callable[[int], Any] | None = None,
) -> Stress:
    """Place bad seasons at every leaf of a plan and say what each costs.

    Parameters
    ----------
    trials : int
        Simulated futures, at least 4; every bad season meets the same ones.
    jobs : int
        Processes. Results do not depend on it.
    bad_seasons : sequence of str or BadSeason, optional
        Names of :data:`orchardsim.analysis.bad_seasons.BAD_SEASONS`, or bad seasons of one's own; all by default.
    progress : callable, optional
        Called with the number of runs (trials x shocked years) just finished, of :func:`stress_size`.

    Raises
    ------
    InputError
        If the plan cannot be run as asked, or a bad season is not known.
    IdentityError
        If a book of the simulation does not balance.
    """
    check_arguments(trials=trials, years=years, seed=seed, jobs=jobs)
    chosen = choose(bad_seasons)
    if trials < 4:
        raise InputError("trials", f"found {trials}, allowed 4 or more: fewer say nothing of the error")
    check_run(plan, trials, years)
    streams = Streams(seed)
    library = build_library(plan, streams, range(trials), years, "sampled")
    prepared = {bad.name: prepare_shocks(plan, library, bad, struck_years(plan, years, bad)) for bad in chosen}
    size = min(tile_size(plan), -(-trials // jobs))
    units = [range(start, min(start + size, trials)) for start in range(0, trials, size)]
    tasks = [(bad.name, unit) for bad in chosen for unit in units]
    finished: dict[tuple[str, int], Outcome] = {}
    runs = {
        name: functools.partial(run_shocks, plan, ready.library, ready.shocks, years=years, seed=seed)
        for name, ready in prepared.items()
    }
    with worker_pool(jobs) as pool:
        for number, outcome in pool.finished([(runs[name], (unit,)) for name, unit in tasks]):
            name, unit = tasks[number]
            finished[name, unit.start] = outcome
            if progress is not None:
                progress(len(unit) * len(prepared[name].shocks))
    outcomes = {bad.name: _joined([finished[bad.name, unit.start] for unit in units]) for bad in chosen}
    first = outcomes[chosen[0].name]
    for outcome in outcomes.values():
        if not np.array_equal(outcome.net_cash_flow[0], first.net_cash_flow[0]):
            raise IdentityError("the run without a bad season differs between two bad seasons")
    leaf, leaf_of = leading_leaf(plan, years)
    sample = library.sample
    return Stress(
        **plan.terms,
        planted_area=plan.planted_area,
        leaf_of=leaf_of,
        credit_line=plan.finance.credit_line,
        opening_cash=plan.finance.opening_cash,
        trials=trials,
        years=years,
        seed=seed,
        version=orchardsim.__version__,
        plan_hash=plan.hash,
        weather_method=sample.method,
        weather_words=sample.method_words,
        baseline_years=sample.baseline_years,
        usual=_usual(plan, first),
        seasons=tuple(_stressed(bad, prepared[bad.name], outcomes[bad.name], leaf, streams) for bad in chosen),
    )


def choose(bad_seasons: Sequence[str | BadSeason] | None) -> list[BadSeason]:
    """Bad seasons by name, in the order asked for.

    Raises InputError if one is unknown, means nothing, or stands twice.
    """
    known = {bad.name: bad for bad in BAD_SEASONS}
    chosen: list[BadSeason] = []
    for asked in known.values() if bad_seasons is None else bad_seasons:
        if isinstance(asked, str):
            if asked not in known:
                raise InputError("bad season", f"found {asked!r}; {nearest_names(asked, known)}")
            asked = known[asked]
        check_bad_season(asked)
        if asked.name in (bad.name for bad in chosen):
            raise InputError("bad season", f"{asked.name!r} stands twice")
        chosen.append(asked)
    if not chosen:
        raise InputError("bad season", f"none is named; allowed: {', '.join(known)}")
    return chosen


def struck_years(plan: Plan, years: int, bad: BadSeason) -> list[int]:
    """Years in which a bad season may start: with trees in the ground, and time for all of it in the run.

    Raises InputError if there is none.
    """
    standing = np.any(block_leaf(plan, years) >= 1, axis=1)
    starts = [year for year in range(years - bad.years + 1) if standing[year : year + bad.years].all()]
    if not starts:
        raise InputError(
            plan.where,
            f"no {bad.years} years with trees in a run of {years} years, as {bad.name!r} needs; more --years",
        )
    return starts


def stress_size(plan: Plan, trials: int, years: int, bad_seasons: Sequence[str | BadSeason] | None = None) -> int:
    """Number of runs that a stress test makes, for a progress bar."""
    return trials * sum(len(struck_years(plan, years, bad)) for bad in choose(bad_seasons))


def leading_leaf(plan: Plan, years: int) -> tuple[NDArray[np.int64], str]:
    """Leaf by year of the block that is planted first within the run (else of the largest), and its name."""
    new = [block for block in plan.blocks if block.year_planted >= 0]
    if new:
        block = min(new, key=lambda block: (block.year_planted, -block.geometry.planted_area))
    else:
        block = max(plan.blocks, key=lambda block: block.geometry.planted_area)
    return np.arange(years) - block.year_planted + 1, block.name


def _joined(parts: Sequence[Outcome]) -> Outcome:
    """Outcomes of neighbouring trials, the second axis, as one."""
    names = [each.name for each in dataclasses.fields(Outcome)]
    return Outcome(**{name: np.concatenate([getattr(part, name) for part in parts], axis=1) for name in names})


# ---- what it cost ----------------------------------------------------------------------------------------------------


def _mean(values: Array) -> Estimate:
    estimate = mean(values)
    return Estimate(float(estimate.value), float(estimate.standard_error))


def _reserve(values: Array) -> Estimate:
    estimate = quantile(values, SURVIVING)
    return Estimate(float(estimate.value), float(estimate.standard_error))


def _share(values: NDArray[np.bool_]) -> Estimate:
    share = float(values.mean())
    return Estimate(share, float(np.sqrt(share * (1 - share) / len(values))))


def _ratio(part: Array, whole: Array) -> Estimate:
    """Sum over sum, with the standard error of a ratio estimate (Cochran 1977, Sampling Techniques, eq. 6.13)."""
    total = whole.sum()
    if total <= 0:
        return Estimate(0.0, 0.0)
    ratio = part.sum() / total
    count = len(part)
    spread = np.sqrt(((part - ratio * whole) ** 2).sum() / (count - 1) / count)
    return Estimate(float(ratio), float(spread / (total / count)))


def _more(value: Array, usual: Array) -> Array:
    """Difference of two numbers found by halving, none where it lies within the halving's own error."""
    more = value - usual
    return np.where(np.abs(more) > 1e-9 * np.maximum(usual, 1.0), more, 0.0)


def _usual(plan: Plan, outcome: Outcome) -> Usual:
    return Usual(
        present_cash=_mean(outcome.present_cash[0]),
        trees_planted=float(sum(block.geometry.trees for block in plan.blocks)),
        trees_lost=_mean(outcome.trees_lost[0].sum(axis=1)),
        paid_back=_share(np.isfinite(outcome.payback_year[0])),
        payback_year=middle(outcome.payback_year[0]),
        reserve=_reserve(outcome.reserve[0]),
        crop=tuple(outcome.harvested_mass[0].mean(axis=0).tolist()),
        fresh=tuple(outcome.fresh_mass[0].mean(axis=0).tolist()),
    )


def middle(values: Array) -> float:
    """Smallest value with at least half of the trials at or below it; inf counts as later than any year."""
    return float(np.sort(values)[(len(values) - 1) // 2])


def recovery(shocked: Array, usual: Array, last_year: int) -> float:
    """Years after a bad season until the mean crop is back for good.

    Returns float [year]: 0 where the next crop is a usual one; inf where the last crop of the run is still short; nan
    where none follows.

    Parameters
    ----------
    shocked, usual : array, (trial, year) or (..., trial, year) [kg]
    last_year : int
        Last shocked year.

    Examples
    --------
    >>> recovery(np.array([[9.0, 1.0, 8.0, 9.9, 9.0]]), np.array([[9.0, 9.0, 9.0, 9.0, 9.0]]), 1)
    1.0
    """
    if last_year == shocked.shape[1] - 1:
        return float("nan")
    after = np.flatnonzero(shocked.mean(axis=0) < BACK * usual.mean(axis=0) - 1e-9)
    after = after[after > last_year]
    if not after.size:
        return 0.0
    return float("inf") if after[-1] == shocked.shape[1] - 1 else float(after[-1] - last_year)


def _stressed(
    bad: BadSeason, ready: PreparedShocks, outcome: Outcome, leaf: NDArray[np.int64], streams: Streams
) -> Stressed:
    usual = {each.name: getattr(outcome, each.name)[0] for each in dataclasses.fields(Outcome)}
    trials = len(usual["present_cash"])
    samples = streams.at("stress resamples").integers(0, trials, (RESAMPLES, trials))
    moments = []
    for run, shock in enumerate(ready.shocks, start=1):
        got = {name: getattr(outcome, name)[run] for name in usual}
        first, last = shock.span.start, shock.span.stop - 1
        span = slice(first, last + 1)
        fresh_less = usual["fresh_mass"] - got["fresh_mass"]
        again = [recovery(got["fresh_mass"][sample], usual["fresh_mass"][sample], last) for sample in samples]
        low, high = np.sort(again)[[int(0.05 * RESAMPLES), int(0.95 * RESAMPLES)]]
        moments.append(
            Moment(
                year=first,
                leaf=int(leaf[first]),
                last_year=last,
                crop_lost=_mean((usual["harvested_mass"] - got["harvested_mass"]).sum(axis=1)),
                fresh_lost=_mean(fresh_less.sum(axis=1)),
                fresh_share=_ratio(fresh_less[:, span].sum(axis=1), usual["fresh_mass"][:, span].sum(axis=1)),
                trees_lost=_mean((got["trees_lost"] - usual["trees_lost"]).sum(axis=1)),
                cash_lost=_mean(usual["present_cash"] - got["present_cash"]),
                paid_back=_share(np.isfinite(got["payback_year"])),
                payback_year=middle(got["payback_year"]),
                recovery=recovery(got["fresh_mass"], usual["fresh_mass"], last),
                recovery_low=float(low),
                recovery_high=float(high),
                reserve=_reserve(got["reserve"]),
                reserve_more=_mean(_more(got["reserve"], usual["reserve"])),
            )
        )
    cost = usual["present_cash"] - outcome.present_cash[1:]
    worst = int(np.argmax(cost.mean(axis=1)))
    close = []
    for place, moment in enumerate(moments):
        gap = _mean(cost[worst] - cost[place])
        if not gap.told:
            close.append(moment.leaf)
    return Stressed(
        name=bad.name,
        title=bad.title,
        sentence=bad.sentence,
        years=bad.years,
        changes=tuple(dataclasses.asdict(change) for change in bad.changes),
        note=ready.note,
        moments=tuple(moments),
        worst=worst,
        close=tuple(close),
    )
