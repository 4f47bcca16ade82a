"""What a study found: every cell's measures by trial, and the answers drawn from them, as tables and datasets."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
KIND: Final = "study"
STUDY_FILE: Final = "study.json"
STUDY_PAGE: Final = "study.html"
STUDY_TRIALS: Final = "trials.nc"
STUDY_CELLS: Final = "cells.csv"
STUDY_CONTRASTS: Final = "contrasts.csv"
STUDY_METHODS: Final = "methods.txt"
POINTS: Final = (5, 50, 95)
"""Percent points that each cell's table gives."""


@dataclass(frozen=True)
class MeasureFacts:
    """What a measure is: its name for people, unit inside, better side, and whether it has a mean."""

    key: str
    name: str
    meaning: str
    unit: str
    better: str
    has_mean: bool


@dataclass(frozen=True)
class CellAnswer:
    """One measure in one cell over its trials: mean with its error, and percent points of the futures."""

    cell: int
    levels: Mapping[str, str]
    mean: float
    standard_error: float
    points: Mapping[int, float]
    luck: tuple[float, float] | None
    """5 and 95 % points were the levels known, or None where no such futures were run."""


@dataclass(frozen=True)
class Contrast:
    """A paired difference between two levels of a factor, or two cells, with limits that hold for all together."""

    kind: str
    factor: str
    first: str
    second: str
    mean: float
    standard_error: float
    low: float
    high: float
    futures_better: float
    spread: float
    """Standard deviation of the difference over futures: what more trials do not shrink."""

    @property
    def told_apart(self) -> bool:
        """Whether the limits leave out zero."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True)
class Share:
    """Share of the variance between cell means that goes with a factor, or with a pair beyond its two factors."""

    factors: tuple[str, ...]
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Assumption:
    """How a contrast hangs on one level that nobody knows."""

    contrast: str
    level: str
    slope: float
    standard_error: float
    share: float


@dataclass(frozen=True)
class MeasureAnswer:
    """All that a study says of one measure."""

    facts: MeasureFacts
    cells: tuple[CellAnswer, ...]
    contrasts: tuple[Contrast, ...]
    shares: tuple[Share, ...]
    assumptions: tuple[Assumption, ...]
    critical: float
    places: Array
    """Share of futures in which a cell takes a place, (cell, place)."""
    places_of_means: Array
    """Share of resamples in which a cell's mean takes a place, (cell, place)."""


@dataclass(frozen=True)
class StudyFindings:
    """All that a study found, as its page and tables tell it.

    Attributes
    ----------
    factors : mapping
        Factor -> names of its levels; of a Latin hypercube, each cell's.
    held : mapping
        Keys that the study sets in every cell.
    attrs : mapping
        Units, currency, masses and money basis of the base plan, its name and hash, and the version.
    drawn_levels : tuple of str
        Open levels that varied between trials.
    answers : tuple of MeasureAnswer
        The measure that decides first.
    """

    title: str
    design: str
    factors: Mapping[str, tuple[str, ...]]
    cells: int
    held: Mapping[str, Any]
    trials: int
    years: int
    seed: int
    attrs: Mapping[str, Any]
    drawn_levels: tuple[str, ...]
    answers: tuple[MeasureAnswer, ...]


