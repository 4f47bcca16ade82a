"""Pictures of a stress test: bad season by leaf."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.report.stress.words import footer_text, formats_of, fruit, ranked
from orchardsim.report.style import BRICK, INK, LEAF, OCHRE, QUIET, WIDTH, add_footer
from orchardsim.results.stress import Estimate, Moment, Stress, Stressed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def _heat_map(
    found: Stress, value: Callable[[Moment], Estimate], scale: float, title: str, unit: str, colour: str
) -> Figure:
    """Bad seasons down, leaves across; a darker cell costs more, the frame marks the dearest leaf of a row."""
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.figure import Figure

    seasons = ranked(found)
    years = sorted({moment.year for season in seasons for moment in season.moments})
    leaf = {
        moment.year: moment.leaf if moment.leaf >= 1 else f"y{moment.year}"
        for season in seasons
        for moment in season.moments
    }
    cells, told = _cells(seasons, years, value, scale)
    figure = Figure(figsize=(WIDTH + 1.0, 1.5 + 0.3 * len(seasons)), layout="constrained")
    axes = figure.subplots()
    most = max(float(np.nanmax(cells, initial=0.0)), 1e-9)
    colours = LinearSegmentedColormap.from_list("cost", ["#fbfaf6", colour])
    axes.pcolormesh(np.clip(cells, 0, None), cmap=colours, vmin=0, vmax=most, edgecolor="white", linewidth=0.8)
    _write_amounts(axes, cells, told, lambda amount: colours(max(amount, 0.0) / most), 0 if most >= 9.5 else 1)
    axes.set_yticks(np.arange(len(seasons)) + 0.5, [season.title for season in seasons], fontsize=8)
    step = 1 if len(years) <= 26 else 5
    places = np.arange(0, len(years), step)
    axes.set_xticks(places + 0.5, [str(leaf[years[place]]) for place in places], fontsize=7.5)
    axes.set_xlabel(f"leaf of block {found.leaf_of} in the (first) bad year", fontsize=8.5)
    axes.invert_yaxis()
    axes.tick_params(length=0)
    axes.grid(False)
    for side in axes.spines.values():
        side.set_visible(False)
    axes.set_title(f"{title}, {unit}")
    add_footer(
        figure,
        "Mean over futures of the difference from the same future without it. Frame: largest of a row; dot: cannot be "
        "told from none (two standard errors); below zero: less than without it; blank: would reach beyond the run. "
        f" {footer_text(found)}",
    )
    return figure


def _cells(
    seasons: Sequence[Stressed], years: Sequence[int], value: Callable[[Moment], Estimate], scale: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Amounts, (season, year), nan where there is none, and whether each can be told from none."""
    column = {year: place for place, year in enumerate(years)}
    cells = np.full((len(seasons), len(years)), np.nan)
    told = np.zeros(cells.shape, dtype=bool)
    for row, season in enumerate(seasons):
        for moment in season.moments:
            estimate = value(moment)
            cells[row, column[moment.year]] = estimate.value / scale
            told[row, column[moment.year]] = estimate.told
    return cells, told


def _write_amounts(
    axes: Axes,
    cells: NDArray[np.float64],
    told: NDArray[np.bool_],
    colour_of: Callable[[float], tuple[float, float, float, float]],
    digits: int,
) -> None:
    """Write each amount into its cell, light on dark, and frame the dearest of each row."""
    from matplotlib.patches import Rectangle

    for row in range(cells.shape[0]):
        if not np.isnan(cells[row]).all() and told[row].any() and np.nanmax(cells[row][told[row]]) > 0:
            dearest = int(np.nanargmax(np.where(told[row], cells[row], np.nan)))
            axes.add_patch(Rectangle((dearest, row), 1, 1, fill=False, edgecolor=INK, linewidth=1.4, zorder=3))
        for place in range(cells.shape[1]):
            if np.isnan(cells[row, place]):
                continue
            amount = cells[row, place]
            text = _cell_text(amount, digits) if told[row, place] else "·"
            red, green, blue, _ = colour_of(amount)
            dark = 0.299 * red + 0.587 * green + 0.114 * blue < 0.5
            axes.text(
                place + 0.5,
                row + 0.5,
                text,
                ha="center",
                va="center",
                fontsize=6.6 if cells.shape[1] <= 22 else 5,
                color="white" if dark else INK,
            )


def _cell_text(amount: float, digits: int) -> str:
    """A number of a cell; one that is there but rounds to nothing as below the last place shown."""
    if round(amount, digits) == 0:
        return f"{'<' if amount > 0 else '>-'}{10.0**-digits:g}"
    return f"{amount:.{digits}f}"


def _money_map(found: Stress, value: Callable[[Moment], Estimate], title: str, after: str, colour: str) -> Figure:
    """Heat map of money, in thousands where it is much."""
    amounts = [abs(value(moment).value) for season in found.seasons for moment in season.moments]
    scale = 1000.0 if max(amounts, default=0.0) >= 2000 else 1.0
    unit = f"{'1,000 ' if scale > 1 else ''}{found.currency}{after}"
    return _heat_map(found, value, scale, title, unit, colour)


def cash_figure(found: Stress) -> Figure:
    """Cash lost by bad season and leaf."""
    return _money_map(found, lambda one: one.cash_lost, "Cash lost", " of present value", BRICK)


def fruit_figure(found: Stress) -> Figure:
    """Fresh fruit lost over the whole run, by bad season and leaf."""
    formats = formats_of(found)
    scale = 1 / fruit(found, formats, 1.0)
    return _heat_map(found, lambda one: one.fresh_lost, scale, "Fresh fruit lost in all", formats.yield_unit, OCHRE)


def trees_figure(found: Stress) -> Figure:
    """Trees lost over the whole run beyond the usual, by bad season and leaf."""
    share = found.usual.trees_planted / 100 or 1.0
    return _heat_map(found, lambda one: one.trees_lost, share, "More trees lost", "% of the trees planted", LEAF)


def reserve_figure(found: Stress) -> Figure:
    """Own cash that carries nine trials of ten, by bad season and leaf beyond the usual need: the mean more."""
    return _money_map(found, lambda one: one.reserve_more, "Own cash needed more at the start", "", QUIET)


FIGURES: Final[dict[str, tuple[str, Callable[[Stress], Any]]]] = {
    "stress_cash": ("What each bad season costs, by the leaf in which it comes", cash_figure),
    "stress_fruit": ("Fresh fruit lost", fruit_figure),
    "stress_trees": ("Trees lost", trees_figure),
    "stress_reserve": ("Own cash needed to live through it", reserve_figure),
}
"""Name of the file -> heading and drawing."""
