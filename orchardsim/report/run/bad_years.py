"""What bad years cost, in sentences and as a picture."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.numbers import percent, with_error
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run_formats import RunFormats, footer
from orchardsim.report.style import INK, QUIET, STONE, add_footer, new_figure, thousands
from orchardsim.results.bad_years import RARE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WORST_HEAD: Final = "What can go wrong"
WORST_NOTE: Final = "The worst 1 in 20 years of each kind; cost in that year and the next, ± standard error:"
HOW_BAD: Final = {
    "poor prices": "{} or more below the usual",
    "frost in bloom": "{} or more of the flowers killed",
    "hail": "{} or more of the fruit marked",
    "dead trees": "{} or more of the trees in a year",
    "work left undone": "{} or more of the hours",
}
"""How bad the mildest of the worst years is, by kind (:data:`orchardsim.results.bad_years.KINDS`)."""


def worst_lines(summary: Mapping[str, Any], formats: RunFormats) -> list[str]:
    """The kinds of bad year that cost most: how bad, what they cost with its error, and how rare they are if rarer."""
    lines = []
    for one in summary["sheet"]["worst"]:
        cost, error = one["costs"], one["standard_error"]
        told = with_error(cost, error, f"{formats.currency} ")
        if cost < 2 * error:
            told = f"too little to tell from none (± {formats.money(error)})"
        rare = "" if one["share_of_years"] > 0.9 * RARE else f", in {percent(one['share_of_years'], 1)} of years"
        how_bad = HOW_BAD[one["what"]].format(share_text(one["at_least"]))
        lines.append(f"{one['what'].capitalize()} ({how_bad}{rare}): {told}")
    return lines or ["Too few bad years came in these futures to say what they cost."]


def share_text(value: float) -> str:
    """A share in percent, small ones to a tenth."""
    return percent(value, 0 if value >= 0.1 else 1)


def bad_years_figure(run: SavedRun) -> Figure:
    """What the worst years of each kind cost, with the error, and how bad they are."""
    figure, axes = new_figure(height=2.6)
    worst = run.summary["sheet"]["worst"]
    axes.set_title(f"Cost of a bad year, thousand {run.formats.currency}")
    if not worst:
        axes.text(0.5, 0.5, "too few came to say", ha="center", va="center", transform=axes.transAxes)
        axes.set_axis_off()
        return figure
    places = np.arange(len(worst))[::-1]
    costs, errors = (np.array([float(one[key]) / 1000 for one in worst]) for key in ("costs", "standard_error"))
    axes.barh(places, costs, xerr=1.96 * errors, color=STONE, edgecolor=QUIET, hatch="//", height=0.62,
              ecolor=INK, capsize=3, label="_costs")  # fmt: skip
    axes.set_yticks(places, [str(one["what"]) for one in worst])
    for place, cost, error, one in zip(places, costs, errors, worst, strict=True):
        said = HOW_BAD[one["what"]].format(share_text(one["at_least"]))
        axes.text(max(cost + 1.96 * error, 0), place, f"  {said}", va="center", fontsize=8.5)
    axes.set_xlim(min(0, (costs - 1.96 * errors).min()), 1.9 * (costs + 1.96 * errors).max())
    axes.grid(axis="x")
    axes.grid(visible=False, axis="y")
    thousands(axes.xaxis)
    add_footer(
        figure,
        "The worst 1 in 20 bearing years of each kind against other years, in that year and the next; line: 95 % "
        f"interval. {footer(run.dataset)}",
    )
    return figure
