"""Where the fruit goes: mass and money by outlet and grade in a mature year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM
from orchardsim.results.block_results import ratio, years_in_full_crop
from orchardsim.results.farm import by_trial

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True)
class OutletSales:
    """Fruit of one grade sold at one outlet, means over trials and mature years.

    Attributes
    ----------
    outlet, grade : str
    mass : float [kg/year]
    revenue, revenue_error : float [money/year]
        Before packing, selling charges and levies, with its Monte Carlo standard error.
    price : float [money/kg]
        All revenue over all mass.
    share : float
        Of the mass sold.
    """

    outlet: str
    grade: str
    mass: float
    revenue: float
    revenue_error: float
    price: float
    share: float


def outlet_sales(dataset: xarray.Dataset) -> list[OutletSales]:
    """Every outlet and grade that takes fruit in the farm's mature years; empty where there are none."""
    mature = years_in_full_crop(dataset, FARM)
    if mature.size == 0:
        return []
    mass, revenue = (_yearly(dataset, name, mature) for name in ("sold_mass", "sold_revenue"))
    whole = float(mass.mean(axis=0).sum())
    found = []
    for row, outlet in enumerate(dataset["outlet"].values):
        for column, grade in enumerate(dataset["grade"].values):
            sold, paid = mass[:, row, column], revenue[:, row, column]
            if not sold.any():
                continue
            error = float(paid.std(ddof=1) / np.sqrt(paid.size)) if paid.size > 1 else float("nan")
            found.append(
                OutletSales(
                    str(outlet), str(grade), float(sold.mean()), float(paid.mean()), error, ratio(paid, sold)[0],
                    float(sold.mean()) / whole,
                )
            )  # fmt: skip
    return found


def _yearly(dataset: xarray.Dataset, name: str, years: NDArray[np.intp]) -> NDArray[np.float64]:
    """Mean over some years, (trial, outlet, grade)."""
    order = ("trial", "outlet", "grade")
    return by_trial(dataset, [name], lambda some: some[name].isel(year=years).mean("year").transpose(*order))
