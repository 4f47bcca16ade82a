"""Names of a plan that must stand in a catalogue, the plan's own entries, or the program."""

from __future__ import annotations

import dataclasses

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.economy.parameters import OUTLETS
from orchardsim.plan.blocks import check_training
from orchardsim.plan.catalogue import KINDS, Catalogue, CropTarget
from orchardsim.plan.filling import Filler, Ledger
from orchardsim.plan.model import BlockBase, PlanBase
from orchardsim.plan.tables import Table


def check_names(table: PlanBase, catalogue: Catalogue, filler: Filler) -> None:
    """Stop on names that nothing would read, and on entries of the plan's own that lack something.

    The blocks' own names come first: a price under the same misspelt name follows from them.
    """
    for number, block in enumerate(table.block, start=1):
        _check_block_names(block, f"block {number}", catalogue)
    for name in table.market.named("outlets") if table.market is not None else ():
        if name not in OUTLETS:
            raise InputError(
                filler.where,
                f"market.outlets.{name}: unknown outlet {name!r}, {nearest_names(name, OUTLETS)} "
                f"(allowed: {', '.join(OUTLETS)})",
            )
    for name in table.market.named("fruit") if table.market is not None else ():
        catalogue.require("cultivar", name, f"market.fruit.{name}")
    for name in table.named("tree_price"):
        catalogue.require("tree_grade", name, f"tree_price.{name}")
    # Entries that no block uses are checked too, without their numbers counting as assumed.
    everything = Catalogue(catalogue.own, dataclasses.replace(filler, ledger=Ledger()))
    for kind, own in catalogue.own.items():
        for name in own:
            for cls in KINDS[kind][1]:
                if cls is not CropTarget:
                    entry = everything.get(kind, name, cls, kind)
                    check_training(entry, name, filler.where)


def _check_block_names(block: BlockBase, path: str, catalogue: Catalogue) -> None:
    """Stop on a name of a block, its groups or its pollinizers that stands in no catalogue."""
    parts: list[tuple[Table, str]] = [(block, path)]
    parts += [(group, f"{path}.group {number}") for number, group in enumerate(block.group, start=1)]
    parts += [(each, f"{path}.pollinizer {number}") for number, each in enumerate(block.pollinizer, start=1)]
    kinds = {
        "cultivar": "cultivar",
        "rootstock": "rootstock",
        "tree_grade": "tree_grade",
        "training": "training_system",
    }
    for part, where in parts:
        for key, kind in kinds.items():
            name = getattr(part, key, None)
            if name is not None:
                catalogue.require(kind, name, f"{where}.{key}")
