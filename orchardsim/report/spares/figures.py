"""Pictures of the search for spares: cost by policy, cost by spares, worth of a filled gap, how losses cluster."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.report.spares.words import footer_text, formats_of
from orchardsim.report.style import (
    BRICK,
    HATCHES,
    INK,
    LEAF,
    LINES,
    MARKERS,
    OCHRE,
    QUIET,
    SERIES,
    SKY,
    STONE,
    add_footer,
    new_figure,
    thousands,
    whole_ticks,
)
from orchardsim.results.spares import CostCurve, SparesAnswer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_PANELS: Final = 4
"""Row groups drawn; the largest."""
RULE_SHARES: Final = (0.02, 0.03, 0.05)
WIDEST_SHARE: Final = 0.12
"""Share of spares to which cost curves are drawn, unless the answer lies beyond."""


def policy_figure(found: SparesAnswer) -> Figure:
    """Cost of every policy, in its parts."""
    formats = formats_of(found)
    rows = found.outcomes
    figure, axes = new_figure(height=1.5 + 0.34 * len(rows))
    at = np.arange(len(rows))
    left = np.zeros(len(rows))
    parts = (
        ("trees", "trees bought", LEAF),
        ("keep", "keep of spares", OCHRE),
        ("replanting", "planting and care", SKY),
        ("margin_lost", "fruit missed in empty places", STONE),
    )
    for (name, label, colour), hatch in zip(parts, HATCHES, strict=False):
        values = np.array([getattr(one, name) for one in rows])
        shown = np.maximum(values, 0)
        axes.barh(at, shown, left=left, color=colour, hatch=hatch, edgecolor="white", linewidth=0, label=label,
                  height=0.68)  # fmt: skip
        left = left + shown
    for place, one in enumerate(rows):
        axes.errorbar(one.cost.mean, place, xerr=2 * one.cost.error, color=INK, capsize=2.5, linewidth=1)
    axes.set_yticks(at, [f"{one.name}{' (?)' if one.differs and not one.told_apart else ''}" for one in rows])
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.grid(axis="x")
    axes.grid(visible=False, axis="y")
    thousands(axes.xaxis)
    axes.set_title("What lost trees cost, by policy", loc="right")
    axes.set_xlabel(f"{formats.currency} at year 0, over {found.years} years")
    figure.legend(loc="outside upper center", ncols=2)
    add_footer(
        figure,
        f"Whisker: two standard errors; (?): cannot be told apart from the cheapest. Full simulation, "
        f"{footer_text(found)}",
    )
    return figure


def curve_figure(found: SparesAnswer) -> Figure:
    """Cost by number of spares bought at planting, one panel for each row group."""
    formats = formats_of(found)
    filling = {one.label for one in found.decision.advised.policies if one.fills}
    curves = sorted(found.curves, key=lambda one: (one.label not in filling, -one.trees))[:MOST_PANELS]
    figure, axes = new_figure(len(curves), 1, height=1.0 + 2.6 * len(curves), squeeze=False)
    for panel, curve in zip(axes[:, 0], curves, strict=True):
        _curve_panel(panel, curve, fills=curve.label in filling)
        panel.set_ylabel(f"{formats.currency} at year 0")
    axes[-1, 0].set_xlabel("spares bought with the planting, trees")
    handles, labels = axes[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=2)
    add_footer(
        figure,
        "Bands: two standard errors. Dotted uprights: 2, 3 and 5 % of the trees planted. All else as advised, "
        f"or the best of their kind; stock rules replayed over simulated losses; {footer_text(found)}",
    )
    return figure


def _curve_panel(axes: Axes, curve: CostCurve, *, fills: bool) -> None:
    limit = max(WIDEST_SHARE * curve.trees, 1.3 * curve.chosen)
    shown = curve.spares <= limit
    at = curve.spares[shown]

    def line(values: np.ndarray, colour: str, label: str, style: str = "-", width: float = 2.0) -> None:
        axes.plot(at, values[shown], color=colour, linestyle=style, linewidth=width, label=label)

    for values, error, colour in ((curve.cost_alone, curve.error_alone, BRICK), (curve.cost, curve.error, LEAF)):
        low, high = values - 2 * error, values + 2 * error
        axes.fill_between(at, low[shown], high[shown], color=colour, alpha=0.15, linewidth=0)
    line(curve.cost_alone, BRICK, "cost, spares alone", "-.")
    line(curve.cost, LEAF, "cost, spares and later orders")
    line(curve.spent, OCHRE, "of spares alone: trees, keep, planting", "--", 1.4)
    line(curve.margin_lost, QUIET, "of spares alone: fruit missed", ":", 1.6)
    top = axes.get_ylim()[1]
    for share in RULE_SHARES:
        axes.axvline(share * curve.trees, color=STONE, linestyle=":", linewidth=1)
        axes.text(share * curve.trees, top, f" {100 * share:.0f} %", color=QUIET, fontsize=7.5, va="top")
    if fills:
        height = float(np.interp(curve.chosen, curve.spares, curve.cost))
        axes.plot([curve.chosen], [height], "o", color=LEAF, markeredgecolor=INK, markersize=7, zorder=5)
        axes.annotate(
            f"advised: {curve.chosen}",
            (curve.chosen, height),
            xytext=(6, -13),
            textcoords="offset points",
            fontsize=8.5,
        )
    axes.axhline(0, color=QUIET, linewidth=0.8)
    axes.set_xlim(0, limit)
    axes.set_ylim(top=top)
    thousands(axes.yaxis)
    end = "" if fills else ": no gap filled"
    axes.set_title(f"{curve.label}, {curve.trees:,} trees{end}")
    whole_ticks(axes)


def worth_figure(found: SparesAnswer) -> Figure:
    """Worth of filling one gap by leaf, against its cost."""
    formats = formats_of(found)
    figure, axes = new_figure(height=3.6)
    known = [one for one in found.worth if one.leaf.size]
    for place, one in enumerate(known[: len(SERIES)]):
        colour = SERIES[place]
        axes.fill_between(
            one.leaf, one.worth - 2 * one.error, one.worth + 2 * one.error, color=colour, alpha=0.15, linewidth=0
        )
        axes.plot(
            one.leaf, one.worth, color=colour, linewidth=2, linestyle=LINES[place % len(LINES)],
            marker=MARKERS[place % len(MARKERS)], markersize=4, label=f"{one.label}: worth",
        )  # fmt: skip
    if known:
        dearest = max(known, key=lambda one: float(one.cost.max()))
        axes.plot(dearest.leaf, dearest.cost, color=INK, linestyle="--", linewidth=1.5, label="tree, planting and care")
    axes.axhline(0, color=QUIET, linewidth=0.8)
    axes.set_title("What filling one gap brings, by leaf of the block")
    axes.set_xlabel("leaf in which the gap is filled")
    axes.set_ylabel(f"{formats.currency} a tree, in that year")
    thousands(axes.yaxis)
    whole_ticks(axes)
    axes.legend()
    add_footer(
        figure,
        f"Worth: margin of the years left, what the block is worth at the end included, less what neighbours lose to "
        f"crowding. Bands: two standard errors, {found.worth_trials} twin futures.",
    )
    return figure


def cluster_figure(found: SparesAnswer) -> Figure:
    """How many trees die, as simulated and if each died by itself."""
    rows = sorted(found.clustering, key=lambda one: -one.lost.mean())[:MOST_PANELS]
    figure, axes = new_figure(len(rows), 1, height=0.9 + 2.1 * len(rows), squeeze=False)
    for panel, one in zip(axes[:, 0], rows, strict=True):
        highest = int(max(one.lost.max(), one.lost_alone.max()))
        step = max(1, round(highest / 25))
        edges = np.arange(-0.5, highest + step + 0.5, step)
        weights = np.full(one.lost.size, 100 / one.lost.size)
        panel.hist(one.lost, edges, weights=weights, color=LEAF, alpha=0.55, label="as simulated")
        panel.hist(
            one.lost_alone, edges, weights=weights, histtype="step", color=BRICK, linewidth=1.8,
            label="if every tree died by itself",
        )  # fmt: skip
        panel.set_title(f"{one.label}: trees of the first planting lost by leaf {one.leaf}")
        panel.set_ylabel("futures in 100")
        panel.set_xlim(left=0)
        whole_ticks(panel)
        panel.text(
            0.99, 0.92, f"variance over mean {one.dispersion:.1f}, by itself {one.dispersion_alone:.1f}",
            transform=panel.transAxes, ha="right", va="top", fontsize=8.5,
        )  # fmt: skip
    axes[-1, 0].set_xlabel("trees lost")
    handles, labels = axes[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=2)
    add_footer(figure, f"No gap filled; the same mean losses by year in both. Run: {footer_text(found)}")
    return figure


FIGURES: Final = {
    "spares_cost_curve": ("Cost by number of spares bought with the planting", curve_figure),
    "spares_policies": ("What lost trees cost under each policy", policy_figure),
    "spares_worth": ("What filling one gap brings", worth_figure),
    "spares_clustering": ("How many trees die", cluster_figure),
}
"""File name -> heading and drawing function."""
