"""A saved run as its pages read it: the results, and the summary that every number on a page comes from."""

from __future__ import annotations

import contextlib
import functools
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.report.run_formats import RunFormats
from orchardsim.results import of_farm, summary_document
from orchardsim.results.store import SUMMARY_FILE, open_results

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

SINGLE: Final = ("worst", "usual", "best")
"""Single futures that are drawn."""
_AT_HAND: dict[Path, SavedRun] = {}
"""The run that is drawn, by where it is saved."""


@dataclass(frozen=True)
class Bands:
    """Points of a number over futures by step (leaf or year), in the unit that is drawn.

    Attributes
    ----------
    at : array, (step,)
    low, middle, high : array, (step,)
        5, 50 and 95 % points.
    known_low, known_high : array, (step,)
        5 and 95 % points by luck alone; nan where that cannot be told.
    """

    at: Array
    low: Array
    middle: Array
    high: Array
    known_low: Array
    known_high: Array


@dataclass(frozen=True)
class SavedRun:
    """Results and summary of a run."""

    dataset: xarray.Dataset
    summary: Mapping[str, Any]

    @classmethod
    def of(cls, dataset: xarray.Dataset, place: Path | None = None) -> SavedRun:
        """The summary that stands in a folder beside the results, or the same made anew."""
        found: dict[str, Any] = {}
        if place is not None and (path := place / SUMMARY_FILE).is_file():
            found = json.loads(path.read_text(encoding="utf-8"))
        return cls(dataset, found if "sheet" in found else summary_document(dataset))

    @classmethod
    @contextlib.contextmanager
    def at_hand(cls, saved: Path, run: SavedRun) -> Iterator[None]:
        """For a while, give ``run`` to whoever asks in this process for what is saved there."""
        _AT_HAND[saved] = run
        try:
            yield
        finally:
            _AT_HAND.clear()

    @classmethod
    def opened(cls, saved: Path) -> SavedRun:
        """What is saved in a folder or ``results.nc``; a worker process opens it once and keeps it."""
        if saved not in _AT_HAND:
            _AT_HAND.clear()
            dataset = contextlib.ExitStack().enter_context(open_results(saved))
            _AT_HAND[saved] = cls.of(dataset, saved.parent if saved.is_file() else saved)
        return _AT_HAND[saved]

    @functools.cached_property
    def formats(self) -> RunFormats:
        """How its numbers are shown."""
        return RunFormats.of(self.dataset.attrs)

    @functools.cached_property
    def single(self) -> dict[str, int]:
        """The worst, usual and best future by NPV -> its trial."""
        return _worst_to_best(self.dataset["npv"].values)

    @functools.cached_property
    def single_by_fruit(self) -> dict[str, int]:
        """The worst, usual and best future by all fruit picked -> its trial."""
        return _worst_to_best(of_farm(self.dataset, "harvested_mass").sum("year").values)

    def yields(self, label: str) -> Bands:
        """Picked fruit by leaf of a label or the farm, in the shown unit."""
        rows = self.summary["headline"].get("yield_per_area_by_leaf", {}).get(label, {})
        return bands(rows, self.formats.yield_value)

    @property
    def cash(self) -> Bands:
        """Cash of the farm summed since year 0."""
        return bands(self.summary["sheet"]["cash_summed_by_year"], float)


def bands(rows: Mapping[str, Mapping[str, Any]], shown: Any) -> Bands:
    """Entries of the summary by step as arrays."""
    known = [row.get("were_the_levels_known") or {} for row in rows.values()]
    return Bands(
        np.array([float(step) for step in rows]),
        *(np.array([float(shown(row[point])) for row in rows.values()]) for point in ("p5", "p50", "p95")),
        *(np.array([float(shown(one[point])) if one else np.nan for one in known]) for point in ("p5", "p95")),
    )


def _worst_to_best(values: NDArray[Any]) -> dict[str, int]:
    order = np.argsort(values, kind="stable")
    return dict(zip(SINGLE, (int(order[0]), int(order[(len(order) - 1) // 2]), int(order[-1])), strict=True))
