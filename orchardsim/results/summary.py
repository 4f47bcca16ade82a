"""The summary of a run: statistics over trials, as a Dataset and as the document of ``summary.json``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.labels import FARM
from orchardsim.core.units import HECTARE
from orchardsim.core.variables import RESULTS, Side, Variable
from orchardsim.results.bad_years import worst_things
from orchardsim.results.block_results import LabelMoney, LabelWork, label_money, label_work, mature_year, outlet_sales
from orchardsim.results.dataset import attribute
from orchardsim.results.doubts import OpenLevelsOfRun, doubts_document
from orchardsim.results.farm import block_labels, of_farm, of_label
from orchardsim.results.headline import Headline, headlines, invests
from orchardsim.results.risk_numbers import Draws, errors_of, record_draws, risk_document, trials_for, trials_for_chance
from orchardsim.results.sheet import cash_summed, sheet_numbers
from orchardsim.results.sizes import PackedSizes, packed_sizes
from orchardsim.results.statistics import PERCENT_POINTS, STATISTICS, TAIL, describe
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Chance
    from orchardsim.risk.record import TwoErrors


def summarize(dataset: xarray.Dataset) -> xarray.Dataset:
    """Statistics over trials of every variable of a run.

    Parameters
    ----------
    dataset : xarray.Dataset
        Result of a run.

    Returns
    -------
    xarray.Dataset
        Dim ``stat`` takes the place of ``trial``: p5, p25, p50, p75, p95, mean and expected_shortfall (mean of the
        worst tenth; the attribute ``worst_side`` says which side that is). Beside each variable stands
        ``<name>_standard_error``, the Monte Carlo standard error of each statistic. What adds over blocks stands for
        the whole farm under ``farm_<name>``, since statistics of blocks do not add up. Variables without trials are
        taken over as they are; ``harvest_year``, the label of a season, is left out.
    """
    import xarray

    variables: dict[str, Any] = {}
    for key, values in dataset.data_vars.items():
        name = str(key)
        row = RESULTS.get(name)
        if name == "harvest_year":
            continue  # a label of the season, not an amount
        if "trial" not in values.dims:
            variables[name] = values
            continue
        _put_statistics(variables, name, values, row)
        if "block" in values.dims and row is not None and row.over_blocks != "none":
            _put_statistics(variables, f"farm_{name}", of_farm(dataset, name), row)
    coords = {name: values for name, values in dataset.coords.items() if name != "trial"}
    return xarray.Dataset(variables, coords={"stat": list(STATISTICS), **coords}, attrs=dataset.attrs)


def _put_statistics(variables: dict[str, Any], name: str, values: xarray.DataArray, row: Variable | None) -> None:
    """Add the statistics of one variable and their standard errors."""
    worst: Side = "low" if row is None else row.worst
    array = values.transpose("trial", ...)
    statistics, errors = describe(array.values, worst=worst, whole=row is not None and row.whole)
    if row is not None and not row.has_mean:
        statistics[STATISTICS.index("mean")] = np.nan
        errors[STATISTICS.index("mean")] = np.nan
    dims = ("stat", *(dim for dim in array.dims if dim != "trial"))
    attrs = dict(values.attrs)
    variables[name] = (dims, statistics, {**attrs, "worst_side": worst})
    long_name = f"Monte Carlo standard error of the statistics of {name}"
    variables[f"{name}_standard_error"] = (dims, errors, {**attrs, "long_name": long_name})


ANSWERS: Final = ("npv", "peak_borrowing", "payback_year", "yield_per_area_by_leaf")
"""Headline numbers that are told while a run goes on."""
HOW_TO_READ: Final = {
    "percent_points": list(PERCENT_POINTS),
    "expected_shortfall": f"mean of the worst {100 * TAIL:g} % of trials; worst_side says which side that is",
    "were_the_levels_known": "percent points by luck alone (seasons, yearly prices, which trees die), had the "
    "open levels of [futures] stood at their middle; those beside it hold both doubts",
    "share_of_not_knowing": "share of the variance (of ranks) that comes from the open levels, by regression; "
    "larger_doubt: not knowing above one half; narrowed_most_by: the level whose knowledge takes away most of "
    "the 5 to 95 % band",
    "standard_error": "Monte Carlo standard error, from the number of trials alone",
    "record_error": "standard error from the finite weather record, which more trials do not remove; never "
    "added to standard_error; 'below x': hidden by the noise of these trials; larger_error: which is larger",
    "trials_needed": "trials at which standard_error comes down to 2 % of the number",
    "yields": "picked fruit per planted area; under 'farm' over the blocks that reach the leaf",
    "infinite": "payback_year 'never' is later than any year; irr 'none' is below -100 %",
    "by_block": "each block label by itself, before interest, income tax and overhead of the whole farm; money "
    "and hours per planted hectare, means over trials; mature year: mean over the leaves named",
    "hours": "work on the trees; spraying and mowing stand in materials and machine cost, not in hours",
    "sizes": "fresh fruit by number of fruit in a box as shares of its mass, in the lightest tenth, the middle "
    "tenth and the heaviest tenth of the label's mature crops; failed crops left out",
    "fresh_share": "extra fancy and fancy fruit as a share of the fruit picked",
}
"""What the entries of ``summary.json`` mean, said in the file itself."""


def summary_document(dataset: xarray.Dataset) -> dict[str, Any]:
    """Content of ``summary.json``: what the run was, and every headline number with its bands and errors.

    It holds no time, host, path or number of processes; numbers have six significant digits; keys stand in a
    fixed order. A plan that never pays back counts as later than any year, and one without a rate of return as
    below -100 %, in all percent points; they have no mean.
    """
    document = _run_entry(dataset)
    document["shares"] = {
        name: chance_numbers(chance) | {"trials_needed": trials_for_chance(chance)}
        for name, chance in shares(dataset).items()
    }
    draws, levels = record_draws(dataset), OpenLevelsOfRun.of(dataset)
    tree: dict[str, Any] = {}
    for headline in headlines(dataset):
        place = tree
        for step in headline.path[:-1]:
            place = place.setdefault(step, {})
        place[headline.path[-1]] = _entry(headline, draws, levels)
    document["headline"] = tree
    document["risk"] = risk_document(dataset)
    document["mature_year"] = _mature_year(dataset)
    document["sales_in_a_mature_year"] = _sales(dataset)
    document["by_block"] = {
        one.label: _label_entry(one, label_work(dataset, one.label), int(dataset.sizes["trial"]))
        for one in label_money(dataset)
    }
    for sizes in packed_sizes(dataset):
        document["by_block"][sizes.label].setdefault("sizes", {})[sizes.crop_class] = _sizes_entry(dataset, sizes)
    if "second_opinion" in dataset.attrs:
        document["second_opinion"] = attribute(dataset, "second_opinion")
    document["notes"] = attribute(dataset, "notes")
    document["sheet"] = sheet_numbers(dataset)
    return document


def summary_so_far(dataset: xarray.Dataset) -> dict[str, Any]:
    """Of the trials that are finished, some of :func:`summary_document`, under the same names.

    ``title``, ``trials``, ``years``, ``shares``, of ``headline`` and ``sheet`` what :data:`ANSWERS` and the picture of
    the cash need.
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


