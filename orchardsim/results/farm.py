"""The blocks of a run taken together: summed, averaged or left out as the variable table says."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM, SHARED
from orchardsim.core.variables import RESULTS, WEIGHTS, OverBlocks

if TYPE_CHECKING:
    import xarray

OF_INVESTMENT: Final = ("payback_year", "discounted_payback_year", "irr", "irr_without_remaining_value")
"""Variables that speak of the new planting alone where other blocks stand already."""
PIECE: Final = 250
"""Trials taken together at a time; results do not depend on it."""


def block_labels(dataset: xarray.Dataset) -> list[str]:
    """Labels of the blocks, in the order of the plan; ``shared`` is none of them."""
    return [str(label) for label in dataset["block"].values if str(label) != SHARED]


def parts_of_farm(dataset: xarray.Dataset) -> dict[str, list[str]]:
    """Labels of the new planting and of the blocks that stand already; empty where there is but one kind."""
    found: dict[str, list[str]] = {"new planting": [], "standing blocks": []}
    for label in block_labels(dataset):
        first = dataset["leaf"].sel(block=label).values[0]
        found["new planting" if first <= 1 else "standing blocks"].append(label)
    return found if all(found.values()) else {}


def of_farm(dataset: xarray.Dataset, name: str) -> xarray.DataArray:
    """A variable of the whole farm, without the dim ``block``.

    Parameters
    ----------
    dataset : xarray.Dataset
        Result of a run.
    name : str
        A row of :data:`orchardsim.core.variables.RESULTS` that adds over blocks, or has none.

    Returns
    -------
    xarray.DataArray
        Missing where a mean has nothing to weigh it (no living tree, no fruit).

    Raises
    ------
    ValueError
        If the variable has no value for a farm (the bloom day of two cultivars).
    """
    values = dataset[name]
    if "block" not in values.dims:
        return values
    way = RESULTS[name].over_blocks
    if way == "none":
        raise ValueError(f"{name} does not add over blocks, so a farm has none")
    if "trial" not in values.dims:
        return _taken_together(dataset, values, way)
    # A file that is read by variable would otherwise stand in memory with all its blocks.
    import xarray

    pieces = [_taken_together(some, some[name], way) for _, some in trial_pieces(dataset, name)]
    whole: xarray.DataArray = xarray.concat(pieces, "trial", coords="minimal", compat="override", join="override")
    return pieces[0] if len(pieces) == 1 else whole


def trial_pieces(dataset: xarray.Dataset, *names: str) -> Iterator[tuple[slice, xarray.Dataset]]:
    """Variables, with what weighs them over blocks, read at most :data:`PIECE` trials at a time."""
    ways = [RESULTS[name].over_blocks for name in names]
    some = dataset[list(dict.fromkeys([*names, *(WEIGHTS[way] for way in ways if way in WEIGHTS)]))]
    for start in range(0, dataset.sizes["trial"], PIECE):
        part = slice(start, start + PIECE)
        yield part, some.isel(trial=part).load()


def by_trial(
    dataset: xarray.Dataset, names: Sequence[str], worked_out: Callable[[xarray.Dataset], xarray.DataArray]
) -> NDArray[np.float64]:
    """What each trial makes of some variables, (trial, ...), without all of them in memory at once."""
    found = (worked_out(some).transpose("trial", ...).values for _, some in trial_pieces(dataset, *names))
    return np.concatenate([np.asarray(piece, dtype=np.float64) for piece in found])


def over_trials(
    dataset: xarray.Dataset, names: Sequence[str], worked_out: Callable[[xarray.Dataset], xarray.Dataset]
) -> xarray.Dataset:
    """What is worked out of each trial, summed over the trials, without all of them in memory at once."""
    found: xarray.Dataset | None = None
    for _, some in trial_pieces(dataset, *names):
        piece = worked_out(some).sum("trial")
        found = piece if found is None else found + piece
    assert found is not None
    return found


def farm_mean(dataset: xarray.Dataset, name: str) -> xarray.DataArray:
    """Mean over trials of a variable of the whole farm that is never missing."""
    total = over_trials(dataset, [name], lambda some: of_farm(some, name).to_dataset(name=name))
    return total[name] / dataset.sizes["trial"]


def _taken_together(dataset: xarray.Dataset, values: xarray.DataArray, way: OverBlocks) -> xarray.DataArray:
    if way == "sum":
        return values.sum("block", keep_attrs=True)
    weight = dataset[WEIGHTS[way]].where(values.notnull(), 0.0)
    total = weight.sum("block")
    found = (values.fillna(0.0) * weight).sum("block") / total.where(total > 0)
    return found.assign_attrs(values.attrs)


def of_label(dataset: xarray.Dataset, name: str, label: str) -> xarray.DataArray:
    """A variable of one block, or of the whole farm under the name ``farm``."""
    return of_farm(dataset, name) if label == FARM else dataset[name].sel(block=label)


def whole_farm(dataset: xarray.Dataset) -> xarray.Dataset:
    """All variables of a run that a farm has, without the dim ``block``."""
    farm = {
        name: of_farm(dataset, name)
        for name, values in ((str(key), values) for key, values in dataset.data_vars.items())
        if "block" not in values.dims or RESULTS[name].over_blocks != "none"
    }
    return dataset.drop_vars([*map(str, dataset.data_vars), "block"], errors="ignore").assign(farm)
