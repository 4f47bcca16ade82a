"""What simulated rows say of unknown levels, given what was seen: an emulator, and tempered importance sampling.

The chain: rows are simulated at levels drawn from what was known before; a regression tells how what would be seen goes
with the levels, and its residuals how much one row differs from another by luck (a synthetic likelihood: Wood 2010,
Nature 466:1102); particles from the prior are then weighted by that likelihood in steps small enough that at least half
of them count, drawn anew and moved (sequential Monte Carlo by tempering: Del Moral, Doucet and Jasra 2006, J. R. Stat.
Soc. B 68:411; moves that keep the normal prior: Cotter et al. 2013, Statistical Science 28:424).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

Array = NDArray[np.float64]
LEAST_EFFECTIVE: Final = 0.5
"""Share of the particles that must count after a step of tempering."""
MOVES: Final = 6
"""Moves of every particle after a step, and at the end twice as many."""
MOST_STEPS: Final = 60
RIDGE: Final = 1e-3
"""Weight of a coefficient's size against the residuals, per row (keeps collinear terms small)."""


@dataclass(frozen=True)
class Emulator:
    """How what would be seen goes with the levels: a second-order polynomial and its residuals.

    Attributes
    ----------
    coefficients : array, (term, sight)
    covariance : array, (sight, sight)
        Of the residuals: how rows of the same levels differ by luck.
    """

    coefficients: Array
    covariance: Array

    @classmethod
    def fitted(cls, levels: Array, seen: Array) -> Emulator:
        """Regress what was seen (row, sight) on levels (row, level), both of about unit spread or less."""
        terms = polynomial(levels)
        weight = RIDGE * len(terms) * np.eye(terms.shape[1])
        weight[0, 0] = 0.0
        coefficients = np.linalg.solve(terms.T @ terms + weight, terms.T @ seen)
        residual = seen - terms @ coefficients
        freedom = max(len(terms) - terms.shape[1], 1)
        covariance: Array = residual.T @ residual / freedom
        return cls(np.asarray(coefficients, dtype=np.float64), covariance)

    def mean(self, levels: Array) -> Array:
        """What would be seen on the mean, (row, sight)."""
        seen: Array = polynomial(levels) @ self.coefficients
        return seen


def polynomial(levels: Array) -> Array:
    """Constant, levels, their squares and products, (row, term).

    Examples
    --------
    >>> polynomial(np.array([[2.0, 3.0]])).tolist()
    [[1.0, 2.0, 3.0, 4.0, 6.0, 9.0]]
    """
    count = levels.shape[1]
    pairs = [levels[:, i] * levels[:, j] for i in range(count) for j in range(i, count)]
    return np.stack([np.ones(len(levels)), *levels.T, *pairs], axis=1)


def whitening(covariance: Array) -> Array:
    """Inverse of the lower Cholesky factor of a covariance: it makes deviations independent and of unit spread."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)), dtype=np.float64)


def log_density(seen: Array, mean: Array, white: Array) -> Array:
    """Logarithm of the normal density up to a constant, for means (row, sight).

    ``white``, array, (sight, sight): of :func:`whitening`.
    """
    scaled = (seen - mean) @ white.T
    density: Array = -0.5 * np.einsum("ij,ij->i", scaled, scaled)
    return density


@dataclass(frozen=True)
class Tempered:
    """Draws from the posterior, all equally likely, and how the way there went.

    Attributes
    ----------
    draws : array, (draw, part)
    steps : int
        Of tempering.
    effective : float [1]
        Least share of the particles that counted after a step.
    unlike : float [1]
        Share of the draws that differ from each other; moves make all of them differ where they go well.
    """

    draws: Array
    steps: int
    effective: float
    unlike: float


def tempered_draws(likelihood: Callable[[Array], Array], parts: int, count: int, rng: np.random.Generator) -> Tempered:
    """Draw from standard normal parts weighted by a likelihood.

    ``likelihood``: logarithm of the likelihood of particles (draw, part), (draw,).

    Examples
    --------
    A standard normal and one reading of 1 with an error of 1 give a mean of 0.5 and a variance of 0.5:

    >>> rng = np.random.default_rng(1)
    >>> found = tempered_draws(lambda x: -0.5 * (x[:, 0] - 1) ** 2, 1, 4000, rng)
    >>> bool(abs(found.draws.mean() - 0.5) < 0.05 and abs(found.draws.var() - 0.5) < 0.05)
    True
    """
    particles = rng.standard_normal((count, parts))
    density = likelihood(particles)
    power, steps, least, pace = 0.0, 0, 1.0, 0.5
    while power < 1.0 and steps < MOST_STEPS:
        gain = _next_power(density, power)
        weight = np.exp((gain - power) * density - logsumexp((gain - power) * density))
        least = min(least, 1.0 / float((weight**2).sum()) / count)
        places = (rng.random() + np.arange(count)) / count
        chosen = np.minimum(np.searchsorted(np.cumsum(weight), places), count - 1)
        particles, density, power, steps = particles[chosen], density[chosen], gain, steps + 1
        for _ in range(MOVES if power < 1.0 else 3 * MOVES):
            fresh = np.sqrt(1 - pace**2) * particles + pace * rng.standard_normal(particles.shape)
            new = likelihood(fresh)
            taken = np.log(rng.random(count)) < power * (new - density)
            particles = np.where(taken[:, None], fresh, particles)
            density = np.where(taken, new, density)
            # about a quarter of the moves taken is best (Roberts, Gelman and Gilks 1997)
            pace = float(np.clip(pace * np.exp(taken.mean() - 0.25), 0.02, 1.0))
    unlike = len(np.unique(particles, axis=0)) / count
    return Tempered(rng.permutation(particles), steps, least, unlike)


def _next_power(density: Array, power: float) -> float:
    """Largest power of the likelihood, at most 1, at which enough particles still count."""

    def effective(new: float) -> float:
        step = (new - power) * density
        return float(np.exp(2 * logsumexp(step) - logsumexp(2 * step))) / len(density)

    if effective(1.0) >= LEAST_EFFECTIVE:
        return 1.0
    low, high = power, 1.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle) >= LEAST_EFFECTIVE else (low, middle)
    return max(low, power + 1e-9)
