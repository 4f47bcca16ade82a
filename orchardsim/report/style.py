"""Look of the pictures: our own quiet palette, one frame, one footer. The plotting library is loaded late."""

from __future__ import annotations

import gc
import io
import textwrap
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import date_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK: Final = "#2b2f33"
QUIET: Final = "#6c737a"
GRID: Final = "#e3e5e3"
LEAF: Final = "#1f6f66"
SKY: Final = "#4a78a8"
OCHRE: Final = "#c98a1b"
BRICK: Final = "#9c3d2e"
PLUM: Final = "#6b4a7a"
STRAW: Final = "#e6cf8f"
STONE: Final = "#b4bab8"
SERIES: Final = (LEAF, OCHRE, SKY, BRICK, PLUM, STRAW, STONE)
"""Told apart in lightness as well as in hue, so that colour-blind readers and grey printers can follow."""

FILLS: Final = (LEAF, OCHRE, STRAW, STONE)
HATCHES: Final = ("", "//", "..", "xx", "\\\\", "||", "++")
LINES: Final[tuple[Any, ...]] = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)), (0, (3, 1)))
MARKERS: Final = ("o", "s", "^", "D", "v")
"""Hatches, line styles and markers, so that nothing is told apart by colour alone."""

WIDTH: Final = 6.2
"""Inches; narrow enough that the text stays readable on a phone."""

_SETTINGS: Final[Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    # A dollar sign in a name is a dollar sign, not the start of a formula.
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.grid.axis": "y",
    "axes.axisbelow": True,
    "grid.color": GRID,
    "grid.linewidth": 0.8,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "svg.fonttype": "path",
    # Without a fixed salt the same picture would be another file each time.
    "svg.hashsalt": "orchardsim",
    "savefig.facecolor": "white",
}


@contextmanager
def picture_settings() -> Iterator[None]:
    """Our settings for the time of drawing; the user's own are put back afterwards."""
    import matplotlib

    with matplotlib.rc_context(_SETTINGS), warnings.catch_warnings():
        # A sign that the font lacks is drawn as an empty box; the page beside it shows it as text.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        gc.freeze()  # what was there before is not looked through again for every picture's rubbish
        try:
            yield
        finally:
            gc.unfreeze()


def new_figure(rows: int = 1, columns: int = 1, height: float = 3.6, **arguments: Any) -> tuple[Figure, Any]:
    """Empty figure of the page's width, and its axes."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    return figure, figure.subplots(rows, columns, **arguments)


def add_footer(figure: Figure, text: str) -> None:
    """The line that says how many trials and which seasons stand behind the picture."""
    figure.supxlabel("\n".join(textwrap.wrap(text, 104)), fontsize=7, color=QUIET, x=0.01, ha="left")


def draw_band(
    axes: Axes, x: NDArray[Any], values: NDArray[np.float64], *, colour: str = LEAF, labels: bool = True
) -> None:
    """Bands of the middle 90 % and 50 % of trials and the middle trial; values over (trial, x)."""
    low, lower, middle, upper, high = np.quantile(values, (0.05, 0.25, 0.5, 0.75, 0.95), axis=0)
    names = ("18 futures in 20", "half of the futures", "middle future")
    _draw_bands(axes, x, (low, middle, high, lower, upper), names, colour, labels)


def draw_doubts(
    axes: Axes, x: NDArray[Any], outer: Sequence[Any], inner: Sequence[Any], *, colour: str = LEAF, labels: bool = True
) -> None:
    """Middle and 5 to 95 % points of futures (``outer``: low, middle, high), within it those of luck alone."""
    names = ("18 futures in 20", "the same by luck alone", "middle")
    _draw_bands(axes, x, (*outer, *inner), names, colour, labels)


def _draw_bands(
    axes: Axes, x: NDArray[Any], points: Sequence[Any], names: Sequence[str], colour: str, labels: bool
) -> None:
    """Points: low, middle, high, then the ends of the inner band, which is left out where they are unknown."""
    low, middle, high, lower, upper = (np.asarray(one, dtype=np.float64) for one in points)
    wide, narrow, line = (f"{'' if labels else '_'}{name}" for name in names)
    axes.fill_between(x, low, high, color=colour, alpha=0.16, linewidth=0, label=wide)
    if np.isfinite(lower).any():
        axes.fill_between(x, lower, upper, color=colour, alpha=0.32, linewidth=0, label=narrow)
    axes.plot(x, middle, color=colour, linewidth=2, label=line)
    if len(x) == 1:
        axes.errorbar(x, middle, yerr=[middle - low, high - middle], color=colour, fmt="o")


def draw_single(axes: Axes, x: NDArray[Any], futures: Mapping[str, Any], *, labels: bool = True) -> None:
    """Single futures as thin lines through a band, told apart by their strokes."""
    for (name, values), line in zip(futures.items(), LINES[1:], strict=False):
        axes.plot(x, values, color=INK, linewidth=1.0, linestyle=line, label=f"{'' if labels else '_'}{name} future")


def draw_steps(axes: Axes, year: Any, values: Any, base: Any, number: int, name: str, shown: str | None = None) -> None:
    """One layer of a stack of yearly amounts on its base: a fill and a hatch of its own; ``shown``: legend's word."""
    year, values, base = (np.asarray(one, dtype=np.float64) for one in (year, values, base))
    edges = np.concatenate([year - 0.5, year[-1:] + 0.5])
    fill, hatch = SERIES[number % len(SERIES)], HATCHES[number % len(HATCHES)]
    axes.stairs(base + values, edges, baseline=base, fill=True, facecolor=fill, edgecolor="white", hatch=hatch,
                linewidth=0.5, label=f"_{name}" if shown is None else shown)  # fmt: skip