def _run_entry(dataset: xarray.Dataset) -> dict[str, Any]:
    """What the run was: plan, version, seed, size, weather, money, land."""
    attrs = dataset.attrs
    return {
        "title": str(attrs["title"]),
        "plan_name": str(attrs["plan_name"]),
        "plan_hash": str(attrs["plan_hash"]),
        "version": str(attrs["version"]),
        "seed": int(attrs["seed"]),
        "trials": int(dataset.sizes["trial"]),
        "years": int(dataset.sizes["year"]),
        "weather_method": str(attrs["weather_method"]),
        "weather_words": str(attrs["weather_words"]),
        "baseline_years": attribute(dataset, "baseline_years"),
        "frost_years": attribute(dataset, "frost_years"),
        "currency": str(attrs["currency"]),
        "price_year": attribute(dataset, "price_year"),
        "real_or_nominal": str(attrs["real_or_nominal"]),
        "bin_mass_kg": number(attrs["bin_mass"]),
        "box_mass_kg": number(attrs["box_mass"]),
        "planted_area_m2": {
            label: number(float(of_label(dataset, "planted_area", label))) for label in (*block_labels(dataset), FARM)
        },
        "how_to_read": HOW_TO_READ,
    }


def _entry(headline: Headline, draws: Draws | None, levels: OpenLevelsOfRun | None) -> dict[str, Any]:
    both = errors_of(headline.values, headline.worst, draws, whole=headline.whole)
    entry: dict[str, Any] = {
        "unit": headline.unit,
        "worst_side": headline.worst,
        "worst_means": headline.worst_means,
    }
    spread: dict[str, Any] = {}
    for name in STATISTICS:
        if name != "mean" or headline.has_mean:
            entry[name] = number(both[name].value, headline.infinite_word)
            spread[name] = number(both[name].monte_carlo, "unbounded")
    entry |= doubts_document(levels, headline.values, headline.whole, headline.infinite_word)
    entry["standard_error"] = spread
    without = int(np.isnan(headline.values).sum())
    if without:
        entry["trials_without_it"] = without
    if draws is not None:
        entry["record_error"] = {name: _record_error(both[name]) for name in spread}
        entry["larger_error"] = {name: both[name].dominates for name in spread}
    if not headline.by_step:
        trials = headline.values.size - without
        entry["trials_needed"] = {name: trials_for(both[name], trials) for name in spread}
    return entry


