"""Pictures of a study: cells with their futures, contrasts with limits, interactions, what an answer hangs on."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.report.compare.words import shown, unit_text
from orchardsim.report.study.words import deciding, show_of
from orchardsim.report.style import INK, LEAF, OCHRE, QUIET, SERIES, STONE, add_footer, new_figure, thousands
from orchardsim.results.study import StudyFindings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_CELLS: Final = 30
MARKS: Final = "os^Dv<>P"


def _footer(found: StudyFindings) -> str:
    return f"n = {found.trials} trials of {found.years} years, seed {found.seed}; {found.title}"


def cells_figure(found: StudyFindings) -> Figure:
    """Mean of every cell with the band of its futures, best first."""
    answer, show = deciding(found), show_of(found)
    better = -1 if answer.facts.better == "high" else 1
    cells = sorted(answer.cells, key=lambda cell: better * cell.mean)[:MOST_CELLS]
    figure, axes = new_figure(height=1.3 + 0.28 * len(cells))
    for place, cell in enumerate(cells):
        low, middle, high = (shown(answer.facts, cell.points[point], show) for point in (5, 50, 95))
        axes.plot([low, high], [place, place], color=STONE, linewidth=5, solid_capstyle="butt")
        if cell.luck is not None:
            inner = [shown(answer.facts, value, show) for value in cell.luck]
            axes.plot(inner, [place, place], color=LEAF, linewidth=5, alpha=0.5, solid_capstyle="butt")
        axes.plot(middle, place, "|", color=INK, markersize=9)
        axes.plot(shown(answer.facts, cell.mean, show), place, "o", color=LEAF, markersize=5)
    axes.set_yticks(range(len(cells)), [", ".join(cell.levels.values()) for cell in cells])
    axes.invert_yaxis()
    axes.grid(axis="x")
    axes.set_xlabel(f"{answer.facts.name} [{unit_text(answer.facts, show)}]")
    thousands(axes.xaxis)
    add_footer(figure, f"Dot: mean; stroke: middle future; bar: 18 futures in 20. {_footer(found)}")
    return figure


def contrasts_figure(found: StudyFindings) -> Figure:
    """Contrasts between levels (or cells) with limits that hold together."""
    answer, show = deciding(found), show_of(found)
    kind = "levels" if any(one.kind == "levels" for one in answer.contrasts) else "cells"
    rows = [one for one in answer.contrasts if one.kind == kind][:MOST_CELLS]
    figure, axes = new_figure(height=1.3 + 0.3 * max(len(rows), 1))
    for place, one in enumerate(rows):
        low, middle, high = (shown(answer.facts, value, show) for value in (one.low, one.mean, one.high))
        colour = LEAF if one.told_apart else QUIET
        axes.plot([low, high], [place, place], color=colour, linewidth=2.5)
        axes.plot(middle, place, "o", color=colour, markerfacecolor=colour if one.told_apart else "white")
    axes.axvline(0, color=INK, linewidth=0.8)
    axes.set_yticks(range(len(rows)), [f"{one.first} less {one.second}" for one in rows])
    axes.invert_yaxis()
    axes.grid(axis="x")
    axes.set_xlabel(f"difference of {answer.facts.name} [{unit_text(answer.facts, show)}]")
    thousands(axes.xaxis)
    add_footer(figure, f"Limits hold together at 95 %; hollow: not told apart. {_footer(found)}")
    return figure


def interactions_figure(found: StudyFindings) -> Figure:
    """Means over the two factors that act together most, a line per level of the second."""
    answer, show = deciding(found), show_of(found)
    pairs = [one for one in answer.shares if len(one.factors) == 2]
    first, second = max(pairs, key=lambda one: one.share).factors if pairs else (*found.factors, *found.factors)[:2]
    figure, axes = new_figure(height=3.6)
    across, lines = found.factors[first], found.factors[second]
    for number, (level, colour, mark) in enumerate(zip(lines, itertools.cycle(SERIES), itertools.cycle(MARKS))):
        means = [
            np.mean([cell.mean for cell in answer.cells if cell.levels[first] == one and cell.levels[second] == level])
            for one in across
        ]
        values = [shown(answer.facts, float(value), show) for value in means]
        axes.plot(
            range(len(across)), values, color=colour, marker=mark, linestyle=("-", "--", ":")[number % 3], label=level
        )
    axes.set_xticks(range(len(across)), across)
    axes.set_xlabel(first)
    axes.set_ylabel(f"{answer.facts.name} [{unit_text(answer.facts, show)}]")
    thousands(axes.yaxis)
    axes.legend(title=second)
    add_footer(figure, f"Means over all other factors; not parallel: the two act together. {_footer(found)}")
    return figure


def shares_figure(found: StudyFindings) -> Figure:
    """What differs between cells, shared out over factors and pairs, and the open levels that contrasts hang on."""
    answer = deciding(found)
    rows = [(" with ".join(one.factors), one.share, one.low, one.high) for one in answer.shares]
    levels: dict[str, float] = {}
    for one in answer.assumptions:
        levels[one.level] = max(levels.get(one.level, 0.0), one.share)
    figure, axes = new_figure(height=1.4 + 0.3 * (len(rows) + len(levels)))
    for place, (_, share, low, high) in enumerate(rows):
        axes.barh(place, 100 * share, color=LEAF, height=0.6)
        axes.plot([100 * low, 100 * high], [place, place], color=INK, linewidth=1)
    for place, share in enumerate(levels.values(), start=len(rows)):
        axes.barh(place, 100 * share, color=OCHRE, height=0.6, hatch="//", edgecolor="white")
    names = [name for name, *_ in rows] + [
        f"largest contrast's share: {name.removeprefix('level_').replace('_', ' ')}" for name in levels
    ]
    axes.set_yticks(range(len(names)), names)
    axes.invert_yaxis()
    axes.grid(axis="x")
    axes.set_xlabel("share of the variance [%]")
    add_footer(figure, f"Plain: between cells, with 90 % limits; hatched: of a contrast over futures. {_footer(found)}")
    return figure


def figures_of(found: StudyFindings) -> dict[str, tuple[str, object]]:
    """Pictures that this study has."""
    answer = deciding(found)
    every = {"cells": ("Cells and their futures", cells_figure)}
    if answer.contrasts:
        every["contrasts"] = ("Differences with limits that hold together", contrasts_figure)
    if answer.shares:
        every["interactions"] = ("Two factors together", interactions_figure)
        every["shares"] = ("What the differences come from", shares_figure)
    return every  # type: ignore[return-value]
