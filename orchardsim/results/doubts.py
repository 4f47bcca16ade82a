"""The two doubts of a run's numbers: luck, and not knowing the levels of the future."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.labels import SHARED
from orchardsim.results.dataset import attribute
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.doubts import Regressors, TwoDoubts

Array = NDArray[np.float64]


@dataclass(frozen=True)
class OpenLevelsOfRun:
    """Levels that the trials of a run met, (trial, number), and their middles, (number,)."""

    drawn: dict[str, Array]
    middles: dict[str, Array]

    @classmethod
    def of(cls, dataset: xarray.Dataset) -> OpenLevelsOfRun | None:
        """Levels of a run; None where all were known."""
        middles = attribute(dataset, "level_middles") or {}
        drawn: dict[str, Array] = {}
        for name in OPEN_LEVELS:
            key = f"level_{name}"
            if key not in dataset or name not in middles:
                continue
            values = dataset[key]
            if "block" in values.dims:
                values = values.sel(block=[label for label in dataset["block"].values if label != SHARED])
            drawn[name] = np.asarray(values.values, dtype=np.float64).reshape(dataset.sizes["trial"], -1)
        known = {name: np.asarray(middles[name], dtype=np.float64) for name in drawn}
        return cls(drawn, known) if any(np.ptp(one, axis=0).any() for one in drawn.values()) else None

    def doubts(self, values: Array) -> TwoDoubts | None:
        """Both doubts of an outcome; None where it has none in some trials, or too few trials tell."""
        from orchardsim.risk.doubts import two_doubts

        if np.isnan(values).any():
            return None
        return two_doubts(np.asarray(values, dtype=np.float64), self.regressors)

    def at_middles(self, values: Array) -> Array | None:
        """Outcomes of several kinds, (trial, kind), had each trial met the levels' middles; None where too few tell."""
        from orchardsim.risk.doubts import outcomes_at_middles

        return outcomes_at_middles(np.asarray(values, dtype=np.float64), self.regressors)

    @functools.cached_property
    def regressors(self) -> Regressors:
        """The levels as outcomes are regressed on them."""
        from orchardsim.risk.doubts import Regressors

        return Regressors(self.drawn, self.middles)


def doubts_document(levels: OpenLevelsOfRun | None, values: Array, whole: bool, infinite: str) -> dict[str, Any]:
    """Both doubts of an outcome for the summary; empty where there is nothing to tell."""
    found = None if levels is None else levels.doubts(values)
    if found is None:
        return {}
    from orchardsim.risk.bands import quantile

    inner = {f"p{point}": quantile(found.known, point / 100, whole=whole).value for point in (5, 50, 95)}
    entry: dict[str, Any] = {
        "were_the_levels_known": {name: number(float(value), infinite) for name, value in inner.items()},
        "share_of_not_knowing": number(found.not_knowing),
        "larger_doubt": found.larger,
    }
    if found.narrowed_by is not None:
        entry["narrowed_most_by"] = {
            "level": found.narrowed_by,
            "by": OPEN_LEVELS[found.narrowed_by].narrowed_by,
            "takes_away_of_the_band": number(found.by_level[found.narrowed_by]),
        }
    return entry
