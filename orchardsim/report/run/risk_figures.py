"""How a run ends and what that hangs on: NPV over futures, payback by year, what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run_formats import footer
from orchardsim.report.style import BRICK, INK, LEAF, add_footer, new_figure, thousands, whole_ticks
from orchardsim.results.doubts import OpenLevelsOfRun

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_LEVELS: Final = 8


def outcome_figure(run: SavedRun) -> Figure:
    """How the net present value falls out over all trials, and the chance of having paid back by each year."""
    formats = run.formats
    figure, (upper, lower) = new_figure(2, 1, height=5.2)
    _value(upper, run)
    rows = run.summary["sheet"]["paid_back_by_year"]
    years = np.array([int(year) for year in rows])
    shares = 100 * np.array([float(share) for share in rows.values()])
    lower.bar(years, shares, color=LEAF, width=0.75, label="_paid back")
    lower.annotate(f"{shares[-1]:.0f} %", (years[-1], shares[-1]), ha="center", va="bottom", fontsize=8.5)
    lower.set_ylim(0, 108)
    lower.set_title("Chance of having paid back by each year, % of futures")
    lower.set_xlabel("year of the plan")
    whole_ticks(lower)
    add_footer(figure, f"{formats.currency}: {formats.money_basis}. {footer(run.dataset)}")
    return figure


def _value(axes: Axes, run: SavedRun) -> None:
    npv = run.dataset["npv"].values / 1000.0
    trials = len(npv)
    # Bins start at zero so that no bar stands on both sides of it.
    width = max((npv.max() - npv.min()) / min(40, max(8, int(np.sqrt(trials) * 1.5))), 1e-6)
    edges = width * np.arange(np.floor(npv.min() / width), np.floor(npv.max() / width) + 2)
    counts, edges = np.histogram(npv, bins=edges)
    loss = edges[:-1] < -1e-9
    for below, colour, hatch, name in ((True, BRICK, "//", "below zero"), (False, LEAF, "", "zero and above")):
        here = loss == below
        axes.bar(
            edges[:-1][here], 100 * counts[here] / trials, np.diff(edges)[here] * 0.94, align="edge", color=colour,
            hatch=hatch, edgecolor="white", linewidth=0, label=f"_{name}",
        )  # fmt: skip
    entry = run.summary["headline"]["npv"]
    for point, name in (("p5", "1 in 20"), ("p50", "middle"), ("p95", "1 in 20")):
        axes.axvline(entry[point] / 1000, color=INK, linewidth=1, linestyle=(0, (4, 2)))
        axes.text(entry[point] / 1000, 1.0, f" {name}", transform=axes.get_xaxis_transform(), va="top", fontsize=8.5)
    if edges[0] < 0 < edges[-1]:
        axes.axvline(0, color=INK, linewidth=1.1)
    axes.set_ylim(0, 1.12 * 100 * max(counts.max(), 1) / trials)
    axes.set_title("Net present value at year 0, with the blocks' remaining value")
    axes.set_xlabel(f"thousand {run.formats.currency}")
    axes.set_ylabel("% of futures")
    thousands(axes.xaxis)


def drivers_figure(run: SavedRun) -> Figure:
    """What would narrow the band of the present value, were it known: one bar for each open level."""
    figure, axes = new_figure(height=3.4)
    levels = OpenLevelsOfRun.of(run.dataset)
    found = None if levels is None else levels.doubts(run.dataset["npv"].values)
    axes.set_title("What knowing it would take off the band of NPV, %")
    if found is None:
        axes.text(
            0.5, 0.5, "every level was taken as known,\nor the futures are too few to tell", ha="center", va="center",
            transform=axes.transAxes,
        )  # fmt: skip
        axes.set_axis_off()
        return figure
    shares = sorted(found.by_level.items(), key=lambda one: one[1])[-MOST_LEVELS:]
    axes.barh(range(len(shares)), [100 * share for _, share in shares], color=LEAF, height=0.7, label="_share")
    axes.set_yticks(range(len(shares)), [term(name) for name, _ in shares], fontsize=8.5)
    for place, (_, share) in enumerate(shares):
        axes.text(100 * share + 0.4, place, f"{100 * share:.0f}", va="center", fontsize=8.5)
    axes.grid(axis="x")
    axes.grid(visible=False, axis="y")
    axes.set_xlim(0, max(5.0, 115 * max(share for _, share in shares)))
    add_footer(
        figure,
        f"{100 * found.not_knowing:.0f} % of the spread of NPV comes from what nobody knows yet, the rest from luck: "
        f"seasons, yearly prices, which trees die. {footer(run.dataset)}",
    )
    return figure