def draw_outcomes(
    axes: Axes, values: NDArray[np.float64], bins: int, names: tuple[str, str]
) -> tuple[NDArray[Any], NDArray[np.float64]]:
    """How often an amount falls out how, % of futures; ``names``: of what lies below zero, and of the rest.

    Bins start at zero, so that no bar stands on both sides of it. Gives the futures in each, and the edges.
    """
    width = max(float(np.ptp(values)) / bins, 1e-6)
    counts, edges = np.histogram(
        values, bins=width * np.arange(np.floor(values.min() / width), np.floor(values.max() / width) + 2)
    )
    below = edges[:-1] < -1e-9
    for side, colour, hatch, name in ((True, BRICK, "//", names[0]), (False, LEAF, "", names[1])):
        here = below == side
        axes.bar(
            edges[:-1][here], 100 * counts[here] / values.size, np.diff(edges)[here] * 0.94, align="edge", color=colour,
            hatch=hatch, edgecolor="white", linewidth=0, label=f"_{name}",
        )  # fmt: skip
    return counts, edges


def legend_above(figure: Figure, panels: Sequence[Axes]) -> None:
    """One legend above all panels, where it hides nothing."""
    handles, names = next((found for panel in panels if (found := panel.get_legend_handles_labels())[0]), ([], []))
    if handles:
        figure.legend(handles, names, loc="outside upper left", ncols=3, handlelength=2.6, columnspacing=1.2)


def whole_ticks(axes: Axes, steps: tuple[int, ...] | None = None) -> None:
    """Years and leaves are whole numbers."""
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=12, steps=steps))


def date_axis(axes: Axes, latitude: float) -> None:
    """Days of the season on the upright axis as dates."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axes.yaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda day, _: date_text(day, latitude)))


def thousands(axis: Any) -> None:
    """Commas between thousands."""
    from matplotlib.ticker import FuncFormatter

    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))


def svg_text(figure: Figure) -> str:
    """The picture as SVG for a page, without the file's head."""
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    return text[text.index("<svg") :]


def pdf_bytes(figure: Figure) -> bytes:
    """The picture as a page of PDF, without the time of writing."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="pdf", metadata={"CreationDate": None, "Creator": None, "Producer": None})
    return buffer.getvalue()
