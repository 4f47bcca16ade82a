"""What measurements are worth to the next planting: options, their money by the levels, and what learning would change.

Options are simulated in the same futures. Their money is regressed on the levels that trees feel, so that the worth of
a measurement follows from simulated rows of trees alone: the mean, over what might be seen, of the best option's money
given that, less the best option's money now (expected value of sample information by regression: Strong, Oakley,
Brennan and Breeze 2015, Medical Decision Making 35:570).
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.core.futures import Learned
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.plan.coming import coming_blocks
from orchardsim.plan.futures import LEARNED
from orchardsim.plan.raw import subtable
from orchardsim.plan.reading import read_toml
from orchardsim.risk.posterior import polynomial
from orchardsim.simulation import simulate
from orchardsim.simulation.futures import draw_future
from orchardsim.simulation.replay import level_normals

Array = NDArray[np.float64]
SPACINGS: Final = (0.8, 1.0, 1.25)
"""Tree spacings that are weighed where the user names no options, over the plan's own."""
RESAMPLES: Final = 60
"""Bootstrap draws of the simulated trials, for standard errors."""
MOST_OPTIONS: Final = 8


@dataclass(frozen=True)
class Option:
    """One way to plant what is to come: its name, and the keys of the plan that it changes."""

    name: str
    changes: Mapping[str, Any]


def options_of(plan: Plan, between: str | None) -> tuple[Option, ...]:
    """Options that the user names, or three spacings of what is to come.

    ``between``: one line of TOML, a key of the plan and a list of its values. Raises InputError if the line names no
    key with two or more.
    """
    blocks = coming_blocks(plan)
    if between is None:
        layouts, length = {block.name: block.plan.layout for block in plan.blocks}, plan.display.length
        return tuple(
            Option(
                ", ".join(f"{length.of(layouts[name].tree_spacing * factor):.3g} {length.unit}" for name in blocks)
                + " between trees",
                {f"block.{name}.tree_spacing": f"{layouts[name].tree_spacing * factor:.4g} m" for name in blocks},
            )
            for factor in SPACINGS
        )
    key, _, values = between.partition("=")
    try:
        listed = tomllib.loads(f"values = {values}")["values"]
    except tomllib.TOMLDecodeError:
        listed = None
    if not isinstance(listed, list) or not 2 <= len(listed) <= MOST_OPTIONS:
        raise InputError(
            "--between",
            f"found {between!r}, expected a key of the plan and a list of 2 to {MOST_OPTIONS} values, such as "
            'block.west.tree_spacing = ["0.8 m", "1 m"]',
        )
    return tuple(Option(f"{key.strip()} = {value}", {key.strip(): value}) for value in listed)


@dataclass(frozen=True)
class Money:
    """What options bring, trial by trial, in futures as they were open before any measurement.

    Attributes
    ----------
    names : tuple of str
        Options.
    npv, peak_borrowing : array, (option, trial) [currency]
    normals : array, (trial, level)
        What the trees of each trial feel; see :func:`orchardsim.simulation.replay.level_normals`.
    sharp : tuple of int
        Levels whose squares and products count: growth, set and size of what is to come.
    """

    names: tuple[str, ...]
    npv: Array
    peak_borrowing: Array
    normals: Array
    sharp: tuple[int, ...]

    def part(self, chosen: Sequence[int], names: Sequence[str] | None = None) -> Money:
        """Some of the options, under other names where they are given."""
        own = [self.names[place] for place in chosen] if names is None else names
        return replace(self, names=tuple(own), npv=self.npv[chosen], peak_borrowing=self.peak_borrowing[chosen])

    def terms(self, normals: Array) -> Array:
        """Terms of the regression on levels, (row, term)."""
        few = normals[:, list(self.sharp)]
        count = few.shape[1]
        squares = [few[:, i] * few[:, j] for i in range(count) for j in range(i, count)]
        return np.stack([np.ones(len(normals)), *normals.T, *squares], axis=1)

    def by_levels(self, chosen: NDArray[np.int64] | None = None) -> Array:
        """Coefficients of money on the levels, (term, option), from all trials or from a resample of them."""
        at = np.arange(self.npv.shape[1]) if chosen is None else chosen
        terms = self.terms(self.normals[at])
        return np.asarray(np.linalg.lstsq(terms, self.npv[:, at].T, rcond=None)[0], dtype=np.float64)

    def resampled(self, rng: np.random.Generator) -> list[Array]:
        """Coefficients of resamples of the trials."""
        count = self.npv.shape[1]
        return [self.by_levels(np.asarray(rng.integers(count, size=count))) for _ in range(RESAMPLES)]


def base_tables(plan: Plan) -> dict[str, object]:
    """Tables of the plan's file without what was learned.

    Raises InputError if the plan is not from a file.
    """
    if plan.path is None:
        raise InputError(plan.where, "options change keys of a plan file; expected a plan that was read from one")
    raw = read_toml(plan.path)
    futures = {key: value for key, value in subtable(raw, "futures").items() if key != LEARNED}
    return {**raw, "futures": futures} if "futures" in raw else raw


