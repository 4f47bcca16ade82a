"""Runs a declared study: every cell in the same futures, in units of work done anywhere and in any order."""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.analysis.measures import MEASURES, STUDY_MEASURES, plan_values, study_values
from orchardsim.analysis.study_answers import answer_measure
from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.pool import worker_pool
from orchardsim.plan import Plan
from orchardsim.plan.study import Study, load_study
from orchardsim.results.folder import OutputFolder
from orchardsim.results.study import MeasureFacts, StudyFindings, study_dataset
from orchardsim.simulation.partial import PartialRun
from orchardsim.simulation.run import RunJob

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
Arrays = dict[str, Array]

UNIT_TRIALS: Final = 100
"""Trials of one cell in a unit of work; answers do not depend on it."""
FACTS: Final = {
    key: MeasureFacts(key, name, meaning, unit, better, has_mean)
    for key, (name, meaning, unit, better, has_mean, _) in {**MEASURES, **STUDY_MEASURES}.items()
}
Unit = tuple[int, range]
"""Cell number and trials."""


@dataclass(frozen=True)
class StudyResults:
    """Every measure of every cell by trial.

    Attributes
    ----------
    values : dict
        Measure -> array (cell, trial), inside units; measures that some cell lacks are left out.
    drawn : dict
        Open level -> array (trial,).
    """

    study: Study
    values: Arrays
    drawn: Arrays

    def dataset(self) -> xarray.Dataset:
        """The study over its factors and trials, see :func:`orchardsim.results.study.study_dataset`."""
        study = self.study
        factorial = study.design == "factorial"
        return study_dataset(
            {one.name: one.levels if factorial else one.values for one in study.factors},
            np.array([cell.levels for cell in study.cells]),
            self.values,
            FACTS,
            self.drawn,
            study_attributes(study),
            factorial=factorial,
        )

    def findings(self) -> StudyFindings:
        """Answers on every measure, the one that decides first."""
        study = self.study
        names = sorted(self.values, key=lambda name: name != study.decide_by)
        return StudyFindings(
            title=study.title,
            design=study.design,
            factors={one.name: one.levels for one in study.factors},
            cells=len(study.cells),
            held=dict(study.held),
            trials=study.trials,
            years=study.years,
            seed=study.seed,
            attrs=study_attributes(study),
            drawn_levels=tuple(sorted(name for name, drawn in self.drawn.items() if np.ptp(drawn) > 0)),
            answers=tuple(answer_measure(study, FACTS[name], self.values[name], self.drawn, None) for name in names),
        )