def _record_error(one: TwoErrors) -> float | int | str | None:
    if one.seen or not math.isfinite(one.at_most):
        return number(one.record)
    return 0 if one.at_most == 0 else f"below {one.at_most:.3g}"


def _mature_year(dataset: xarray.Dataset) -> dict[str, Any] | None:
    found = mature_year(dataset)
    if found is None:
        return None
    return {
        "hours_per_ha": number(found.hours),
        "picking_hours_per_ha": number(found.picking_hours),
        "fresh_share": number(found.fresh_share),
    }


def _sales(dataset: xarray.Dataset) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for one in outlet_sales(dataset):
        found.setdefault(one.outlet, {})[one.grade] = {
            "mass_kg": number(one.mass),
            "share_of_mass": number(one.share),
            "revenue": number(one.revenue),
            "standard_error": number(one.revenue_error),
            "price_per_kg": number(one.price),
        }
    return found


def _label_entry(money: LabelMoney, work: LabelWork, trials: int) -> dict[str, Any]:
    from orchardsim.risk.bands import wilson_interval

    hectares = money.area / HECTARE

    def mean(values: Any) -> dict[str, Any]:
        statistics, errors = describe(values, worst="low")
        place = STATISTICS.index("mean")
        return {"mean": number(statistics[place]), "standard_error": number(errors[place])}

    paid = wilson_interval(int(np.isfinite(money.payback_year).sum()), trials)
    middle, middle_error = (
        row[STATISTICS.index("p50")] for row in describe(money.payback_year, worst="high", whole=True)
    )
    payback = {
        "pays_back": chance_numbers(paid),
        "payback_year": {"p50": number(middle, "never"), "standard_error": number(middle_error, "unbounded")},
    }
    return {
        "mature_leaves": list(money.leaves),
        "sales_per_ha_in_a_mature_year": mean(money.sales / hectares),
        "costs_per_ha_in_a_mature_year": mean(money.costs / hectares),
        "net_per_ha_in_a_mature_year": mean(money.net / hectares),
        "net_summed_over_the_run": mean(money.summed[:, -1]),
        **({} if np.isnan(money.payback_year).all() else payback),
        "by_leaf": {
            str(leaf): {
                "hours_per_ha": {
                    task: number(hours) for task, hours in zip(work.tasks, work.hours[row], strict=True) if hours > 0
                },
                "hours_per_ha_of_all_tasks": number(work.hours[row].sum()),
                "hours_standard_error": number(work.hours_error[row]),
                "fresh_share": number(work.fresh_share[row]),
                "fresh_share_standard_error": number(work.fresh_share_error[row]),
                "fruit_mass_g": number(work.fruit_mass[row]),
            }
            for row, leaf in enumerate(work.leaves)
        },
    }


def _sizes_entry(dataset: xarray.Dataset, sizes: PackedSizes) -> dict[str, Any]:
    counts = [str(count) for count in dataset["box_count"].values]
    return {
        "crops": sizes.crops,
        "fruit_grown_t_per_ha": number(sizes.crop / 1000),
        "fresh_share": number(sizes.fresh),
        "share_by_box_count": {
            count: {"share": number(share), "standard_error": number(error)}
            for count, share, error in zip(counts, sizes.shares, sizes.errors, strict=True)
        },
    }


def chance_numbers(chance: Chance) -> dict[str, Any]:
    """A share of trials with its error and its 95 % interval."""
    return {
        "share": number(chance.value),
        "standard_error": number(chance.standard_error),
        "low_95": number(chance.low),
        "high_95": number(chance.high),
    }


def shares(dataset: xarray.Dataset) -> dict[str, Chance]:
    """Shares of trials that never pay back, have no rate of return, end with an NPV below zero; 95 % intervals.

    A plan that invests nothing has neither payback nor rate of return, so nothing is said of them.
    """
    from orchardsim.risk.bands import wilson_interval

    trials = int(dataset.sizes["trial"])
    counts = {
        "never_pays_back": int(np.isinf(dataset["payback_year"].values).sum()),
        "no_irr": int(np.isinf(dataset["irr"].values).sum()),
        "npv_below_zero": int((dataset["npv"].values < 0).sum()),
    }
    if not invests(dataset):
        del counts["never_pays_back"], counts["no_irr"]
    return {name: wilson_interval(count, trials) for name, count in counts.items()}
