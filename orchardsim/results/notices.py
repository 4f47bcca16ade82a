"""What a run must say before any table: crop targets that never bind, fruit left unpicked, the weight of one price."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.core.labels import SHARED
from orchardsim.results.dataset import attribute
from orchardsim.results.farm import block_labels, by_trial, farm_mean

if TYPE_CHECKING:
    import xarray

FRESH_SALES: Final = ("fresh_sales", "direct_sales")
BEARING_LEAF: Final = 3
"""Leaf from which a crop target is asked after: younger trees hold few clusters (assumption; wording only)."""
BINDS: Final = 0.9
"""Share of the target from which a crop was held back by it (assumption; wording only)."""
SELDOM: Final = 0.05
"""Share of crops below which a target counts as one that hardly ever binds (assumption; wording only)."""
PRICE_STEP: Final = 0.1
ALTERNATES: Final = 0.5
"""Index of biennial bearing from which it is told before any number; with crops that differ by half from year to year,
chance alone makes less (assumption; wording only)."""
MANY_LOST: Final = 1 / 3
"""Share of all trees from which their death is told before any number (assumption; wording only)."""


@dataclass(frozen=True)
class LooseTarget:
    """A crop target that hardly ever binds, and what the trees carry, the median [fruit per cm2 of trunk]."""

    label: str
    target: float
    carried: float


@dataclass(frozen=True)
class PriceShare:
    """How much of the outcome rests on one cultivar's price.

    Attributes
    ----------
    share : float [1]
        Of all money from fresh fruit, discounted.
    lost : float [currency]
        Mean NPV that a tenth off its price takes, before income tax.
    """

    cultivar: str
    share: float
    lost: float


def loose_targets(dataset: xarray.Dataset) -> list[LooseTarget]:
    """Labels whose trees reach nine tenths of the stated crop in fewer than one of twenty crops."""
    found = []
    for label, targets in (attribute(dataset, "crop_load_targets") or {}).items():
        leaf = dataset["leaf"].sel(block=label).values
        bearing = np.flatnonzero(leaf >= BEARING_LEAF)
        if not bearing.size:
            continue
        wanted = np.array([targets[min(int(number), len(targets)) - 1] for number in leaf[bearing]])
        carried = dataset["crop_load_mean"].sel(block=label).transpose("trial", "year").values[:, bearing]
        if (np.nan_to_num(carried) >= BINDS * wanted).mean() < SELDOM:
            found.append(LooseTarget(label, float(wanted[-1]), float(np.nanmedian(carried))))
    return found


def unpicked_share(dataset: xarray.Dataset) -> float:
    """Share of the fruit grown that hangs unpicked where pickers lacked hours; 0 where all was picked in time [1]."""
    if float(farm_mean(dataset, "labour_undone").sel(task="picking").sum()) <= 0:
        return 0.0
    grown = float(dataset["crop_mass"].sum())
    return max(1.0 - float(dataset["harvested_mass"].sum()) / grown, 0.0) if grown > 0 else 0.0


def alternating(dataset: xarray.Dataset) -> dict[str, float]:
    """Labels whose trees bear a heavy and a light crop by turns: mean index of biennial bearing [1]."""
    index = dataset["biennial_index"].mean("trial")
    means = {label: float(index.sel(block=label)) for label in block_labels(dataset)}
    return {label: mean for label, mean in means.items() if mean > ALTERNATES}


def deadliest_cause(dataset: xarray.Dataset) -> tuple[float, str, float] | None:
    """Share of all trees that die, the cause of most of these deaths, and its share of them; None where few die [1]."""
    lost = farm_mean(dataset, "trees_lost").sum("year")
    left = float(farm_mean(dataset, "trees_alive")[-1]) + float(farm_mean(dataset, "trees_removed").sum())
    dead = float(lost.sum())
    if dead == 0 or dead < MANY_LOST * (dead + left):
        return None
    return dead / (dead + left), str(lost["cause"].values[lost.argmax("cause")]), float(lost.max()) / dead


def price_share(dataset: xarray.Dataset) -> PriceShare | None:
    """The cultivar on whose price most of the money rests; None where no fresh fruit is sold."""
    cultivars = attribute(dataset, "cultivars") or {}
    rate = 1.0 + float(dataset.attrs.get("discount_rate", 0.0))
    discount = rate ** -np.arange(dataset.sizes["year"], dtype=float)
    received: dict[str, float] = {}
    items = list(FRESH_SALES)
    fresh = by_trial(dataset, ["ledger"], lambda some: some["ledger"].sel(ledger_item=items).sum("ledger_item"))
    for place, label in enumerate(str(label) for label in dataset["block"].values):
        if label == SHARED:
            continue
        sales = fresh[:, :, place]
        cultivar = str(cultivars.get(label, label))
        received[cultivar] = received.get(cultivar, 0.0) + float((sales * discount).sum(axis=1).mean())
    total = sum(received.values())
    if total <= 0:
        return None
    most = max(received, key=lambda name: received[name])
    return PriceShare(most, received[most] / total, PRICE_STEP * received[most])
