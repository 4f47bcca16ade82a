"""Pictures of a study: cells with their futures, contrasts with limits, interactions, what an answer hangs on."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.report.compare.words import shown, unit_text
from orchardsim.report.study.words import formats_of, level_words, size_words
from orchardsim.report.style import (
    INK,
    LEAF,
    OCHRE,
    QUIET,
    SERIES,
    STONE,
    add_footer,
    new_figure,
    picture_settings,
    thousands,
)
from orchardsim.results.study import MeasureAnswer, StudyFindings

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from orchardsim.report.run_formats import RunFormats

MOST_CELLS: Final = 30
MOST_PANELS: Final = 6
MARKS: Final = "os^Dv<>P"


Plot = Callable[[StudyFindings, "str | None"], "Figure"]


def _in_our_style(plot: Plot) -> Plot:
    """Settings of our pictures while a plot is drawn, also when a notebook calls it."""

    @functools.wraps(plot)
    def drawn(found: StudyFindings, measure: str | None = None) -> Figure:
        with picture_settings():
            return plot(found, measure)

    return drawn


def _footer(found: StudyFindings) -> str:
    return f"{size_words(found)}; {found.design.title}"


@_in_our_style
def plot_cells(found: StudyFindings, measure: str | None = None) -> Figure:
    """Draw the mean of every cell with both bands of its futures, best first.

    Parameters
    ----------
    found : StudyFindings
        From :func:`orchardsim.study_findings`.
    measure : str, optional
        Key of a measure; the one that decides where none is named.

    Raises
    ------
    KeyError
        If the study has no such measure.
    """
    answer, formats = found.answer(measure), formats_of(found)
    better = -1 if answer.facts.better == "high" else 1
    cells = sorted(answer.cells, key=lambda cell: better * cell.mean)[:MOST_CELLS]
    figure, axes = new_figure(height=1.3 + 0.28 * len(cells))
    for place, cell in enumerate(cells):
        low, middle, high = (shown(answer.facts, cell.points[point], formats) for point in (5, 50, 95))
        name = ", ".join(cell.levels.values())
        axes.plot([low, high], [place, place], color=STONE, linewidth=5, solid_capstyle="butt",
                  label=f"_{name}: 18 futures in 20")  # fmt: skip
        if cell.luck is not None:
            inner = [shown(answer.facts, value, formats) for value in cell.luck]
            axes.plot(inner, [place, place], color=LEAF, linewidth=2, solid_capstyle="butt",
                      label=f"_{name}: the same by luck alone")  # fmt: skip
        axes.plot(middle, place, "|", color=INK, markersize=9, label=f"_{name}: middle")
        axes.plot(shown(answer.facts, cell.mean, formats), place, "o", color=LEAF, markersize=5, label=f"_{name}: mean")
    axes.set_yticks(range(len(cells)), [", ".join(cell.levels.values()) for cell in cells])
    axes.invert_yaxis()
    axes.grid(axis="x")
    axes.set_xlabel(f"{answer.facts.name} [{unit_text(answer.facts, formats)}]")
    thousands(axes.xaxis)
    first = f"The best {MOST_CELLS} cells. " if len(answer.cells) > MOST_CELLS else ""
    thin = "; thin: were all levels known" if any(cell.luck is not None for cell in cells) else ""
    add_footer(figure, f"{first}Dot: mean; stroke: middle future; wide bar: 18 futures in 20{thin}. {_footer(found)}")
    return figure


@_in_our_style
def plot_contrasts(found: StudyFindings, measure: str | None = None) -> Figure:
    """Draw differences between levels (or cells) with limits that hold together; arguments as :func:`plot_cells`."""
    answer, formats = found.answer(measure), formats_of(found)
    kind = "levels" if any(one.kind == "levels" for one in answer.contrasts) else "cells"
    rows = [one for one in answer.contrasts if one.kind == kind][:MOST_CELLS]
    figure, axes = new_figure(height=1.3 + 0.3 * max(len(rows), 1))
    for place, one in enumerate(rows):
        low, middle, high = (shown(answer.facts, value, formats) for value in (one.low, one.mean, one.high))
        colour = LEAF if one.told_apart else QUIET
        name = f"{one.first} less {one.second}"
        axes.plot([low, high], [place, place], color=colour, linewidth=2.5, label=f"_{name}: limits")
        axes.plot(
            middle, place, "o", color=colour, markerfacecolor=colour if one.told_apart else "white",
            label=f"_{name}: mean",
        )  # fmt: skip
    axes.axvline(0, color=INK, linewidth=0.8)
    axes.set_yticks(range(len(rows)), [one.words for one in rows])
    axes.invert_yaxis()
    axes.grid(axis="x")
    axes.set_xlabel(f"difference of {answer.facts.name} [{unit_text(answer.facts, formats)}]")
    thousands(axes.xaxis)
    add_footer(figure, f"Limits hold together at 95 %; hollow: not told apart. {_footer(found)}")
    return figure


@_in_our_style
def plot_interactions(found: StudyFindings, measure: str | None = None) -> Figure:
    """Draw means over each pair of factors, those first that act together most; arguments as :func:`plot_cells`."""
    answer, formats = found.answer(measure), formats_of(found)
    shares = sorted((one for one in answer.shares if len(one.factors) == 2), key=lambda one: -one.share)[:MOST_PANELS]
    if not shares:
        raise ValueError("interactions need a factorial of two factors or more, and a measure that is always finite")
    across = 1 if len(shares) == 1 else 2
    figure, _ = new_figure(height=1.0 + 3.0 * -(-len(shares) // across))
    figure.clear()
    for number, share in enumerate(shares, start=1):
        axes = figure.add_subplot(-(-len(shares) // across), across, number)
        first, second = sorted(share.factors, key=lambda name: -len(found.design.factors[name]))
        _interaction(axes, found, answer, formats, first, second)
        axes.set_title(f"{first} with {second}: {100 * share.share:.0f} %", fontsize=8, loc="left")
    add_footer(
        figure,
        "Means over all other factors; percent: share of what differs between cells that the pair adds. Bars: limits, "
        "all together at 95 %, of what a pair adds beyond its two levels; "
        f"lines that are parallel within them act apart. {_footer(found)}",
    )
    return figure


def _interaction(
    axes: Axes, found: StudyFindings, answer: MeasureAnswer, formats: RunFormats, first: str, second: str
) -> None:
    """One panel: levels of the first factor across, a line for each level of the second."""
    across, lines = found.design.factors[first], found.design.factors[second]
    half = {
        frozenset(zip(one.factors, one.levels, strict=True)): (one.high - one.low) / 2 for one in answer.interactions
    }
    styles = zip(itertools.cycle(SERIES), itertools.cycle(MARKS), itertools.cycle(("-", "--", ":")), strict=False)
    for number, (level, (colour, mark, line)) in enumerate(zip(lines, styles, strict=False)):
        means, errors = [], []
        for one in across:
            cells = [cell.mean for cell in answer.cells if cell.levels[first] == one and cell.levels[second] == level]
            means.append(shown(answer.facts, float(np.mean(cells)), formats))
            errors.append(shown(answer.facts, half[frozenset(((first, one), (second, level)))], formats))
        places = np.arange(len(across)) + 0.06 * (number - (len(lines) - 1) / 2)
        axes.errorbar(
            places, means, yerr=errors, color=colour, marker=mark, markersize=4, linestyle=line, linewidth=1.2,
            elinewidth=0.8, label=level,
        )  # fmt: skip
    axes.set_xticks(range(len(across)), [one.replace("_", "\n") for one in across], fontsize=7)
    axes.tick_params(axis="y", labelsize=7)
    axes.set_ylabel(f"{answer.facts.name} [{unit_text(answer.facts, formats)}]", fontsize=7)
    thousands(axes.yaxis)
    axes.legend(title=second, fontsize=6, title_fontsize=6)


@_in_our_style
def plot_shares(found: StudyFindings, measure: str | None = None) -> Figure:
    """Draw what differs between cells, shared out over factors and pairs; arguments as :func:`plot_cells`."""
    answer = found.answer(measure)
    rows = sorted(answer.shares, key=lambda one: -one.share)[:MOST_CELLS]
    figure, axes = new_figure(height=1.4 + 0.28 * len(rows))
    for place, one in enumerate(rows):
        name = " with ".join(one.factors)
        axes.barh(place, 100 * one.share, color=LEAF, height=0.6, label=f"_{name}")
        axes.plot([100 * one.low, 100 * one.high], [place, place], color=INK, linewidth=1, label=f"_{name}: limits")
    axes.set_yticks(range(len(rows)), [" with ".join(one.factors) for one in rows])
    axes.invert_yaxis()
    axes.grid(axis="x")
    axes.set_xlabel(f"share of the variance of {answer.facts.name} between cells [%]")
    add_footer(figure, f"Line: 90 % limits from resampled trials. {_footer(found)}")
    return figure


@_in_our_style
def plot_assumptions(found: StudyFindings, measure: str | None = None) -> Figure:
    """Draw which difference hangs on which open level, a mark each; arguments as :func:`plot_cells`."""
    answer = found.answer(measure)
    contrasts = list(dict.fromkeys(one.contrast for one in answer.assumptions))
    weight: dict[str, float] = {}
    for one in answer.assumptions:
        weight[one.level] = weight.get(one.level, 0.0) + one.share
    levels = sorted(weight, key=lambda level: -weight[level])
    figure, axes = new_figure(height=1.8 + 0.34 * max(len(contrasts), 1))
    for one in answer.assumptions:
        x, y = levels.index(one.level), contrasts.index(one.contrast)
        rises = one.slope > 0
        axes.scatter(
            x, y, s=15 + 300 * one.share, color=LEAF if rises else OCHRE, marker="s" if rises else "D", zorder=2,
            label=f"_{one.contrast}, {level_words(one.level)}: {'' if rises else '-'}{100 * one.share:.0f} %",
        )  # fmt: skip
        axes.annotate(
            f"{100 * one.share:.0f}", (x, y), (7, -7), textcoords="offset points", fontsize=5.5, color=QUIET, zorder=3
        )
    axes.set_xticks(range(len(levels)), [level_words(one) for one in levels], rotation=30, ha="right", fontsize=7)
    axes.set_yticks(range(len(contrasts)), contrasts)
    axes.set_xlim(-0.7, max(len(levels), 1) - 0.3)
    axes.set_ylim(max(len(contrasts), 1) - 0.3, -0.7)
    axes.grid(True)
    add_footer(
        figure,
        f"Area and number: share [%] of the spread of the difference of {answer.facts.name} that goes with an open "
        f"level. Squares rise with it, diamonds fall; what cannot be told from chance is left out. {_footer(found)}",
    )
    return figure


@_in_our_style
def plot_factors(found: StudyFindings, measure: str | None = None) -> Figure:
    """Draw every cell's mean over each factor, a panel each, with the regression's slope; arguments as
    :func:`plot_cells`.
    """
    answer, formats = found.answer(measure), formats_of(found)
    names = list(found.design.factors)
    across = min(len(names), 3)
    figure, _ = new_figure(height=1.0 + 2.4 * -(-len(names) // across))
    figure.clear()
    means = np.array([shown(answer.facts, cell.mean, formats) for cell in answer.cells])
    for number, name in enumerate(names, start=1):
        axes = figure.add_subplot(-(-len(names) // across), across, number)
        drawn = found.design.values.get(name)
        if drawn is None:
            at = found.design.levels[:, number - 1].astype(float)
            axes.set_xticks(range(len(found.design.factors[name])), found.design.factors[name], fontsize=7)
        else:
            at = np.array(drawn)
            slope = next((one for one in answer.contrasts if one.factor == name), None)
            if slope is not None:
                rise = shown(answer.facts, slope.mean, formats)
                ends = np.array([at.min(), at.max()])
                line = means.mean() + rise * (ends - at.mean()) / np.ptp(at)
                axes.plot(ends, line, color=LEAF if slope.told_apart else QUIET)
        axes.plot(at, means, "o", color=INK, markersize=3)
        axes.set_title(name, fontsize=8, loc="left")
        axes.tick_params(labelsize=7)
        axes.set_ylabel(f"{answer.facts.name} [{unit_text(answer.facts, formats)}]", fontsize=7)
        thousands(axes.yaxis)
    add_footer(
        figure,
        "Dot: mean of a cell; line: regression on all factors, all others held; grey: not told apart. "
        + _footer(found),
    )
    return figure


def figures_of(found: StudyFindings) -> dict[str, tuple[str, Callable[..., Figure]]]:
    """Pictures that this study has."""
    answer = found.answers[0]
    factors = not found.design.factorial and answer.contrasts
    return {
        name: (heading, plot)
        for name, heading, plot, shown in (
            ("cells", "Cells and their futures", plot_cells, True),
            ("contrasts", "Differences with limits that hold together", plot_contrasts, answer.contrasts),
            ("factors", "Factor by factor", plot_factors, factors),
            ("interactions", "Factors two by two", plot_interactions, answer.interactions),
            ("shares", "What the differences come from", plot_shares, answer.shares),
            ("assumptions", "Which difference hangs on which assumption", plot_assumptions, answer.assumptions),
        )
        if shown
    }
