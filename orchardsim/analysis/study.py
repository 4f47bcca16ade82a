"""Runs a declared study: every cell in the same futures, in ranges of trials done anywhere and in any order."""

from __future__ import annotations

import collections
import dataclasses
import functools
import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.analysis.decision import money_by_levels
from orchardsim.analysis.measures import STUDY_MEASURES, plan_values, study_values
from orchardsim.analysis.waiting import worth_of_waiting
from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.pool import worker_pool
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.plan.coming import NOT_PLANTED
from orchardsim.plan.formats import METHODS
from orchardsim.plan.study import Study, load_study
from orchardsim.results.folder import OutputFolder
from orchardsim.results.next import WaitAnswer
from orchardsim.results.study import StudyDesign
from orchardsim.results.study_trials import StudyTrials
from orchardsim.simulation.futures import draw_future, level_keys
from orchardsim.simulation.partial import PartialRun
from orchardsim.simulation.run import RunJob
from orchardsim.weather.place import climate_of

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
Arrays = dict[str, Array]

LEVEL: Final = "level "
"""Beginning of an open level's name among its arrays."""
RANGE_TRIALS: Final = 100
"""Trials of one cell in a range; answers do not depend on it."""
RECENT_RUNS: Final = 4
"""Runs whose seasons a process keeps, so that its memory does not grow with the number of cells."""
_recent: Final[collections.deque[RunJob]] = collections.deque()
StudyRange = tuple[int, range]
"""Place of a run and trials."""


def study(
    source: str | Path | Mapping[str, Any] | Study,
    *,
    jobs: int = 1,
    out: OutputFolder | None = None,
    dask: str | None = None,
    progress: Callable[[int], Any] = lambda trials: None,
) -> xarray.Dataset:
    """Run a declared experiment over keys of a plan; every cell meets the same futures.

    Returns xarray.Dataset: one variable per measure over the factors and ``trial``. Raises InputError if the study, or
    a plan of it, cannot be run.

    Parameters
    ----------
    source : path, mapping or Study
        A study file, its content, or what :func:`orchardsim.plan.study.load_study` gave.
    jobs : int
        Processes on this machine. Results do not depend on it.
    out : OutputFolder, optional
        Where finished trials are kept, so that a stopped study goes on.
    dask : str, optional
        Address of a Dask scheduler whose workers do the work instead; they need the same version of this package.
    progress : callable
        Called with the number of trials just finished.
    """
    declared = source if isinstance(source, Study) else load_study(source)
    return run_study(declared, jobs=jobs, out=out, dask=dask, progress=progress).dataset()


def run_study(
    study: Study,
    *,
    jobs: int = 1,
    out: OutputFolder | None = None,
    dask: str | None = None,
    progress: Callable[[int], Any] = lambda trials: None,
) -> StudyTrials:
    """As :func:`study`: every measure by cell and trial."""
    if study.decide_by not in STUDY_MEASURES:
        near = nearest_names(study.decide_by, STUDY_MEASURES)
        raise InputError(str(study.path or "study"), f"decide_by: unknown measure {study.decide_by!r}; {near}")
    parts = _parts(study, out)
    ranges = [(place, part) for place, (_, kept) in enumerate(parts) for part in kept.missing()]
    progress(sum(run.trials for run, _ in parts) - sum(len(part) for _, part in ranges))
    runs = [run for run, _ in parts]
    finished = _by_dask(runs, ranges, dask) if dask is not None else _by_processes(runs, ranges, jobs)
    for (place, part), arrays in finished:
        parts[place][1].save(part, arrays)
        progress(len(part))
    joined = [kept.joined() for _, kept in parts]
    cells, rest = joined[: len(study.cells)], joined[len(study.cells) :]
    known = rest[: len(study.cells) if study.known_trials else 0]
    later = rest[len(known) :]
    return dataclasses.replace(_collected(study, cells, known), waiting=_waited(study, cells, later))


def study_size(study: Study) -> int:
    """Trials that a study simulates, those with known levels included."""
    later = sum(len(waiting.plans) for waiting in study.waitings)
    return len(study.cells) * (study.trials + study.known_trials) + later * study.trials


