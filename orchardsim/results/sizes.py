"""What sizes a mature block packs in a typical, a light-crop and a heavy-crop year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.units import HECTARE
from orchardsim.results.block_results import ratio, years_in_full_crop
from orchardsim.results.farm import block_labels

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
        boxed = part["boxed_mass"].transpose("trial", "year", "box_count").values[:, mature]
        # against the middle one of the same leaf: trees still grow
        relative = number / np.maximum(np.median(number, axis=0), 1) if number.size else number
        bears = relative > A_CROP
        order = np.argsort(np.where(bears, relative, np.inf), axis=None, kind="stable")[: bears.sum()]
        for name, (low, high) in CROP_CLASSES.items():
            chosen = order[int(low * order.size) : max(round(high * order.size), int(low * order.size) + 1)]
            if not chosen.size:
                continue
            inside = np.zeros(crop.size)
            inside[chosen] = 1
            weight = inside.reshape(crop.shape)
            by_trial = (boxed * weight[..., None]).sum(axis=1)
            fresh = by_trial.sum(axis=1)
            pairs = np.array([ratio(by_trial[:, place], fresh) for place in range(boxed.shape[-1])])
            in_class = float((picked * weight).sum())
            found.append(
                PackedSizes(
                    label,
                    name,
                    int(chosen.size),
                    float((crop * weight).sum() / chosen.size / float(part["planted_area"]) * HECTARE),
                    float(fresh.sum()) / in_class if in_class > 0 else np.nan,
                    pairs[:, 0],
                    pairs[:, 1],
                )
            )
    return found
