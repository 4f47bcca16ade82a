"""Percent points, expected shortfall, mean and chances over independent trials, each with its Monte Carlo error.

Trials run along the first axis. Infinite values (never paid back, no rate of return) take part in the order like any
other; the mean is then not defined. No function here draws random numbers.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, betainc, ndtri, stdtrit

Array = NDArray[np.float64]
Side = Literal["low", "high"]


@dataclass(frozen=True)
class Estimate:
    """A statistic and its Monte Carlo standard error, arrays of one shape."""

    value: Array
    standard_error: Array


def _sorted(values: ArrayLike) -> Array:
    ordered = np.sort(np.asarray(values, dtype=float), axis=0)
    if ordered.shape[0] == 0:
        raise ValueError("no trials")
    if np.isnan(ordered).any():
        raise ValueError("a trial holds nan; leave such trials out and say how many")
    return ordered


def quantile(values: ArrayLike, share: float, *, whole: bool = False) -> Estimate:
    """Quantile of the trials.

    Parameters
    ----------
    values : (trial, ...)
    share : float
        Between 0 and 1.
    whole : bool
        Whole numbers: the quantile is then a value that occurred, the smallest with at least the share of trials at
        or below it.

    Notes
    -----
    Linear between order statistics (definition 7 of Hyndman & Fan 1996, The American Statistician 50:361); where one
    of the two is infinite, the nearer of them. The standard error is that of Maritz & Jarrett (1978, JASA 73:194):
    the r-th of n order statistics, r = floor(n p) + 1, is spread as a Beta(r, n - r + 1) share of the sample. Where
    trials stand in clusters (whole years, counts, the few seasons of a record) that error can be next to nothing
    although the next run may land in the next cluster: it is therefore at least a quarter of the distance between the
    order statistics two binomial standard deviations to either side, which is one standard error for trials that lie
    smoothly. Where a trial is infinite it is half the distance between the order statistics one binomial standard
    deviation to either side: infinite where one of the two is, nan where both are (the quantile is then infinite as far
    as the trials tell). Of whole numbers 1.96 errors reach as far as the farther of the two order statistics two
    binomial standard deviations to either side.
    """
    ordered = _sorted(values)
    error = _maritz_jarrett(ordered, share)
    if not whole:
        return Estimate(_quantile_sorted(ordered, share), error)
    n = ordered.shape[0]
    value = ordered[max(int(np.ceil(n * share - 1e-9)) - 1, 0)]
    first, last, _ = _rank_ends(n, share)
    ends = np.isfinite(ordered[first]) & np.isfinite(ordered[last])
    low, high = (np.where(ends, ordered[place], 0.0) for place in (first, last))
    reach = np.maximum(np.where(ends, value, 0.0) - low, high - np.where(ends, value, 0.0))
    return Estimate(value, np.where(ends, np.maximum(error, reach / ndtri(0.975)), error))


def _quantile_sorted(ordered: Array, share: float) -> Array:
    n = ordered.shape[0]
    place = (n - 1) * share
    lower = int(np.floor(place))
    upper = min(lower + 1, n - 1)
    weight = place - lower
    low, high = ordered[lower], ordered[upper]
    finite = np.isfinite(low) & np.isfinite(high)
    safe_low, safe_high = np.where(finite, low, 0.0), np.where(finite, high, 0.0)
    between = safe_low + weight * (safe_high - safe_low)
    return np.where(finite, between, low if weight < 0.5 else high)


def _maritz_jarrett(ordered: Array, share: float) -> Array:
    n = ordered.shape[0]
    weights = _beta_weights(n, min(int(np.floor(n * share)) + 1, n))
    finite = np.isfinite(ordered).all(axis=0)
    safe = np.where(finite, ordered, 0.0)
    shaped = weights.reshape((-1,) + (1,) * (ordered.ndim - 1))
    centre = (shaped * safe).sum(axis=0)
    spread = np.sqrt(np.maximum((shaped * (safe - centre) ** 2).sum(axis=0), 0.0))
    deviation = np.sqrt(n * share * (1.0 - share))
    low = ordered[max(int(np.floor(n * share - deviation)), 0)]
    high = ordered[min(int(np.ceil(n * share + deviation)), n) - 1]
    both = np.isinf(low) & np.isinf(high)
    half = np.where(both, np.nan, (np.where(both, 0.0, high) - np.where(both, 0.0, low)) / 2.0)
    return np.where(finite, np.maximum(spread, _rank_error(safe, share)), half)


@functools.lru_cache(maxsize=16)
def _beta_weights(n: int, rank: int) -> Array:
    """Chance of each order statistic to be the wanted one, (trial,)."""
    weights: Array = np.diff(betainc(rank, n - rank + 1, np.arange(n + 1) / n))
    weights.flags.writeable = False
    return weights


def _rank_error(ordered: Array, share: float) -> Array:
    """Quarter of the distance between the order statistics two binomial standard deviations to either side.

    One standard error where trials lie smoothly; no farther out than the sample reaches on both sides.
    """
    first, last, reach = _rank_ends(ordered.shape[0], share)
    return np.asarray((ordered[last] - ordered[first]) / (2.0 * reach))


def _rank_ends(n: int, share: float) -> tuple[int, int, float]:
    """Places of the order statistics to either side of a quantile, and how many binomial standard deviations away."""
    deviation = max(float(np.sqrt(n * share * (1.0 - share))), 1e-9)
    reach = max(min(2.0, n * share / deviation, n * (1.0 - share) / deviation), 1e-9)
    first = min(max(int(np.floor(n * share - reach * deviation)), 0), n - 1)
    last = max(min(int(np.ceil(n * share + reach * deviation)), n) - 1, first)
    return first, last, reach


def quantile_interval(values: ArrayLike, share: float, level: float = 0.95) -> tuple[Array, Array]:
    """Distribution-free confidence interval of a quantile from two order statistics.

    Parameters
    ----------
    values : (trial, ...)
    level : float
        Coverage aimed at; the interval covers at least this much, or reaches to minus or plus infinity where the
        sample is too small for an end.

    Notes
    -----
    The number of trials below the true quantile is Binomial(n, share): ends at the order statistics whose ranks cut
    off at most (1 - level)/2 on each side (David & Nagaraja 2003, Order Statistics, section 7.1: from memory).
    """
    ordered = _sorted(values)
    n = ordered.shape[0]
    tail = (1.0 - level) / 2.0
    # Lower end X_(l): P(X_(l) > q) = P(B <= l - 1) <= tail. Upper end X_(u): P(X_(u) < q) = P(B >= u) <= tail.
    below = bdtr(np.arange(n), n, share)
    lower = int(np.searchsorted(below, tail, side="right"))
    upper = int(np.searchsorted(below, 1.0 - tail)) + 1
    low = ordered[lower - 1] if lower >= 1 else np.full(ordered.shape[1:], -np.inf)
    high = ordered[upper - 1] if upper <= n else np.full(ordered.shape[1:], np.inf)
    return low, high


def mean(values: ArrayLike) -> Estimate:
    """Mean of the trials; nan where a trial is infinite."""
    values = np.asarray(values, dtype=float)
    finite = np.isfinite(values).all(axis=0)
    safe = np.where(finite, values, 0.0)
    n = values.shape[0]
    error = safe.std(axis=0, ddof=1) / np.sqrt(n) if n > 1 else np.full(values.shape[1:], np.nan)
    return Estimate(np.where(finite, safe.mean(axis=0), np.nan), np.where(finite, error, np.nan))


def expected_shortfall(values: ArrayLike, worst: Side = "low", tail: float = 0.10) -> Estimate:
    """Mean of the worst share of the trials.

    Parameters
    ----------
    values : (trial, ...)
    worst : {"low", "high"}
        Side of the bad outcomes: "high" for a late payback or a deep debt.
    tail : float
        Share of trials that counts as the worst.

    Notes
    -----
    -(1/tail) times the integral of the quantile function over the tail; a tail that ends within a trial takes the
    matching part of it, so that ties and small samples come out as defined by Acerbi & Tasche (2002, Journal of
    Banking & Finance 26:1487). Standard error by the influence function of the statistic, q -/+ (q - X)+ / tail
    (Manistre & Hancock 2005, North American Actuarial Journal 9(2):129, from memory): its standard deviation over
    the trials and one more as bad as the worst, over sqrt(n). Since it rests on the k = n tail worst trials alone, it
    is widened by the ratio of Student's t with k - 1 degrees to the normal 97.5 % point, so that the value plus and
    minus 1.96 errors covers where tails are short of trials: without both it did so in 81 % of samples of 50 and 92 %
    of 200 normal trials, with them in 94 and 96 %; where one season in thirty makes the tail, in 91 % of both
    (``experiments/coverage``). Plug-in shortfalls are fragile where tails are heavy.
    """
    ordered = _sorted(values)
    if worst == "high":
        ordered = -ordered[::-1]
    n = ordered.shape[0]
    weights = np.clip(n * tail - np.arange(n), 0.0, 1.0)
    weights[weights < 1e-9] = 0.0
    count = int((weights > 0).sum())
    share = (weights[:count] / weights[:count].sum()).reshape((-1,) + (1,) * (ordered.ndim - 1))
    members = ordered[:count]
    finite = np.isfinite(members).all(axis=0)
    value = np.where(finite, (share * np.where(finite, members, 0.0)).sum(axis=0), -np.inf)
    # Where the whole tail is infinite the trials say nothing of an error.
    error = np.where(finite, _shortfall_error(ordered, tail), np.nan)
    return Estimate(-value if worst == "high" else value, error)


def _shortfall_error(ordered: Array, tail: float) -> Array:
    n = ordered.shape[0]
    if n < 2:
        return np.full(ordered.shape[1:], np.nan)
    longer = np.concatenate([ordered[:1], ordered])
    edge = _quantile_sorted(longer, tail)
    known = np.isfinite(edge) & np.isfinite(ordered[0])
    safe = np.where(known, longer, 0.0)
    influence = np.minimum(safe - np.where(known, edge, 0.0), 0.0) / tail
    degrees = max(n * tail - 1.0, 1.0)
    widened = float(stdtrit(degrees, 0.975) / ndtri(0.975))
    error = widened * influence.std(axis=0, ddof=1) / np.sqrt(n)
    return np.asarray(np.where(known, error, np.nan))


@dataclass(frozen=True)
class Chance:
    """A chance from a count of trials, with Wilson's interval."""

    count: int
    trials: int
    low: float
    high: float
    level: float

    @property
    def value(self) -> float:
        """Share of trials."""
        return self.count / self.trials

    @property
    def standard_error(self) -> float:
        """Binomial standard error of the share."""
        return float(np.sqrt(self.value * (1.0 - self.value) / self.trials))


def wilson_interval(count: int, trials: int, level: float = 0.95) -> Chance:
    """Share of trials with its score interval.

    Notes
    -----
    Wilson 1927, JASA 22:209: (p + z^2/2n -/+ z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n).
    """
    if not 0 <= count <= trials or trials < 1:
        raise ValueError(f"{count} of {trials} trials")
    z = float(ndtri(0.5 + level / 2.0))
    share = count / trials
    centre = (share + z**2 / (2 * trials)) / (1 + z**2 / trials)
    half = z * np.sqrt(share * (1 - share) / trials + z**2 / (4 * trials**2)) / (1 + z**2 / trials)
    low = 0.0 if count == 0 else float(centre - half)
    high = 1.0 if count == trials else float(centre + half)
    return Chance(count, trials, low, high, level)


def trials_needed(standard_error: float, trials: int, wanted: float) -> int:
    """Number of trials at which a standard error, that falls with the root of their number, comes down to ``wanted``.

    Examples
    --------
    >>> trials_needed(4.0, 200, 2.0)
    800
    """
    if wanted <= 0:
        raise ValueError("the wanted standard error must be above 0")
    return int(np.ceil(trials * (standard_error / wanted) ** 2 - 1e-9))
