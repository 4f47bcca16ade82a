"""The catalogues of rootstocks, cultivars, training systems and tree grades, and a plan's own entries in them."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final

from pydantic import BeforeValidator, Field, ValidationInfo

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.parameters import ParameterInfo, Sourced, parameter, parameters_of
from orchardsim.economy.parameters import SprayNeed
from orchardsim.plan.filling import Filler, sourced
from orchardsim.plan.quantities import UnitContext, read_parameter
from orchardsim.plan.raw import Parameters, RawTable, catalogue_file
from orchardsim.plan.tables import Fields, Table, context_of, table_of
from orchardsim.season.parameters import Phenology
from orchardsim.trees.parameters import Cultivar, Stock, Training, TreeGrade

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

CRAB: Final = "crab"
UNTHINNED: Final = "unthinned"


@dataclass(frozen=True)
class CropTarget:
    """Crop-load targets of a cultivar where a block states none."""

    crop_load_target: tuple[float, ...] = parameter(
        "cm-2", "fruit per trunk area before bloom, by leaf (last value holds on)", low=0, high=60
    )


KINDS: Final[dict[str, tuple[str, tuple[type[DataclassInstance], ...]]]] = {
    "rootstock": ("rootstocks.toml", (Stock,)),
    "cultivar": ("cultivars.toml", (Cultivar, Phenology, SprayNeed, CropTarget)),
    "training_system": ("training.toml", (Training,)),
    "tree_grade": ("tree_grades.toml", (TreeGrade,)),
}
"""Plan table -> catalogue file, and the classes that an entry fills."""

WORDS: Final = ("like", "note")
"""Keys of an entry that are no numbers: the entry it takes missing values from, and a remark."""


def target_parameter() -> ParameterInfo:
    """Unit and bounds of a crop-load target."""
    return parameters_of(CropTarget)["crop_load_target"]


def _read_target(raw: object, info: ValidationInfo) -> tuple[float, ...]:
    if raw == UNTHINNED:
        return (float("inf"),)
    if isinstance(raw, str) or not isinstance(raw, (list, tuple, Mapping)):
        raise ValueError(
            f"found {raw!r}, expected fruit per cm2 of trunk by leaf, such as [0, 3, 5, 6], or {UNTHINNED!r}"
        )
    if isinstance(raw, (list, tuple)):
        # The trade speaks of crop load as a plain number of fruit per cm2; no other unit is in use.
        raw = [item if isinstance(item, (str, bool, Mapping)) else f"{item} /cm2" for item in raw]
    targets = read_parameter(raw, target_parameter(), tuple[float, ...], context_of(info))
    return tuple(float(value) for value in targets) if isinstance(targets, tuple) else ()


_TARGET_WORDS: Final = "fruit per cm2 of trunk after thinning, by leaf (the last value holds on), or 'unthinned'"
CropLoadTarget = Annotated[tuple[float, ...], BeforeValidator(_read_target), Field(description=_TARGET_WORDS)]


class EntryTable(Table):
    """A plan's own entry in a catalogue."""

    if TYPE_CHECKING:  # see _entry_table
        like: str | None


def _entry_table(kind: str, classes: tuple[type[DataclassInstance], ...]) -> type[EntryTable]:
    more: Fields = {
        "like": (str | None, Field(None, description="entry from which missing values are taken")),
        "note": (str | None, Field(None, description="remark of your own")),
    }
    if CropTarget in classes:
        more["crop_load_target"] = (CropLoadTarget | None, Field(None, description=_TARGET_WORDS))
    return table_of(f"{kind}_entry", *classes, base=EntryTable, more=more)


TABLES: Final[dict[str, type[EntryTable]]] = {kind: _entry_table(kind, classes) for kind, (_, classes) in KINDS.items()}
"""Typed table of one entry of each kind, as a plan may write it."""


def entries(kind: str) -> dict[str, RawTable]:
    """Built-in entries of a kind by name."""
    return catalogue_file(KINDS[kind][0])


