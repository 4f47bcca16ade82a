"""What bad years of each kind cost, found in the years that the trials met: how bad, how often, how sure."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.results.farm import by_trial, of_farm
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

RARE: Final = 0.05
"""Share of the bearing years that count as the worst of a kind: 1 in 20, as in all low and high futures."""
LEAST_SEEN: Final = 5
"""Fewer such years in all trials say nothing of what they cost."""
WORST: Final = 3


def worst_things(dataset: xarray.Dataset) -> list[dict[str, Any]]:
    """The kinds of bad year that cost most, dearest first.

    Returns
    -------
    list of dict
        ``what``; ``at_least``, how bad the mildest of these years is (share); ``share_of_years`` of the bearing years;
        ``costs`` and ``standard_error``, in currency.

    Notes
    -----
    The worst years of a kind are the worst twentieth of the bearing years of all trials; all in which it came at all,
    where these are fewer. They cost what comes in less than in other years, in that year and the next, for much of a
    crop is paid after the winter: see :func:`orchardsim.risk.within.event_effect`.
    """
    bearing = of_farm(dataset, "harvested_mass").values.mean(axis=0) > 0
    cash = of_farm(dataset, "net_cash_flow").values[:, bearing].astype(np.float64)
    if cash.shape[1] < 3:
        return []
    both = cash[:, :-1] + cash[:, 1:]
    found = [
        one
        for what, measure in KINDS.items()
        if (one := _of_kind(what, measure(dataset)[:, bearing][:, :-1], both)) is not None
    ]
    found.sort(key=lambda one: -one["costs"])
    return found[:WORST]


def _of_kind(what: str, badness: Array, cash: Array) -> dict[str, Any] | None:
    """Worst years of a kind; none where they are too few, or all years are alike."""
    from orchardsim.risk.within import event_effect

    least = float(np.quantile(badness, 1 - RARE))
    when = (badness >= least) & (badness > max(badness.min(), 0.0))
    if when.sum() < LEAST_SEEN:
        return None
    effect = event_effect(cash, when)
    return {
        "what": what,
        "at_least": number(float(badness[when].min())),
        "share_of_years": number(float(when.mean())),
        "costs": float(f"{-effect.value:.6g}"),
        "standard_error": float(f"{effect.standard_error:.6g}"),
    }


def _trees_dead(dataset: xarray.Dataset) -> Array:
    lost = by_trial(dataset, ["trees_lost"], lambda some: of_farm(some, "trees_lost").sum("cause"))
    dead: Array = lost / np.maximum(of_farm(dataset, "trees_alive").values + lost, 1)
    return dead


def _work_undone(dataset: xarray.Dataset) -> Array:
    def share(some: xarray.Dataset) -> xarray.DataArray:
        undone, done = (of_farm(some, name).sum("task") for name in ("labour_undone", "labour_hours"))
        return undone / (undone + done).clip(min=1e-9)

    return by_trial(dataset, ["labour_undone", "labour_hours"], share)


def _block_mean(dataset: xarray.Dataset, name: str) -> Array:
    """Mean over blocks by planted area, (trial, year)."""
    area = dataset["planted_area"].fillna(0).load()

    def mean(some: xarray.Dataset) -> xarray.DataArray:
        values = some[name]
        weight = area.where(values.notnull(), 0)
        return (values.fillna(0) * weight).sum("block") / weight.sum("block").clip(min=1e-9)

    return by_trial(dataset, [name], mean)


KINDS: Final[dict[str, Callable[[xarray.Dataset], Array]]] = {
    "poor prices": lambda dataset: 1 - dataset["price_luck"].values,
    "frost in bloom": lambda dataset: _block_mean(dataset, "frost_kill"),
    "hail": lambda dataset: _block_mean(dataset, "hail_fraction"),
    "dead trees": _trees_dead,
    "work left undone": _work_undone,
}
"""Kind of bad year -> how bad each year is, (trial, year): what prices lack, shares of flowers killed, fruit marked,
trees lost, hours left undone."""
