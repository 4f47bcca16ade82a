"""What a stress test found: plain numbers for tables, pictures and ``stress.json``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from orchardsim.core.numbers import percent
from orchardsim.core.text import Brief
from orchardsim.results.written import number, plain

BACK: Final = 0.95
"""Share of the usual crop at which a block counts as recovered (definition of this table)."""
SURVIVING: Final = 0.9
"""Share of trials that a stated reserve carries through (definition of this table)."""


@dataclass(frozen=True)
class Estimate:
    """A number from trials and its standard error."""

    value: float
    standard_error: float

    @property
    def told(self) -> bool:
        """Whether it can be told from zero: more than two standard errors away."""
        return abs(self.value) > 2 * self.standard_error and self.value != 0


@dataclass(frozen=True)
class Moment:
    """A bad season that starts in one year of the plan; costs are against the same trials without it.

    Attributes
    ----------
    year, leaf, last_year : int
        First bad year, leaf of the leading block in it, last bad year.
    crop_lost, fresh_lost : Estimate [kg]
        Picked fruit, and fruit in the fresh grades, over the whole run.
    fresh_share : Estimate [1]
        Share of the fresh fruit of the bad years that is lost.
    trees_lost : Estimate [1]
        Trees that die more than without it, over the whole run.
    cash_lost : Estimate [money]
        Present value at year 0, living blocks worth nothing at the end.
    paid_back : Estimate [1]
        Share of trials that pay back within the run.
    payback_year : float [year]
        Middle of the trials; inf where half do not pay back.
    recovery : float [year]
        Years after the last bad one in which the mean fresh crop is still more than 5 % short, up to the last such
        year; inf where it is short to the end of the run, nan where no year of the run is left to tell.
    recovery_low, recovery_high : float [year]
        5 and 95 % points of the same over resampled trials.
    reserve, reserve_more : Estimate [money]
        Own cash at the start that carries nine trials of ten within the credit line; mean of what is needed beyond the
        run without it.
    """

    year: int
    leaf: int
    last_year: int
    crop_lost: Estimate
    fresh_lost: Estimate
    fresh_share: Estimate
    trees_lost: Estimate
    cash_lost: Estimate
    paid_back: Estimate
    payback_year: float
    recovery: float
    recovery_low: float
    recovery_high: float
    reserve: Estimate
    reserve_more: Estimate


@dataclass(frozen=True)
class Stressed:
    """A bad season at every leaf.

    Attributes
    ----------
    changes : tuple of dict
        What it changes: target, value, unit, meaning, source, status.
    note : str
        What it turned out to be here; may be empty.
    worst : int
        Place in ``moments`` of the one that costs most cash on the mean.
    close : tuple of int
        Leaves whose cost cannot be told from that of the worst one (paired, two standard errors), itself included.
    """

    name: str
    title: str
    sentence: str
    years: int
    changes: tuple[dict[str, Any], ...]
    note: str
    moments: tuple[Moment, ...]
    worst: int
    close: tuple[int, ...]

    @property
    def worst_moment(self) -> Moment:
        """The moment that costs most cash on the mean."""
        return self.moments[self.worst]


@dataclass(frozen=True)
class Usual:
    """The run without any bad season added: means over trials, with standard errors.

    ``trees_lost`` over the whole run; ``reserve`` as in :class:`Moment`; ``crop`` [kg] and ``fresh`` [kg] by year.
    """

    present_cash: Estimate
    trees_planted: float
    trees_lost: Estimate
    paid_back: Estimate
    payback_year: float
    reserve: Estimate
    crop: tuple[float, ...]
    fresh: tuple[float, ...]


@dataclass(frozen=True, repr=False)
class Stress(Brief):
    """Result of :func:`orchardsim.stress`: ``usual`` is the plan without a bad season, ``seasons`` those placed."""

    title: str
    plan_name: str
    display_units: str
    currency: str
    price_year: int
    real_or_nominal: str
    bin_mass: float
    box_mass: float
    planted_area: float
    leaf_of: str
    credit_line: float
    opening_cash: float
    trials: int
    years: int
    seed: int
    version: str
    plan_hash: str
    weather_method: str
    weather_words: str
    baseline_years: tuple[int, int]
    usual: Usual
    seasons: tuple[Stressed, ...]


def stress_document(found: Stress) -> dict[str, Any]:
    """The stress test as plain JSON values, 6 significant digits; no time, host, path or number of processes."""
    document: dict[str, Any] = plain(found, lambda value: number(value, "not within the run"))
    document["definitions"] = {
        "cash_lost": "present value at year 0 of the cash flow before interest, living blocks worth nothing at the end",
        "recovery": f"years after the last bad one with a mean fresh crop below {percent(BACK)} of usual",
        "reserve": f"own cash at the start that keeps {percent(SURVIVING)} of trials within the credit line (none "
        "stated: no credit)",
        "close": "leaves whose cash cost cannot be told from the worst one's (paired, two standard errors)",
    }
    return document
