"""Heat units of bud development by the hour."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]


def growing_degree_hours(
    temperature: Floats,
    base: float = 4.0,
    optimum: float = 25.0,
    critical: float = 36.0,
    amplitude: float = 21.0,
) -> Floats:
    """Growing degree hours of one hour, asymmetric curvilinear form [K h].

    Parameters
    ----------
    temperature : array [degC]
    base, optimum, critical : float [degC]
        Growth starts, is fastest, stops.
    amplitude : float [K]
        Value at the optimum.

    Notes
    -----
    base to optimum: A/2 (1 + cos(pi + pi (T - Tb)/(Topt - Tb))); optimum to critical:
    A (1 + cos(pi/2 + pi/2 (T - Topt)/(Tcrit - Topt))); otherwise 0. A second opinion on the bud-stage heat sums; the
    bloom dates of this project are not counted in it.

    References
    ----------
    Anderson, Richardson & Kesner 1986, Acta Hortic. 184:71-78.

    Examples
    --------
    >>> growing_degree_hours(np.array([5.0, 15.0, 25.0, 40.0])).round(3).tolist()
    [0.117, 11.285, 21.0, 0.0]
    """
    values = np.asarray(temperature)
    rise = amplitude / 2 * (1 + np.cos(np.pi + np.pi * (values - base) / (optimum - base)))
    fall = amplitude * (1 + np.cos(np.pi / 2 + np.pi / 2 * (values - optimum) / (critical - optimum)))
    inside = (values >= base) & (values <= critical)
    return np.where(inside, np.where(values <= optimum, rise, fall), 0.0)
