"""Certainty equivalents: what sure wealth is as good as an uncertain one, for a range of aversion to risk."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.risk.bands import Estimate

Array = NDArray[np.float64]

AVERSIONS = (0.0, 0.5, 1.0, 2.0, 3.0, 4.0)
"""Relative aversion on wealth, from none to extreme (scale of Anderson & Dillon 1992, Risk Analysis in Dryland Farming
Systems, FAO: from memory)."""


def certainty_equivalent(wealth: ArrayLike, aversion: float) -> Estimate:
    """Sure wealth as good as the uncertain one under constant relative risk aversion [money].

    Parameters
    ----------
    wealth : (trial, ...) [money]
        End wealth, own worth included: not a year's cash flow.
    aversion : float
        Relative aversion r; 0 is neutral.

    Notes
    -----
    U = W^(1-r) / (1-r), ln W at r = 1; CE = (E[W^(1-r)])^(1/(1-r)). Defined for wealth above 0 only: a column with a
    trial at or below 0 gives nan, since no sure amount is as bad. Standard error by the delta method. Powers are
    taken of wealth over its largest value, so that they neither overflow nor depend on the currency.
    """
    wealth = np.asarray(wealth, dtype=float)
    n = wealth.shape[0]
    defined = (wealth > 0).all(axis=0) & np.isfinite(wealth).all(axis=0)
    safe = np.where(defined, wealth, 1.0)
    scale = safe.min(axis=0) if aversion > 1 else safe.max(axis=0)
    relative = safe / scale
    if aversion == 1:
        utility = np.log(relative)
        equivalent = np.exp(utility.mean(axis=0))
        slope = equivalent
    else:
        power = 1.0 - aversion
        utility = relative**power
        expected = utility.mean(axis=0)
        equivalent = expected ** (1.0 / power)
        slope = np.abs(equivalent / (power * expected))
    error = slope * utility.std(axis=0, ddof=1) / np.sqrt(n) if n > 1 else np.full(wealth.shape[1:], np.nan)
    return Estimate(np.where(defined, equivalent * scale, np.nan), np.where(defined, error * scale, np.nan))


def certainty_equivalents(value: ArrayLike, own_wealth: float) -> dict[float, Estimate]:
    """Certainty equivalent of a plan's net present value on top of own wealth, less that wealth [money].

    Parameters
    ----------
    value : (trial,) [money]
        Net present value of the plan.
    own_wealth : float [money]
        What the household owns without the plan. If a trial eats it all, the equivalent is nan.
    """
    values = np.asarray(value, dtype=float)
    equivalents = {aversion: certainty_equivalent(values + own_wealth, aversion) for aversion in AVERSIONS}
    return {
        aversion: Estimate(estimate.value - own_wealth, estimate.standard_error)
        for aversion, estimate in equivalents.items()
    }
