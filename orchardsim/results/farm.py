"""The blocks of a run taken together: summed, averaged or left out as the variable table says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from orchardsim.core.labels import FARM, SHARED
from orchardsim.core.variables import RESULTS, WEIGHTS, OverBlocks

if TYPE_CHECKING:
    import xarray

PIECE: Final = 1000
"""Trials taken together at a time; results do not depend on it."""


def block_labels(dataset: xarray.Dataset) -> list[str]:
    """Labels of the blocks, in the order of the plan; ``shared`` is none of them."""
    return [str(label) for label in dataset["block"].values if str(label) != SHARED]


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
    trials = dataset.sizes["trial"]
    if "trial" not in values.dims or trials <= PIECE:
        return _taken_together(dataset, values, way)
    # A file that is read by variable would otherwise stand in memory with all its blocks.
    import xarray

    parts = []
    for start in range(0, trials, PIECE):
        some = dataset[[name, *([WEIGHTS[way]] if way in WEIGHTS else [])]].isel(trial=slice(start, start + PIECE))
        parts.append(_taken_together(some, some[name], way))
    return xarray.concat(parts, "trial")


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
    names = [str(name) for name, values in dataset.data_vars.items() if _adds(str(name), values)]
    farm = {name: of_farm(dataset, name) for name in names}
    return dataset.drop_vars([str(name) for name in dataset.data_vars] + ["block"], errors="ignore").assign(farm)


def _adds(name: str, values: xarray.DataArray) -> bool:
    return "block" not in values.dims or RESULTS[name].over_blocks != "none"
