"""How sure the numbers are and how bad it can get: the part of page and terminal on errors, banks and households."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.core.labels import FARM
from orchardsim.core.numbers import number, with_error
from orchardsim.core.variables import RESULTS
from orchardsim.report.run.headline_rows import band
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import cumulative_yield, yield_by_leaf
from orchardsim.results.headline import CUMULATIVE_LEAVES
from orchardsim.results.risk_numbers import (
    WANTED_SHARE,
    aversion,
    credit_chance,
    errors_of,
    peak_seasons,
    record_draws,
    record_silence,
    several_rates,
    trials_for,
    trials_for_chance,
)

if TYPE_CHECKING:
    import xarray

    from orchardsim.risk.bands import Side
    from orchardsim.risk.record import TwoErrors

AVERSION_WORDS: Final = {
    0.0: "none",
    0.5: "slight",
    1.0: "mild",
    2.0: "medium",
    3.0: "strong",
    4.0: "extreme",
}
"""Relative aversion on wealth in words of our own; the scale is that of :data:`orchardsim.risk.utility.AVERSIONS`."""
ERRORS_NOTE: Final = (
    "± futures shrinks with the root of the number of futures. ± weather record is the doubt that another record of "
    "the same length would bring; no number of futures removes it. The two are kept apart. 'below' and 'not told': the "
    "noise of these futures hides it; more futures would show it. Worst tenth: mean of the worst tenth of the futures "
    "(expected shortfall)."
)
JUDGED_BY: Final = (
    "npv", "npv_without_remaining_value", "equivalent_annual_annuity", "irr", "payback_year", "peak_borrowing",
    "break_even_price", "household_draw_bearable",
)  # fmt: skip
"""Results whose errors are told."""
UNTOLD: Final = "cannot be told"
RUIN: Final = "none: a future eats all own wealth"
IN_RUNS: Final = "Years are drawn in runs, so ± weather record comes out somewhat too small."
AVERSION_NOTE: Final = (
    "The sure amount, in today's money, worth as much as the plan's uncertain NPV to somebody who shuns risk so much "
    "(constant relative aversion on wealth). Where a future eats all own wealth, no sure amount is as bad."
)


def errors_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """Table of both errors, with its head: one row for each number that a plan is judged by."""
    draws = record_draws(dataset)
    trials = int(dataset.sizes["trial"])
    head = ["", "", "value", "± futures", "± weather record", "larger", f"futures for ± {100 * WANTED_SHARE:g} %"]
    cells = [[*head, "worst tenth", "±"]]
    texts = {"money": formats.money, "price": formats.price, "percent": percent, "year": year_text}
    rows: list[tuple[str, np.ndarray, Side, Callable[[float], str], bool, bool]] = []
    for row in map(RESULTS.__getitem__, JUDGED_BY):
        name = term(row.name) + (f", {formats.price_unit}" if row.display == "price" else "")
        rows.append((name, dataset[row.name].values, row.worst, texts[row.display], row.has_mean, row.whole))
    table = yield_by_leaf(dataset, FARM)
    for leaf in CUMULATIVE_LEAVES:
        total = cumulative_yield(table, leaf)
        if total is not None:
            name = f"to leaf {leaf}, {formats.yield_unit}"
            rows.append((name, np.asarray(formats.yield_value(total)), "low", lambda x: f"{x:,.1f}", True, False))
    for name, values, worst, text, has_mean, whole in rows:
        if np.isnan(values).all():
            continue
        found = errors_of(np.asarray(values, dtype=np.float64), worst, draws, whole=whole)
        one, tail = found["mean" if has_mean else "p50"], found["expected_shortfall"]
        needed = trials_for(one, trials)
        cells.append(
            [
                name,
                "mean" if has_mean else "middle",
                text(one.value),
                _error(one.monte_carlo, text),
                _record(one, text),
                one.dominates if math.isfinite(one.record) else UNTOLD,
                f"{needed:,}" if needed is not None else _why_no_number(one),
                text(tail.value) if math.isfinite(tail.value) else ("never" if worst == "high" else "none"),
                _error(tail.monte_carlo, text),
            ]
        )
    return cells


def errors_lines(dataset: xarray.Dataset) -> list[str]:
    """What the table of errors can and cannot say."""
    draws = record_draws(dataset)
    if draws is None:
        return [record_silence(dataset)]
    return [ERRORS_NOTE, *([IN_RUNS] if draws.in_runs else [])]


def percent(value: float) -> str:
    """A rate in percent, "none" where there is none."""
    return "none" if math.isinf(value) else f"{number(100 * value, 1)} %"


def year_text(value: float) -> str:
    """A year, "never" where it does not come; errors of years with one digit."""
    if math.isinf(value):
        return "never"
    return f"{value:.0f}" if value == int(value) else f"{value:.1f}"


def _error(value: float, text: Callable[[float], str]) -> str:
    return text(value) if math.isfinite(value) else "not bounded"


def _why_no_number(one: TwoErrors) -> str:
    """Why no number of trials brings an error to a share of its number."""
    if not math.isfinite(one.value):
        return "no number to refine"
    return "the number is 0" if one.value == 0 else "error not bounded"


def _record(one: TwoErrors, text: Callable[[float], str]) -> str:
    if not math.isfinite(one.record):
        return UNTOLD
    return text(one.record) if one.seen else f"below {text(one.at_most)}"


def bank_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """Debt, credit line, household draw and rates of return in plain lines."""
    lines = []
    seasons = peak_seasons(dataset)
    if seasons:
        words = ", ".join(f"{name} {100 * share:.0f} %" for name, share in seasons.items() if share >= 0.005)
        lines.append(f"Season of the deepest debt, of the futures that borrow: {words}.")
    chance = credit_chance(dataset)
    if chance is None:
        high = band(dataset["peak_borrowing"].values, worst="high")
        sure = with_error(float(high.high), float(high.high_error), f"{formats.currency} ")
        lines.append(
            f"The plan states no credit line (finance.credit_line); {sure} would hold in nineteen futures of twenty."
        )
    else:
        lines.append(
            f"Chance of breaking the credit line of {formats.money(float(dataset.attrs['credit_line']))} in any year: "
            f"{100 * chance.value:.1f} % ± {100 * chance.standard_error:.1f} (95 % interval {100 * chance.low:.1f} to "
            f"{100 * chance.high:.1f} %). {trials_for_chance(chance):,} futures would bring its error to 2 points."
        )
    draw = float(dataset.attrs.get("household_draw", 0.0))
    able = band(dataset["household_draw_bearable"].values)
    stated = f"The household draws {formats.money(draw)} a year (finance.household_draw)" if draw else (
        "The plan states no household draw (finance.household_draw), so nothing is taken out to live on"
    )  # fmt: skip
    within = " and keeps to the credit line" if chance is not None else ""
    lines.append(
        f"{stated}. The largest level draw that leaves no debt at the end{within}: {formats.money(able.middle)} a "
        "year in "
        f"the middle future, {formats.money(able.low)} in one of twenty."
    )
    if draw:
        enough = float((dataset["household_draw_bearable"].values >= draw).mean())
        lines.append(f"That bears the stated draw in {100 * enough:.0f} % of futures.")
    lines += family_lines(dataset, formats)
    several = several_rates(dataset)
    if several:
        lines.append(
            f"In {several:,} {'future' if several == 1 else 'futures'} more than one rate of return makes NPV zero; "
            "the one nearest zero is given, and NPV is the safer guide."
        )
    return lines


def family_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """The family's work, priced and unpaid; nothing where the plan states none."""
    hours = dataset["family_hours"].values
    if not hours.any():
        return []
    value = dataset["family_labour_value"].values
    worked = hours[:, hours.any(axis=0)].mean()
    rate = 1.0 + float(dataset.attrs["discount_rate"])
    present = (value * rate ** -np.arange(value.shape[1], dtype=float)).sum(axis=1)
    npv = dataset["npv_without_remaining_value"].values
    paid = bool(dataset.attrs["family_paid"])
    other = npv + present if paid else npv - present
    return [
        f"The family works {worked:,.0f} hours a year on the mean, worth {formats.money(float(value.mean()))} a "
        "year at "
        f"the plan's wages. All numbers here count them {'as paid' if paid else 'as unpaid'}: NPV without remaining "
        f"value is {formats.money(float(npv.mean()))} on the mean, and {formats.money(float(other.mean()))} with "
        "the family "
        f"{'unpaid' if paid else 'paid'} (costs.family_labour_priced), before any change of income tax."
    ]


