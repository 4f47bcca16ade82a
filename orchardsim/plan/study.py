"""Reads a study file: a base plan, the factors that change in it, and every cell as a plan of its own."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import Field

from orchardsim.core.errors import InputError
from orchardsim.plan.keys import with_keys
from orchardsim.plan.loading import load_plan
from orchardsim.plan.model import Name
from orchardsim.plan.plan import Plan
from orchardsim.plan.quantities import UnitContext
from orchardsim.plan.raw import RawTable
from orchardsim.plan.reading import read_toml
from orchardsim.plan.study_waiting import FEWEST_TRIALS, Waiting, WaitingTable, waitings_of
from orchardsim.plan.tables import Table, validated

MOST_CELLS: Final = 2_000
KNOWN_TRIALS: Final = 100
"""Trials of each cell that are run again with known levels, unless the study says otherwise: a 5 % point of so many has
a chance error of some two points (binomial)."""
DIGITS: Final = 4
"""Significant digits of a drawn value: no orchard is set out or measured finer."""


class LevelTable(Table):
    """``[[factor.level]]``: one level that changes several keys."""

    name: Name
    keys: dict[str, object]


class FactorTable(Table):
    """``[[factor]]``: what changes between the cells of a study.

    ``key`` with ``levels`` changes one key; ``level`` tables change several together; ``key`` with ``low`` and
    ``high`` is a range that a Latin hypercube samples, beside levels that it meets equally often.
    """

    name: Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$", max_length=40)]
    key: str | None = None
    levels: list[object] | None = None
    level: list[LevelTable] | None = None
    low: Annotated[float, Field(strict=False)] | None = None
    high: Annotated[float, Field(strict=False)] | None = None
    unit: str = ""


class StudyTable(Table):
    """The top of a study file."""

    title: Name
    plan: str | dict[str, object]
    design: Literal["factorial", "latin_hypercube"] = "factorial"
    samples: Annotated[int, Field(ge=4, le=MOST_CELLS)] | None = None
    trials: Annotated[int, Field(ge=3, le=1_000_000)] = 200
    known_trials: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    years: Annotated[int, Field(ge=2, le=80)] = 20
    seed: Annotated[int, Field(ge=0, lt=2**63)] = 1
    decide_by: str = "npv_per_area"
    keys: dict[str, object] = Field(default_factory=dict)
    factor: Annotated[list[FactorTable], Field(min_length=1, max_length=8)]
    waiting: WaitingTable | None = None


@dataclass(frozen=True)
class Factor:
    """A factor of a study.

    Attributes
    ----------
    levels : tuple of str
        Names of its levels; of a sampled range, what each cell drew.
    sets : tuple of str
        What each level sets in the plan, in words; of a range, its key and ends.
    values : tuple of float
        The numbers that a sample drew, one a cell.
    """

    name: str
    levels: tuple[str, ...]
    sets: tuple[str, ...]
    values: tuple[float, ...] = ()


@dataclass(frozen=True)
class Cell:
    """One cell of a study: number of its level of each factor, what it changes, and the plan that results."""

    number: int
    levels: tuple[int, ...]
    changes: RawTable
    plan: Plan


@dataclass(frozen=True)
class Study:
    """A declared experiment.

    Attributes
    ----------
    held : mapping
        Keys that the study sets in every cell.
    known_trials : int
        First trials of each cell that are run again with every open level at its middle, which tells luck from not
        knowing; 0 where nothing is open.
    decide_by : str
        Measure by which cells are ranked.
    waitings : tuple of Waiting
        What is to come planted later, where the study weighs that.
    """

    title: str
    path: Path | None
    base: Plan
    design: str
    factors: tuple[Factor, ...]
    cells: tuple[Cell, ...]
    held: RawTable
    trials: int
    known_trials: int
    years: int
    seed: int
    decide_by: str
    waitings: tuple[Waiting, ...] = ()

    def names(self, cell: Cell) -> dict[str, str]:
        """Factor -> name of its level in a cell."""
        return {factor.name: factor.levels[level] for factor, level in zip(self.factors, cell.levels, strict=True)}

    def __repr__(self) -> str:
        factors = " x ".join(f"{factor.name} ({len(factor.levels)})" for factor in self.factors)
        return f"<Study {self.title!r}: {self.design} of {factors}, {len(self.cells)} cells of {self.trials} trials>"


def load_study(source: str | Path | RawTable, *, base: str | Path | None = None) -> Study:
    """Read a study file and resolve the plan of every cell.

    Raises InputError: one line naming file, key, what was found and what is allowed; a cell that changes nothing is
    told too.

    Parameters
    ----------
    source : path or mapping
        A TOML file, or its content as nested dictionaries.
    base : path, optional
        Folder that the base plan's path is relative to; the study file's own where there is one.
    """
    path = None if isinstance(source, Mapping) else Path(source)
    raw = dict(source) if isinstance(source, Mapping) else read_toml(Path(source))
    where = str(path) if path is not None else "study"
    folder = Path(base) if base is not None else (path.parent if path is not None else Path())
    table = validated(StudyTable, raw, where, UnitContext())
    plan_path = folder / table.plan if isinstance(table.plan, str) else folder / "plan"
    written = read_toml(plan_path) if isinstance(table.plan, str) else table.plan
    tables = with_keys(written, table.keys, where)
    factors, changes = _design(table, where)
    cells = []
    for number, (levels, keys) in enumerate(changes):
        changed = with_keys(tables, keys, where)
        try:
            plan = load_plan(changed, base=plan_path.parent)
        except InputError as error:
            raise InputError(where, f"cell {number + 1} ({_words(keys)}): {error.problem}") from None
        cells.append(Cell(number, levels, keys, plan))
    _check_cells(cells, where)
    if table.waiting is not None and table.design != "factorial":
        raise InputError(where, "waiting: found it in a Latin hypercube; allowed in a factorial only")
    if table.waiting is not None and table.trials < FEWEST_TRIALS:
        raise InputError(where, f"trials: found {table.trials}; waiting needs {FEWEST_TRIALS} or more")
    return Study(
        title=table.title,
        path=path,
        base=load_plan(tables, base=plan_path.parent),
        design=table.design,
        factors=factors,
        cells=tuple(cells),
        held=table.keys,
        trials=table.trials,
        known_trials=_known_trials(table, cells, where),
        years=table.years,
        seed=table.seed,
        decide_by=table.decide_by,
        waitings=waitings_of(table.waiting, tables, factors, cells, plan_path.parent, where),
    )


def _known_trials(table: StudyTable, cells: Sequence[Cell], where: str) -> int:
    if table.known_trials is not None and table.known_trials > table.trials:
        raise InputError(
            where, f"known_trials: found {table.known_trials}, allowed at most the study's {table.trials} trials"
        )
    if all(cell.plan.futures.all_known for cell in cells):
        return 0
    return min(table.trials, KNOWN_TRIALS) if table.known_trials is None else table.known_trials


Changes = list[tuple[tuple[int, ...], dict[str, object]]]


def _design(table: StudyTable, where: str) -> tuple[tuple[Factor, ...], Changes]:
    names = [factor.name for factor in table.factor]
    for name in names:
        if names.count(name) > 1:
            raise InputError(where, f"factor {name!r} stands twice; allowed: once")
    if table.design == "latin_hypercube":
        return _latin_hypercube(table, where)
    if table.samples is not None:
        raise InputError(where, "samples: found it in a factorial; allowed with design = 'latin_hypercube' only")
    levels = [_levels(factor, where) for factor in table.factor]
    count = math.prod(len(own) for own in levels)
    if count > MOST_CELLS:
        raise InputError(where, f"factor: found {count:,} cells in all, allowed at most {MOST_CELLS:,}")
    factors = tuple(_named(name, own) for name, own in zip(names, levels, strict=True))
    changes: Changes = []
    for numbers in itertools.product(*(range(len(own)) for own in levels)):
        keys: dict[str, object] = {}
        for own, number, factor in zip(levels, numbers, names, strict=True):
            _join(keys, own[number][1], factor, where)
        changes.append((numbers, keys))
    return factors, changes


def _levels(factor: FactorTable, where: str) -> list[tuple[str, dict[str, object]]]:
    """Name and changed keys of each level of a factor."""
    place = f"factor {factor.name}"
    if factor.low is not None or factor.high is not None:
        raise InputError(
            where, f"{place}: found a range; a factorial takes levels; design = 'latin_hypercube' samples ranges"
        )
    if (factor.levels is None) == (factor.level is None):
        raise InputError(where, f"{place}: expected either key with levels, or [[factor.level]] tables")
    if factor.level is not None:
        levels = [(level.name, level.keys) for level in factor.level]
        if any(not keys for _, keys in levels):
            raise InputError(where, f"{place}: found a level that changes nothing; expected at least one key in it")
    elif factor.key is None:
        raise InputError(where, f"{place}.key: missing; expected a key of the plan, such as 'block.training'")
    else:
        levels = [(str(value), {factor.key: value}) for value in factor.levels or []]
    labels = [label for label, _ in levels]
    if len(set(labels)) != len(labels) or len(labels) < 2:
        raise InputError(where, f"{place}: found levels {labels}, expected two or more that differ")
    return levels


def _join(keys: dict[str, object], more: RawTable, factor: str, where: str) -> None:
    """Add what a factor changes to what others do."""
    if both := sorted(keys.keys() & more.keys()):
        raise InputError(where, f"factor {factor}: {both[0]} is changed by another factor too; allowed: by one")
    keys |= more


def _named(name: str, levels: Sequence[tuple[str, RawTable]]) -> Factor:
    return Factor(name, tuple(label for label, _ in levels), tuple(_words(keys) for _, keys in levels))


def _latin_hypercube(table: StudyTable, where: str) -> tuple[tuple[Factor, ...], Changes]:
    """Ranges and levels sampled so that each factor is met evenly (McKay, Beckman and Conover 1979)."""
    from scipy.stats import qmc

    if table.samples is None:
        raise InputError(where, "samples: missing; a Latin hypercube needs a number of cells, 4 or more")
    if all(factor.low is None and factor.high is None for factor in table.factor):
        raise InputError(where, "design: found no range in a Latin hypercube; allowed: key, low and high in a factor")
    points = qmc.LatinHypercube(len(table.factor), rng=np.random.default_rng(table.seed)).random(table.samples)
    factors: list[Factor] = []
    numbers: list[list[int]] = []
    keys: list[dict[str, object]] = [{} for _ in range(table.samples)]
    for factor, column in zip(table.factor, points.T, strict=True):
        if factor.low is None and factor.high is None:
            levels = _levels(factor, where)
            if len(levels) > table.samples:
                raise InputError(
                    where, f"samples: found {table.samples}, allowed no fewer than the levels of {factor.name}"
                )
            factors.append(_named(factor.name, levels))
            numbers.append([int(len(levels) * share) for share in column.tolist()])
            set_here = [levels[number][1] for number in numbers[-1]]
        else:
            factors.append(_range(factor, column.tolist(), where))
            numbers.append(list(range(table.samples)))
            set_here = [
                {str(factor.key): label if factor.unit else value}
                for label, value in zip(factors[-1].levels, factors[-1].values, strict=True)
            ]
        for changed, more in zip(keys, set_here, strict=True):
            _join(changed, more, factor.name, where)
    return tuple(factors), [(cell, changed) for cell, changed in zip(zip(*numbers, strict=True), keys, strict=True)]


def _range(factor: FactorTable, shares: Sequence[float], where: str) -> Factor:
    """A range and the number that each cell draws from it."""
    if factor.key is None or factor.low is None or factor.high is None or factor.levels or factor.level:
        raise InputError(
            where, f"factor {factor.name}: expected key, low and high, which a Latin hypercube samples, or levels"
        )
    if not (math.isfinite(factor.low) and math.isfinite(factor.high) and factor.low < factor.high):
        raise InputError(
            where, f"factor {factor.name}: found low {factor.low:g} and high {factor.high:g}, allowed: low below high"
        )
    values = tuple(float(f"{factor.low + (factor.high - factor.low) * share:.{DIGITS}g}") for share in shares)
    levels = tuple(f"{value:g} {factor.unit}".strip() for value in values)
    return Factor(
        factor.name, levels, (f"{factor.key} = {factor.low:g} to {factor.high:g} {factor.unit}".strip(),), values
    )


def _check_cells(cells: Sequence[Cell], where: str) -> None:
    """Cells must differ, and their money must be of one kind."""
    first = cells[0].plan
    seen: dict[str, Cell] = {}
    for cell in cells:
        for name in ("currency", "price_year"):
            found, wanted = getattr(cell.plan, name), getattr(first, name)
            if found != wanted:
                raise InputError(where, f"cell {cell.number + 1}: {name} is {found}, but {wanted} in cell 1")
        twin = seen.setdefault(cell.plan.hash, cell)
        if twin is not cell:
            raise InputError(
                where,
                f"cells {twin.number + 1} ({_words(twin.changes)}) and {cell.number + 1} ({_words(cell.changes)}) are "
                "the same plan: a key of theirs changes nothing; name the table that decides, such as block.group",
            )


def _words(changes: RawTable) -> str:
    return ", ".join(f"{key} = {value}" for key, value in changes.items())