def _parts(study: Study, out: OutputFolder | None) -> list[tuple[RunJob, _Kept]]:
    """Runs of all cells, then those with every open level at its middle, then those that plant later or nothing; each
    with where its trials are kept.
    """
    parts = [
        (RunJob(cell.plan, study.trials, study.years, study.seed), _Kept(study.trials, out, f"cell-{cell.number:04d}"))
        for cell in study.cells
    ]
    if study.known_trials:
        for cell in study.cells:
            run = RunJob(cell.plan.with_known_futures(), study.known_trials, study.years, study.seed)
            parts.append((run, _Kept(study.known_trials, out, f"known-{cell.number:04d}")))
    later = [plan for waiting in study.waitings for plan in waiting.plans]
    for number, plan in enumerate(later):
        run = RunJob(plan, study.trials, study.years, study.seed)
        parts.append((run, _Kept(study.trials, out, f"later-{number:04d}")))
    return parts


class _Kept:
    """Finished trials of one run: on disk where there is a folder, else in memory."""

    def __init__(self, trials: int, out: OutputFolder | None, prefix: str) -> None:
        self.trials = trials
        self.on_disk = PartialRun(out, trials, prefix) if out is not None else None
        self.in_memory: dict[int, Arrays] = {}

    def missing(self) -> list[range]:
        if self.on_disk is not None:
            return self.on_disk.missing(RANGE_TRIALS)
        starts = range(0, self.trials, RANGE_TRIALS)
        return [range(start, min(start + RANGE_TRIALS, self.trials)) for start in starts]

    def save(self, part: range, arrays: Arrays) -> None:
        if self.on_disk is not None:
            self.on_disk.save(part, arrays)
        else:
            self.in_memory[part.start] = arrays

    def joined(self) -> Arrays:
        """All trials in order."""
        if self.on_disk is not None:
            return next(arrays for _, arrays in self.on_disk.pieces(self.trials))
        parts = [self.in_memory[start] for start in sorted(self.in_memory)]
        return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def study_trials(run: RunJob, part: range) -> Arrays:
    """Every measure and drawn level of some trials of one cell, (trial,) each."""
    if all(run is not recent for recent in _recent):
        if len(_recent) == RECENT_RUNS:
            _recent.popleft().forget()
        _recent.append(run)
    dataset = run.piece(part)
    arrays = plan_values(run.plan, dataset) | study_values(run.plan, dataset)
    levels = draw_future(run.plan, Streams(run.seed), part)
    for name, values in levels.values.items():
        for key, column in dict(zip(level_keys(run.plan, name), values.T, strict=True)).items():
            arrays[f"{LEVEL}{name} of {key}" if key else f"{LEVEL}{name}"] = column
    return arrays


def _by_processes(runs: list[RunJob], ranges: list[StudyRange], jobs: int) -> Iterator[tuple[StudyRange, Arrays]]:
    work = [functools.partial(study_trials, run) for run in runs]
    with worker_pool(jobs) as pool:
        for place, arrays in pool.finished([(work[number], (part,)) for number, part in ranges]):
            yield ranges[place], arrays


