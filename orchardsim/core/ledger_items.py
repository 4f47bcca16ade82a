"""The table of ledger items: one row per item, with its kind, its group in pictures, and who bears it.

The ledger, the account, indicators, tables and pictures read it from here; a new item is a row here and the line in
``economy`` that books it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from orchardsim.core.glossary import term

Kind = Literal["sales", "capital", "running", "financing"]
Bearer = Literal["block", "shared", "both"]
Group = Literal[
    "fruit sold",
    "planting and building",
    "tree work",
    "picking and packing",
    "overhead, land, finance",
    "materials, water, spare trees",
]


@dataclass(frozen=True)
class LedgerItem:
    """One row of the table.

    Attributes
    ----------
    name : str
        Label on the dim ``ledger_item``.
    kind : {"sales", "capital", "running", "financing"}
        Capital items make up the establishment; financing (interest, tax) stands outside a project's own flow.
    group : str
        Group in which pictures show it.
    bearer : {"block", "shared", "both"}
        Booked to blocks, to the label ``shared`` (what belongs to no block), or to either.
    written_off : bool
        A capital item whose outlay is depreciated for income tax (land is not).
    """

    name: str
    kind: Kind
    group: Group
    bearer: Bearer = "block"
    written_off: bool = False

    @property
    def label(self) -> str:
        """The name for people."""
        return term(self.name)


LEDGER_ITEMS: Final = (
    LedgerItem("old_orchard_removal", "capital", "planting and building", written_off=True),
    LedgerItem("site_preparation", "capital", "planting and building", written_off=True),
    LedgerItem("land", "capital", "planting and building"),
    LedgerItem("trees", "capital", "planting and building", written_off=True),
    LedgerItem("support", "capital", "planting and building", written_off=True),
    LedgerItem("irrigation_system", "capital", "planting and building", "both", written_off=True),
    LedgerItem("fence", "capital", "planting and building", "shared", written_off=True),
    LedgerItem("protection_equipment", "capital", "planting and building", written_off=True),
    LedgerItem("machines", "capital", "planting and building", "shared", written_off=True),
    LedgerItem("planting", "capital", "planting and building", written_off=True),
    LedgerItem("training", "running", "tree work"),
    LedgerItem("pruning", "running", "tree work"),
    LedgerItem("thinning", "running", "tree work"),
    LedgerItem("picking", "running", "picking and packing"),
    LedgerItem("upkeep", "running", "tree work"),
    LedgerItem("materials", "running", "materials, water, spare trees"),
    LedgerItem("blight_sprays", "running", "materials, water, spare trees"),
    LedgerItem("replacement_trees", "running", "materials, water, spare trees"),
    LedgerItem("water_and_fuel", "running", "materials, water, spare trees"),
    LedgerItem("packing_and_storage", "running", "picking and packing"),
    LedgerItem("overhead", "running", "overhead, land, finance", "both"),
    LedgerItem("land_charge", "running", "overhead, land, finance"),
    LedgerItem("interest", "financing", "overhead, land, finance", "shared"),
    LedgerItem("insurance", "running", "overhead, land, finance"),
    LedgerItem("income_tax", "financing", "overhead, land, finance", "shared"),
    LedgerItem("fresh_sales", "sales", "fruit sold"),
    LedgerItem("direct_sales", "sales", "fruit sold"),
    LedgerItem("processing_sales", "sales", "fruit sold"),
)
"""All items, in the order of the dim ``ledger_item``."""

ITEM: Final = {row.name: column for column, row in enumerate(LEDGER_ITEMS)}
"""Item -> its place on the dim ``ledger_item``."""


def items_of(*kinds: Kind) -> list[str]:
    """Names of the items of some kinds, in the order of the table."""
    return [row.name for row in LEDGER_ITEMS if row.kind in kinds]


def columns_of(*kinds: Kind) -> list[int]:
    """Places of the items of some kinds on the dim ``ledger_item``."""
    return [ITEM[name] for name in items_of(*kinds)]


def items_by_group() -> dict[str, list[str]]:
    """Group -> names of its items, both in the order of first mention by :data:`Group`."""
    groups: dict[str, list[str]] = {name: [] for name in Group.__args__}  # type: ignore[attr-defined]
    for row in LEDGER_ITEMS:
        groups[row.group].append(row.name)
    return groups
