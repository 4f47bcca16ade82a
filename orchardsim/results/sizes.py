"""What sizes a mature block packs in a typical, a light-crop and a heavy-crop year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.units import HECTARE
from orchardsim.results.block_results import ratio, years_in_full_crop
from orchardsim.results.farm import block_labels, trial_pieces

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

CROP_CLASSES: Final = {"light": (0.0, 0.1), "typical": (0.45, 0.55), "heavy": (0.9, 1.0)}
"""Class of a crop -> ranks that it takes by number of fruit against the middle crop of its leaf, of all mature crops
of a label that are crops (definition of the table)."""
A_CROP: Final = 0.05
"""Least number of fruit that is ranked, as a share of the middle one: less is a failed crop (wording only)."""


@dataclass(frozen=True)
class PackedSizes:
    """Sizes packed in one class of crops.

    Attributes
    ----------
    label, crop_class : str
    crops : int
        Mature crops (trial and year) in the class.
    crop : float [kg/ha]
        Mean fruit grown per planted area.
    fresh : float [1]
        Fresh fruit packed as a share of the fruit picked.
    shares : array, (box count,) [1]
        Of the mass of fresh fruit; nan where there is none.
    errors : array, (box count,) [1]
        Monte Carlo standard errors of ``shares``: crops of one trial are not independent.
    """

    label: str
    crop_class: str
    crops: int
    crop: float
    fresh: float
    shares: Array
    errors: Array


def packed_sizes(dataset: xarray.Dataset) -> list[PackedSizes]:
    """Sizes packed by each label in its light, typical and heavy mature crops; labels without a crop are left out."""
    found: list[PackedSizes] = []
    if "boxed_mass" not in dataset:
        return found
    for label in block_labels(dataset):
        part = dataset.sel(block=label)
        mature = years_in_full_crop(dataset, label)
        crop, picked, number = (
            part[name].values[:, mature] for name in ("crop_mass", "harvested_mass", "fruit_number")
        )
        # against the middle one of the same leaf: trees still grow
        relative = number / np.maximum(np.median(number, axis=0), 1) if number.size else number
        bears = relative > A_CROP
        order = np.argsort(np.where(bears, relative, np.inf), axis=None, kind="stable")[: bears.sum()]
        weights: dict[str, Array] = {}
        for name, (low, high) in CROP_CLASSES.items():
            inside = np.zeros(crop.size)
            inside[order[int(low * order.size) : max(round(high * order.size), int(low * order.size) + 1)]] = 1
            if inside.any():
                weights[name] = inside.reshape(crop.shape)
        for (name, weight), boxed in zip(weights.items(), _boxed(dataset, label, mature, weights), strict=True):
            fresh = boxed.sum(axis=1)
            pairs = np.array([ratio(of_count, fresh) for of_count in boxed.T])
            in_class = float((picked * weight).sum())
            crops = int(weight.sum())
            found.append(
                PackedSizes(
                    label,
                    name,
                    crops,
                    float((crop * weight).sum() / crops / float(part["planted_area"]) * HECTARE),
                    float(fresh.sum()) / in_class if in_class > 0 else np.nan,
                    pairs[:, 0],
                    pairs[:, 1],
                )
            )
    return found


def _boxed(dataset: xarray.Dataset, label: str, years: NDArray[np.intp], weights: dict[str, Array]) -> list[Array]:
    """Mass by box count of a label in each trial's crops that are chosen, (trial, box count) for each choice."""
    if not weights:
        return []
    found: list[list[Array]] = [[] for _ in weights]
    for part, some in trial_pieces(dataset, "boxed_mass"):
        mass = some["boxed_mass"].sel(block=label).transpose("trial", "year", "box_count").values[:, years]
        for pieces, weight in zip(found, weights.values(), strict=True):
            pieces.append((mass * weight[part, :, None]).sum(axis=1))
    return [np.concatenate(pieces) for pieces in found]