def _plain(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows for JSON: 6 significant digits; what is missing or unbounded is null."""

    def plain(value: Any) -> Any:
        if not isinstance(value, float):
            return value
        return float(f"{value:.6g}") if np.isfinite(value) else None

    return [{key: plain(value) for key, value in row.items()} for row in rows]


def study_document(found: StudyFindings) -> dict[str, Any]:
    """The answers as plain values, for ``study.json``."""
    return {
        "title": found.title,
        "design": found.design,
        "factors": {name: list(levels) for name, levels in found.factors.items()},
        "held": dict(found.held),
        "cells": found.cells,
        "trials": found.trials,
        "years": found.years,
        "seed": found.seed,
        **{key: found.attrs[key] for key in ("version", "base_plan", "base_plan_hash", "currency", "price_year")},
        "drawn_levels": list(found.drawn_levels),
        "decide_by": found.answers[0].facts.key,
        "cell_rows": _plain(cell_rows(found.answers)),
        "contrast_rows": _plain(contrast_rows(found.answers)),
        "shares": [
            {
                "measure": answer.facts.key,
                "factors": list(one.factors),
                "share": one.share,
                "low": one.low,
                "high": one.high,
            }
            for answer in found.answers
            for one in answer.shares
        ],
        "assumptions": [
            {
                "measure": answer.facts.key,
                "contrast": one.contrast,
                "level": one.level,
                "slope": one.slope,
                "standard_error": one.standard_error,
                "share": one.share,
            }
            for answer in found.answers
            for one in answer.assumptions
        ],
    }


def study_dataset(
    factors: Mapping[str, Iterable[Any]],
    levels: NDArray[np.int64],
    values: Mapping[str, Array],
    facts: Mapping[str, MeasureFacts],
    drawn: Mapping[str, Array],
    attrs: Mapping[str, Any],
    *,
    factorial: bool,
) -> xarray.Dataset:
    """A study as a dataset.

    Parameters
    ----------
    factors : mapping
        Factor -> names of its levels (factorial) or drawn numbers by cell.
    levels : int array, (cell, factor)
    values : mapping
        Measure -> array (cell, trial), inside units.
    drawn : mapping
        Open level -> array (trial,), the same in all cells.
    factorial : bool
        Each factor is a dim of its own; otherwise cells are one dim with the factors as coordinates.

    Returns
    -------
    xarray.Dataset
        Dims (factor, ..., trial) or (cell, trial); CF attributes.
    """
    import xarray

    names = list(factors)
    trials = next(iter(values.values())).shape[1]
    coords: dict[str, Any] = {"trial": ("trial", np.arange(trials), {"long_name": "simulated future"})}
    if factorial:
        sizes = [len(list(factors[name])) for name in names]
        coords |= {name: (name, np.array(list(factors[name]), dtype=object)) for name in names}
        dims = (*names, "trial")
    else:
        coords |= {name: ("cell", np.array(list(factors[name]))) for name in names}
        coords["cell"] = ("cell", np.arange(levels.shape[0]))
        dims = ("cell", "trial")
    variables: dict[str, Any] = {}
    for key, array in values.items():
        one = facts[key]
        shaped = array
        if factorial:
            shaped = np.empty((*sizes, trials))
            shaped[tuple(levels.T)] = array
        variables[key] = (
            dims,
            shaped,
            {"long_name": one.name, "units": one.unit, "comment": one.meaning, "better": one.better},
        )
    for key, array in drawn.items():
        variables[key] = ("trial", array, {"long_name": key.removeprefix("level_").replace("_", " "), "units": "1"})
    return xarray.Dataset(variables, coords, {"Conventions": "CF-1.11", **attrs})


def tidy_csv(rows: Iterable[Mapping[str, Any]]) -> str:
    """Rows as CSV, one observation a line, numbers with 6 significant digits."""
    listed = list(rows)
    if not listed:
        return ""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(listed[0]), lineterminator="\n")
    writer.writeheader()
    for row in listed:
        writer.writerow({key: f"{one:.6g}" if isinstance(one, float) else one for key, one in row.items()})
    return text.getvalue()


def cell_rows(answers: Iterable[MeasureAnswer]) -> list[dict[str, Any]]:
    """Every cell and measure, a row each."""
    return [
        {
            "measure": answer.facts.key,
            "unit": answer.facts.unit,
            "cell": cell.cell + 1,
            **cell.levels,
            "mean": cell.mean,
            "standard_error": cell.standard_error,
            **{f"p{point:02d}": value for point, value in cell.points.items()},
            "known_p05": cell.luck[0] if cell.luck is not None else float("nan"),
            "known_p95": cell.luck[1] if cell.luck is not None else float("nan"),
            "first_place_in_futures": _first(answer.places, place),
            "first_place_of_means": float(answer.places_of_means[place, 0])
            if answer.places_of_means.size
            else float("nan"),
        }
        for answer in answers
        for place, cell in enumerate(answer.cells)
    ]


def _first(places: Array, cell: int) -> float:
    return float(places[cell, 0]) if places.size else float("nan")


def contrast_rows(answers: Iterable[MeasureAnswer]) -> list[dict[str, Any]]:
    """Every contrast of every measure, a row each."""
    return [
        {
            "measure": answer.facts.key,
            "unit": answer.facts.unit,
            "kind": one.kind,
            "factor": one.factor,
            "first": one.first,
            "second": one.second,
            "difference": one.mean,
            "standard_error": one.standard_error,
            "low": one.low,
            "high": one.high,
            "told_apart": int(one.told_apart),
            "futures_in_which_first_is_better": one.futures_better,
            "spread_over_futures": one.spread,
        }
        for answer in answers
        for one in answer.contrasts
    ]
