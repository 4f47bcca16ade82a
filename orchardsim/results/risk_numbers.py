"""What a run says about risk beyond bands: both errors of a number, aversion, bank, household, trials needed."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import QUARTERS
from orchardsim.results.block_results import credit_broken
from orchardsim.results.statistics import PERCENT_POINTS, STATISTICS, TAIL, describe
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Chance, Estimate, Side
    from orchardsim.risk.record import SeasonsMet, TwoErrors

Array = NDArray[np.float64]

WANTED_SHARE: Final = 0.02
"""Wanted standard error of a number, as a share of it, for the number of trials that it needs (a choice)."""
FEW_PER_YEAR: Final = 5
"""Trials for each year below which one number tells a trial's price luck, not one for each year (assumption)."""
WANTED_CHANCE: Final = 0.02
"""Wanted standard error of a chance (a choice)."""


@dataclass(frozen=True)
class Draws:
    """How trials took their years from the weather record: (trial, year) places among ``seasons`` of them.

    ``in_runs``: years were drawn in runs, which makes the record's error come out too small. ``luck``: the trial's
    price luck by year, or its mean where trials are few, (trial, control).
    """

    season_rows: NDArray[np.int64]
    seasons: int
    in_runs: bool
    luck: Array

    @functools.cached_property
    def _all(self) -> SeasonsMet:
        return self._of(slice(None))

    def met(self, trials: NDArray[np.bool_]) -> SeasonsMet:
        """What some trials met."""
        return self._all if trials.all() else self._of(trials)

    def _of(self, trials: Any) -> SeasonsMet:
        from orchardsim.risk.record import SeasonsMet

        return SeasonsMet(self.season_rows[trials], self.seasons, self.luck[trials])


def record_draws(dataset: xarray.Dataset) -> Draws | None:
    """How years were drawn from the record; None where they were generated or replayed."""
    seasons = int(dataset.attrs.get("record_seasons", 0))
    if seasons < 2:
        return None
    found, season_rows = np.unique(dataset["harvest_year"].values, return_inverse=True)
    seasons = max(seasons, found.size)
    shape = dataset["harvest_year"].shape
    luck = dataset["price_luck"].values
    if luck.shape[0] < FEW_PER_YEAR * luck.shape[1]:
        luck = luck.mean(axis=1, keepdims=True)
    return Draws(season_rows.reshape(shape), seasons, float(dataset.attrs.get("season_run_length", 1.0)) > 1.0, luck)


def record_silence(dataset: xarray.Dataset) -> str:
    """Why the error from the finite record cannot be told of this run; empty where it can."""
    if record_draws(dataset) is not None:
        return ""
    if dataset.attrs["weather_method"] == "record_in_order":
        return (
            "All trials replay the same years of the record, so nothing can be said of what another record of the same "
            "length would have given."
        )
    return (
        "The seasons are generated, each new, so the error from the finite weather record cannot be told from this "
        "run. The generator's numbers were fitted to the same record, or typed in, and are as uncertain as it. A run "
        'on the record\'s own years (weather.method = "resample") tells it, where there is a record.'
    )


def errors_of(values: Array, worst: Side, draws: Draws | None, *, whole: bool = False) -> dict[str, TwoErrors]:
    """Both errors of every statistic of :data:`STATISTICS`; nan as the record's where it cannot be told.

    Parameters
    ----------
    values : (trial,)
        Trials that hold nan are left out.
    whole : bool
        Whole numbers.
    """
    from orchardsim.risk.record import TwoErrors, two_errors

    present = ~np.isnan(values)
    known = values[present]
    if known.size and np.isfinite(known).all() and np.ptp(known) <= 1e-9 * np.abs(known).max():
        # A number that does not vary has rounding of its own, which is no error.
        none = math.nan if draws is None else 0.0
        return {name: TwoErrors(name, float(known[0]), 0.0, none, none) for name in STATISTICS}
    points = tuple(point / 100 for point in PERCENT_POINTS)
    if draws is not None and present.sum() >= 3:
        found = two_errors(values[present], draws.met(present), points, worst=worst, tail=TAIL, whole=whole)
        return {one.statistic: one for one in found}
    statistics, errors = describe(values, worst=worst, whole=whole)
    return {
        name: TwoErrors(name, float(value), float(error), math.nan, math.nan)
        for name, value, error in zip(STATISTICS, statistics, errors, strict=True)
    }


