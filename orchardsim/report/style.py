"""Look of the pictures: our own quiet palette, one frame, one footer. The plotting library is loaded late."""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

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
        yield


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
    names = ("18 trials in 20", "half of the trials", "middle trial") if labels else (None, None, None)
    axes.fill_between(x, low, high, color=colour, alpha=0.16, linewidth=0, label=names[0])
    axes.fill_between(x, lower, upper, color=colour, alpha=0.32, linewidth=0, label=names[1])
    axes.plot(x, middle, color=colour, linewidth=2, label=names[2])
    if len(x) == 1:
        axes.errorbar(x, middle, yerr=[middle - low, high - middle], color=colour, fmt="o")


def whole_ticks(axes: Axes, steps: tuple[int, ...] | None = None) -> None:
    """Years and leaves are whole numbers."""
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=12, steps=steps))


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


def png_bytes(figure: Figure) -> bytes:
    """The picture as PNG; call it after :func:`svg_text`."""
    # The frame was fitted for the SVG; fitting it again would take longer than drawing.
    figure.set_layout_engine("none")
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=150, metadata={"Software": None})
    return buffer.getvalue()
