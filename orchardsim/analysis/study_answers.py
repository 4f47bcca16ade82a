"""From the trials of every cell of a study to its answers: cells, contrasts, interactions, places, assumptions."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.streams import Streams
from orchardsim.plan.study import Study
from orchardsim.results.study import (
    POINTS,
    Assumption,
    CellAnswer,
    Contrast,
    MeasureAnswer,
    MeasureFacts,
    Share,
)
from orchardsim.risk.contrasts import (
    SimultaneousLimits,
    bootstrap_weights,
    dependence,
    effects,
    places,
    places_of_means,
    simultaneous_limits,
)

Array = NDArray[np.float64]
MOST_CELLS_IN_PAIRS: Final = 24
"""Up to so many cells all pairs are compared; beyond, levels of factors only."""
MOST_ASSUMPTIONS: Final = 12
"""Contrasts whose dependence on open levels is worked out, the largest first."""
LEVEL: Final = 0.95


def answer_measure(
    study: Study, facts: MeasureFacts, values: Array, drawn: Mapping[str, Array], known: Array | None
) -> MeasureAnswer:
    """All answers on one measure.

    Parameters
    ----------
    values : array, (cell, trial)
        May be infinite (no payback); contrasts are then left out.
    drawn : mapping
        Open level -> array (trial,).
    known : array, (cell, trial), optional
        The same trials with every open level at its middle.
    """
    streams = Streams(study.seed)
    better = facts.better == "high"
    by_trial = values.T
    finite = facts.has_mean and bool(np.isfinite(values).all())
    contrasts: tuple[Contrast, ...] = ()
    shares: tuple[Share, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    critical = float("nan")
    place_table, mean_table = np.empty((0, 0)), np.empty((0, 0))
    if not np.isnan(values).any():
        place_table = places(by_trial, high_is_better=better)
    if finite:
        rng = streams.at("study", f"places {facts.key}")
        mean_table = places_of_means(by_trial, rng, high_is_better=better)
        labels, differences = _differences(study, by_trial)
        if labels:
            limits = simultaneous_limits(differences, streams.at("study", f"limits {facts.key}"), level=LEVEL)
            critical = limits.critical
            contrasts = _contrasts(labels, differences, limits, better)
            assumptions = _assumptions(contrasts, differences, drawn)
        if study.design == "factorial":
            shares = _shares(study, by_trial, streams.at("study", f"shares {facts.key}"))
    return MeasureAnswer(
        facts=facts,
        cells=tuple(_cell(study, place, values, known) for place in range(len(study.cells))),
        contrasts=contrasts,
        shares=shares,
        assumptions=assumptions,
        critical=critical,
        places=place_table,
        places_of_means=mean_table,
    )


def _cell(study: Study, place: int, values: Array, known: Array | None) -> CellAnswer:
    row = values[place]
    whole = bool(np.isfinite(row).all())
    luck = None
    if known is not None and not np.isnan(known[place]).any():
        luck = tuple(float(one) for one in np.quantile(known[place], [0.05, 0.95], method="inverted_cdf"))
    points = {
        point: float("nan") if np.isnan(row).any() else float(np.quantile(row, point / 100, method="inverted_cdf"))
        for point in POINTS
    }
    return CellAnswer(
        cell=study.cells[place].number,
        levels=study.names(study.cells[place]),
        mean=float(row.mean()) if whole else float("nan"),
        standard_error=float(row.std(ddof=1) / np.sqrt(row.size)) if whole else float("nan"),
        points=points,
        luck=luck,  # type: ignore[arg-type]
    )


Label = tuple[str, str, str, str]
"""Kind, factor, first and second of a contrast."""


def _differences(study: Study, by_trial: Array) -> tuple[list[Label], Array]:
    """Contrasts within each trial: between levels of each factor over all others, and between cells where few."""
    labels: list[Label] = []
    columns: list[Array] = []
    numbers = np.array([cell.levels for cell in study.cells])
    if study.design == "factorial":
        for place, factor in enumerate(study.factors):
            means = [by_trial[:, numbers[:, place] == level].mean(axis=1) for level in range(len(factor.levels))]
            for a, b in itertools.combinations(range(len(means)), 2):
                labels.append(("levels", factor.name, factor.levels[a], factor.levels[b]))
                columns.append(means[a] - means[b])
    if len(study.cells) <= MOST_CELLS_IN_PAIRS and (len(study.factors) > 1 or study.design != "factorial"):
        for a, b in itertools.combinations(range(len(study.cells)), 2):
            labels.append(("cells", "", _name(study, a), _name(study, b)))
            columns.append(by_trial[:, a] - by_trial[:, b])
    return labels, np.stack(columns, axis=1) if columns else np.empty((by_trial.shape[0], 0))


def _name(study: Study, place: int) -> str:
    return ", ".join(study.names(study.cells[place]).values())


def _contrasts(
    labels: Sequence[Label], differences: Array, limits: SimultaneousLimits, better: bool
) -> tuple[Contrast, ...]:
    won = differences > 0 if better else differences < 0
    return tuple(
        Contrast(
            kind=kind,
            factor=factor,
            first=first,
            second=second,
            mean=float(limits.mean[place]),
            standard_error=float(limits.standard_error[place]),
            low=float(limits.low[place]),
            high=float(limits.high[place]),
            futures_better=float(won[:, place].mean()),
            spread=float(differences[:, place].std(ddof=1)),
        )
        for place, (kind, factor, first, second) in enumerate(labels)
    )


def _assumptions(
    contrasts: Sequence[Contrast], differences: Array, drawn: Mapping[str, Array]
) -> tuple[Assumption, ...]:
    largest = sorted(range(len(contrasts)), key=lambda place: -abs(contrasts[place].mean))[:MOST_ASSUMPTIONS]
    found = []
    for place in sorted(largest):
        words = f"{contrasts[place].first} less {contrasts[place].second}"
        for level, one in dependence(differences[:, place], dict(drawn)).items():
            found.append(Assumption(words, level, one.slope, one.standard_error, one.share))
    return tuple(found)


def _shares(study: Study, by_trial: Array, rng: np.random.Generator, resamples: int = 1_000) -> tuple[Share, ...]:
    """Shares of the variance between cell means by factor and pair, with 90 % limits from resampled trials.

    Notes
    -----
    Sums of squares of a balanced factorial are orthogonal (Montgomery, Design and Analysis of Experiments, chapter 5:
    from memory). Shares of a noisy table are too high for what is nothing; the limits show it.
    """
    if len(study.factors) < 2:
        return ()
    levels = {one.name: [cell.levels[place] for cell in study.cells] for place, one in enumerate(study.factors)}
    weights = bootstrap_weights(by_trial.shape[0], resamples, rng) / by_trial.shape[0]
    drawn = np.stack([(weights * column).sum(axis=1) for column in by_trial.T], axis=1)
    rows = np.concatenate([by_trial.mean(axis=0, keepdims=True), drawn])
    total = ((rows - rows.mean(axis=1, keepdims=True)) ** 2).mean(axis=1)
    found = []
    for names, effect in effects(rows, levels).items():
        part = (effect**2).mean(axis=tuple(range(1, effect.ndim)))
        share = np.divide(part, total, out=np.zeros_like(part), where=total > 0)
        low, high = np.quantile(share[1:], [0.05, 0.95])
        found.append(Share(names, float(share[0]), float(low), float(high)))
    return tuple(found)