def study(
    source: str | Path | Mapping[str, Any] | Study,
    *,
    jobs: int = 1,
    out: OutputFolder | None = None,
    dask: str | None = None,
    progress: Callable[[int], Any] = lambda trials: None,
) -> xarray.Dataset:
    """Run a declared experiment over keys of a plan; every cell meets the same futures.

    Parameters
    ----------
    source : path, mapping or Study
        A study file, its content, or what :func:`orchardsim.plan.study.load_study` gave.
    jobs : int
        Processes on this machine. Results do not depend on it.
    out : OutputFolder, optional
        Where finished units are kept, so that a stopped study goes on.
    dask : str, optional
        Address of a Dask scheduler whose workers do the work instead; they need the same version of this package.
    progress : callable
        Called with the number of trials just finished.

    Returns
    -------
    xarray.Dataset
        One variable per measure over the factors and ``trial``.

    Raises
    ------
    InputError
        If the study, or a plan of it, cannot be run.
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
) -> StudyResults:
    """As :func:`study`, with the answers still to be drawn."""
    if study.decide_by not in FACTS:
        near = nearest_names(study.decide_by, FACTS)
        raise InputError(str(study.path or "study"), f"decide_by: unknown measure {study.decide_by!r}; {near}")
    runs = [RunJob(cell.plan, study.trials, study.years, study.seed) for cell in study.cells]
    kept = [_Cell(study.trials, out, cell.number) for cell in study.cells]
    units = [(number, unit) for number, one in enumerate(kept) for unit in one.missing()]
    progress(study.trials * len(runs) - sum(len(unit) for _, unit in units))
    finished = _by_dask(runs, units, dask) if dask is not None else _by_processes(runs, units, jobs)
    for (number, unit), arrays in finished:
        kept[number].save(unit, arrays)
        progress(len(unit))
    return _collected(study, [one.joined() for one in kept])


class _Cell:
    """Finished units of one cell: on disk where there is a folder, else in memory."""

    def __init__(self, trials: int, out: OutputFolder | None, number: int) -> None:
        self.trials = trials
        self.on_disk = PartialRun(out, trials, f"cell-{number:04d}") if out is not None else None
        self.in_memory: dict[int, Arrays] = {}

    def missing(self) -> list[range]:
        if self.on_disk is not None:
            return self.on_disk.missing(UNIT_TRIALS)
        starts = range(0, self.trials, UNIT_TRIALS)
        return [range(start, min(start + UNIT_TRIALS, self.trials)) for start in starts]

    def save(self, unit: range, arrays: Arrays) -> None:
        if self.on_disk is not None:
            self.on_disk.save(unit, arrays)
        else:
            self.in_memory[unit.start] = arrays

    def joined(self) -> Arrays:
        """All trials in order."""
        if self.on_disk is not None:
            return next(arrays for _, arrays in self.on_disk.pieces(self.trials))
        parts = [self.in_memory[start] for start in sorted(self.in_memory)]
        return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def study_unit(run: RunJob, unit: range) -> Arrays:
    """Every measure and drawn level of some trials of one cell, (trial,) each."""
    dataset = run.piece(unit)
    found = plan_values(run.plan, dataset) | study_values(dataset)
    return found | {
        str(name): dataset[name].values.astype(np.float64)
        for name in dataset.data_vars
        if str(name)[:6] == "level_" and dataset[name].dims == ("trial",)
    }


def _by_processes(runs: list[RunJob], units: list[Unit], jobs: int) -> Iterator[tuple[Unit, Arrays]]:
    work = [functools.partial(study_unit, run) for run in runs]
    with worker_pool(jobs) as pool:
        for place, arrays in pool.finished([(work[number], (unit,)) for number, unit in units]):
            yield units[place], arrays


def _by_dask(runs: list[RunJob], units: list[Unit], address: str) -> Iterator[tuple[Unit, Arrays]]:
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
            client.submit(study_unit, runs[number], unit, pure=False, retries=5): (number, unit)
            for number, unit in units
        }
        for future in as_completed(futures, loop=client.loop):
            yield futures[future], future.result()


def _collected(study: Study, cells: list[Arrays]) -> StudyResults:
    values = {}
    for name in FACTS:
        if all(name in cell for cell in cells):
            stacked = np.stack([cell[name] for cell in cells])
            if not np.isnan(stacked).any():
                values[name] = stacked
    if study.decide_by not in values:
        raise InputError(
            str(study.path or "study"),
            f"decide_by: not every cell has {study.decide_by!r}; allowed: {', '.join(sorted(values))}",
        )
    drawn = {name: array for name, array in cells[0].items() if name.startswith("level_")}
    common = {
        name: array for name, array in drawn.items() if all(np.array_equal(cell[name], array) for cell in cells[1:])
    }
    return StudyResults(study, values, common)


def study_identity(study: Study) -> dict[str, Any]:
    """What two studies have in common that give the same answers."""
    return {
        "version": orchardsim.__version__,
        "trials": study.trials,
        "years": study.years,
        "seed": study.seed,
        "decide_by": study.decide_by,
        "cells": hashlib.sha256(
            json.dumps([_cell_key(study, cell.plan, cell.levels) for cell in study.cells]).encode()
        ).hexdigest(),
    }


def _cell_key(study: Study, plan: Plan, levels: tuple[int, ...]) -> list[Any]:
    return [plan.hash, [one.levels[level] for one, level in zip(study.factors, levels, strict=True)]]


def study_differs(before: Mapping[str, Any], now: Mapping[str, Any]) -> str | None:
    """The first difference of two studies in words; None for the same study."""
    for key in ("version", "trials", "years", "seed", "decide_by"):
        if before.get(key) != now.get(key):
            return f"the interrupted study had {key} {before.get(key)}, this one has {now.get(key)}"
    return None if before == now else "the interrupted study had other cells or plans"


def study_attributes(study: Study) -> dict[str, Any]:
    """Attributes of a study's dataset."""
    plan = study.base
    return {
        "title": study.title,
        "design": study.design,
        "trials": study.trials,
        "years": study.years,
        "seed": study.seed,
        "version": orchardsim.__version__,
        "base_plan": plan.path.name if plan.path is not None else plan.title,
        "base_plan_hash": plan.hash,
        "held": json.dumps(dict(study.held)),
        "currency": plan.currency,
        "price_year": plan.price_year,
        "display_units": plan.units,
        "bin_mass": plan.bin_mass,
        "box_mass": plan.box_mass,
        "real_or_nominal": plan.finance.basis,
        "income_tax_rate": plan.finance.tax.rate if plan.finance.tax is not None else 0.0,
    }
