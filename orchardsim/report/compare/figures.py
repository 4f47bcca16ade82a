"""Pictures of a comparison: differences with intervals, cash curves side by side, luck curves, picked fruit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.report.compare.words import footer_text, formats_of, luck_caution, shown, unit_text
from orchardsim.report.run_formats import RunFormats
from orchardsim.report.style import (
    BRICK,
    INK,
    LEAF,
    LINES,
    QUIET,
    SERIES,
    STONE,
    add_footer,
    draw_band,
    new_figure,
    thousands,
    whole_ticks,
)
from orchardsim.results.comparison import Comparison, Measure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DIFFERENCE_PANELS: Final = {
    "npv": ("npv", "peak_borrowing", "picked_per_area"),
    "npv_per_area": ("npv_per_area", "peak_borrowing", "picked_per_area"),
}
"""Deciding measure -> measures of the picture of differences."""


def difference_figure(found: Comparison) -> Figure:
    """Leading plan less each other plan: mean with its interval, and the spread over futures."""
    formats = formats_of(found)
    keys = [key for key in DIFFERENCE_PANELS[found.deciding] if key in found.measures]
    leader = found.plans[found.decision.leader]
    rows = len(found.plans) - 1
    figure, axes = new_figure(len(keys), 1, height=0.9 + len(keys) * (0.75 + 0.36 * rows), squeeze=False)
    for panel, key in zip(axes[:, 0], keys, strict=True):
        _difference_panel(panel, found, key, formats)
    figure.suptitle(
        f"{leader.label} ({leader.name}) less each other plan, in the same futures", fontweight="bold", fontsize=11
    )
    add_footer(
        figure,
        "Dot and thick bar: mean and its interval, all pairs together at 95 %. Thin line: 18 futures in 20. Hollow "
        f"dot: cannot be told apart, or the weather record is too short to be sure. {footer_text(found)}",
    )
    return figure


def _difference_panel(axes: Axes, found: Comparison, key: str, formats: RunFormats) -> None:
    measure = found.measures[key]
    leader = found.decision.leader
    rows = [
        (other, one)
        for other in range(len(found.plans))
        if other != leader and (one := found.difference(key, leader, other)) is not None
    ]
    for row, (other, one) in enumerate(rows):
        low, high, left, right, centre = (
            _scaled(measure, value, formats)
            for value in (one.low, one.high, one.spread_low, one.spread_high, one.centre)
        )
        good = (centre > 0) == (measure.better == "high")
        doubtful = not one.told_apart
        if key == found.deciding:
            doubtful = found.pair(leader, other).outcome != "better"
        colour = LEAF if good else BRICK
        name = f"less {found.plans[other].label}"
        axes.plot([left, right], [row, row], color=QUIET, linewidth=1.2, zorder=2, label=f"_{name}: 18 futures in 20")
        axes.plot(
            [low, high],
            [row, row],
            color=colour,
            linewidth=4.5,
            solid_capstyle="butt",
            zorder=3,
            label=f"_{name}: limits",
        )
        axes.plot(
            [centre],
            [row],
            "o",
            color="white" if doubtful else colour,
            markeredgecolor=colour,
            zorder=4,
            label=f"_{name}: mean",
        )
    axes.axvline(0, color=INK, linewidth=1)
    axes.set_yticks(
        range(len(rows)), [f"less {found.plans[other].label} ({found.plans[other].name})" for other, _ in rows]
    )
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.grid(axis="x")
    axes.grid(visible=False, axis="y")
    side = "right of zero is better" if measure.better == "high" else "left of zero is better"
    axes.set_title(f"{measure.name}, {_scaled_unit(measure, formats)} ({side})")
    thousands(axes.xaxis)


def _scaled(measure: Measure, value: float, formats: RunFormats) -> float:
    amount = shown(measure, value, formats)
    return amount / 1000 if measure.unit in ("money", "money/ha") else amount


def _scaled_unit(measure: Measure, formats: RunFormats) -> str:
    text = unit_text(measure, formats)
    return f"thousand {text}" if measure.unit in ("money", "money/ha") else text


def cash_figure(found: Comparison) -> Figure:
    """Summed cash of every plan side by side, on one scale."""
    formats = formats_of(found)
    count = len(found.plans)
    columns = 2 if count <= 4 else 3
    rows = -(-count // columns)
    figure, axes = new_figure(rows, columns, height=1.0 + 2.2 * rows, sharex=True, sharey=True, squeeze=False)
    panels = list(axes.flat)
    year = np.arange(found.years)
    per = found.deciding == "npv_per_area"
    for place, (panel, plan) in enumerate(zip(panels, found.plans, strict=False)):
        cash = found.cash[place] / 1000
        if per:
            cash = cash / plan.gross_area * formats.area_size
        draw_band(panel, year, cash, colour=SERIES[place % len(SERIES)] if place < 5 else LEAF, labels=place == 0)
        panel.axhline(0, color=INK, linewidth=0.9)
        panel.set_title(f"{plan.label} {plan.name}")
        panel.set_xticks(np.arange(0, found.years, 5 if found.years > 8 else 2))
        thousands(panel.yaxis)
    for panel in panels[count:]:
        panel.set_visible(False)
    for row in axes:
        row[0].set_ylabel(f"thousand {formats.currency}" + (f"/{formats.area_name}" if per else ""))
    for place in range(max(count - columns, 0), count):
        panels[place].set_xlabel("year of the plan")
        panels[place].tick_params(labelbottom=True)
    panels[0].legend(loc="upper left", fontsize=7.5)
    figure.suptitle("Cash since year 0, all years summed", fontweight="bold", fontsize=11)
    add_footer(figure, f"{formats.currency}: {formats.money_basis}. {footer_text(found)}")
    return figure


def luck_figure(found: Comparison) -> Figure:
    """Share of futures in which a plan falls short of a value: a curve to the right of another is the better one."""
    formats = formats_of(found)
    measure = found.measures[found.deciding]
    figure, axes = new_figure(height=3.9)
    share = 100 * np.arange(1, found.trials + 1) / found.trials
    for place, plan in enumerate(found.plans):
        values = np.sort([_scaled(measure, float(value), formats) for value in measure.values[place]])
        axes.step(
            values,
            share,
            where="post",
            color=SERIES[place % len(SERIES)],
            linestyle=LINES[place % len(LINES)],
            linewidth=1.9,
            label=f"{plan.label} {plan.name}",
        )
    axes.axvline(0, color=INK, linewidth=1)
    axes.axhline(50, color=STONE, linewidth=0.8)
    axes.set_ylim(0, 100)
    axes.set_xlabel(f"{measure.name}, {_scaled_unit(measure, formats)}")
    axes.set_ylabel("% of futures that bring less")
    axes.set_title("What luck does to each plan")
    axes.legend(loc="lower right")
    thousands(axes.xaxis)
    add_footer(
        figure,
        f"A curve to the right at every height brought more at any luck. {luck_caution(found)} {footer_text(found)}",
    )
    return figure


def picked_figure(found: Comparison) -> Figure:
    """Picked fruit by year of every plan, median trial."""
    formats = formats_of(found)
    figure, axes = new_figure(height=3.7)
    year = np.arange(found.years)
    for place, plan in enumerate(found.plans):
        colour = SERIES[place % len(SERIES)]
        values = np.asarray(formats.yield_value(found.picked[place]))
        low, middle, high = np.quantile(values, (0.25, 0.5, 0.75), axis=0)
        axes.fill_between(year, low, high, color=colour, alpha=0.15, linewidth=0)
        axes.plot(
            year,
            middle,
            color=colour,
            linestyle=LINES[place % len(LINES)],
            linewidth=1.9,
            label=f"{plan.label} {plan.name}",
        )
    axes.set_ylim(0, 1.3 * axes.get_ylim()[1])
    axes.set_title("Picked fruit by year, per land with headlands")
    axes.set_ylabel(formats.yield_unit)
    axes.set_xlabel("year of the plan")
    axes.legend(loc="upper left", ncols=3, handlelength=3)
    whole_ticks(axes)
    add_footer(
        figure,
        f"Line: middle future; shade: half of them; {formats.bin_text}, {formats.box_text}. {footer_text(found)}",
    )
    return figure


FIGURES: Final = {
    "compare_differences": ("Differences with their intervals", difference_figure),
    "compare_cash": ("Cash curves side by side", cash_figure),
    "compare_luck": ("From the worst luck to the best", luck_figure),
    "compare_picked": ("Picked fruit", picked_figure),
}
"""Name of the file -> heading on the page, and the function that draws it."""
