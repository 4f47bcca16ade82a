"""What the blocks of a plan share while they are resolved, and what becomes of one row group."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from orchardsim.core.support import SupportDesign
from orchardsim.economy.parameters import Market, TreePrice
from orchardsim.operations.parameters import SupportRates, WorkRates
from orchardsim.plan.catalogue import Catalogue
from orchardsim.plan.filling import Filler
from orchardsim.plan.model import SiteBase

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
    """What the blocks share."""

    site: SiteBase
    catalogue: Catalogue
    filler: Filler
    market: Market
    tree_price: dict[str, TreePrice]
    rates: WorkRates
    support: SupportDesign
    support_rates: SupportRates
    pollen_reach: float
    """m; distance over which a pollen source's worth falls to 1/e."""
    guarded: bool = False
    """Whether trees planted get trunk guards."""
    blight_control: float = 0.0
    """Share of blossom infections by fire blight that paid sprays prevent."""


def first_stated(stated: Stated | None, otherwise: Stated) -> Stated:
    """What a table states, or else what holds without it."""
    return otherwise if stated is None else stated
