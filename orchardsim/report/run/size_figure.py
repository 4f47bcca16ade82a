"""Size and grade of the fruit: what is packed, by leaf of each label, and how heavy the mean fruit is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run_formats import footer
from orchardsim.report.style import (
    FILLS,
    HATCHES,
    LINES,
    SERIES,
    WIDTH,
    add_footer,
    whole_ticks,
)
from orchardsim.results import block_labels

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_LABELS: Final = 4
OUNCE: Final = 28.349523
"""Grams in an avoirdupois ounce (read: international yard and pound agreement, 1959)."""


def size_figure(run: SavedRun) -> Figure:
    """Shares of picked fruit by grade, a panel for each label, over the mean fruit by leaf."""
    from matplotlib.figure import Figure

    labels = block_labels(run.dataset)[:MOST_LABELS]
    columns = min(2, len(labels))
    rows = -(-len(labels) // columns)
    figure = Figure(figsize=(WIDTH, 3.2 + 2.0 * rows), layout="constrained")
    grid = figure.add_gridspec(rows + 1, columns)
    panels = [figure.add_subplot(grid[place // columns, place % columns]) for place in range(len(labels))]
    below = figure.add_subplot(grid[rows, :])
    for place, (panel, label) in enumerate(zip(panels, labels, strict=True)):
        _grades(panel, run, label)
        _mean_fruit(below, run, label, place)
        if place % columns == 0:
            panel.set_ylabel("% of the fruit picked")
    handles, names = panels[0].get_legend_handles_labels()
    if handles:
        figure.legend(handles, names, loc="outside upper left", ncols=4, handlelength=1.6)
    below.set_title(f"Mean fruit at harvest, {'ounces' if run.formats.us else 'grams'}")
    below.set_xlabel("leaf (growing season since planting)")
    whole_ticks(below)
    if below.get_legend_handles_labels()[0]:
        low, high = below.get_ylim()
        below.set_ylim(low, high + 0.3 * (high - low))  # room for the key
        below.legend(loc="upper right", ncols=2, handlelength=2.6)
    add_footer(figure, f"Mass of fruit by grade over all futures; the rest is culled. {footer(run.dataset)}")
    return figure


def _grades(axes: Axes, run: SavedRun, label: str) -> None:
    found = run.dataset.sel(block=label)
    picked = found["harvested_mass"].transpose("trial", "year").values.sum(axis=0)
    bears = (found["leaf"].values >= 1) & (picked > 0)
    leaf = found["leaf"].values[bears]
    axes.set_title(label)
    axes.set_ylim(0, 100)
    if not bears.any():
        axes.text(0.5, 0.5, "bears nothing\nwithin this run", ha="center", transform=axes.transAxes)
        return
    bottom = np.zeros(leaf.size)
    for number, grade in enumerate(run.dataset["grade"].values):
        mass = found["packed_mass"].sel(grade=grade).transpose("trial", "year").values.sum(axis=0)
        share = 100 * mass[bears] / picked[bears]
        axes.bar(
            leaf, share, bottom=bottom, width=0.85, color=FILLS[number % 4], hatch=HATCHES[number % 4],
            edgecolor="white", linewidth=0.3, label=term(str(grade)),
        )  # fmt: skip
        bottom += share
    whole_ticks(axes)


def _mean_fruit(axes: Axes, run: SavedRun, label: str, place: int) -> None:
    found = run.dataset.sel(block=label)
    number = found["fruit_number"].transpose("trial", "year").values
    mass = np.nan_to_num(found["fruit_mass_mean"].transpose("trial", "year").values)
    bears = (found["leaf"].values >= 1) & (number.sum(axis=0) > 0)
    if bears.any():
        mean = (number * mass).sum(axis=0)[bears] / number.sum(axis=0)[bears]
        axes.plot(
            found["leaf"].values[bears], mean / OUNCE if run.formats.us else mean, color=SERIES[place],
            linestyle=LINES[place], linewidth=1.8, marker="o", markersize=2.5, label=label,
        )  # fmt: skip
