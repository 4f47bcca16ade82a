"""What a set of trials says: percent points, worst tenth, mean, and the Monte Carlo error of each.

The trials are independent draws. Infinite values (never paid back, no rate of return) take part in the order of
the trials like any other value.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

PERCENT_POINTS: Final = (5, 25, 50, 75, 95)
TAIL: Final = 0.10
"""Share of trials in the expected shortfall (definition of the summary, not a measured number)."""
STATISTICS: Final = (*(f"p{point}" for point in PERCENT_POINTS), "mean", "expected_shortfall")

Array = NDArray[np.float64]


def describe(values: Array, *, worst: str, whole: bool = False) -> tuple[Array, Array]:
    """Statistics and their standard errors along the first axis.

    Parameters
    ----------
    values : array, (trial, ...)
        NaN = this trial has no such value; statistics are then over the trials that have one.
    worst : {"low", "high"}
        Side of the bad outcomes, for the expected shortfall.
    whole : bool
        Whole numbers: percent points are then values that occurred, not points between two.

    Returns
    -------
    statistics, standard_errors : arrays, (statistic, ...)
        In the order of :data:`STATISTICS`; NaN where there is none.
    """
    values = np.asarray(values, dtype=np.float64)
    flat = values.reshape(len(values), -1)
    result = np.full((2, len(STATISTICS), flat.shape[1]), np.nan)
    plain = np.isfinite(flat).all(axis=0)
    if plain.any():
        result[:, :, plain] = _describe_columns(flat[:, plain], worst, whole)
    for column in np.flatnonzero(~plain):
        present = flat[~np.isnan(flat[:, column]), column]
        if present.size:
            result[:, :, column] = _describe_columns(present[:, None], worst, whole)[:, :, 0]
    shape = (len(STATISTICS), *values.shape[1:])
    return result[0].reshape(shape), result[1].reshape(shape)


def _describe_columns(columns: Array, worst: str, whole: bool) -> Array:
    ordered = np.sort(columns, axis=0)
    result = np.empty((2, len(STATISTICS), columns.shape[1]))
    for row, point in enumerate(PERCENT_POINTS):
        result[0, row], result[1, row] = quantile(ordered, point / 100, whole)
    result[0, -2], result[1, -2] = mean(ordered)
    result[0, -1], result[1, -1] = expected_shortfall(ordered, worst)
    return result


def quantile(ordered: Array, share: float, whole: bool = False) -> tuple[Array, Array]:
    """Quantile of sorted trials and its standard error.

    Parameters
    ----------
    ordered : array, (trial, column)
        Sorted along the first axis.
    share : float
        Between 0 and 1.
    whole : bool
        Take a value that occurred (smallest with at least ``share`` of the trials at or below it); otherwise
        interpolate between neighbours (definition 7 of Hyndman and Fan 1996, American Statistician 50:361).

    Notes
    -----
    The standard error is that of Maritz and Jarrett (1978, JASA 73:194): the spread of the order statistic with
    beta weights. Where a trial is infinite, half the distance between the order statistics one binomial
    standard deviation to either side is used instead; it is infinite where only one of them is, and NaN where
    both are (the quantile is then certain to be infinite as far as the trials tell).
    """
    n = len(ordered)
    if whole:
        value = ordered[max(int(np.ceil(n * share - 1e-9)) - 1, 0)].copy()
    else:
        place = (n - 1) * share
        lower = int(np.floor(place))
        upper = min(lower + 1, n - 1)
        weight = place - lower
        with np.errstate(invalid="ignore"):
            between = ordered[lower] + weight * (ordered[upper] - ordered[lower])
        value = np.where((ordered[lower] == ordered[upper]) | (weight == 0), ordered[lower], between)
    if n < 2:
        return value, np.full(ordered.shape[1], np.nan)
    if np.isfinite(ordered).all():
        return value, _maritz_jarrett(ordered, share)
    return value, _half_distance(ordered, share)


def mean(columns: Array) -> tuple[Array, Array]:
    """Mean and its standard error; NaN where a trial is infinite."""
    finite = np.isfinite(columns).all(axis=0)
    safe = np.where(finite, columns, 0.0)
    n = len(columns)
    error = safe.std(axis=0, ddof=1) / np.sqrt(n) if n > 1 else np.full(columns.shape[1], np.nan)
    return np.where(finite, safe.mean(axis=0), np.nan), np.where(finite, error, np.nan)


def expected_shortfall(ordered: Array, worst: str) -> tuple[Array, Array]:
    """Mean of the worst tenth of the trials and its standard error.

    Parameters
    ----------
    ordered : array, (trial, column)
        Sorted along the first axis.
    worst : {"low", "high"}
        Side of the bad outcomes.

    Notes
    -----
    A tenth that ends within a trial takes the matching part of it. Standard error after Manistre and Hancock
    (2005, North American Actuarial Journal 9(2):129), from memory: sqrt((var(tail) + (1 - a)(ES - q)^2) / (n a))
    with tail share a and its quantile q. Infinite where an infinite trial lies in the tail.
    """
    n = len(ordered)
    towards_worst = ordered[::-1] if worst == "high" else ordered
    tail = n * TAIL
    whole = int(np.floor(tail + 1e-9))
    part = max(tail - whole, 0.0) if tail - whole > 1e-9 else 0.0
    count = min(whole + (part > 0), n)
    weights = np.ones(count)
    if part > 0:
        weights[-1] = part
    weights /= weights.sum()
    members = towards_worst[:count]
    finite = np.isfinite(members).all(axis=0)
    safe = np.where(finite, members, 0.0)
    value = (weights[:, None] * safe).sum(axis=0)
    within = (weights[:, None] * (safe - value) ** 2).sum(axis=0)
    error = np.sqrt((within + (1 - TAIL) * (value - safe[-1]) ** 2) / tail)
    infinite = towards_worst[0]
    return np.where(finite, value, infinite), np.where(finite, error, np.nan)


def share_with_error(count: int, trials: int) -> tuple[float, float]:
    """Share of trials and its binomial standard error."""
    share = count / trials
    return share, float(np.sqrt(share * (1 - share) / trials))


def _half_distance(ordered: Array, share: float) -> Array:
    n = len(ordered)
    spread = np.sqrt(n * share * (1 - share))
    low = ordered[max(int(np.floor(n * share - spread)), 0)]
    high = ordered[min(int(np.ceil(n * share + spread)), n) - 1]
    with np.errstate(invalid="ignore"):
        distance: Array = (high - low) / 2
    return distance


def _maritz_jarrett(ordered: Array, share: float) -> Array:
    from scipy.special import betainc

    n = len(ordered)
    centre = int(np.floor(share * n + 0.5))
    centre = min(max(centre, 1), n)
    first, second = centre - 1, n - centre
    if first == 0 or second == 0:
        # The beta weights degenerate at the ends of a very small sample.
        return np.asarray(_half_distance(ordered, share))
    edges = betainc(first, second, np.arange(n + 1) / n)
    weights = np.diff(edges)[:, None]
    expected = (weights * ordered).sum(axis=0)
    variance = (weights * (ordered - expected) ** 2).sum(axis=0)
    return np.sqrt(variance)