def _by_dask(runs: list[RunJob], ranges: list[StudyRange], address: str) -> Iterator[tuple[StudyRange, Arrays]]:
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise InputError(
            "--dask", "the library is not installed; allowed after pip install 'orchardsim[dask]'"
        ) from None
    try:
        client = Client(address, timeout="20s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError("--dask", f"no scheduler answers at {address!r} ({type(error).__name__})") from None
    with client:
        futures = {
            client.submit(study_trials, runs[number], part, pure=False, retries=5): (number, part)
            for number, part in ranges
        }
        for future in as_completed(futures, loop=client.loop):
            yield futures[future], future.result()


def _collected(study: Study, cells: list[Arrays], known: list[Arrays]) -> StudyTrials:
    values = _measures(cells)
    if study.decide_by not in values:
        raise InputError(
            str(study.path or "study"),
            f"decide_by: not every cell has {study.decide_by!r}; allowed: {', '.join(sorted(values))}",
        )
    return StudyTrials(study_design(study), STUDY_MEASURES, values, _measures(known) if known else {}, _drawn(cells))


def _waited(study: Study, cells: list[Arrays], later: list[Arrays]) -> tuple[tuple[str, WaitAnswer], ...]:
    """What waiting is worth in every circumstance; the cells are the options now."""
    answers, start = [], 0
    for waiting in study.waitings:
        own = [*(cells[number] for number in waiting.cells), *later[start : start + len(waiting.plans)]]
        start += len(waiting.plans)
        plan, waits = study.cells[waiting.cells[0]].plan, (0, *waiting.years)
        npv, borrowing = (np.stack([arrays[name] for arrays in own]) for name in ("npv", "peak_borrowing"))
        names = [f"{name}, {wait} years later" for wait in waits for name in waiting.options]
        money = money_by_levels(plan, [*names, NOT_PLANTED], npv, borrowing, study.seed)
        answer = worth_of_waiting(plan, money, waiting.options, waits, waiting.measured_from, study.years, study.seed)
        answers.append((waiting.circumstance, answer))
    return tuple(answers)


def _measures(cells: list[Arrays]) -> Arrays:
    """Measures that every cell has, (cell, trial)."""
    values = {}
    for name in STUDY_MEASURES:
        stacked = np.stack([cell[name] for cell in cells])
        if not np.isnan(stacked).any():
            values[name] = stacked
    return values


def _drawn(cells: list[Arrays]) -> Arrays:
    """Open levels that are the same in all cells that have them, (trial,); a study may itself change one."""
    levels: dict[str, Array | None] = {}
    for cell in cells:
        for name, drawn in cell.items():
            if name.startswith(LEVEL):
                before = levels.setdefault(name, drawn)
                if before is not None and not np.array_equal(before, drawn):
                    levels[name] = None
    return {name.removeprefix(LEVEL): drawn for name, drawn in levels.items() if drawn is not None}


def study_identity(study: Study) -> dict[str, Any]:
    """What two studies have in common that give the same answers."""
    return {
        "version": orchardsim.__version__,
        "trials": study.trials,
        "years": study.years,
        "seed": study.seed,
        "decide_by": study.decide_by,
        "known_trials": study.known_trials,
        "cells": hashlib.sha256(
            json.dumps(
                [_cell_key(study, cell.plan, cell.levels) for cell in study.cells]
                + [[plan.hash, waiting.measured_from] for waiting in study.waitings for plan in waiting.plans]
            ).encode()
        ).hexdigest(),
    }


def _cell_key(study: Study, plan: Plan, levels: tuple[int, ...]) -> list[Any]:
    return [plan.hash, [factor.levels[level] for factor, level in zip(study.factors, levels, strict=True)]]


def study_differs(before: Mapping[str, Any], now: Mapping[str, Any]) -> str | None:
    """The first difference of two studies in words; None for the same study."""
    for key in ("version", "trials", "known_trials", "years", "seed", "decide_by"):
        if before.get(key) != now.get(key):
            return f"the interrupted study had {key} {before.get(key)}, this one has {now.get(key)}"
    return None if before == now else "the interrupted study had other cells or plans"


def study_design(study: Study) -> StudyDesign:
    """What a study declares, as its results tell it."""
    plan = study.base
    attrs = {
        **plan.terms,
        "version": orchardsim.__version__,
        "base_plan": plan.path.name if plan.path is not None else plan.title,
        "base_plan_hash": plan.hash,
        "income_tax_rate": plan.finance.tax.rate if plan.finance.tax is not None else 0.0,
        "discount_rate": plan.finance.discount_rate,
        "weather_words": f"{climate_of(plan.weather).record or 'monthly normals'}, {METHODS[plan.weather.method]}",
        "plan": json.dumps(plan.document()),
    }
    return StudyDesign(
        title=study.title,
        kind=study.design,
        factors={factor.name: factor.levels for factor in study.factors},
        sets={factor.name: factor.sets for factor in study.factors},
        levels=np.array([cell.levels for cell in study.cells]),
        values={factor.name: factor.values for factor in study.factors if factor.values},
        held=dict(study.held),
        trials=study.trials,
        known_trials=study.known_trials,
        years=study.years,
        seed=study.seed,
        decide_by=study.decide_by,
        attrs=attrs,
    )
