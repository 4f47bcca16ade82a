"""One row group of a block: everything that the stages need to know of it, in one object."""

from __future__ import annotations

from dataclasses import dataclass

from orchardsim.economy.blocks import BlockMoney
from orchardsim.operations.parameters import Replacement
from orchardsim.season.parameters import Phenology
from orchardsim.trees.parameters import TreesOfGroup


@dataclass(frozen=True, kw_only=True)
class RowGroup(TreesOfGroup):
    """Rows of one block with the same stock, cultivar and tree grade: one label of the results.

    Stock, cultivar, tree grade, training, crop targets, pollen and label stand in
    :class:`orchardsim.trees.parameters.TreesOfGroup`, which is what the trees room sees of it.

    Attributes
    ----------
    cultivar_name, stock_name, grade_name, training_name : str
        In the catalogue.
    phenology : Phenology
        For the season room.
    rows, trees : int
        Rows and planting positions.
    money : BlockMoney
        Geometry and money terms, for the economy room.
    refill : Replacement
        Replacement rules: its own, or those of the farm.
    crew_rank : int
        At the same task a crew goes to the lower rank first.
    """

    cultivar_name: str
    stock_name: str
    grade_name: str
    training_name: str
    phenology: Phenology
    rows: int
    trees: int
    money: BlockMoney
    refill: Replacement
    crew_rank: int
