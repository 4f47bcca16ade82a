"""Degree days from daily minimum and maximum temperature.

The threshold of a published heat sum belongs to the method it was counted with: in early spring the sine gives more
than the plain average. Bud stages and bloom in this project are counted with the single sine above
:data:`BUD_BASE`; the sums of (maximum - 43 degF) used in parts of the western United States are another unit, about
twice as large, and are not used.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

BUD_BASE: Final = (43.0 - 32.0) / 1.8
"""degC; 43 degF, base of the bud-stage heat sums of the north-eastern United States (UMass "Healthy Fruit" 2018-2020,
read; Baskerville-Emin from 1 January)."""
GROWTH_BASE: Final = 4.5
"""degC; base of the growth and fruit heat sums (used for apple in European and southern studies; memory)."""

Floats = NDArray[Any]


def degree_days_sine(temperature_min: Floats, temperature_max: Floats, base: float) -> Floats:
    """Degree days of a day by the single sine, no upper limit [K day].

    With mean M and half range W: M - b where the minimum is above the base b, 0 where the maximum is below it, else [W
    cos(theta) + (M - b)(pi/2 - theta)] / pi with theta = asin((b - M) / W). Valid where the day's temperature runs like
    a sine; a maximum below the minimum is read as no range at all.

    Parameters
    ----------
    temperature_min, temperature_max : array, any equal shape [degC or any one scale]
    base : float [same scale]

    References
    ----------
    Baskerville, G.L. & Emin, P. 1969. Rapid estimation of heat accumulation from maximum and minimum temperatures.
    Ecology 50:514-517.

    Examples
    --------
    >>> round(float(degree_days_sine(np.array(7.0), np.array(14.0), 12.0)), 4)
    0.4681
    """
    low = np.asarray(temperature_min)
    mean = (low + np.asarray(temperature_max)) / 2 - base
    half = np.maximum(mean + base - low, 1e-6)
    ratio = np.clip(-mean / half, -1, 1)
    # cos(asin(x)) = sqrt(1 - x2); pi/2 - asin(x) = acos(x). At the clipped ends this gives 0 and M - b.
    return np.maximum((half * np.sqrt(1 - ratio * ratio) + mean * np.arccos(ratio)) / np.pi, 0)