def aversion_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """Certainty equivalents with their head: averseness, sure amount, its error."""
    cells = [["aversion to risk", "relative aversion", "certainty equivalent of NPV", "± futures"]]
    for level, one in aversion(dataset).equivalents.items():
        value, error = float(one.value), float(one.standard_error)
        known = math.isfinite(value)
        amounts = [formats.money(value), formats.money(error)] if known else [RUIN, "no error to tell"]
        cells.append([AVERSION_WORDS.get(level, ""), f"{level:g}", *amounts])
    return cells


def aversion_line(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """From which wealth aversion is counted; on the page :data:`AVERSION_NOTE` follows."""
    found = aversion(dataset)
    whence = (
        "stated as finance.own_wealth"
        if found.stated
        else "own cash and the mean money invested: an assumption, since finance.own_wealth is not stated; the less "
        "somebody owns, the lower the sure amounts"
    )
    return f"Counted from own wealth of {formats.money(found.own_wealth)} ({whence})."


def cover_cells(dataset: xarray.Dataset) -> dict[int, tuple[str, str, str]]:
    """Debt-service cover by year: 5 % point, middle, and share of trials in which something is due."""
    cover = dataset["debt_service_cover"].values
    found = {}
    for position, year in enumerate(dataset["year"].values):
        values = cover[:, position]
        due = values[~np.isnan(values)]
        if not due.size:
            found[int(year)] = ("–", "–", "0 %")
            continue
        points = band(due)
        found[int(year)] = (_times(points.low), _times(points.middle), f"{100 * due.size / values.size:.0f} %")
    return found


def _times(value: float) -> str:
    return f"{value:,.1f}" if abs(value) < 100 else ("over 100" if value > 0 else "below -100")


def risk_part(dataset: xarray.Dataset, formats: RunFormats) -> dict[str, Any]:
    """All of it, for the page."""
    return {
        "errors": errors_cells(dataset, formats),
        "errors_lines": errors_lines(dataset),
        "bank": bank_lines(dataset, formats),
        "aversion": aversion_cells(dataset, formats),
        "aversion_line": f"{aversion_line(dataset, formats)} {AVERSION_NOTE}",
    }
