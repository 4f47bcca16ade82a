"""Runs a plan: ranges of trials over processes, joined in trial order."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import itertools
import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.core.errors import InputError
from orchardsim.core.handover import WeatherSample
from orchardsim.core.pool import worker_pool
from orchardsim.core.streams import Streams
from orchardsim.economy.remarks import money_remarks
from orchardsim.plan import Plan
from orchardsim.plan.describe import refill_notes
from orchardsim.results import build_dataset
from orchardsim.simulation.arguments import check_arguments
from orchardsim.simulation.frost_history import frost_history
from orchardsim.simulation.futures import level_middles
from orchardsim.simulation.money import block_leaf
from orchardsim.simulation.partial import PartialRun
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.single_trees import with_single_trees
from orchardsim.simulation.trial_range import RANGE_TRIALS, run_trials, tile_size
from orchardsim.weather.place import climate_of

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
    process_seeds: Mapping[str, int] | None = None,
    futures: Literal["uncertain", "known"] = "uncertain",
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
    process_seeds : mapping, optional
        Process -> its own seed in place of ``seed`` (:class:`orchardsim.core.streams.Streams`).
    futures : {"uncertain", "known"}
        Open levels (:mod:`orchardsim.core.futures`) drawn for each trial, or all taken at their middle.

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
    check_arguments(jobs=jobs)
    if futures == "known":
        plan = plan.with_known_futures()
    job = RunJob(plan, trials, years, seed, seasons, single_trees, process_seeds)
    finished: dict[int, Arrays] = {}
    for part, arrays in job.run(job.ranges(jobs), jobs):
        finished[part.start] = arrays
        if progress is not None:
            progress(len(part))
    return job.dataset(_join([finished[start] for start in sorted(finished)]))


class RunJob:
    """What a run is; its ranges of trials, and the datasets of their arrays. For the parameters see :func:`simulate`.

    Raises
    ------
    InputError
        If the plan cannot be run as asked.
    """

    def __init__(
        self,
        plan: Plan,
        trials: int,
        years: int,
        seed: int,
        seasons: str = "sampled",
        single_trees: tuple[int, ...] = (),
        process_seeds: Mapping[str, int] | None = None,
    ) -> None:
        check_arguments(
            trials=trials,
            years=years,
            seed=seed,
            seasons=seasons,
            process_seeds=process_seeds,
            single_trees=single_trees,
        )
        check_run(plan, trials, years, single_trees)
        self.plan, self.trials, self.years, self.seed = plan, trials, years, seed
        self.seasons, self.single_trees, self.process_seeds = seasons, single_trees, process_seeds

    @functools.cached_property
    def _library(self) -> SeasonLibrary | None:
        """Seasons of all trials; None where each range of trials generates its own."""
        if self.plan.weather.method == "parametric" and self.seasons != "record":
            return None
        streams = Streams(self.seed, self.process_seeds or {})
        return build_library(self.plan, streams, range(self.trials), self.years, self.seasons)

    def forget(self) -> None:
        """Let go of the seasons, which are worked out again when next needed."""
        self.__dict__.pop("_library", None)
        self.__dict__.pop("_told", None)

    @property
    def identity(self) -> dict[str, Any]:
        """What two runs have in common that give the same results."""
        same = {
            "plan": self.plan.hash,
            "trials": self.trials,
            "years": self.years,
            "seed": self.seed,
            "seasons": self.seasons,
            "version": orchardsim.__version__,
            "single_trees": list(self.single_trees),
        }
        return same | ({"process_seeds": dict(self.process_seeds)} if self.process_seeds else {})

    def ranges(self, jobs: int, gaps: Sequence[range] | None = None) -> list[range]:
        """Some stretches of trials, or all trials, cut into ranges; results do not depend on how.

        The last ones are small, so that all processes come to an end together.
        """
        gaps = [range(self.trials)] if gaps is None else gaps
        sizes = _range_sizes(sum(len(gap) for gap in gaps), jobs, tile_size(self.plan))
        cut = []
        for gap in gaps:
            while gap:
                size = next(sizes)
                cut.append(gap[:size])
                gap = gap[size:]
        return cut

    def run(self, ranges: list[range], jobs: int) -> Iterator[tuple[range, Arrays]]:
        """Ranges as they finish."""
        with worker_pool(jobs) as pool:
            pool.start(len(ranges))
            run = self._run_trials(self.single_trees)
            tasks = [(run, (part,)) for part in ranges]
            for number, arrays in pool.finished(tasks, self._prepare_results):
                yield ranges[number], arrays

    def _prepare_results(self) -> None:
        """What the results need besides the arrays, got while other processes are at work."""
        importlib.import_module("xarray")
        _ = self._attributes, self._frost_years

    def piece(self, part: range) -> xarray.Dataset:
        """Some trials alone, simulated in this process."""
        return self.dataset(self._run_trials(())(part), part.start, history=False)

    def _run_trials(self, single_trees: tuple[int, ...]) -> Callable[[range], Arrays]:
        """What simulates a range of the trials, here or in another process."""
        return functools.partial(
            run_trials,
            self.plan,
            years=self.years,
            seed=self.seed,
            seasons=self.seasons,
            library=self._library,
            single_trees=single_trees,
            process_seeds=self.process_seeds,
        )

    def run_kept(self, kept: PartialRun, jobs: int, progress: Callable[[int], Any] = lambda trials: None) -> None:
        """Run what is not kept yet, and keep it.

        Raises
        ------
        InputError
            If the disk is full.
        """
        progress(kept.kept)
        for part, arrays in self.run(self.ranges(jobs, kept.missing(self.trials)), jobs):
            kept.save(part, arrays)
            progress(len(part))

    def pieces(self, kept: PartialRun, size: int) -> Iterator[xarray.Dataset]:
        """Datasets of so many trials each from a run that is kept whole."""
        trees = kept.single_trees()
        for part, arrays in kept.pieces(size):
            yield self.dataset(arrays | trees if part.start == 0 else arrays, part.start)

    def dataset(self, arrays: Arrays, first_trial: int = 0, history: bool = True) -> xarray.Dataset:
        """Arrays of some trials, in order, as a dataset; single trees only with the first trials.

        Without ``history`` the site's past frosts are left out, which take longer than some trials.
        """
        arrays = dict(arrays)
        trees = {name: arrays.pop(name) for name in list(arrays) if "/" in name}
        arrays["leaf"] = block_leaf(self.plan, self.years)
        for name in ("planted_area", "gross_area"):
            arrays[name] = np.array([getattr(money.geometry, name) for money in self.plan.money])
        trials = np.arange(first_trial, first_trial + len(arrays["harvest_year"]))
        attrs = self._attributes | ({"frost_years": self._frost_years} if history else {})
        dataset = build_dataset(arrays, {"trial": trials, **_block_coords(self.plan)}, attrs)
        return with_single_trees(self.plan, dataset, trees, self.single_trees) if trees else dataset

    @functools.cached_property
    def _told(self) -> SeasonLibrary:
        """Seasons of at least one trial, for what results say of themselves."""
        library = self._library
        if library is None:
            streams = Streams(self.seed, self.process_seeds or {})
            library = build_library(self.plan, streams, range(1), self.years, self.seasons)
        return library

    @property
    def _sample(self) -> WeatherSample:
        return self._told.sample

    @functools.cached_property
    def _attributes(self) -> dict[str, Any]:
        return _attributes(self.plan, self.years, self.seed, self.trials, self._told, self.seasons)

    @functools.cached_property
    def _frost_years(self) -> str:
        return json.dumps(frost_history(self.plan, self._sample))


def _block_coords(plan: Plan) -> dict[str, list[Any]]:
    """What each row group is, beside its label."""
    groups = plan.groups
    return {
        "block": [group.label for group in groups],
        "cultivar": [group.cultivar_name for group in groups],
        "rootstock": [group.stock_name for group in groups],
        "training": [group.training_name for group in groups],
        "tree_spacing": [group.money.geometry.tree_spacing for group in groups],
        "row_spacing": [group.money.geometry.row_spacing for group in groups],
    }


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


def _range_sizes(trials: int, jobs: int, tile: int) -> Iterator[int]:
    """Trials of one range after the other; tiles stay whole while there is one for every process."""
    while jobs > 1 and trials > jobs * tile:
        size = min(RANGE_TRIALS, max(tile, -(-trials // (2 * jobs))))
        yield size
        trials -= size
    yield from itertools.repeat(max(1, min(RANGE_TRIALS, -(-trials // jobs))))


def _join(parts: list[Arrays]) -> Arrays:
    """Arrays of all ranges in trial order; single trees as they are."""
    joined: Arrays = {}
    for name in parts[0]:
        if "/" not in name:
            joined[name] = np.concatenate([part[name] for part in parts])
    for part in parts:
        joined |= {name: values for name, values in part.items() if "/" in name}
    return joined


def _attributes(plan: Plan, years: int, seed: int, trials: int, library: SeasonLibrary, seasons: str) -> dict[str, Any]:
    """What a result says of itself."""
    sample = library.sample
    remarks = money_remarks(plan.money, plan.costs, plan.market, plan.finance, years, plan.work_rates.picking)
    return {
        **plan.terms,
        "seed": seed,
        "trials": trials,
        "version": orchardsim.__version__,
        "plan_hash": plan.hash,
        "weather_method": sample.method,
        "weather_words": sample.method_words,
        "baseline_years": json.dumps(list(sample.baseline_years)),
        "notes": json.dumps([*sample.notes, *plan.warnings, *remarks, *refill_notes(plan)]),
        "plan": json.dumps(plan.document()),
        "frost_years": json.dumps([]),
        "farm_area": plan.gross_area,
        "latitude": plan.weather.latitude,
        "credit_line": plan.finance.credit_line,
        "opening_cash": plan.finance.opening_cash,
        "household_draw": plan.finance.household_draw,
        "own_wealth": plan.finance.own_wealth,
        "discount_rate": plan.finance.discount_rate,
        "income_tax_rate": plan.finance.tax.rate if plan.finance.tax is not None else 0.0,
        "family_paid": plan.costs.family_labour_priced,
        "futures": "known" if plan.futures.known else "uncertain",
        "level_middles": json.dumps(level_middles(plan)),
        "climate": json.dumps(dataclasses.asdict(climate_of(plan.weather))),
        "cultivars": json.dumps({money.label: money.cultivar for money in plan.money}),
        "crop_load_targets": json.dumps(_crop_load_targets(plan)),
        "standing": json.dumps(_standing(plan, library)),
        "learned": json.dumps([list(part) for part in plan.futures.learned.parts] if plan.futures.learned else []),
        "record_seasons": record_seasons(plan, sample, seasons),
        "season_run_length": plan.weather.run_length,
    }


def _standing(plan: Plan, library: SeasonLibrary) -> list[dict[str, Any]]:
    """Row groups that stand with a stated trunk and last crop: that crop, a usual one of the model's [kg/tree]."""
    return [
        {"label": label, "stated": stated, "usual": float(own.usual_crop[group]), "off_year": own.off_year[group]}
        for number, own in library.standing.items()
        if (stated := plan.blocks[number].plan.crop_at_start) is not None
        for group, label in enumerate(plan.blocks[number].labels)
    ]


def _crop_load_targets(plan: Plan) -> dict[str, list[float]]:
    """Fruit per cm2 of trunk that each label is thinned to, by leaf; labels that are not thinned are left out."""
    return {
        group.label: list(group.crop_load_target)
        for block in plan.blocks
        for group in block.groups
        if math.isfinite(group.crop_load_target[-1])
    }


def record_seasons(plan: Plan, sample: Any, seasons: str) -> int:
    """Number of the record's seasons that each trial's years are drawn from; 0 where they are not so drawn.

    Generated seasons differ in every trial and year, and a replayed record is the same in all trials: neither tells
    what another record of the same length would have given.
    """
    if plan.weather.record is None or plan.weather.method == "parametric" or seasons == "record":
        return 0
    return int(np.unique(sample.seasons.harvest_year[sample.history]).size)
