"""What can be said while a run goes on: the numbers of the summary that an answer needs, without their errors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from orchardsim.core.labels import FARM
from orchardsim.results.headline import headlines
from orchardsim.results.sheet import cash_summed, worst_things
from orchardsim.results.statistics import STATISTICS, describe
from orchardsim.results.summary import chance_numbers, shares
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

ANSWERS: Final = ("npv", "peak_borrowing", "payback_year", "yield_per_area_by_leaf")


def summary_so_far(dataset: xarray.Dataset) -> dict[str, Any]:
    """Some of :func:`orchardsim.results.summary.summary_document`, under the same names.

    Parameters
    ----------
    dataset : xarray.Dataset
        The trials that are finished.

    Returns
    -------
    dict
        ``title``, ``trials``, ``years``, ``shares``, of ``headline`` and ``sheet`` what :data:`ANSWERS` and the
        picture of the cash need.
    """
    headline: dict[str, Any] = {}
    for one in headlines(dataset):
        if one.path[0] in ANSWERS and one.path[1:2] in ((), (FARM,)):
            place = headline
            for step in one.path[:-1]:
                place = place.setdefault(step, {})
            statistics, _ = describe(one.values, worst=one.worst, whole=one.whole)
            place[one.path[-1]] = {
                name: number(value, one.infinite_word)
                for name, value in zip(STATISTICS, statistics, strict=True)
                if name != "mean" or one.has_mean
            }
    return {
        "title": str(dataset.attrs["title"]),
        "trials": int(dataset.sizes["trial"]),
        "years": int(dataset.sizes["year"]),
        "shares": {name: chance_numbers(chance) for name, chance in shares(dataset).items()},
        "headline": headline,
        "sheet": {"cash_summed_by_year": cash_summed(dataset, None), "worst": worst_things(dataset)},
    }
