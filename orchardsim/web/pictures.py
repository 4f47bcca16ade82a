"""Pictures that follow each change at once: the land to scale, the bill by year, bands through the years.

SVG with plain attributes only, so that the page needs no inline style; drawn without the plotting library, which would
take longer than an answer may.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from orchardsim.core.units import FOOT
from orchardsim.plan import Plan
from orchardsim.plan.plan import ResolvedBlock

INKS: Final = ("#2f5d50", "#a8641b", "#41618a", "#7a3b4e", "#6b6a2f", "#55504a")
PAPER_LINE: Final = "#cfc8b8"
INK: Final = "#33302b"
MOST_ROWS: Final = 400
"""Rows drawn of all blocks together; a larger farm is drawn as areas."""
LEFT: Final = 26.0
"""Where the blocks begin in the picture."""
STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def _text(x: float, y: float, words: str, size: float = 12, anchor: str = "start", ink: str = INK) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{ink}">{escape(words)}</text>'
    )


def _svg(width: float, height: float, label: str, parts: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'aria-label="{escape(label, quote=True)}">{"".join(parts)}</svg>'
    )


def land_picture(plan: Plan) -> str:
    """Blocks one beneath the other, to one scale, each tree a mark along its row.

    Rows run from left to right; the arrow shows north.
    """
    blocks = plan.blocks
    if not blocks:
        return _svg(640, 60, "No block stands in the plan", [_text(10, 30, "No block stands in the plan.")])
    lengths = [block.geometry.row_length + 2 * block.geometry.headland for block in blocks]
    widths = [block.geometry.rows * block.geometry.row_spacing for block in blocks]
    scale = min(560 / max(lengths), 330 / sum(widths))
    many = sum(block.geometry.rows for block in blocks) > MOST_ROWS
    parts, top = [], 0.0
    for block, width in zip(blocks, widths, strict=True):
        parts.append(_text(LEFT, top + 16, block.name, 12))
        parts += _block(block, top + 22, scale, many)
        top += 22 + width * scale + 6
    parts += _scale_bar(LEFT, top + 18, scale, plan.units == "us")
    parts += _north(600, top + 18, blocks)
    words = ", ".join(f"{block.name}: {block.geometry.rows} rows of {block.geometry.trees_per_row}" for block in blocks)
    return _svg(640, top + 38, f"The land to scale. {words}", parts)


def _block(block: ResolvedBlock, top: float, scale: float, many: bool) -> list[str]:
    geometry = block.geometry
    length, head = geometry.row_length * scale, geometry.headland * scale
    height = geometry.rows * geometry.row_spacing * scale
    left, right = LEFT + head, LEFT + head + length
    parts = [
        f'<rect x="{LEFT:.1f}" y="{top:.1f}" width="{length + 2 * head:.1f}" height="{height:.1f}" fill="#f3eee0" '
        f'stroke="{PAPER_LINE}"/>'
    ]
    step = geometry.tree_spacing * scale
    crown = max(0.55 * step, 0.3)
    thick = max(min(0.45 * geometry.row_spacing, 0.9 * geometry.tree_spacing) * scale, 0.6)
    row = 0
    for number, group in enumerate(block.groups):
        ink = INKS[number % len(INKS)]
        upper = top + row * geometry.row_spacing * scale
        deep = group.rows * geometry.row_spacing * scale
        if many:
            parts.append(
                f'<rect x="{left:.1f}" y="{upper:.1f}" width="{length:.1f}" height="{deep:.1f}" fill="{ink}" '
                'fill-opacity="0.6"/>'
            )
        for one in range(0 if many else group.rows):
            y = upper + (one + 0.5) * geometry.row_spacing * scale
            parts.append(
                f'<line x1="{left:.2f}" x2="{right:.2f}" y1="{y:.2f}" y2="{y:.2f}" stroke="{ink}" '
                f'stroke-width="{thick:.2f}" stroke-dasharray="{crown:.3f} {step - crown:.3f}"/>'
            )
        if len(block.groups) > 1:
            # The letter tells the rows apart where the ink does not.
            parts.append(_text(LEFT - 6, upper + deep / 2 + 4, letter_of(block, number), 11, "end", ink))
        row += group.rows
    return parts


def letter_of(block: ResolvedBlock, number: int, after: str = "") -> str:
    """Letter of a row group in picture and table; none where the block has one group only."""
    return chr(ord("a") + number % 26) + after if len(block.groups) > 1 else ""


def _scale_bar(x: float, y: float, scale: float, us: bool) -> list[str]:
    unit = FOOT if us else 1.0
    length = max((step for step in STEPS if step * unit * scale <= 160), default=1)
    end = x + length * unit * scale
    return [
        f'<line x1="{x}" x2="{end:.1f}" y1="{y}" y2="{y}" stroke="{INK}" stroke-width="2"/>',
        _text(end + 6, y + 4, f"{length} {'ft' if us else 'm'}", 11),
    ]


def _north(x: float, y: float, blocks: Sequence[ResolvedBlock]) -> list[str]:
    """An arrow to the north, where all rows run the same way."""
    directions = {round(block.plan.layout.row_direction, 3) for block in blocks}
    if len(directions) != 1:
        return []
    turn = math.radians(directions.pop())
    dx, dy = 14 * math.cos(turn), -14 * math.sin(turn)
    return [
        f'<line x1="{x - dx:.1f}" y1="{y - dy:.1f}" x2="{x + dx:.1f}" y2="{y + dy:.1f}" stroke="{INK}"/>',
        f'<circle cx="{x + dx:.1f}" cy="{y + dy:.1f}" r="3" fill="{INK}"/>',
        _text(x + 1.5 * dx + (2 if dx >= 0 else -8), y + 1.5 * dy + 4, "N", 11),
    ]


@dataclass(frozen=True)
class BillTable:
    """What the establishment costs, by item and year."""

    years: tuple[int, ...]
    rows: tuple[tuple[str, tuple[float, ...]], ...]
    totals: tuple[float, ...]

    @property
    def total(self) -> float:
        """All of it."""
        return math.fsum(self.totals)


def bill_table(plan: Plan) -> BillTable:
    """Establishment outlays by item and year, dearest item first."""
    from orchardsim.plan.describe import schedule

    outlays = schedule(plan)
    years = tuple(sorted({one.year for one in outlays}))
    amounts: dict[str, list[float]] = {}
    for one in outlays:
        amounts.setdefault(one.item, [0.0] * len(years))[years.index(one.year)] += one.amount
    rows = sorted(amounts.items(), key=lambda row: -math.fsum(row[1]))
    totals = tuple(math.fsum(row[place] for _, row in rows) for place in range(len(years)))
    return BillTable(years, tuple((item.replace("_", " "), tuple(row)) for item, row in rows), totals)


def band_picture(title: str, rows: Mapping[str, Mapping[str, float]]) -> str:
    """A band through leaves or years: bad, usual and good futures; ``rows``: leaf or year -> its percent points."""
    steps = [int(step) for step in rows]
    points = {name: [float(row[name]) for row in rows.values()] for name in ("p5", "p50", "p95")}
    if len(steps) < 2:
        return ""
    low, high = min(0.0, *points["p5"]), max(0.0, *points["p95"])
    high += (high - low or 1.0) * 0.06
    wide, tall, left, top = 480.0, 170.0, 78.0, 30.0

    def at(step: int, value: float) -> tuple[float, float]:
        return (
            left + (step - steps[0]) / (steps[-1] - steps[0]) * (wide - left - 12),
            top + (high - value) / (high - low) * tall,
        )

    def path(name: str) -> list[str]:
        return ["{:.1f},{:.1f}".format(*at(step, value)) for step, value in zip(steps, points[name], strict=True)]

    parts = [_text(left, 16, title, 13)]
    for value in _ticks(low, high):
        y = at(steps[0], value)[1]
        heavy = INK if value == 0 else PAPER_LINE
        parts.append(f'<line x1="{left}" x2="{wide - 12}" y1="{y:.1f}" y2="{y:.1f}" stroke="{heavy}"/>')
        parts.append(_text(left - 6, y + 4, f"{value:,.0f}", 11, "end"))
    for step in steps[:: max(1, round(len(steps) / 8))]:
        parts.append(_text(at(step, low)[0], top + tall + 18, str(step), 11, "middle"))
    # Blocks of different age leave leaves out between them: each run of leaves is drawn by itself.
    ends = [place for place in range(1, len(steps)) if steps[place] - steps[place - 1] > 1]
    for begin, end in itertools.pairwise([0, *ends, len(steps)]):
        edge = " ".join(path("p5")[begin:end] + path("p95")[begin:end][::-1])
        middle, bad = (" ".join(path(name)[begin:end]) for name in ("p50", "p5"))
        parts.append(f'<polygon points="{edge}" fill="{INKS[0]}" fill-opacity="0.18"/>')
        parts.append(f'<polyline points="{middle}" fill="none" stroke="{INKS[0]}" stroke-width="2.4"/>')
        parts.append(
            f'<polyline points="{bad}" fill="none" stroke="{INKS[3]}" stroke-width="1.2" stroke-dasharray="5 3"/>'
        )
    said = f"{title}: " + "; ".join(
        f"{step}: {points['p5'][place]:,.0f} to {points['p95'][place]:,.0f}, usually {points['p50'][place]:,.0f}"
        for place, step in enumerate(steps)
    )
    return _svg(wide, top + tall + 26, said, parts)


def _ticks(low: float, high: float) -> list[float]:
    span = high - low
    rough = span / 4
    power = 10 ** math.floor(math.log10(rough))
    step = next(one * power for one in (1, 2, 2.5, 5, 10) if one * power >= rough)
    first = math.ceil(low / step)
    return [number * step for number in range(first, math.floor(high / step) + 1)]
