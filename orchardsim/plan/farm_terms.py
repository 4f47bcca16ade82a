"""What the blocks of a plan share while they are resolved, one block of them, and one of its row groups."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

from orchardsim.core.errors import InputError
from orchardsim.economy.parameters import TreePrice
from orchardsim.plan.catalogue import Catalogue
from orchardsim.plan.filling import Filler
from orchardsim.plan.model import BlockBase, Sections, SiteBase
from orchardsim.plan.raw import Parameters
from orchardsim.plan.tables import Table, key_path

Stated = TypeVar("Stated")


@dataclass(frozen=True)
class StatedGroup:
    """One row group while the block is resolved."""

    name: str
    label: str
    rows: tuple[int, ...]
    cultivar: str
    rootstock: str
    tree_grade: str
    target: tuple[float, ...]
    crew_rank: int


@dataclass(frozen=True)
class FarmTerms:
    """What the blocks share; ``refill``: rules for spares by block or label, in place of the farm's."""

    site: SiteBase
    catalogue: Catalogue
    filler: Filler
    sections: Sections
    tree_price: dict[str, TreePrice]
    refill: dict[str, Table]


@dataclass(frozen=True)
class StatedBlock:
    """One block while it is resolved: its table and key path, the farm, and warnings, which it adds to."""

    table: BlockBase
    path: str
    farm: FarmTerms
    warnings: list[str]

    @property
    def established(self) -> bool:
        """Whether it stands before year 0."""
        return self.table.year_planted < 0

    def fault(self, key: str, problem: str) -> InputError:
        """What is wrong with a key below the block's path; with the block where it is empty."""
        return InputError(self.farm.filler.where, f"{key_path(self.path, [key] if key else [])}: {problem}")

    def refuse(self, faults: Iterable[tuple[str, str]]) -> None:
        """Stop on the first fault, (key, problem)."""
        for key, problem in faults:
            raise self.fault(key, problem)

    def note(self, key: str, value: object, unit: str, source: str, status: str) -> None:
        """Keep a number that the block does not state."""
        self.farm.filler.note(f"{self.path}.{key}", value, unit, source, status)

    def warn(self, text: str) -> None:
        """Tell what is legal but looks wrong."""
        self.warnings.append(f"{self.path}: {text}")

    def entry(self, kind: str, name: str, cls: type[Parameters]) -> Parameters:
        """One class of a catalogue entry that the block names."""
        return self.farm.catalogue.get(kind, name, cls, self.path)


def first_stated(stated: Stated | None, otherwise: Stated) -> Stated:
    """What a table states, or else what holds without it."""
    return otherwise if stated is None else stated