def entry_numbers(kind: str, name: str) -> dict[str, Sourced]:
    """Numbers of a built-in entry with their sources, those taken over by ``like`` included."""
    file, _ = KINDS[kind]
    return {key: sourced(raw, file, f"{name}.{key}") for key, raw in _inherited(kind, name).items()}


def _inherited(kind: str, name: str) -> dict[str, object]:
    """Raw numbers of a built-in entry, with those of the entry that it is like."""
    file = KINDS[kind][0]
    table = entries(kind)
    chain: list[str] = []
    while True:
        if name in chain:
            raise InputError(file, f"{name}: 'like' runs in a circle")
        chain.append(name)
        following = table[name].get("like")
        if following is None:
            break
        if not isinstance(following, str) or following not in table:
            raise InputError(file, f"{name}.like: found {following!r}, {nearest_names(str(following), table)}")
        name = following
    numbers: dict[str, object] = {}
    for each in reversed(chain):
        numbers.update({key: raw for key, raw in table[each].items() if key not in WORDS})
    return numbers


def likeness(name: str, own: Mapping[str, EntryTable]) -> tuple[list[str], str]:
    """Entries of a plan's own, each ``like`` the next, and the name that is none of them or stands twice."""
    chain: list[str] = []
    while name in own and name not in chain:
        chain.append(name)
        name = own[name].like or name
    return chain, name


class Catalogue:
    """The built-in entries with a plan's own laid over them.

    ``own``: kind -> name -> table, as the plan states them.
    """

    def __init__(self, own: Mapping[str, Mapping[str, EntryTable]], filler: Filler) -> None:
        self.own = own
        self.filler = filler
        self._made: dict[tuple[str, str, type], DataclassInstance] = {}

    def names(self, kind: str) -> list[str]:
        """Names of all entries of a kind, the plan's own included."""
        return sorted({*entries(kind), *self.own.get(kind, {})})

    def require(self, kind: str, name: str, path: str) -> None:
        """Stop on a name that is in no catalogue, offering the nearest."""
        names = self.names(kind)
        if name not in names:
            raise InputError(
                self.filler.where,
                f"{path}: found {name!r}, which is no {kind.replace('_', ' ')} of the catalogue or the plan; "
                f"{nearest_names(name, names)}",
            )

    def get(self, kind: str, name: str, cls: type[Parameters], path: str) -> Parameters:
        """One class of an entry, e.g. the ``Phenology`` of a cultivar; ``path`` names the key that asks for it."""
        if (kind, name, cls) not in self._made:
            self.require(kind, name, path)
            self._made[kind, name, cls] = self._make(kind, name, cls)
        entry = self._made[kind, name, cls]
        assert isinstance(entry, cls)
        return entry

    def _make(self, kind: str, name: str, cls: type[Parameters]) -> Parameters:
        wanted = [each for each in typing.get_type_hints(cls) if each in parameters_of(cls)]
        own = self.own.get(kind, {})
        stated: dict[str, object] = {}
        chain, base = likeness(name, own)
        for each in chain:
            stated = own[each].stated(wanted) | stated
            if (like := own[each].like) is not None:
                self.require(kind, like, f"{kind}.{each}.like")
        numbers = _inherited(kind, base) if base in entries(kind) else {}
        numbers = {key: raw for key, raw in numbers.items() if key in wanted and key not in stated}
        nearest = "like = " + repr(next(iter(entries(kind))))
        return self.filler.fill(cls, f"{kind}.{name}", None, numbers, KINDS[kind][0], nearest, stated)


def built_in(kind: str, name: str, cls: type[Parameters], where: str) -> Parameters:
    """One class of a built-in entry, without a plan.

    Raises InputError if there is no such entry; the nearest names are offered.

    Parameters
    ----------
    kind : str
        "rootstock", "cultivar", "training_system" or "tree_grade".
    where : str
        What asked for it, for the message.
    """
    return Catalogue({}, Filler(where, UnitContext())).get(kind, name, cls, kind)