def money_of(
    plan: Plan,
    ways: Mapping[str, Plan],
    *,
    trials: int,
    years: int,
    seed: int,
    jobs: int,
    progress: Callable[[int], object] = lambda trials: None,
) -> Money:
    """Simulate ways to plant in the same futures, as they were open before any measurement.

    ``plan``: as it was before any measurement.
    """
    npv, borrowing = [], []
    for way in ways.values():
        results = simulate(way, trials=trials, years=years, seed=seed, jobs=jobs, progress=progress)
        npv.append(results["npv"].values)
        borrowing.append(results["peak_borrowing"].values)
    return money_by_levels(plan, list(ways), np.stack(npv), np.stack(borrowing), seed)


def money_by_levels(plan: Plan, names: Sequence[str], npv: Array, peak_borrowing: Array, seed: int) -> Money:
    """Money of options, (option, trial), beside what the trees of a plan feel in the same futures."""
    levels, normals = level_normals(plan, draw_future(plan, Streams(seed), range(npv.shape[1])))
    return Money(tuple(names), npv, peak_borrowing, normals, sharp_levels(plan, levels))


def sharp_levels(plan: Plan, names: Sequence[str]) -> tuple[int, ...]:
    """Places of the levels whose squares and products count for what is to come."""
    coming = coming_blocks(plan)
    labels = [label for block in plan.blocks if block.name in coming for label in block.labels]
    wanted = [f"growth of {label}" for label in labels[:2]]
    wanted += [name for name in names if name.startswith(("fruit_set", "fruit_size"))][:4]
    return tuple(place for place, name in enumerate(names) if name in wanted)


def normals_of(plan: Plan, learned: Learned | None, seed: int, rows: range) -> Array:
    """What trees would feel in rows drawn from what is known, (row, level)."""
    known = plan.with_futures(learned=learned)
    return level_normals(known, draw_future(known, Streams(seed), rows))[1]


@dataclass(frozen=True)
class Shift:
    """Mean money of each option before and after measuring, with standard errors of the differences to the best.

    Attributes
    ----------
    before, after : tuple of float [currency]
    before_error, after_error : tuple of float
        Of the difference to the option that was best before.
    """

    before: tuple[float, ...]
    after: tuple[float, ...]
    before_error: tuple[float, ...]
    after_error: tuple[float, ...]


def shift_of(money: Money, before: Array, after: Array, rng: np.random.Generator) -> Shift:
    """What was learned of the levels, told as money of the options.

    ``before`` and ``after``, arrays, (draw, level): what trees feel, drawn before and after measuring.
    """
    coefficients = money.by_levels()
    terms = [money.terms(normals).mean(axis=0) for normals in (before, after)]
    means = [term @ coefficients for term in terms]
    best = int(np.argmax(means[0]))
    draws = money.resampled(rng)
    errors = [np.std([term @ draw - (term @ draw)[best] for draw in draws], axis=0) for term in terms]
    return Shift(*(tuple(float(v) for v in values) for values in (*means, *errors)))


class Worth(NamedTuple):
    """What it is worth to see something before deciding.

    Attributes
    ----------
    worth, error : float [currency]
    changed, changed_error : float [1]
        Chance that the choice is another one than without seeing.
    choice : int array, (row,)
    """

    worth: float
    error: float
    changed: float
    changed_error: float
    choice: NDArray[np.int64]


def worth_of(money: Money, normals: Array, seen: Array, resampled: Sequence[Array]) -> Worth:
    """What it is worth to see something before deciding.

    Parameters
    ----------
    money : Money
        Of the options among which is chosen after seeing.
    normals : array, (row, level)
        Levels of simulated rows.
    seen : array, (row, sight)
        What is seen of them, with all errors.
    resampled : sequence of array
        Coefficients of resamples, for the standard error.
    """
    terms = money.terms(normals)
    scores = _scores(money, normals, seen)
    basis, _ = np.linalg.qr(scores)

    def told(coefficients: Array) -> tuple[float, float, NDArray[np.int64]]:
        value = terms @ coefficients
        expected = basis @ (basis.T @ value)
        alone = value.mean(axis=0)
        choice = np.asarray(expected.argmax(axis=1), dtype=np.int64)
        return float(expected.max(axis=1).mean() - alone.max()), float((choice != alone.argmax()).mean()), choice

    worth, changed, choice = told(money.by_levels())
    errors = np.std([told(resample)[:2] for resample in resampled], axis=0)
    return Worth(max(worth, 0.0), float(errors[0]), changed, float(errors[1]), choice)


def _scores(money: Money, normals: Array, seen: Array) -> Array:
    """What is seen, condensed: best linear guess of each level that counts, with squares and products."""
    centred = seen - seen.mean(axis=0)
    spread = centred.std(axis=0)
    told = centred[:, spread > 1e-9] / spread[spread > 1e-9]
    guesses = []
    for place in money.sharp:
        level = normals[:, place] - normals[:, place].mean()
        if told.shape[1]:
            guess = told @ np.linalg.lstsq(told, level, rcond=None)[0]
            if guess.var() > 0.01 * level.var():
                guesses.append(guess / guess.std())
    return polynomial(np.reshape(guesses, (-1, len(seen))).T)
