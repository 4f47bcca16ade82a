"""Pictures of open levels: what each does, and prices against yields."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.report.levels.words import footer_text
from orchardsim.report.style import BRICK, INK, LEAF, QUIET, WIDTH, add_footer, new_figure, thousands
from orchardsim.results.levels import LevelsFound

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def swings_figure(found: LevelsFound) -> Figure:
    """Bars from NPV at a level's low end to that at its high end, widest on top."""
    figure, axes = new_figure(height=1.6 + 0.28 * max(len(found.swings), 1))
    names = [term(one.name) for one in found.swings]
    places = np.arange(len(names))
    lows, highs = (np.array([getattr(one, end) for one in found.swings]) for end in ("npv_low", "npv_high"))
    for values, colour, hatch, name in ((lows, BRICK, "//", "level low"), (highs, LEAF, "", "level high")):
        axes.barh(places, values - found.npv, left=found.npv, height=0.62, color=colour, hatch=hatch,
                  edgecolor="white", linewidth=0, label=name)  # fmt: skip
    axes.axvline(found.npv, color=INK, linewidth=1.2)
    axes.axvline(0, color=QUIET, linewidth=0.9, linestyle=":")
    axes.set_yticks(places, names)
    axes.invert_yaxis()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    axes.set_xlabel(f"NPV, {found.attributes['currency']}")
    thousands(axes.xaxis)
    axes.set_title("One open level at a time")
    if found.swings:
        axes.legend(loc="lower right")
    add_footer(
        figure,
        "Line: all levels at their middle; dotted: zero. Ends are exceeded with a chance of one in twenty on either "
        f"side. {footer_text(found)}",
    )
    return figure


def price_by_yield_figure(found: LevelsFound) -> Figure:
    """Mean NPV by factor on prices, one line for each yield."""
    table = found.price_by_yield
    figure, axes = new_figure(height=3.8)
    shades = np.linspace(0.25, 1.0, len(table.yields))
    for share, row, shade in zip(table.yields, table.npv, shades, strict=True):
        usual = share == 1.0
        colour, width = (LEAF, 2.2) if usual else (QUIET, 1.2)
        own = f"_fruit x {share:g}"
        axes.plot(table.prices, row, color=colour, alpha=1.0 if usual else shade, linewidth=width, label=own)
        axes.annotate(f"fruit x {share:g}", (table.prices[-1], row[-1]), xytext=(4, 0), textcoords="offset points",
                      va="center", fontsize=7.5)  # fmt: skip
    axes.axhline(0, color=INK, linewidth=0.9)
    axes.set_xlim(table.prices[0], table.prices[-1] + 0.12)
    axes.set_xlabel("all prices of fruit, times")
    axes.set_ylabel(f"NPV, {found.attributes['currency']}")
    thousands(axes.yaxis)
    axes.set_title("Prices against yields")
    figure.set_size_inches(WIDTH, 3.8)
    add_footer(figure, f"Mean over futures, all levels at their middle. {footer_text(found)}")
    return figure


FIGURES = {
    "levels": ("What each open level does to NPV", swings_figure),
    "price_by_yield": ("NPV by price and yield", price_by_yield_figure),
}
