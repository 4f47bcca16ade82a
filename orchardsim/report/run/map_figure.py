"""The land of one future through the years: every tree, gap and replant where it stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.geometry import Geometry
from orchardsim.plan.pollination import extra_positions
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run_formats import footer
from orchardsim.report.style import BRICK, INK, LEAF, OCHRE, add_footer, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Codes = NDArray[np.int8]

GROUND, GAP, FIRST, REPLANT = range(4)
COLOURS: Final = ("#dcd9c9", "#ffffff", LEAF, OCHRE)
"""Of ground, gap, tree of the first planting, replant; a gap bears a cross and a replant a dot as well."""
MARKS: Final[dict[int, dict[str, Any]]] = {
    GAP: {"marker": "x", "color": BRICK, "linestyle": "none", "markersize": 2.6, "markeredgewidth": 0.8},
    REPLANT: {"marker": "o", "color": INK, "linestyle": "none", "markersize": 1.6, "markeredgewidth": 0.0},
}
MOST_PANELS: Final = 6
BETWEEN: Final = 8.0
"""Metres drawn between two blocks; where blocks lie is not part of a plan."""


def land_figure(run: SavedRun) -> Figure:
    """Small multiples of the block map over the years of one future; the first whose single trees are kept."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    years = _years(run)
    land = run.summary["sheet"]["land"]
    across = max(block["trees_per_row"] * block["tree_spacing_m"] for block in land)
    deep = sum(block["rows"] * block["row_spacing_m"] + BETWEEN for block in land)
    columns = min(2, len(years))
    rows = -(-len(years) // columns)
    height = min(2.95 * (deep - BETWEEN) / across, 3.4) * rows + 0.27 * rows + 1.2
    figure, axes = new_figure(rows, columns, height=height, squeeze=False)
    for panel in axes.flat[len(years) :]:
        panel.set_visible(False)
    for panel, year in zip(axes.flat, years, strict=False):
        _panel(panel, run, land, year)
    _scale(axes.flat[len(years) - 1], run, across)
    handles: list[Any] = [
        Patch(facecolor=COLOURS[FIRST]),
        (Patch(facecolor=COLOURS[REPLANT]), Line2D([], [], **MARKS[REPLANT])),
        Line2D([], [], **MARKS[GAP] | {"markersize": 5}),
    ]
    names = ["tree of the first planting", "replanted", "gap"]
    if any(block.get("pollinizers") for block in land):
        handles.append(Line2D([], [], marker="^", color=INK, linestyle="none", markersize=3.5))
        names.append("pollinizer")
    figure.legend(handles, names, loc="outside upper left", ncols=4, handlelength=1.2, columnspacing=1.2)
    trial = int(run.dataset["tree_trial"].values[0])
    add_footer(
        figure,
        f"Future {trial}, taken as it came. Rows and trees to scale; where blocks lie beside each other "
        f"is not part of a plan. {footer(run.dataset)}",
    )
    return figure


def _years(run: SavedRun) -> list[int]:
    """Years of the panels, evenly from the first in which a tree stands to the last."""
    stands = np.flatnonzero(run.dataset["tree_leaf"].values[0].any(axis=1))
    if not stands.size:
        return [int(run.dataset["year"].values[-1])]
    wanted = np.linspace(stands[0], run.dataset.sizes["year"] - 1, MOST_PANELS)
    return [int(run.dataset["year"].values[place]) for place in dict.fromkeys(round(one) for one in wanted)]


def tree_codes(leaves: NDArray[Any], block: dict[str, Any]) -> Codes:
    """What stands at each place of a block in a year, (row, place): ground beyond its last tree.

    ``leaves``: of the tree at each place in planting order, 0 where none stands; ``block``: of ``sheet.land``.

    Examples
    --------
    >>> tree_codes(np.array([5, 2, 0]), {"rows": 2, "trees_per_row": 2}).tolist()
    [[2, 3], [1, 0]]
    """
    codes = np.full(block["rows"] * block["trees_per_row"], GROUND, dtype=np.int8)
    oldest = leaves.max(initial=0)
    if oldest > 0:
        codes[: len(leaves)] = np.where(leaves <= 0, GAP, np.where(leaves < oldest, REPLANT, FIRST))
    return codes.reshape(block["rows"], block["trees_per_row"])


def _panel(axes: Axes, run: SavedRun, land: list[dict[str, Any]], year: int) -> None:
    from matplotlib.colors import ListedColormap

    leaves = run.dataset["tree_leaf"].sel(year=year).values[0]
    top, begin = 0.0, 0
    counts = np.zeros(4, dtype=int)
    for block in land:
        trees = sum(group["trees"] for group in block["groups"])
        codes = tree_codes(leaves[begin : begin + trees], block)
        begin += trees
        counts += np.bincount(codes.ravel(), minlength=4)
        length, width = block["trees_per_row"] * block["tree_spacing_m"], block["rows"] * block["row_spacing_m"]
        # a strip of ground between two rows of trees
        striped = np.zeros((2 * block["rows"], block["trees_per_row"]), dtype=np.int8)
        striped[::2] = codes
        image = axes.imshow(
            striped,
            cmap=ListedColormap(COLOURS),
            vmin=-0.5,
            vmax=3.5,
            extent=(0, length, top - width, top),
            interpolation="nearest",
        )
        image.set_label("_gap 1, first planting 2, replanted 3")
        for kind, mark in MARKS.items():
            row, place = np.nonzero(codes == kind)
            axes.plot(
                (place + 0.5) * block["tree_spacing_m"], top - (row + 0.25) * block["row_spacing_m"], **mark,
                label=f"_{'gap' if kind == GAP else 'replanted'}",
            )  # fmt: skip
        geometry = Geometry(
            block["rows"], block["trees_per_row"], codes.size, block["row_spacing_m"], block["tree_spacing_m"]
        )
        for one in block.get("pollinizers", ()):
            places = extra_positions(geometry, one["every_tree"], one["every_row"])
            axes.plot(
                places[:, 1] + block["tree_spacing_m"] / 2, top - places[:, 0] - block["row_spacing_m"] / 4,
                "^", color=INK, markersize=2.2,
            )  # fmt: skip
        top -= width + BETWEEN
    axes.set_xlim(0, max(block["trees_per_row"] * block["tree_spacing_m"] for block in land))
    axes.set_ylim(top + BETWEEN, 0)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.grid(visible=False)
    for side in axes.spines.values():
        side.set_visible(False)
    told = f"{counts[GAP]} gaps, {counts[REPLANT]} replanted" if counts[GAP:].any() else "nothing stands"
    axes.set_title(f"year {year}: {told}", fontsize=9)


def _scale(axes: Axes, run: SavedRun, across: float) -> None:
    """A bar of a round length below the last panel."""
    length, text = (30.48, "100 ft") if run.formats.us else (25.0, "25 m")
    axes.plot([0, length], [-0.06, -0.06], color=INK, linewidth=2, clip_on=False, transform=axes.get_xaxis_transform())
    axes.set_xlabel(f"bar: {text}" + ("" if length <= across else " (longer than the land)"), fontsize=8, loc="right")
