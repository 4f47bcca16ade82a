"""Answers of a Latin hypercube: a regression over its cells within each trial, factor by factor."""

from __future__ import annotations

import dataclasses
import itertools
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.results.study import Share, StudyDesign
from orchardsim.risk.contrasts import SimultaneousLimits, bootstrap_means
from orchardsim.risk.regression import Regression

Array = NDArray[np.float64]
Label = tuple[str, str, str, str]
"""Kind, factor, first and second of a contrast."""
CELLS_PER_TERM: Final = 2
"""Fewest cells for each term of the regression, its constant included (our own choice)."""
SHARE_RESAMPLES: Final = 1_000
"""Resampled sets of trials behind the limits of shares."""


class CellRegression(Regression):
    """A regression over the cells of a design, a range by where each cell lies in what was drawn, 0 to 1; levels by one
    column each but the first.

    Attributes
    ----------
    enough : bool
        Whether the sample has cells enough for it; without, there are no contrasts.
    factors : list of str
        Factor of each term.
    labels : list of Label
        What each factor changes: a range from its lowest draw to its highest, levels two by two.
    weights : array, (contrast, cell)
        Weights of the cells whose sum within a trial is the contrast.
    """

    def __init__(self, design: StudyDesign) -> None:
        self.factors: list[str] = []
        columns: list[Array] = []
        for place, (factor, names) in enumerate(design.factors.items()):
            if factor in design.values:
                drawn = np.array(design.values[factor])
                columns.append((drawn - drawn.min()) / np.ptp(drawn))
            else:
                columns += [(design.levels[:, place] == level).astype(float) for level in range(1, len(names))]
            self.factors += [factor] * (len(columns) - len(self.factors))
        super().__init__(np.stack(columns, axis=1))
        self.enough = design.cells >= CELLS_PER_TERM * (len(columns) + 1)
        self.labels: list[Label] = []
        weights: list[Array] = []
        for factor, names in design.factors.items() if self.enough else ():
            own = self.slope_weights[[place for place, name in enumerate(self.factors) if name == factor]]
            if factor in design.values:
                drawn = np.array(design.values[factor])
                self.labels.append(("levels", factor, names[drawn.argmax()], names[drawn.argmin()]))
                weights.append(own[0])
                continue
            effect = np.vstack([np.zeros(design.cells), own])
            for a, b in itertools.combinations(range(len(names)), 2):
                self.labels.append(("levels", factor, names[a], names[b]))
                weights.append(effect[a] - effect[b])
        self.weights = np.reshape(weights, (-1, design.cells))

    def widened(self, limits: SimultaneousLimits, means: Array) -> SimultaneousLimits:
        """Limits that hold for other cells too: what the regression misses of them adds to the error of each contrast.

        ``means``, array, (cell,): mean of each cell.

        Notes
        -----
        The error that comes from the sample of cells is that of least squares; it and the error from the sample of
        trials add as variances, though the former holds some of the latter: the limits are rather too wide.
        """
        from_cells = self.residual_spread(means) * np.sqrt((self.weights**2).sum(axis=1))
        error = np.hypot(limits.standard_error, from_cells)
        half = limits.critical * error
        return dataclasses.replace(limits, standard_error=error, low=limits.mean - half, high=limits.mean + half)

    def shares(self, by_trial: Array, rng: np.random.Generator) -> tuple[Share, ...]:
        """Share of the variance between cell means by factor, with 90 % limits from resampled trials.

        Notes
        -----
        A term's share is its slope times its covariance with the cell means, over their variance, so that shares sum to
        what the regression explains (Pratt 1987, from memory).
        """
        means = resampled_means(by_trial, rng)
        means = means - means.mean(axis=1, keepdims=True)
        columns = self.design[:, 1:]
        parts = (means @ self.slope_weights.T) * (means @ (columns - columns.mean(axis=0)))
        by_factor = {
            factor: parts[:, [place for place, name in enumerate(self.factors) if name == factor]].sum(axis=1)
            for factor in dict.fromkeys(self.factors)
        }
        return tuple(share_of((factor,), part, (means**2).sum(axis=1)) for factor, part in by_factor.items())


def resampled_means(by_trial: Array, rng: np.random.Generator) -> Array:
    """Means of the cells over all trials, then over resamples of them, (1 + resample, cell)."""
    return np.concatenate([by_trial.mean(axis=0, keepdims=True), bootstrap_means(by_trial, SHARE_RESAMPLES, rng)])


def share_of(names: tuple[str, ...], part: Array, total: Array) -> Share:
    """Share of a whole, (1 + resample,) both, with its 90 % limits; 0 where there is nothing to share."""
    share = np.divide(part, total, out=np.zeros_like(part), where=total > 0)
    low, high = np.quantile(share[1:], [0.05, 0.95])
    return Share(names, float(share[0]), float(low), float(high))
