"""Runs a plan: units of trials over processes, joined in trial order."""

from __future__ import annotations

import dataclasses
import functools
import json
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_all_start_methods, get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.core.errors import InputError
from orchardsim.core.streams import Streams
from orchardsim.economy import money_remarks
from orchardsim.plan import Plan
from orchardsim.plan.describe import refill_notes
from orchardsim.results import build_dataset
from orchardsim.simulation.frost_history import frost_history
from orchardsim.simulation.money import block_leaf
from orchardsim.simulation.partial import PartialRun
from orchardsim.simulation.seasons import build_library
from orchardsim.simulation.single_trees import with_single_trees
from orchardsim.simulation.unit import UNIT_TRIALS, run_unit

if TYPE_CHECKING:
    import xarray

Arrays = dict[str, NDArray[Any]]


def simulate(
    plan: Plan,
    *,
    trials: int = 200,
    years: int = 20,
    seed: int = 1,
    jobs: int = 1,
    seasons: Literal["sampled", "record"] = "sampled",
    single_trees: tuple[int, ...] = (),
    progress: Callable[[int], Any] | None = None,
    partial: Path | None = None,
    resume: bool = False,
    keep_partial: bool = False,
    process_seeds: Mapping[str, int] | None = None,
) -> xarray.Dataset:
    """Simulate every tree of a planting plan over many possible futures.

    Parameters
    ----------
    plan : Plan
        From :func:`orchardsim.load_plan`.
    trials : int
        Simulated futures; trial t meets the same seasons and prices under every plan.
    years : int
        Years from year 0, the plan's first outlay.
    seed : int
        Seed of all random draws.
    jobs : int
        Processes. Results do not depend on it.
    seasons : {"sampled", "record"}
        Futures drawn from the baseline, or the baseline's own years in order.
    single_trees : tuple of int
        Trials whose single trees are kept, over (tree_trial, year, tree): ``tree_leaf``, ``tree_trunk_area``,
        ``tree_crop_mass``, ``tree_fruit_number`` and ``tree_flower_clusters``, each tree with its block label, row,
        place in the row and position on the ground.
    progress : callable, optional
        Called with the number of trials just finished.
    partial : Path, optional
        Folder in which finished units are kept, so that an interrupted run can go on with ``resume``.
    keep_partial : bool
        Leave the finished units in ``partial``; the caller removes the folder once all is saved.
    process_seeds : mapping, optional
        Process -> its own seed in place of ``seed`` (:class:`orchardsim.core.streams.Streams`).

    Returns
    -------
    xarray.Dataset
        Variables of :data:`orchardsim.core.variables.RESULTS` over trial, year, block (the plan's labels and
        ``shared``).

    Raises
    ------
    InputError
        If the plan cannot be run as asked.
    IdentityError
        If a book of the simulation does not balance.
    """
    check_run(plan, trials, years, single_trees)
    streams = Streams(seed, process_seeds or {})
    library = None
    if plan.weather.method != "parametric" or seasons == "record":
        library = build_library(plan, streams, range(trials), years, seasons)
    store = None
    if partial is not None:
        identity = {
            "plan": plan.hash,
            "trials": trials,
            "years": years,
            "seed": seed,
            "seasons": seasons,
            "version": orchardsim.__version__,
            "single_trees": list(single_trees),
        }
        if process_seeds:
            identity["process_seeds"] = dict(process_seeds)
        store = PartialRun(partial, identity, resume=resume)
    units = [range(start, min(start + UNIT_TRIALS, trials)) for start in range(0, trials, UNIT_TRIALS)]
    if jobs > 1 and len(units) < jobs:
        size = -(-trials // jobs)
        units = [range(start, min(start + size, trials)) for start in range(0, trials, size)]
    finished: dict[int, Arrays] = {}
    run = functools.partial(
        run_unit,
        plan,
        years=years,
        seed=seed,
        seasons=seasons,
        library=library,
        single_trees=single_trees,
        process_seeds=process_seeds,
    )
    for unit, arrays in _run_units(run, units, jobs, store):
        finished[unit.start] = arrays
        if progress is not None:
            progress(len(unit))
    joined = _join([finished[unit.start] for unit in units])
    notes = library.sample if library is not None else build_library(plan, streams, range(1), years, seasons).sample
    dataset = _dataset(plan, joined, years, seed, trials, notes, single_trees, seasons)
    if store is not None and not keep_partial:
        store.clear()
    return dataset


def other_weather_method(plan: Plan) -> Plan:
    """The same plan with the other way of drawing futures from its record: generated or whole years.

    Raises
    ------
    InputError
        If the plan has no record to draw whole years from.
    """
    if plan.weather.record is None:
        raise InputError(
            plan.where,
            "weather.record: found none, so futures can only be generated from the monthly normals; a second opinion "
            "needs a station record (weather.record, or --weather FILE)",
        )
    method = "resample" if plan.weather.method == "parametric" else "parametric"
    return dataclasses.replace(plan, weather=dataclasses.replace(plan.weather, method=method))


def check_run(plan: Plan, trials: int, years: int, single_trees: tuple[int, ...] = ()) -> None:
    """Refuse a run that makes no sense of the plan.

    Raises
    ------
    InputError
        Naming the block, the lead time or the trial.
    """
    for block in plan.blocks:
        if block.year_planted >= years:
            raise InputError(
                plan.where,
                f"block {block.name}.year_planted: found year {block.year_planted}, but the run has years 0 to "
                f"{years - 1}; allowed: a year of the run, or more --years",
            )
    if plan.replacement.lead_time > years:
        raise InputError(
            plan.where,
            f"replacement.lead_time: found {plan.replacement.lead_time} years, longer than the run of {years} years; "
            f"allowed: 0 to {years}, or more --years",
        )
    for trial in single_trees:
        if not 0 <= trial < trials:
            raise InputError("single_trees", f"found trial {trial}, allowed 0 to {trials - 1}")


def _run_units(
    run: Callable[[range], Arrays],
    units: list[range],
    jobs: int,
    store: PartialRun | None,
) -> Iterator[tuple[range, Arrays]]:
    """Units as they finish, those of an interrupted run first."""
    waiting = []
    for unit in units:
        arrays = store.load(unit) if store is not None else None
        if arrays is None:
            waiting.append(unit)
        else:
            yield unit, arrays
    if jobs == 1 or len(waiting) <= 1:
        for unit in waiting:
            arrays = run(unit)
            if store is not None:
                store.save(unit, arrays)
            yield unit, arrays
        return
    # Forked workers would share locks of the libraries' threads: workers are forked from a clean process that has
    # nothing but the modules that they need.
    context = get_context("forkserver" if "forkserver" in get_all_start_methods() else "spawn")
    context.set_forkserver_preload([run_unit.__module__])
    with ProcessPoolExecutor(min(jobs, len(waiting)), mp_context=context) as pool:
        tasks = {pool.submit(run, unit): unit for unit in waiting}
        try:
            for done in as_completed(tasks):
                unit, arrays = tasks[done], done.result()
                if store is not None:
                    store.save(unit, arrays)
                yield unit, arrays
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _join(parts: list[Arrays]) -> Arrays:
    """Arrays of all units in trial order; single trees as they are."""
    joined: Arrays = {}
    for name in parts[0]:
        if "/" not in name:
            joined[name] = np.concatenate([part[name] for part in parts])
    for part in parts:
        joined |= {name: values for name, values in part.items() if "/" in name}
    return joined


def _dataset(
    plan: Plan,
    arrays: Arrays,
    years: int,
    seed: int,
    trials: int,
    sample: Any,
    single_trees: tuple[int, ...],
    seasons: str,
) -> xarray.Dataset:
    money = plan.money
    areas = {
        "planted_area": [one.geometry.planted_area for one in money],
        "gross_area": [one.geometry.gross_area for one in money],
    }
    arrays = dict(arrays)
    trees = {name: arrays.pop(name) for name in list(arrays) if "/" in name}
    arrays["leaf"] = block_leaf(plan, years)
    for name, values in areas.items():
        arrays[name] = np.array(values)
    remarks = money_remarks(money, plan.costs, plan.market, plan.finance, years, plan.work_rates.picking)
    attrs = {
        "title": plan.title,
        "plan_name": plan.path.name if plan.path is not None else "plan",
        "units": plan.units,
        "currency": plan.currency,
        "price_year": plan.price_year,
        "real_or_nominal": plan.finance.basis,
        "seed": seed,
        "trials": trials,
        "version": orchardsim.__version__,
        "plan_hash": plan.hash,
        "weather_method": sample.method,
        "baseline_years": json.dumps(list(sample.baseline_years)),
        "notes": json.dumps([*sample.notes, *plan.warnings, *remarks, *refill_notes(plan)]),
        "assumptions": json.dumps([_assumption(one) for one in plan.assumptions]),
        "frost_years": json.dumps(frost_history(plan, sample)),
        "bin_mass": plan.bin_mass,
        "box_mass": plan.box_mass,
        "latitude": plan.weather.latitude,
        "credit_line": plan.finance.credit_line,
        "opening_cash": plan.finance.opening_cash,
        "household_draw": plan.finance.household_draw,
        "own_wealth": plan.finance.own_wealth,
        "discount_rate": plan.finance.discount_rate,
        "income_tax_rate": plan.finance.tax.rate if plan.finance.tax is not None else 0.0,
        "family_paid": plan.costs.family_labour_priced,
        "record_seasons": record_seasons(plan, sample, seasons),
        "season_run_length": plan.weather.run_length,
    }
    dataset = build_dataset(arrays, {"block": plan.labels}, attrs)
    return with_single_trees(plan, dataset, trees, single_trees) if single_trees else dataset


def record_seasons(plan: Plan, sample: Any, seasons: str) -> int:
    """Number of the record's seasons that each trial's years are drawn from; 0 where they are not so drawn.

    Generated seasons differ in every trial and year, and a replayed record is the same in all trials: neither tells
    what another record of the same length would have given.
    """
    if plan.weather.record is None or plan.weather.method == "parametric" or seasons == "record":
        return 0
    return int(np.unique(sample.seasons.harvest_year[sample.history]).size)


def _assumption(one: Any) -> dict[str, Any]:
    return {name: getattr(one, name) for name in one.__dataclass_fields__}
