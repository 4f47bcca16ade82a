"""The headline numbers under both weather methods, side by side, and whether they differ beyond chance."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import FARM
from orchardsim.core.variables import RESULTS
from orchardsim.report.columns import text_columns
from orchardsim.report.run.headline_rows import band
from orchardsim.report.run_formats import RunFormats, amount_text
from orchardsim.results import attribute, cumulative_yield, yield_by_leaf
from orchardsim.results.headline import CUMULATIVE_LEAVES
from orchardsim.results.summary import shares
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Chance, Side

POINTS: Final = ("p5", "p50", "p95")
SHARES: Final = (0.05, 0.50, 0.95)
POINT_TEXT: Final = {"p5": "low (1 in 20)", "p50": "middle", "p95": "high (1 in 20)"}
FALSE_ALARM: Final = 0.05
"""Chance of naming any number as different where the methods do not differ; shared out over all numbers compared."""
DETECTABLE: Final = 3.0
"""Standard errors of a difference that the comparison is about sure to see beyond (wording only)."""
MONEY: Final = ("npv", "peak_borrowing")
SHARE_NAMES: Final = {
    "never_pays_back": "never paid back",
    "no_irr": "without an IRR",
    "npv_below_zero": "NPV below zero",
}

Document = Mapping[str, Any]


def second_opinion_document(plan_run: xarray.Dataset, other_run: xarray.Dataset) -> dict[str, Any]:
    """Headline bands of one plan under two weather methods.

    Parameters
    ----------
    plan_run, other_run : xarray.Dataset
        Runs of the same plan with the same trials, years and seed; the first with the plan's own weather method.

    Returns
    -------
    dict
        ``methods`` (as printed), ``rows`` (one for each headline number: ``plan`` and ``other`` with p5, p50, p95 and
        their Monte Carlo standard errors, ``chance`` of a gap as wide if the methods were alike), ``shares`` of
        trials likewise, ``compared`` (number of comparisons), ``limit`` (chance below which a difference is named) and
        ``differing``. Numbers have six significant digits, money is in the plan's currency, yields in kg/ha.

    Notes
    -----
    Each percent point is compared by the quantile test: the share of trials of either run below the percent point of
    both together, judged by Fisher's exact test (two-sided). It needs no standard error, holds for few trials, and
    takes "never" and "none" in order like any number. The limit is the false-alarm rate over the number of comparisons
    (Bonferroni). The runs share prices and tree draws, which makes most differences surer than the test takes them
    for, so it errs to the side of naming too few.
    """
    pairs = zip(_headlines(plan_run), _headlines(other_run), strict=True)
    rows = [_row(name, unit, first, second, worst) for (name, unit, first, worst), (_, _, second, _) in pairs]
    both = [shares(run) for run in (plan_run, other_run)]
    compared = [_share_row(name, [found[name] for found in both]) for name in SHARE_NAMES if name in both[0]]
    limit = FALSE_ALARM / (len(rows) * len(POINTS) + len(compared))
    chances = [(f"{row['name']} {point}", row["chance"][point]) for row in rows for point in POINTS]
    chances += [(share["name"], share["chance"]) for share in compared]
    return {
        "methods": {"plan": str(plan_run.attrs["weather_words"]), "other": str(other_run.attrs["weather_words"])},
        "trials": int(plan_run.sizes["trial"]),
        "compared": len(chances),
        "limit": number(limit),
        "differing": [name for name, chance in chances if chance < limit],
        "rows": rows,
        "shares": compared,
    }


def _headlines(dataset: xarray.Dataset) -> Iterator[tuple[str, str, Any, Side]]:
    table = yield_by_leaf(dataset, FARM)
    for leaf in CUMULATIVE_LEAVES:
        column = np.flatnonzero(table.leaves == leaf)
        if column.size:
            yield f"yield_in_leaf_{leaf}", "kg/ha", table.values[:, column[0]], "low"
        total = cumulative_yield(table, leaf)
        if total is not None:
            yield f"cumulative_yield_to_leaf_{leaf}", "kg/ha", total, "low"
    currency = str(dataset.attrs["currency"])
    for name, unit in (("npv", currency), ("irr", "1"), ("peak_borrowing", currency), ("payback_year", "year")):
        values = dataset[name].values.astype(np.float64)
        if not np.isnan(values).all():  # a plan that invests nothing has no return and no payback
            yield name, unit, values, RESULTS[name].worst


def _row(name: str, unit: str, first: Any, second: Any, worst: Side) -> dict[str, Any]:
    first, second = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    sides = {}
    for side, values in zip(("plan", "other"), (first, second), strict=True):
        one = band(values, whole=name == "payback_year", worst=worst)
        infinite = RESULTS[name].infinite_word if name in RESULTS else "infinite"
        points = dict(zip(POINTS, (one.low, one.middle, one.high), strict=True))
        errors = dict(zip(POINTS, (one.low_error, one.middle_error, one.high_error), strict=True))
        sides[side] = {point: number(value, infinite) for point, value in points.items()} | {
            "standard_error": {point: number(value, "unbounded") for point, value in errors.items()}
        }
    chance = {point: number(quantile_test(first, second, share)) for point, share in zip(POINTS, SHARES, strict=True)}
    return {"name": name, "unit": unit, **sides, "chance": chance}


def quantile_test(first: NDArray[np.float64], second: NDArray[np.float64], share: float) -> float:
    """Chance of a gap as wide between two samples at a percent point, if both came from one distribution [1].

    Parameters
    ----------
    first, second : array, (trial,)
        Infinite values take part in the order.
    share : float
        Between 0 and 1.

    Notes
    -----
    Both samples are cut at the percent point of all values together and the two-by-two table of counts is judged by
    Fisher's exact test, two-sided; at the middle this is Mood's median test. Where many values are equal, they go to
    the side that leaves the cut nearer to the share.

    Examples
    --------
    >>> low, high = np.arange(10.0), np.arange(10.0) + 10
    >>> quantile_test(low, low, 0.5), round(quantile_test(low, high, 0.5), 6)
    (1.0, 1.1e-05)
    """
    both = np.sort(np.concatenate([first, second]))
    cut = both[min(int(len(both) * share), len(both) - 1)]
    without, with_equal = (both < cut).mean(), (both <= cut).mean()
    equal_below = abs(with_equal - share) < abs(without - share)
    below = [int(((values <= cut) if equal_below else (values < cut)).sum()) for values in (first, second)]
    return _fisher(below, [len(first), len(second)])


def _fisher(counts: list[int], trials: list[int]) -> float:
    from scipy.stats import fisher_exact

    table = [counts, [total - count for count, total in zip(counts, trials, strict=True)]]
    return float(min(fisher_exact(table)[1], 1.0))


def _share_row(name: str, both: list[Chance]) -> dict[str, Any]:
    sides = {
        side: {"share": number(one.value), "standard_error": number(one.standard_error)}
        for side, one in zip(("plan", "other"), both, strict=True)
    }
    chance = _fisher([one.count for one in both], [one.trials for one in both])
    return {"name": name, **sides, "chance": number(chance)}


def second_opinion_cells(document: Document, formats: RunFormats) -> list[list[str]]:
    """Cells of the table: name, then 5, 50, 95 % with their errors under each method; the head first."""
    head = [""]
    for side in ("plan: ", "other: "):
        for point in POINTS:
            head += [f"{side}{POINT_TEXT[point]}", "±"]
            side = ""
    cells = [[*head, "differ"]]
    for row in document["rows"]:
        text, error = _formats(row["name"], formats)
        line = [_name(row["name"], formats)]
        for side in ("plan", "other"):
            for point in POINTS:
                line.append(_text(row[side][point], text))
                line.append(_text(row[side]["standard_error"][point], error))
        cells.append([*line, _marks(row["chance"], document["limit"])])
    return cells


def _marks(chances: Mapping[str, float], limit: float) -> str:
    """The percent points that differ beyond chance."""
    return ", ".join(POINT_TEXT[point] for point, chance in chances.items() if chance < limit) or "no"


def _text(value: Any, form: Callable[[float], str]) -> str:
    if value is None:
        return "–"
    return value if isinstance(value, str) else form(float(value))


def _formats(name: str, formats: RunFormats) -> tuple[Callable[[float], str], Callable[[float], str]]:
    """How a headline number and its error are written."""
    if name in MONEY:
        return amount_text, amount_text
    if name == "irr":
        return (lambda x: f"{100 * x:.1f} %", lambda x: f"{100 * x:.1f}")
    if name == "payback_year":
        return (lambda x: f"{x:.0f}", lambda x: f"{x:.1f}")
    return (lambda x: f"{formats.yield_value(x):,.1f}", lambda x: f"{formats.yield_value(x):,.1f}")


def _name(name: str, formats: RunFormats) -> str:
    if name in RESULTS:
        return RESULTS[name].title + (f", {formats.currency}" if name in MONEY else "")
    kind, leaf = name.rsplit("_leaf_", 1)
    words = "picked in leaf" if kind == "yield_in" else "picked to leaf"
    return f"{words} {leaf}, {formats.yield_unit}"


def second_opinion_shares(document: Document) -> list[str]:
    """One line on the shares of trials that never pay back, have no rate of return, or lose."""
    return [
        f"{SHARE_NAMES[share['name']]}: {100 * share['plan']['share']:.1f} % "
        f"(± {100 * share['plan']['standard_error']:.1f}) and {100 * share['other']['share']:.1f} % "
        f"(± {100 * share['other']['standard_error']:.1f}) of futures"
        for share in document["shares"]
    ]


def second_opinion_sentence(document: Document, formats: RunFormats) -> str:
    """Whether the two weather methods differ, in one plain sentence."""
    compared, trials = document["compared"], f"{document['trials']:,} futures"
    where = _differing_names(document, formats)
    if where:
        return (
            f"The choice of weather method matters here: {len(document['differing'])} of {compared} numbers compared "
            f"differ by more than chance allows in {trials} ({'; '.join(where)}). More futures do not take this "
            "doubt away: read both columns."
        )
    npv = next(row for row in document["rows"] if row["name"] == "npv")
    error = math.hypot(*(float(npv[side]["standard_error"]["p50"]) for side in ("plan", "other")))
    return (
        f"The two weather methods do not differ beyond chance in any of {compared} numbers compared, though with "
        f"{trials} a difference of {formats.money(DETECTABLE * error, 2)} in the middle NPV could go unseen."
    )


def _differing_names(document: Document, formats: RunFormats) -> list[str]:
    limit = document["limit"]
    names = []
    for row in document["rows"]:
        points = _marks(row["chance"], limit)
        if points != "no":
            names.append(f"{_name(row['name'], formats).split(',')[0]} at {points}")
    names += [f"share {SHARE_NAMES[one['name']]}" for one in document["shares"] if one["chance"] < limit]
    return names


def second_opinion_lines(document: Document, formats: RunFormats) -> list[str]:
    """The table, the shares and the sentence as lines of text, for the terminal."""
    return [
        "Second opinion: the same plan, futures and seed under the other weather method",
        f"plan's: {document['methods']['plan']}",
        f"other: {document['methods']['other']}",
        *text_columns(second_opinion_cells(document, formats), left=(0,)),
        *second_opinion_shares(document),
        "",
        second_opinion_sentence(document, formats),
    ]


def second_opinion_part(dataset: xarray.Dataset, formats: RunFormats) -> dict[str, Any] | None:
    """What the page of a run shows of its second opinion; None where the run has none."""
    document = attribute(dataset, "second_opinion")
    if not document:
        return None
    return {
        "methods": document["methods"],
        "cells": second_opinion_cells(document, formats),
        "shares": second_opinion_shares(document),
        "sentence": second_opinion_sentence(document, formats),
    }
