"""From the trials of every cell of a study to its answers: cells, contrasts, interactions, places, assumptions."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import xarray
from numpy.typing import NDArray
from scipy.special import stdtrit

from orchardsim.analysis.study_regression import CellRegression, Label, resampled_means, share_of
from orchardsim.core.streams import Streams
from orchardsim.results.study import (
    POINTS,
    Assumption,
    CellAnswer,
    Contrast,
    Interaction,
    MeasureAnswer,
    MeasureFacts,
    Share,
    StudyDesign,
    StudyFindings,
)
from orchardsim.results.study_trials import StudyTrials
from orchardsim.risk.bands import quantile
from orchardsim.risk.contrasts import (
    RESAMPLES,
    SimultaneousLimits,
    bootstrap_means,
    dependence,
    effects,
    places,
    simultaneous_limits,
)

Array = NDArray[np.float64]
MOST_CELLS_IN_PAIRS: Final = 24
"""Up to so many cells all pairs are compared; beyond, levels of factors only."""
MOST_ASSUMPTIONS: Final = 12
"""Contrasts whose dependence on open levels is worked out: between levels of factors first, the largest first."""
LEAST_PAIRS: Final = 4
"""Trials below which a share of the variance is not bounded at all (our own limit)."""


def study_findings(trials: StudyTrials | xarray.Dataset) -> StudyFindings:
    """Answers of a study on every measure, the one that decides first.

    ``trials``, StudyTrials or xarray.Dataset: what :func:`orchardsim.study` gave, or the ``trials.nc`` of a saved
    study. Raises InputError if the dataset is not that of a study.
    """
    if isinstance(trials, xarray.Dataset):
        trials = StudyTrials.of(trials)
    design = trials.design
    varied = {name: drawn for name, drawn in trials.drawn.items() if np.ptp(drawn) > 0}
    names = sorted(trials.values, key=lambda name: name != design.decide_by)
    return StudyFindings(
        design=design,
        drawn_levels=tuple(sorted(varied)),
        answers=tuple(
            answer_measure(design, trials.facts[name], trials.values[name], varied, trials.known.get(name))
            for name in names
        ),
        waiting=trials.waiting,
    )


def answer_measure(
    design: StudyDesign, facts: MeasureFacts, values: Array, drawn: Mapping[str, Array], known: Array | None
) -> MeasureAnswer:
    """All answers on one measure.

    Parameters
    ----------
    values : array, (cell, trial)
        May be infinite (no payback); contrasts are then left out.
    drawn : mapping
        Open level -> array (trial,).
    known : array, (cell, known trial), optional
        The first trials again with every open level at its middle.
    """
    streams = Streams(design.seed)
    better = facts.better == "high"
    by_trial = values.T
    finite = facts.has_mean and bool(np.isfinite(values).all())
    contrasts: tuple[Contrast, ...] = ()
    shares: tuple[Share, ...] = ()
    interactions: tuple[Interaction, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    critical = float("nan")
    place_table, mean_table = np.empty((0, 0)), np.empty((0, 0))
    foretold = None
    if not np.isnan(values).any():
        place_table = places(by_trial, high_is_better=better)
    if finite:
        rng = streams.at("study", f"places {facts.key}")
        mean_table = places(bootstrap_means(by_trial, RESAMPLES, rng), high_is_better=better)
        regression = None if design.factorial else CellRegression(design)
        labels, differences = _differences(design, regression, by_trial)
        if labels:
            limits = simultaneous_limits(differences, streams.at("study", f"limits {facts.key}"))
            if regression is not None and regression.enough:
                limits = regression.widened(limits, by_trial.mean(axis=0))
            critical = limits.critical
            moved = _moved(design, regression, differences, known)
            contrasts = _contrasts(labels, differences, limits, better, moved)
            assumptions = _assumptions(contrasts, differences, drawn)
        if design.factorial and len(design.factors) > 1:
            shares = _shares(design, by_trial, streams.at("study", f"shares {facts.key}"))
            interactions = _interactions(design, by_trial, streams.at("study", f"interactions {facts.key}"))
        elif regression is not None and regression.enough:
            shares = regression.shares(by_trial, streams.at("study", f"shares {facts.key}"))
            foretold = regression.foretold_share(by_trial.mean(axis=0))
    return MeasureAnswer(
        facts=facts,
        cells=tuple(_cell(design, facts, place, values[place], known) for place in range(design.cells)),
        contrasts=contrasts,
        shares=shares,
        interactions=interactions,
        assumptions=assumptions,
        critical=critical,
        foretold=foretold,
        places=place_table,
        places_of_means=mean_table,
    )


def _cell(design: StudyDesign, facts: MeasureFacts, place: int, row: Array, known: Array | None) -> CellAnswer:
    whole = bool(np.isfinite(row).all())
    luck, not_knowing, limits = None, None, None
    if known is not None and not np.isnan(known[place]).any():
        at_middle = known[place]
        low, high = (float(quantile(at_middle, share, whole=facts.whole).value) for share in (0.05, 0.95))
        luck = (low, high)
        same = row[: at_middle.size]
        if np.isfinite(same).all() and np.isfinite(at_middle).all() and np.ptp(same) > 0:
            not_knowing, limits = share_unknown(same, at_middle)
    points = {
        point: float("nan") if np.isnan(row).any() else float(quantile(row, point / 100, whole=facts.whole).value)
        for point in POINTS
    }
    return CellAnswer(
        cell=place,
        levels=design.names(place),
        mean=float(row.mean()) if whole else float("nan"),
        standard_error=float(row.std(ddof=1) / np.sqrt(row.size)) if whole else float("nan"),
        points=points,
        luck=luck,
        not_knowing=not_knowing,
        not_knowing_limits=limits,
    )


def share_unknown(drawn: Array, known: Array) -> tuple[float, tuple[float, float]]:
    """Share of the variance over trials that goes when every open level is known, and its 5 and 95 % limits.

    Parameters
    ----------
    drawn, known : (trial,)
        The same seasons and prices with levels drawn, and with levels at their middle.

    Notes
    -----
    Limits by Pitman's and Morgan's test of 1939 turned round (from memory), exact where both are normal: with n pairs
    that correlate by r and K = 1 + 2 (1 - r^2) t^2 / (n - 2), the ratio of variances times K -+ sqrt(K^2 - 1).
    """
    ratio = float(known.var() / drawn.var())
    if drawn.size < LEAST_PAIRS:
        return float(np.clip(1 - ratio, 0.0, 1.0)), (0.0, 1.0)
    together = float(np.corrcoef(drawn, known)[0, 1]) if np.ptp(known) > 0 else 0.0
    free = drawn.size - 2
    factor = 1 + 2 * max(1 - together**2, 0.0) * float(stdtrit(free, 0.95)) ** 2 / free
    wide = factor + np.sqrt(factor**2 - 1)
    share, low, high = (float(np.clip(1 - kept, 0.0, 1.0)) for kept in (ratio, ratio * wide, ratio / wide))
    return share, (low, high)


def _moved(
    design: StudyDesign, regression: CellRegression | None, differences: Array, known: Array | None
) -> Array | None:
    """Standard deviation of what open levels add to each contrast, season for season, (contrast,)."""
    if known is None or not np.isfinite(known).all() or known.shape[1] < 2:
        return None
    _, at_middle = _differences(design, regression, known.T)
    moved: Array = (differences[: len(at_middle)] - at_middle).std(axis=0, ddof=1)
    return moved


def _differences(design: StudyDesign, regression: CellRegression | None, by_trial: Array) -> tuple[list[Label], Array]:
    """Contrasts within each trial: between levels of each factor, and between cells where few.

    Levels of a factorial over all other factors; of a Latin hypercube by regression over its cells, and between cells
    only where they are too few for that.
    """
    labels: list[Label] = []
    columns: list[Array] = []
    if regression is None:
        for place, (factor, names) in enumerate(design.factors.items()):
            own = design.levels[:, place]
            means = [by_trial[:, own == level].mean(axis=1) for level in range(len(names))]
            for a, b in itertools.combinations(range(len(means)), 2):
                labels.append(("levels", factor, names[a], names[b]))
                columns.append(means[a] - means[b])
    else:
        labels, columns = list(regression.labels), list(regression.weights @ by_trial.T)
    if design.cells <= MOST_CELLS_IN_PAIRS and (len(design.factors) > 1 if design.factorial else not labels):
        for a, b in itertools.combinations(range(design.cells), 2):
            labels.append(("cells", "", design.label(a), design.label(b)))
            columns.append(by_trial[:, a] - by_trial[:, b])
    return labels, np.stack(columns, axis=1) if columns else np.empty((by_trial.shape[0], 0))


def _contrasts(
    labels: Sequence[Label], differences: Array, limits: SimultaneousLimits, better: bool, moved: Array | None
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
            not_knowing=None if moved is None else float(moved[place]),
        )
        for place, (kind, factor, first, second) in enumerate(labels)
    )


def _assumptions(
    contrasts: Sequence[Contrast], differences: Array, drawn: Mapping[str, Array]
) -> tuple[Assumption, ...]:
    places = range(len(contrasts))
    # between levels of factors first, then between cells, the largest first
    order = sorted(places, key=lambda place: (contrasts[place].kind != "levels", -abs(contrasts[place].mean)))
    largest = order[:MOST_ASSUMPTIONS]
    assumptions = []
    for place in sorted(largest):
        for level, hangs in dependence(differences[:, place], dict(drawn)).items():
            assumptions.append(
                Assumption(contrasts[place].words, level, hangs.slope, hangs.standard_error, hangs.share)
            )
    return tuple(assumptions)


def _levels(design: StudyDesign) -> dict[str, list[int]]:
    return {name: design.levels[:, place].tolist() for place, name in enumerate(design.factors)}


def _interactions(design: StudyDesign, by_trial: Array, rng: np.random.Generator) -> tuple[Interaction, ...]:
    """What pairs of levels add beyond both, with limits that hold for all pairs of all factors together."""
    labels, columns = [], []
    for names, effect in effects(by_trial, _levels(design)).items():
        if len(names) != 2:
            continue
        first, other = (design.factors[name] for name in names)
        for a, b in itertools.product(range(len(first)), range(len(other))):
            labels.append((names, (first[a], other[b])))
            columns.append(effect[:, a, b])
    limits = simultaneous_limits(np.stack(columns, axis=1), rng)
    return tuple(
        Interaction(
            factors=names,
            levels=levels,
            mean=float(limits.mean[place]),
            standard_error=float(limits.standard_error[place]),
            low=float(limits.low[place]),
            high=float(limits.high[place]),
        )
        for place, (names, levels) in enumerate(labels)
    )


def _shares(design: StudyDesign, by_trial: Array, rng: np.random.Generator) -> tuple[Share, ...]:
    """Shares of the variance between cell means by factor and pair, with 90 % limits from resampled trials.

    Notes
    -----
    Sums of squares of a balanced factorial are orthogonal (Montgomery, Design and Analysis of Experiments, chapter 5:
    from memory). Shares of a noisy table are too high for what is nothing; the limits show it.
    """
    rows = resampled_means(by_trial, rng)
    total = ((rows - rows.mean(axis=1, keepdims=True)) ** 2).mean(axis=1)
    return tuple(
        share_of(names, (effect**2).mean(axis=tuple(range(1, effect.ndim))), total)
        for names, effect in effects(rows, _levels(design)).items()
    )
