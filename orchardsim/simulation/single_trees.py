"""Single trees of chosen trials as labelled arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.variables import RESULTS
from orchardsim.plan import Plan

if TYPE_CHECKING:
    import xarray


def with_single_trees(
    plan: Plan, dataset: xarray.Dataset, trees: dict[str, NDArray[Any]], single_trees: tuple[int, ...]
) -> xarray.Dataset:
    """Add the single trees of chosen trials to the results of a run.

    Parameters
    ----------
    dataset : xarray.Dataset
    trees : dict
        "trial/block number/name" -> array (year of the block, position).

    Returns
    -------
    xarray.Dataset
        With the variables ``tree_*`` of the variable table over (tree_trial, year, tree); the trees of all blocks
        stand in one row, in planting order. On ``tree`` stand ``tree_label`` (block label), ``tree_row`` and
        ``tree_place`` (counted from 0 within the block), and ``tree_across`` and ``tree_along`` [m], the distance from
        the block's first tree across and along the rows. Years without a tree hold 0.
    """
    import xarray

    years = dataset.sizes["year"]
    coords: dict[str, list[NDArray[Any]]] = {
        name: [] for name in ("tree_label", "tree_row", "tree_place", "tree_across", "tree_along")
    }
    for block in plan.blocks:
        layout = block.plan.layout
        row, place = np.divmod(np.arange(layout.positions), layout.trees_per_row)
        coords["tree_label"].append(np.array(block.labels, dtype=object)[np.asarray(layout.group)[row]])
        coords["tree_row"].append(row)
        coords["tree_place"].append(place)
        coords["tree_across"].append(row * layout.row_spacing)
        coords["tree_along"].append(place * layout.tree_spacing)
    data = {}
    for name in sorted({key.rsplit("/", 1)[1] for key in trees}):
        per_trial = []
        for trial in single_trees:
            columns = []
            for number, block in enumerate(plan.blocks):
                values = trees[f"{trial}/{number}/{name}"]
                padded = np.zeros((years, block.plan.layout.positions), dtype=np.float32)
                first = max(block.year_planted, 0)
                padded[first : first + len(values)] = values
                columns.append(padded)
            per_trial.append(np.concatenate(columns, axis=1))
        variable = RESULTS[f"tree_{name}"]
        data[variable.name] = (
            variable.dims,
            np.stack(per_trial),
            {"units": variable.unit, "long_name": variable.meaning},
        )
    # only planting positions: the last row may be shorter than the others
    exists = np.concatenate([np.arange(block.plan.layout.positions) < block.plan.layout.trees for block in plan.blocks])
    extra = xarray.Dataset(
        data,
        coords={
            "tree_trial": list(single_trees),
            **{name: ("tree", np.concatenate(parts)) for name, parts in coords.items()},
        },
    ).isel(tree=np.flatnonzero(exists))
    for name, meaning in (("tree_across", "distance across the rows"), ("tree_along", "distance along the row")):
        extra[name].attrs = {"units": "m", "long_name": f"{meaning} from the block's first tree"}
    merged = dataset.merge(extra)
    merged.attrs = dataset.attrs
    return merged
