"""What each block label brings and asks for: money, hours of work, pack-out and fruit size; and where fruit is sold."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM, FRESH_GRADES, SHARED
from orchardsim.core.ledger_items import items_of
from orchardsim.core.units import HECTARE
from orchardsim.results.farm import block_labels, by_trial, farm_mean, over_trials, trial_pieces

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

FULL_SHARE: Final = 0.9
"""Share of the best three leaves' mean crop from which a block counts as mature (definition of the table)."""
STILL_CLIMBS: Final = 0.05
"""Growth of the crop over the last three leaves above which a block is not mature yet (definition of the table)."""
COURSE: Final = 3
"""Leaves whose mean smooths a crop's course."""
HEAVY_FROST: Final = 0.9
"""Share of flowers killed above which a crop is held to be hurt: a tree with many flowers bears a full crop from a
tenth of them (common practice, no source; wording only)."""


@dataclass(frozen=True)
class LabelMoney:
    """Money of one block label by itself, before interest, income tax and what only the whole farm pays.

    Attributes
    ----------
    leaves : tuple of int
        First and last leaf averaged for the mature year; empty where the label has no leaf within the run.
    area : float [m2]
        Planted.
    sales, costs, net : array, (trial,) [currency/year]
        In a mature year; costs are positive, indemnities of an insurance counted against them.
    summed : array, (trial, year) [currency]
        Net flow summed since year 0; blocks worth nothing at the end.
    payback_year : array, (trial,)
        First year from which ``summed`` stays at or above zero; inf if never; nan for a block that stands before
        year 0, in which nothing is invested.
    """

    label: str
    leaves: tuple[int, ...]
    area: float
    sales: Array
    costs: Array
    net: Array
    summed: Array
    payback_year: Array


@dataclass(frozen=True)
class LabelWork:
    """Work and fruit of a label, or of the farm with its blocks aligned by leaf; sums over trials' seasons.

    Attributes
    ----------
    hours : array, (leaf, task) [hour/ha]
        Mean over trials, per planted area.
    hours_error : array, (leaf,) [hour/ha]
        Monte Carlo standard error of the mean of all tasks together.
    fresh_share : array, (leaf,)
        Extra fancy and fancy fruit as a share of all fruit picked in all trials; nan where none is.
    fresh_share_error : array, (leaf,)
        Its Monte Carlo standard error.
    fruit_mass : array, (leaf,) [g]
        Mean fruit at harvest over all trials; nan where there is none.
    undone : array, (leaf,) [hour/ha]
        Hours wanted in that leaf and not done in it, of all tasks, mean over trials.
    """

    label: str
    leaves: tuple[int, ...]
    tasks: tuple[str, ...]
    hours: Array
    hours_error: Array
    fresh_share: Array
    fresh_share_error: Array
    fruit_mass: Array
    undone: Array = field(default_factory=lambda: np.zeros(0))


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


@dataclass(frozen=True)
class Undone:
    """Work of the farm that was wanted and not done in its year; sums over the run, means over trials.

    Attributes
    ----------
    shares : dict from task to float [1]
        Of the hours asked of the task; only tasks of which something is left.
    hours, carried : float [hour]
        Left undone, and of these inherited by the next year.
    """

    shares: dict[str, float]
    hours: float
    carried: float


@dataclass(frozen=True)
class MatureYear:
    """The farm in a mature year, blocks averaged by planted area: hours [hour/ha], fresh share of the fruit picked."""

    hours: float
    picking_hours: float
    fresh_share: float


