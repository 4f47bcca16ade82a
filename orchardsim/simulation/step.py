"""A year as a list: named steps, each with what it reads and writes, and how such a list is changed.

Nothing else decides what happens in a year, or in which order. Who wants another year replaces steps, leaves
some out or puts in some of their own, and hands the new list to the tile that walks it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from orchardsim.simulation.tile import Tile


@dataclass(frozen=True)
class Step:
    """One step of the year.

    Attributes
    ----------
    name : str
    run : callable
        Takes the tile and the year of the plan (below 0 before the plan begins), and changes the tile.
    reads, writes : tuple of str
        Names from the variable table (results) or from :data:`orchardsim.simulation.state_table.STATE`. What is written
        without being read is filled anew.
    """

    name: str
    run: Callable[..., None]
    reads: tuple[str, ...]
    writes: tuple[str, ...]


def step(*, reads: str, writes: str) -> Callable[[Callable[..., None]], Step]:
    """Make a step of a function of a tile and a year; what it reads and writes are names with blanks between."""

    def named(run: Callable[..., None]) -> Step:
        return Step(run.__name__, run, tuple(reads.split()), tuple(writes.split()))

    return named


Steps = tuple[Step, ...]


def walk_year(tile: Tile, year: int, steps: Sequence[Step]) -> None:
    """Walk a tile through one year."""
    for step in steps:
        step.run(tile, year)


def replaced(steps: Steps, name: str, run: Callable[[Tile, int], None]) -> Steps:
    """The same year with another way of doing one step; it reads and writes what the step declares.

    Raises
    ------
    KeyError
        If no step has that name.
    """
    _check_names(steps, (name,))
    return tuple(dataclasses.replace(step, run=run) if step.name == name else step for step in steps)


def inserted(steps: Steps, after: str, new: Step) -> Steps:
    """The same year with one more step.

    Raises
    ------
    KeyError
        If no step is called ``after``.
    """
    _check_names(steps, (after,))
    place = [step.name for step in steps].index(after) + 1
    return (*steps[:place], new, *steps[place:])


def without(steps: Steps, names: Collection[str]) -> Steps:
    """The same year without some steps.

    Raises
    ------
    KeyError
        If no step has such a name.
    """
    _check_names(steps, names)
    return tuple(step for step in steps if step.name not in names)


def _check_names(steps: Steps, names: Collection[str]) -> None:
    known = [step.name for step in steps]
    for name in names:
        if name not in known:
            raise KeyError(f"no step is called {name!r}; the year has {', '.join(known)}")
