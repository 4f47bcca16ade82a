"""Investment measures of yearly flows. Flows run along the last axis; the first flow stands at year 0."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def discount_factors(rate: float, years: int) -> Array:
    """(1 + rate)^-t for t = 0 ... years - 1."""
    return (1.0 + rate) ** -np.arange(years, dtype=float)


def npv(rate: float, flows: ArrayLike) -> Array:
    """Net present value at year 0 [money].

    Sum over t of flow_t / (1 + rate)^t with t from 0. Some texts discount the first flow by a year: not here.

    Parameters
    ----------
    rate : float [1/year]
        Above -1.
    flows : (..., year) [money]

    Examples
    --------
    >>> round(float(npv(0.08, [-40000, 5000, 8000, 12000, 30000])), 2)
    3065.22
    """
    flows = np.asarray(flows, dtype=float)
    return (flows * discount_factors(rate, flows.shape[-1])).sum(axis=-1)


def level_payment(rate: float, periods: float, amount: float) -> float:
    """Level payment at each period's end that clears a loan [money/period].

    A = L i / (1 - (1 + i)^-n); L / n where i = 0.

    Examples
    --------
    >>> round(level_payment(0.05, 10, 100_000), 2)
    12950.46
    """
    if rate == 0:
        return amount / periods
    return amount * rate / (1.0 - (1.0 + rate) ** -periods)


def annuity_factor(rate: float, years: ArrayLike) -> Array:
    """Present value of 1 a year paid at the end of each of ``years`` years."""
    years = np.asarray(years, dtype=float)
    if rate == 0:
        return years
    return (1.0 - (1.0 + rate) ** -years) / rate


def equivalent_annual_annuity(rate: float, years: int, value: ArrayLike) -> Array:
    """Yearly amount over ``years`` years, from the end of year 1 on, worth the same as ``value`` now [money/year]."""
    return np.asarray(value, dtype=float) / annuity_factor(rate, years)


IRR_GRID = np.concatenate([[-0.999], np.linspace(-0.98, 1.0, 199)[1:], np.geomspace(1.02, 1000.0, 80)])


@dataclass(frozen=True)
class InternalRate:
    """Internal rates of return.

    Attributes
    ----------
    rate : (...) [1]
        -inf where there is none.
    roots : (...) int
        Number of sign changes of NPV over rates from -99.9 % to 100,000 %.
    """

    rate: Array
    roots: NDArray[np.int64]


def irr(flows: ArrayLike) -> InternalRate:
    """Internal rate of return: the rate at which the net present value is zero.

    ``flows``, (..., year) [money].

    The sign of NPV is followed over a fixed grid of rates; each change brackets a root, closed by bisection. Where
    there are several roots, the one nearest to zero is given and ``roots`` says how many. No change: -inf.
    """
    flows = np.asarray(flows, dtype=float)
    flat = flows.reshape(-1, flows.shape[-1])

    def value(rate: Array) -> Array:
        """NPV at rates of shape (trial,) or (trial, grid), by Horner's rule."""
        growth = 1.0 / (1.0 + rate)
        total = np.zeros_like(rate)
        for year in range(flat.shape[1] - 1, -1, -1):
            column = flat[:, year] if rate.ndim == 1 else flat[:, year, None]
            total = total * growth + column
        return total

    grid = IRR_GRID
    signs = np.sign(value(np.broadcast_to(grid, (flat.shape[0], grid.size))))
    changes = (signs[:, :-1] * signs[:, 1:] < 0) | (signs[:, :-1] == 0)
    changes &= (flat != 0).any(axis=1)[:, None]
    roots = changes.sum(axis=1)
    middle = 0.5 * (grid[:-1] + grid[1:])
    distance = np.where(changes, np.abs(middle), np.inf)
    chosen = distance.argmin(axis=1)
    low, high = grid[chosen].copy(), grid[chosen + 1].copy()
    sign_low = np.take_along_axis(signs, chosen[:, None], axis=1)[:, 0]
    for _ in range(80):
        rate = 0.5 * (low + high)
        sign = np.sign(value(rate))
        left = sign == sign_low
        low = np.where(left, rate, low)
        high = np.where(left, high, rate)
    result = np.where(roots > 0, 0.5 * (low + high), -np.inf)
    shape = flows.shape[:-1]
    return InternalRate(result.reshape(shape), roots.reshape(shape).astype(np.int64))


def mirr(flows: ArrayLike, finance_rate: float, reinvest_rate: float) -> Array:
    """Modified internal rate of return: (FV of inflows / PV of outflows)^(1/n) - 1; -inf without outflows or inflows.

    Parameters
    ----------
    flows : (..., year) [money]
    finance_rate : float [1/year]
        At which outflows are discounted to year 0.
    reinvest_rate : float [1/year]
        At which inflows grow to the last year.
    """
    flows = np.asarray(flows, dtype=float)
    last = flows.shape[-1] - 1
    inflow = npv(reinvest_rate, np.maximum(flows, 0.0)) * (1.0 + reinvest_rate) ** last
    outflow = -npv(finance_rate, np.minimum(flows, 0.0))
    defined = (inflow > 0) & (outflow > 0)
    ratio = np.where(defined, inflow, 1.0) / np.where(defined, outflow, 1.0)
    return np.where(defined, ratio ** (1.0 / last) - 1.0, -np.inf)


def payback_year(flows: ArrayLike) -> Array:
    """First year from which the summed flow stays at or above zero to the end; inf if there is none [year].

    A tolerance of 1e-9 of the gross flow keeps rounding from turning a zero into a debt.
    """
    flows = np.asarray(flows, dtype=float)
    tolerance = 1e-9 * np.abs(flows).sum(axis=-1, keepdims=True)
    below = np.cumsum(flows, axis=-1) < -tolerance
    years = flows.shape[-1]
    last_below = np.where(below.any(axis=-1), years - 1 - below[..., ::-1].argmax(axis=-1), -1)
    first = (last_below + 1).astype(float)
    return np.where(first >= years, np.inf, first)


def discounted_payback_year(rate: float, flows: ArrayLike) -> Array:
    """Payback year of the discounted flows; inf if never [year]."""
    flows = np.asarray(flows, dtype=float)
    return payback_year(flows * discount_factors(rate, flows.shape[-1]))
