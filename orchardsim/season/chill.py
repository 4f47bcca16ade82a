"""Winter chill from hourly temperature: chill hours, Utah units, chill portions of the Dynamic Model."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]

# Dynamic Model: Fishman, Erez & Couvillon 1987, J. Theor. Biol. 124:473-483 and 126:309-321; Erez et al. 1990,
# Acta Hortic. 276:165-174. Read; three independent public copies agree.
E0: Final = 4153.5
"""K; activation energy over gas constant of the precursor's formation."""
E1: Final = 12888.8
"""K; the same of its destruction."""
A0: Final = 139_500.0
"""1/h; rate constant of formation."""
A1: Final = 2.567e18
"""1/h; rate constant of destruction."""
SLOPE: Final = 1.6
TRANSITION: Final = 277.0
"""K; temperature about which the precursor turns into a portion."""
KELVIN: Final = 273.0
"""K; the offset with which the constants were published (not 273.15)."""

UTAH_STEPS: Final = ((1.4, 0.5), (2.4, 0.5), (9.1, -0.5), (12.4, -0.5), (15.9, -0.5), (18.0, -0.5))
"""(degC, change of weight above it); Richardson, Seeley & Walker 1974, HortScience 9:331-332, read."""


def chill_hours(temperature: Floats) -> Floats:
    """Chill hours: hours from 0 to 7.2 degC (32 to 45 degF) [h].

    ``temperature``, (hour, ...) [degC].

    References
    ----------
    Weinberger 1950; Bennett 1949, Calif. Agric. 3(11).
    """
    values = np.asarray(temperature)
    return ((values >= 0) & (values <= 7.2)).sum(axis=0).astype(np.float64)


def utah_weight(temperature: Floats) -> Floats:
    """Utah chill units of one hour [1], by half-open bins (1.4 < T <= 2.4 gives 0.5, and so on).

    ``temperature``, array [degC].

    References
    ----------
    Richardson, Seeley & Walker 1974, HortScience 9:331-332. The table's edges in degF convert to 1.1, 2.2, 8.9,
    12.2, 15.6, 18.3; the degC edges as printed are used here.

    Examples
    --------
    >>> utah_weight(np.array([1.0, 2.0, 6.0, 10.0, 14.0, 17.0, 20.0])).tolist()
    [0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0]
    """
    values = np.asarray(temperature)
    halves = np.zeros(values.shape, dtype=np.int8)
    for edge, step in UTAH_STEPS:
        # Counted in halves: whole numbers of one byte are the fastest that there are.
        (np.add if step > 0 else np.subtract)(halves, (values > edge).view(np.int8), out=halves)
    return np.float32(0.5) * halves


def utah_units(cumulative: Floats) -> Floats:
    """Running Utah units counted from the most negative running total so far [1].

    ``cumulative``, (time, ...) [1]: running total of :func:`utah_weight`.

    Counting from the autumn's most negative total is the usual rule after Richardson et al. 1974.

    Examples
    --------
    >>> utah_units(np.array([-3.0, -5.0, -2.0, 4.0])).tolist()
    [0.0, 0.0, 3.0, 9.0]
    """
    return cumulative - np.minimum.accumulate(np.minimum(cumulative, 0), axis=0)


def dynamic_rates(temperature: Floats) -> tuple[Floats, Floats, Floats]:
    """Hourly constants of the Dynamic Model: gain, share kept, share that turns into a portion [1].

    ``temperature``, array [degC].

    With xs = (a0/a1) exp((e1 - e0)/TK) and k1 = a1 exp(-e1/TK): kept = exp(-k1), gain = xs (1 - kept); converted = s/(1
    + s), s = exp(slope x tetmlt x (TK - tetmlt)/TK). TK = T + 273. Meant for -10 to 40 degC.

    Returns
    -------
    gain, kept, converted : array, same shape
        Intermediate at the hour's end = gain + kept x intermediate at its start; where that is 1 or more, the share
        ``converted`` of it becomes a fixed portion.
    """
    inverse = np.atleast_1d(1 / (np.asarray(temperature) + KELVIN))
    dtype = inverse.dtype.type
    # Written with few temporaries: this runs for every hour of every winter.
    kept = dtype(-E1) * inverse
    kept += dtype(np.log(A1))
    np.exp(kept, out=kept)
    np.negative(kept, out=kept)
    np.exp(kept, out=kept)
    gain = dtype(E1 - E0) * inverse
    gain += dtype(np.log(A0 / A1))
    np.exp(gain, out=gain)
    gain *= 1 - kept
    inverse *= dtype(SLOPE * TRANSITION * TRANSITION)
    inverse -= dtype(SLOPE * TRANSITION)
    np.exp(inverse, out=inverse)
    inverse += 1
    converted = np.reciprocal(inverse, out=inverse)
    shape = np.shape(temperature)
    return gain.reshape(shape), kept.reshape(shape), converted.reshape(shape)


def dynamic_step(intermediate: Floats, portions: Floats, gain: Floats, kept: Floats, converted: Floats) -> None:
    """Advance the Dynamic Model in place over the hours of ``gain``, ``kept`` and ``converted``.

    Parameters
    ----------
    intermediate, portions : array, (...)
        State, changed in place: precursor left after the last hour, portions so far.
    gain, kept, converted : array, (hour, ...)
        From :func:`dynamic_rates`.
    """
    fixed = np.empty_like(gain)
    tripped = np.empty(intermediate.shape, dtype=bool)
    for hour in range(len(gain)):
        out = fixed[hour, ...]
        np.multiply(intermediate, kept[hour], out=intermediate)
        np.add(intermediate, gain[hour], out=intermediate)
        np.greater_equal(intermediate, 1, out=tripped)
        np.multiply(intermediate, converted[hour], out=out)
        np.multiply(out, tripped, out=out)
        np.subtract(intermediate, out, out=intermediate)
    portions += fixed.sum(axis=0)


def chill_portions(temperature: Floats) -> Floats:
    """Chill portions of the Dynamic Model (Fishman, Erez & Couvillon 1987), (...) [1].

    ``temperature``, (hour, ...) [degC].

    Examples
    --------
    >>> round(float(chill_portions(np.full(240, 6.0))), 3)
    7.821
    """
    values = np.asarray(temperature)
    gain, kept, converted = dynamic_rates(values)
    intermediate = np.zeros(values.shape[1:], dtype=gain.dtype)
    portions = np.zeros_like(intermediate)
    dynamic_step(intermediate, portions, gain, kept, converted)
    return portions
