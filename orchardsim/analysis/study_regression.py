"""Answers of a Latin hypercube: a regression over its cells within each trial, factor by factor."""

from __future__ import annotations

import dataclasses
import itertools
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.results.study import Share, StudyDesign
from orchardsim.risk.contrasts import SimultaneousLimits, bootstrap_means
from orchardsim.risk.regression import residual_spread, slope_weights

Array = NDArray[np.float64]
Label = tuple[str, str, str, str]
"""Kind, factor, first and second of a contrast."""
CELLS_PER_TERM: Final = 2
"""Fewest cells for each term of the regression, its constant included (our own choice)."""
SHARE_RESAMPLES: Final = 1_000
"""Resampled sets of trials behind the limits of shares."""


def regression_terms(design: StudyDesign) -> tuple[list[str], Array] | None:
    """Terms of the regression, or None where the sample has too few cells for it.

    Returns
    -------
    factors : list of str
        Factor of each term.
    columns : array, (cell, term)
        A range by where each cell lies in what was drawn, 0 to 1; levels by one column each but the first.
    """
    factors: list[str] = []
    columns: list[Array] = []
    for place, (factor, names) in enumerate(design.factors.items()):
        if factor in design.values:
            drawn = np.array(design.values[factor])
            columns.append((drawn - drawn.min()) / np.ptp(drawn))
        else:
            columns += [(design.levels[:, place] == level).astype(float) for level in range(1, len(names))]
        factors += [factor] * (len(columns) - len(factors))
    if design.cells < CELLS_PER_TERM * (len(columns) + 1):
        return None
    return factors, np.stack(columns, axis=1)


def regression_contrasts(design: StudyDesign) -> tuple[list[Label], Array]:
    """What each factor changes: a range from its lowest draw to its highest, levels two by two.

    Returns
    -------
    labels : list of Label
    weights : array, (contrast, cell)
        Weights of the cells whose sum within a trial is the contrast.
    """
    terms = regression_terms(design)
    labels: list[Label] = []
    weights: list[Array] = []
    if terms is None:
        return labels, np.empty((0, design.cells))
    factors, columns = terms
    slopes = slope_weights(columns)
    for factor, names in design.factors.items():
        own = slopes[[place for place, name in enumerate(factors) if name == factor]]
        if factor in design.values:
            drawn = np.array(design.values[factor])
            labels.append(("levels", factor, names[drawn.argmax()], names[drawn.argmin()]))
            weights.append(own[0])
            continue
        effect = np.vstack([np.zeros(design.cells), own])
        for a, b in itertools.combinations(range(len(names)), 2):
            labels.append(("levels", factor, names[a], names[b]))
            weights.append(effect[a] - effect[b])
    return labels, np.stack(weights)


def widened(design: StudyDesign, limits: SimultaneousLimits, means: Array) -> SimultaneousLimits:
    """Limits that hold for other cells too: what the regression misses of the cells adds to the error of each contrast.

    ``means``, array, (cell,): mean of each cell.

    Notes
    -----
    The error that comes from the sample of cells is that of least squares; it and the error from the sample of trials
    add as variances, though the former holds some of the latter: the limits are rather too wide.
    """
    terms = regression_terms(design)
    _, weights = regression_contrasts(design)
    if terms is None:
        return limits
    from_cells = residual_spread(terms[1], means) * np.sqrt((weights**2).sum(axis=1))
    error = np.hypot(limits.standard_error, from_cells)
    half = limits.critical * error
    return dataclasses.replace(limits, standard_error=error, low=limits.mean - half, high=limits.mean + half)


def regression_shares(design: StudyDesign, by_trial: Array, rng: np.random.Generator) -> tuple[Share, ...]:
    """Share of the variance between cell means by factor, with 90 % limits from resampled trials.

    Notes
    -----
    A term's share is its slope times its covariance with the cell means, over their variance, so that shares sum to
    what the regression explains (Pratt 1987, from memory).
    """
    terms = regression_terms(design)
    if terms is None:
        return ()
    factors, columns = terms
    means = np.concatenate([by_trial.mean(axis=0, keepdims=True), bootstrap_means(by_trial, SHARE_RESAMPLES, rng)])
    means = means - means.mean(axis=1, keepdims=True)
    centred = columns - columns.mean(axis=0)
    total = (means**2).sum(axis=1)
    parts = (means @ slope_weights(columns).T) * (means @ centred)
    found = []
    for factor in design.factors:
        part = parts[:, [place for place, name in enumerate(factors) if name == factor]].sum(axis=1)
        share = np.divide(part, total, out=np.zeros_like(part), where=total > 0)
        low, high = np.quantile(share[1:], [0.05, 0.95])
        found.append(Share((factor,), float(share[0]), float(low), float(high)))
    return tuple(found)