def trials_for(one: TwoErrors, trials: int) -> int | None:
    """Trials at which the Monte Carlo error comes down to the wanted share of the number."""
    from orchardsim.risk.bands import trials_needed

    goal = WANTED_SHARE * abs(one.value)
    if not (math.isfinite(one.monte_carlo) and math.isfinite(goal)) or goal <= 0:
        return None
    return max(trials_needed(one.monte_carlo, trials, goal), 2)


def trials_for_chance(chance: Chance) -> int:
    """Trials at which a chance like this has a standard error of :data:`WANTED_CHANCE`.

    Counted from the end of its interval that is nearer to one half, so that a chance of 0 in few trials needs some.
    """
    from orchardsim.risk.bands import trials_needed

    share = min(max(0.5, chance.low), chance.high)
    return max(trials_needed(math.sqrt(share * (1.0 - share)), 1, WANTED_CHANCE), 2)


@dataclass(frozen=True)
class Aversion:
    """Certainty equivalents of NPV for a range of aversion to risk.

    Attributes
    ----------
    own_wealth : float [money]
    stated : bool
        Whether the plan states it; else it is the own cash and the mean money invested.
    """

    own_wealth: float
    stated: bool
    equivalents: dict[float, Estimate]


def aversion(dataset: xarray.Dataset) -> Aversion:
    """What sure amount is as good as the uncertain NPV, on top of the household's own wealth."""
    from orchardsim.risk.utility import certainty_equivalents

    stated = float(dataset.attrs.get("own_wealth", 0.0))
    wealth = stated or float(dataset.attrs.get("opening_cash", 0.0)) + float(dataset["establishment_cost"].mean())
    return Aversion(wealth, stated > 0, certainty_equivalents(dataset["npv"].values, wealth))


def credit_chance(dataset: xarray.Dataset) -> Chance | None:
    """Chance of breaking the stated credit line in any year; None where none is stated."""
    from orchardsim.risk.bands import wilson_interval

    first = credit_broken(dataset)
    return None if first is None else wilson_interval(int((first >= 0).sum()), first.size)


def peak_seasons(dataset: xarray.Dataset) -> dict[str, float]:
    """Share of the trials that borrow whose debt is deepest in each quarter; empty where none borrows."""
    owing = dataset["peak_borrowing"].values > 0
    if not owing.any():
        return {}
    quarter = dataset["peak_borrowing_quarter"].values[owing]
    return {name: float((quarter == place).mean()) for place, name in enumerate(QUARTERS)}


def several_rates(dataset: xarray.Dataset) -> int:
    """Trials with more than one rate of return at which NPV is zero."""
    return int((dataset["irr_roots"].values > 1).sum())


def risk_document(dataset: xarray.Dataset) -> dict[str, Any]:
    """Content of ``risk`` in ``summary.json``."""
    trials = int(dataset.sizes["trial"])
    attitude = aversion(dataset)
    document: dict[str, Any] = {
        "record_error": record_silence(dataset)
        or "standard error from the finite weather record, beside and never part of standard_error; 'below' where the "
        "noise of these trials hides it",
        "certainty_equivalent_of_npv": {
            "own_wealth": number(attitude.own_wealth),
            "own_wealth_is": "stated" if attitude.stated else "assumed: own cash and the mean money invested",
            "by_relative_aversion": {
                f"{level:g}": {"value": number(float(one.value)), "standard_error": number(float(one.standard_error))}
                for level, one in attitude.equivalents.items()
            },
        },
        "season_of_the_peak_borrowing": {name: number(share) for name, share in peak_seasons(dataset).items()},
        "household_draw": number(float(dataset.attrs.get("household_draw", 0.0))),
        "trials_with_several_rates_of_return": several_rates(dataset),
        "wanted_precision": f"trials_needed: a standard error of {100 * WANTED_SHARE:g} % of the number, or of "
        f"{100 * WANTED_CHANCE:g} points of a chance",
    }
    chance = credit_chance(dataset)
    if chance is not None:
        document["credit_line"] = {
            "line": number(float(dataset.attrs["credit_line"])),
            "share_of_trials_that_break_it": number(chance.value),
            "standard_error": number(chance.standard_error),
            "low_95": number(chance.low),
            "high_95": number(chance.high),
            "trials_needed": trials_for_chance(chance),
        }
    document["trials"] = trials
    return document
