"""What a picture shows, as numbers and as words: read from the drawing itself, so that they cannot disagree."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

HIDDEN: Final = "_"
"""Start of a label that no legend shows; a name of ours behind it still tells what is drawn."""
MOST_SERIES: Final = 6
"""Lines and bands of a panel that the words tell of."""


@dataclass(frozen=True)
class Drawn:
    """A line, band or row of bars: its panel, name, and points (``high`` is the upper edge of a band)."""

    panel: str
    name: str
    x: Array
    y: Array
    high: Array | None = None


def drawn_series(figure: Figure) -> list[Drawn]:
    """All that is drawn with a scale in a picture, panel by panel."""
    return [one for axes in figure.axes if axes.get_visible() and axes.axison for one in _of_panel(axes)]


def _of_panel(axes: Axes) -> Iterator[Drawn]:
    panel = (axes.get_title(loc="left") or axes.get_title() or axes.get_ylabel()).replace("\n", " ")
    bars = {id(patch) for held in axes.containers for patch in held}
    for held in axes.containers:
        line = getattr(held, "lines", (None,))[0]  # of points with error bars
        if line is not None:
            bars.add(id(line))
            yield Drawn(panel, _name(held), _numbers(line.get_xdata()), _numbers(line.get_ydata()))
            continue
        patches: list[Any] = [patch for patch in held if hasattr(patch, "get_width")]
        if patches:
            across = getattr(held, "orientation", "vertical") == "horizontal"
            middle = [one.get_y() + one.get_height() / 2 if across else one.get_x() + one.get_width() / 2
                      for one in patches]  # fmt: skip
            size = [one.get_width() if across else one.get_height() for one in patches]
            yield Drawn(panel, _name(held), _numbers(middle), _numbers(size))
    for step in axes.patches:
        if type(step).__name__ == "StepPatch":
            found: Any = step
            high, edges, base = (_numbers(one) for one in found.get_data())
            yield Drawn(panel, _name(step), (edges[:-1] + edges[1:]) / 2, high - base)
    for band in axes.collections:
        if type(band).__name__ == "QuadMesh":
            rows = [text.get_text() for text in axes.yaxis.get_ticklabels()]
            cells = np.ma.filled(np.ma.asarray(band.get_array(), dtype=np.float64), np.nan)
            for name, values in zip(rows, cells.reshape(len(rows), -1), strict=True):
                yield Drawn(panel, name, np.arange(1.0, values.size + 1), values)
        if type(band).__name__ == "FillBetweenPolyCollection":
            for path in band.get_paths():
                yield _band(panel, _name(band), path.vertices)
        if type(band).__name__ == "PathCollection" and len(points := np.asarray(band.get_offsets())):
            yield Drawn(panel, _name(band), _numbers(points[:, 0]), _numbers(points[:, 1]))
    for image in axes.images:
        values = np.asarray(image.get_array(), dtype=np.float64)
        for row in np.flatnonzero(values.any(axis=1)):
            yield Drawn(panel, f"{_name(image)}: line {row + 1}", np.arange(1.0, values.shape[1] + 1), values[row])
    for line in axes.lines:
        x, y = _numbers(line.get_xdata()), _numbers(line.get_ydata())
        # a line over the whole panel marks a value and is no series, nor are unnamed strokes of error bars and marks
        stroke = str(line.get_label()).startswith("_child")
        if id(line) not in bars and x.size and line.get_transform() == axes.transData and not stroke:
            yield Drawn(panel, _name(line), x, y)


def _band(panel: str, name: str, vertices: Any) -> Drawn:
    points = np.asarray(vertices, dtype=np.float64)
    lows: dict[float, float] = {}
    highs: dict[float, float] = {}
    for x, y in points:
        lows[x] = min(lows.get(x, np.inf), y)
        highs[x] = max(highs.get(x, -np.inf), y)
    places = sorted(lows)
    return Drawn(panel, name, np.array(places), _numbers([lows[x] for x in places]),
                 _numbers([highs[x] for x in places]))  # fmt: skip


def _name(artist: Any) -> str:
    label = str(artist.get_label())
    return "" if label.startswith(("_child", "_container", "_nolegend")) else label.removeprefix(HIDDEN)


def _numbers(values: Any) -> Array:
    return np.asarray(np.ma.filled(np.ma.asarray(values, dtype=np.float64), np.nan), dtype=np.float64)


def numbers_csv(figure: Figure) -> str:
    """The picture's numbers, a row a point: panel, series, x, value (lower edge of a band), upper edge."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(["panel", "series", "x", "value", "upper"])
    for one in drawn_series(figure):
        for place, (x, y) in enumerate(zip(one.x, one.y, strict=True)):
            upper = "" if one.high is None else f"{one.high[place]:.6g}"
            writer.writerow([one.panel, one.name, f"{x:.6g}", f"{y:.6g}" if np.isfinite(y) else "", upper])
    return held.getvalue()


def picture_words(heading: str, figure: Figure) -> str:
    """The picture in words, for whoever cannot see it: each panel's series from first to last, with its extremes."""
    panels: dict[str, list[str]] = {}
    for one in drawn_series(figure):
        known = np.isfinite(one.y)
        if ": line " in one.name:  # a map: its title counts what stands
            panels.setdefault(one.panel, [])
            continue
        if one.name and known.any():
            panels.setdefault(one.panel, []).append(_series_words(one, known))
    told = [": ".join(filter(None, [panel, "; ".join(words[:MOST_SERIES])])) for panel, words in panels.items()]
    return ". ".join([heading, *told]) + "."


def _series_words(one: Drawn, known: NDArray[np.bool_]) -> str:
    x, y = one.x[known], one.y[known]
    if one.high is not None:
        last = np.flatnonzero(known)[-1]
        return f"{one.name} between {y[-1]:,.3g} and {one.high[last]:,.3g} at {x[-1]:g}"
    top, low = int(np.argmax(y)), int(np.argmin(y))
    return f"{one.name} lowest {y[low]:,.3g} at {x[low]:g}, highest {y[top]:,.3g} at {x[top]:g}"