def mature_years(leaf: NDArray[Any], crop: Array) -> NDArray[np.intp]:
    """Places of the years in which a block is in full crop, from its own course; empty while it still climbs.

    The middle trial's crop is smoothed over three leaves. Mature are the years from the first to the last in which it
    reaches nine tenths of its best. Where it ends more than 5 % above the crop three leaves before, the block still
    climbs, and no year is named; nor in a course of fewer than eight leaves.

    Parameters
    ----------
    leaf : int array, (year,)
    crop : array, (trial, year)
        Per trial and year, in any unit.

    Examples
    --------
    >>> leaf = np.arange(1, 13)
    >>> mature_years(leaf, np.minimum(leaf, 6)[None] * 1.0).tolist()
    [5, 6, 7, 8, 9, 10, 11]
    >>> mature_years(leaf, leaf[None] * 1.0).tolist()
    []
    """
    none = np.zeros(0, dtype=np.intp)
    bearing = np.flatnonzero(leaf >= 1)
    if bearing.size < COURSE + 5:
        return none
    course = np.convolve(np.median(crop[:, bearing], axis=0), np.full(COURSE, 1 / COURSE), mode="valid")
    climbs = course[-1] > (1 + STILL_CLIMBS) * course[-1 - COURSE] and course[-1] >= FULL_SHARE * course.max()
    if climbs or course.max() <= 0:
        return none
    full = np.flatnonzero(course >= FULL_SHARE * course.max())
    return bearing[full[0] + COURSE // 2 : full[-1] + COURSE]


def years_in_full_crop(dataset: xarray.Dataset, label: str) -> NDArray[np.intp]:
    """:func:`mature_years` of a label; of the farm those in which all its labels are mature."""
    if label == FARM:
        full = np.zeros(dataset.sizes["year"], dtype=np.int64)
        for one in block_labels(dataset):
            full[years_in_full_crop(dataset, one)] += 1
        return np.flatnonzero((full > 0) & (full == len(block_labels(dataset))))
    block = dataset.sel(block=label)
    return mature_years(block["leaf"].values, block["harvested_mass"].transpose("trial", "year").values)


def label_money(dataset: xarray.Dataset) -> list[LabelMoney]:
    """Money of every block label by itself, in the order of the plan."""
    items = [str(item) for item in dataset["ledger_item"].values]
    of_sales = np.isin(items, items_of("sales"))
    labels = block_labels(dataset)
    mature = {label: years_in_full_crop(dataset, label) for label in labels}
    trials, years = dataset.sizes["trial"], dataset.sizes["year"]
    summed = {label: np.empty((trials, years)) for label in labels}
    sales, costs = ({label: np.full(trials, np.nan) for label in labels} for _ in range(2))
    for part, some in trial_pieces(dataset, "ledger"):
        for label in labels:
            ledger = some["ledger"].sel(block=label).transpose("trial", "year", "ledger_item").values
            summed[label][part] = ledger.sum(axis=2).cumsum(axis=1)
            if mature[label].size:
                sales[label][part] = ledger[:, mature[label]][:, :, of_sales].sum(2).mean(1)
                costs[label][part] = -ledger[:, mature[label]][:, :, ~of_sales].sum(2).mean(1)
    found = []
    for label in labels:
        leaf = dataset["leaf"].sel(block=label).values
        met = leaf[mature[label]]
        leaves = (int(met.min()), int(met.max())) if met.size else ()
        area = float(dataset["planted_area"].sel(block=label))
        payback = pays_back(summed[label]) if leaf[0] <= 1 else np.full(trials, np.nan)
        net = sales[label] - costs[label]
        found.append(LabelMoney(label, leaves, area, sales[label], costs[label], net, summed[label], payback))
    return found


def pays_back(summed: Array) -> Array:
    """First year from which summed money stays at or above zero, inf if never; ``summed`` is (trial, year).

    Examples
    --------
    >>> pays_back(np.array([[-5.0, 1.0, -1.0, 2.0, 3.0], [-5.0, -4.0, -3.0, -2.0, -1.0]])).tolist()
    [3.0, inf]
    """
    years = summed.shape[1]
    below = summed < 0
    last = np.where(below.any(axis=1), years - 1 - below[:, ::-1].argmax(axis=1), -1)
    return np.where(last == years - 1, np.inf, last + 1.0)


def not_shared_out(dataset: xarray.Dataset) -> Array:
    """What the farm pays or gets beside its labels, summed over the run: interest, tax, own overhead; (trial,)."""
    return np.asarray(dataset["net_cash_flow"].sel(block=SHARED).sum("year").values)


def label_work(dataset: xarray.Dataset, block: str) -> LabelWork:
    """Hours, pack-out and fruit size by leaf of a label; under ``farm`` each leaf sums the blocks that reach it."""
    members = block_labels(dataset) if block == FARM else [block]
    tasks = tuple(str(task) for task in dataset["task"].values)
    rows: dict[int, list[tuple[str, int]]] = {}
    for label in members:
        for position, leaf in enumerate(dataset["leaf"].sel(block=label).values):
            if leaf >= 1:
                rows.setdefault(int(leaf), []).append((label, position))
    trials, leaves = int(dataset.sizes["trial"]), tuple(sorted(rows))
    area = {label: float(dataset["planted_area"].sel(block=label)) / HECTARE for label in members}
    hectares = np.array([sum(area[label] for label, _ in rows[leaf]) for leaf in leaves])
    hours = np.zeros((len(leaves), len(tasks)))
    total, fresh, picked, fruit, mass, undone = (np.empty((trials, len(leaves))) for _ in range(6))
    for part, some in trial_pieces(dataset, *_WORK):
        arrays = {label: _label_arrays(some, label) for label in members}
        for column, leaf in enumerate(leaves):
            work, *found = (
                np.sum([arrays[label][name][:, position] for label, position in rows[leaf]], axis=0)
                for name in ("hours", "fresh", "picked", "fruit", "mass", "undone")
            )
            hours[column] += work.sum(axis=0)
            total[part, column] = work.sum(axis=1) / hectares[column]
            for column_of, values in zip((fresh, picked, fruit, mass, undone), found, strict=True):
                column_of[part, column] = values
    pairs = [ratio(*pair) for pair in zip(fresh.T, picked.T, strict=True)]
    return LabelWork(
        block,
        leaves,
        tasks,
        hours / trials / hectares[:, None],
        np.array([one.std(ddof=1) / np.sqrt(trials) if trials > 1 else np.nan for one in total.T]),
        np.array([share for share, _ in pairs]),
        np.array([error for _, error in pairs]),
        np.array([ratio(*pair)[0] for pair in zip(mass.T, fruit.T, strict=True)]),
        np.array([one.mean() for one in undone.T]) / hectares,
    )


def pass_price(dataset: xarray.Dataset, label: str) -> float:
    """Wholesale price of a label's fresh fruit over the stated price, by the passes of its picking; 1 without fruit."""

    def paid(some: xarray.Dataset) -> xarray.Dataset:
        found = some.sel(block=label)
        fresh = found["packed_mass"].sel(grade=list(FRESH_GRADES)).sum("grade")
        return (fresh.to_dataset(name="fresh").assign(paid=found["pass_price"] * fresh)).sum("year")

    sums = over_trials(dataset, ["packed_mass", "pass_price"], paid)
    return float(sums["paid"] / sums["fresh"]) if float(sums["fresh"]) > 0 else 1.0


def undone_work(dataset: xarray.Dataset) -> Undone:
    """What the farm's crews left undone over the run."""
    done, left, carried = (
        {str(one["task"].values): float(one) for one in farm_mean(dataset, name).sum("year")}
        for name in ("labour_hours", "labour_undone", "labour_carried")
    )
    shares = {task: hours / (hours + done[task]) for task, hours in left.items() if hours > 0}
    return Undone(shares, sum(left.values()), sum(carried.values()))


_WORK: Final = (
    "labour_hours",
    "labour_undone",
    "packed_mass",
    "harvested_mass",
    "fruit_number",
    "fruit_mass_mean",
)


def _label_arrays(some: xarray.Dataset, label: str) -> dict[str, Array]:
    found = some.sel(block=label)
    fruit = found["fruit_number"].values
    grams = found["fruit_mass_mean"].values
    return {
        "hours": found["labour_hours"].transpose("trial", "year", "task").values,
        "undone": found["labour_undone"].sum("task").transpose("trial", "year").values,
        "fresh": found["packed_mass"].sel(grade=list(FRESH_GRADES)).sum("grade").values,
        "picked": found["harvested_mass"].values,
        "fruit": np.where(np.isnan(grams), 0.0, fruit),
        "mass": np.where(np.isnan(grams), 0.0, fruit * grams),
    }


def ratio(above: Array, below: Array) -> tuple[float, float]:
    """Ratio of two sums over trials and its standard error by linearisation (Cochran 1977, Sampling Techniques, ch. 6,
    from memory); nan where the lower sum is zero.

    Examples
    --------
    >>> ratio(np.array([1.0, 2.0]), np.array([2.0, 4.0]))
    (0.5, 0.0)
    """
    total = float(below.sum())
    if total <= 0:
        return np.nan, np.nan
    found = float(above.sum()) / total
    if below.size < 2:
        return found, np.nan
    residual = above - found * below
    return found, float(np.sqrt(below.size * (residual**2).sum() / (below.size - 1)) / total)


def failed_crops(dataset: xarray.Dataset) -> tuple[float, float] | None:
    """Crops that fail and the frost behind them: (share of crops that fail, share of those after a heavy frost).

    A crop of a mature year fails that is less than half of the middle trial's of the same label and year; a frost is
    heavy that kills more than :data:`HEAVY_FROST` of the flowers; labels count by planted area. None where no crop
    fails.
    """
    failed = frosted = weight = 0.0
    for label in block_labels(dataset):
        mature = years_in_full_crop(dataset, label)
        crop = dataset["harvested_mass"].sel(block=label).values[:, mature]
        heavy = dataset["frost_kill"].sel(block=label).values[:, mature] > HEAVY_FROST
        fails = crop < 0.5 * np.median(crop, axis=0)
        area = float(dataset["planted_area"].sel(block=label))
        failed += area * float(fails.sum())
        frosted += area * float((fails & heavy).sum())
        weight += area * fails.size
    return (failed / weight, frosted / failed) if failed > 0 else None


def lowest_balance(dataset: xarray.Dataset) -> Array:
    """Lowest balance of the farm's account within each year, (trial, year) [currency]."""
    return by_trial(dataset, ["account_balance"], lambda some: some["account_balance"].min("quarter"))


def credit_broken(dataset: xarray.Dataset) -> NDArray[np.int64] | None:
    """Year in which each trial first goes beyond the plan's credit line, -1 if never; None if no line is stated."""
    line = float(dataset.attrs.get("credit_line", np.inf))
    if np.isinf(line):
        return None
    # A cent's rounding is no breach.
    beyond = lowest_balance(dataset) < -line - 0.01
    years = dataset["year"].values[beyond.argmax(axis=1)]
    return np.where(beyond.any(axis=1), years, -1).astype(np.int64)


def mature_year(dataset: xarray.Dataset) -> MatureYear | None:
    """Hours and pack-out of the farm in a mature year; None where no tree comes into leaf."""
    years = {label: years_in_full_crop(dataset, label) for label in block_labels(dataset)}
    years = {label: mature for label, mature in years.items() if mature.size}
    area = sum(float(dataset["planted_area"].sel(block=label)) for label in years) / HECTARE
    if area == 0:
        return None

    def yearly(some: xarray.Dataset) -> xarray.Dataset:
        found = [some.sel(block=label).isel(year=mature).mean("year") for label, mature in years.items()]
        return sum(found[1:], found[0])

    sums = over_trials(dataset, ["labour_hours", "packed_mass", "harvested_mass"], yearly) / dataset.sizes["trial"]
    hours, picked = sums["labour_hours"], float(sums["harvested_mass"])
    fresh = float(sums["packed_mass"].sel(grade=list(FRESH_GRADES)).sum())
    return MatureYear(
        float(hours.sum()) / area,
        float(hours.sel(task="picking")) / area,
        fresh / picked if picked > 0 else np.nan,
    )


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
