"""The part of a study that weighs planting all now against waiting: its table, and the plans that it needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

from pydantic import Field

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.plan.coming import ways_to_plant, young_blocks
from orchardsim.plan.keys import with_keys
from orchardsim.plan.plan import Plan
from orchardsim.plan.tables import Table

if TYPE_CHECKING:
    from orchardsim.plan.reading import RawTable
    from orchardsim.plan.study import Cell, Factor

MOST_YEARS: Final = 10
FEWEST_TRIALS: Final = 50
"""Trials below which money cannot be told by a dozen levels."""


class WaitingTable(Table):
    """``[waiting]``: the cells plant what is to come now; how would planting it after measuring a first row compare?

    ``options`` names the factor whose levels are the ways to plant; the levels of all other factors are circumstances,
    each with an answer of its own.
    """

    options: str
    years: Annotated[list[Annotated[int, Field(ge=1, le=MOST_YEARS)]], Field(min_length=1, max_length=5)] = Field(
        default_factory=lambda: [1, 2, 3]
    )
    measured_from: Annotated[int, Field(ge=-MOST_YEARS, le=MOST_YEARS)] = 0


@dataclass(frozen=True)
class Waiting:
    """Plans that tell what waiting is worth in one circumstance.

    Attributes
    ----------
    circumstance : str
        Levels of the other factors; empty where there are none.
    options : tuple of str
        Ways to plant.
    cells : tuple of int
        Cells that plant so now.
    years : tuple of int
        Of waiting.
    plans : tuple of Plan
        To run beside the cells: every option after each wait, years x options, then nothing planted.
    measured_from : int
        First year of the plan whose season can still be measured.
    """

    circumstance: str
    options: tuple[str, ...]
    cells: tuple[int, ...]
    years: tuple[int, ...]
    plans: tuple[Plan, ...]
    measured_from: int


def waitings_of(
    table: WaitingTable | None,
    raw: RawTable,
    factors: Sequence[Factor],
    cells: Sequence[Cell],
    folder: Path,
    where: str,
) -> tuple[Waiting, ...]:
    """One for each circumstance; none where the study has no such table.

    ``raw``: tables of the base plan with what the study holds. Raises InputError if the options are no factor, or there
    is nothing to plant or to measure.
    """
    if table is None:
        return ()
    names = [factor.name for factor in factors]
    if table.options not in names:
        raise InputError(
            where, f"waiting.options: unknown factor {table.options!r}, {nearest_names(table.options, names)}"
        )
    years = tuple(sorted(set(table.years)))
    place = names.index(table.options)
    by_circumstance: dict[tuple[int, ...], list[Cell]] = {}
    for cell in cells:
        by_circumstance.setdefault((*cell.levels[:place], *cell.levels[place + 1 :]), []).append(cell)
    others = [factor for factor in factors if factor.name != table.options]
    waitings = []
    for levels, own in by_circumstance.items():
        young_blocks(own[0].plan)
        options = tuple(factors[place].levels[cell.levels[place]] for cell in own)
        tables = [with_keys(raw, cell.changes, where) for cell in own]
        ways = ways_to_plant(own[0].plan, tables[0], dict(zip(options, tables, strict=True)), years, folder)
        waitings.append(
            Waiting(
                ", ".join(
                    f"{factor.name} {factor.levels[level]}" for factor, level in zip(others, levels, strict=True)
                ),
                options,
                tuple(cell.number for cell in own),
                years,
                tuple(ways.values()),
                table.measured_from,
            )
        )
    return tuple(waitings)
