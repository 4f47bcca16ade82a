"""Two doubts of an outcome, told apart: luck, were the levels of the future known, and not knowing them."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from pandas import Series
from scipy.special import fdtrc, ndtr, ndtri

Array = NDArray[np.float64]

TRIALS_PER_LEVEL: Final = 3
"""Fewest trials for each number of a level that the regression reads (our own choice)."""
SURE: Final = 0.01
"""Chance at most that a level without effect is named as the one that narrows a band."""


@dataclass(frozen=True)
class TwoDoubts:
    """Luck and not knowing of one outcome.

    Attributes
    ----------
    known : array, (trial,)
        Outcome of each trial, had it met the levels' middles: its spread is luck alone.
    not_knowing : float [1]
        Share of the variance (of normal scores) that comes from the levels.
    by_level : mapping from level to float [1]
        Share of the width of the band that knowing this level alone would take away.
    narrowed_by : str or None
        The level that takes away most; None where none is told from chance.
    """

    known: Array
    not_knowing: float
    by_level: Mapping[str, float]
    narrowed_by: str | None

    @property
    def larger(self) -> str:
        """Which doubt is the larger."""
        return "not knowing" if self.not_knowing > 0.5 else "luck"


class _Fit:
    """Least squares on a design, (trial, regressor), whose decomposition serves any number of outcomes."""

    def __init__(self, design: Array) -> None:
        across, sizes, along = np.linalg.svd(design, full_matrices=False)
        told = sizes > np.finfo(np.float64).eps * max(design.shape) * sizes.max(initial=0.0)
        self._across, self._back = across[:, told], along[told].T / sizes[told]

    def weights(self, centred: Array) -> Array:
        """Weights of the regressors."""
        weights: Array = self._back @ (self._across.T @ centred)
        return weights

    def left(self, centred: Array) -> float:
        """Sum of squares left."""
        residual = centred - self._across @ (self._across.T @ centred)
        return float(residual @ residual)


class Regressors:
    """Levels in standard units, on which outcomes of the same trials are regressed.

    Parameters
    ----------
    levels : mapping from level to array, (trial, number)
        Numbers of a level that trials met; those that do not vary, or stand there already, are passed over.
    middles : mapping from level to array, (number,)
    """

    def __init__(self, levels: Mapping[str, Array], middles: Mapping[str, Array]) -> None:
        told: list[Array] = []
        columns: list[Array] = []
        owner: list[str] = []
        shift: list[float] = []
        for name, drawn in levels.items():
            for number in range(drawn.shape[1]):
                column = drawn[:, number]
                spread = column.std()
                if spread > 1e-12 and not any(np.array_equal(column, other) for other in told):
                    told.append(column)
                    columns.append((column - column.mean()) / spread)
                    owner.append(name)
                    shift.append((middles[name][number] - column.mean()) / spread)
        trials = len(next(iter(levels.values()), ()))
        self.enough = bool(columns) and trials >= TRIALS_PER_LEVEL * (len(columns) + 1)
        """Whether a level varies and there are trials enough."""
        self.design = np.stack(columns, axis=1) if columns else np.empty((trials, 0))
        """(trial, number)"""
        self.owner = np.array(owner)
        """Level of each number."""
        self.shift = np.array(shift)
        """Where the middles lie."""

    @functools.cached_property
    def _turned(self) -> tuple[Array, Array]:
        """The design as orthogonal columns, (trial, number), times a small square: all fits need only the square."""
        across, square = np.linalg.qr(self.design)
        return across, square

    def along(self, centred: Array) -> tuple[Array, float]:
        """An outcome along the orthogonal columns, and the sum of squares beside them."""
        across, _ = self._turned
        turned: Array = across.T @ centred
        beside = centred - across @ turned
        return turned, float((beside**2).sum())

    @functools.cached_property
    def whole(self) -> _Fit:
        """Regression of :meth:`along` on all."""
        return _Fit(self._turned[1])

    @functools.cached_property
    def without(self) -> dict[str, _Fit]:
        """Regression of :meth:`along` on all but one level."""
        square = self._turned[1]
        return {name: _Fit(square[:, self.owner != name]) for name in dict.fromkeys(self.owner.tolist())}


def two_doubts(values: Array, levels: Regressors) -> TwoDoubts | None:
    """Tell luck and not knowing apart without further runs.

    ``values``, (trial,): may hold infinite values (never, none). None where no level varies,
    the outcome does not, or trials are too few.

    Notes
    -----
    The outcome's normal scores (ranks to normal quantiles, ties at their mean: Blom 1958, from memory) are regressed on
    the levels, which are drawn apart from the seasons, so that the part they explain is not knowing and the rest luck.
    Shares of variance are corrected for the number of regressors (Ezekiel 1930, from memory); a level's share is the
    covariance of its part of the fit with the scores (Pratt 1987, from memory), so that all parts sum to the whole;
    it is named if an F test tells it from chance. Each trial's score moved to the middles goes back to the outcome
    through the quantiles of all trials. A level that carries the share s of the variance takes 1 - sqrt(1 - s) of the
    band's width.
    """
    count = len(values)
    if not levels.enough or values.max() == values.min():
        return None
    design, whole = levels.design, levels.whole
    scores = _normal_scores(values)
    centred = scores - scores.mean()
    turned, beside = levels.along(centred)
    weights, left = whole.weights(turned), whole.left(turned) + beside
    free = count - 1 - design.shape[1]
    noise = left / free
    total = centred @ centred / (count - 1)
    by_level, best = {}, None
    for name, others in levels.without.items():
        own = levels.owner == name
        lost = others.left(turned) + beside - left
        carried = float(design[:, own] @ weights[own] @ centred)
        share = float(np.clip((carried - own.sum() * noise) / (count - 1) / total, 0.0, 1.0))
        by_level[name] = 1.0 - float(np.sqrt(1.0 - share))
        chance = float(fdtrc(own.sum(), free, max(lost / own.sum() / noise, 0.0)))
        if chance < SURE and (best is None or by_level[name] > by_level[best]):
            best = name
    at_middles = scores - design @ weights + float(levels.shift @ weights)
    return TwoDoubts(_back(values, at_middles), float(np.clip(1 - noise / total, 0, 1)), by_level, best)


def outcomes_at_middles(values: Array, levels: Regressors) -> Array | None:
    """Several outcomes, (trial, outcome), had each trial met the levels' middles: as :func:`two_doubts`, in one fit.

    None where no level varies or trials are too few; an outcome that does not vary stays as it is.
    """
    if not levels.enough:
        return None
    scores = np.stack([_normal_scores(outcome) for outcome in values.T], axis=1)
    weights = levels.whole.weights(levels.along(scores - scores.mean(axis=0))[0])
    moved = scores - levels.design @ weights + levels.shift @ weights
    columns = [
        _back(outcome, at) if outcome.max() > outcome.min() else outcome
        for outcome, at in zip(values.T, moved.T, strict=True)
    ]
    return np.stack(columns, axis=1)


def _normal_scores(values: Array) -> Array:
    normals: Array = ndtri((Series(values).rank().to_numpy() - 0.375) / (len(values) + 0.25))
    return normals


def _back(values: Array, scores: Array) -> Array:
    """Outcomes at normal scores: those of the nearest ranks of all trials."""
    ordered = np.sort(values)
    place = ndtr(scores) * (len(ordered) + 0.25) + 0.375 - 1
    place = np.clip(place, 0, len(ordered) - 1)
    low = np.floor(place).astype(int)
    high = np.minimum(low + 1, len(ordered) - 1)
    ends = np.isfinite(ordered[low]) & np.isfinite(ordered[high])
    below, above = np.where(ends, ordered[low], 0.0), np.where(ends, ordered[high], 0.0)
    nearest = ordered[np.rint(place).astype(int)]
    found: Array = np.where(ends, below + (place - low) * (above - below), nearest)
    return found
