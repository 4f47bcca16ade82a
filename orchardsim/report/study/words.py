"""What a study says in words and tables: cells, contrasts, places, what an answer hangs on, and how it was made."""

from __future__ import annotations

from typing import Final

from orchardsim.report.columns import text_columns
from orchardsim.report.compare.words import unit_text, value_text
from orchardsim.report.show import Show
from orchardsim.results.study import Contrast, MeasureAnswer, StudyFindings

MOST_ROWS: Final = 12
"""Rows of a table on the first screen."""
MATTERS: Final = 0.05
"""Share of a contrast's variance from which a level is named."""


def show_of(found: StudyFindings) -> Show:
    """Units and money in which a study is shown."""
    import xarray

    return Show.of(xarray.Dataset(attrs=dict(found.attrs)))


def deciding(found: StudyFindings) -> MeasureAnswer:
    """The measure that decides."""
    return found.answers[0]


def cell_cells(answer: MeasureAnswer, show: Show, most: int | None = None) -> list[list[str]]:
    """Cells of a study as rows of text, best mean first."""
    facts = answer.facts
    best_first = sorted(
        range(len(answer.cells)),
        key=lambda place: answer.cells[place].mean * (-1 if facts.better == "high" else 1),
    )
    factors = list(answer.cells[0].levels)
    rows = [[*factors, "mean", "±", "5 %", "50 %", "95 %", "first in", "first mean in"]]
    for place in best_first[:most]:
        cell = answer.cells[place]
        shares = ["–", "–"]
        if answer.places.size:
            shares[0] = f"{100 * answer.places[place, 0]:.0f} %"
        if answer.places_of_means.size:
            shares[1] = f"{100 * answer.places_of_means[place, 0]:.0f} %"
        rows.append(
            [
                *cell.levels.values(),
                value_text(facts, cell.mean, show),
                value_text(facts, cell.standard_error, show),
                *(value_text(facts, cell.points[point], show) for point in (5, 50, 95)),
                *shares,
            ]
        )
    return rows


def contrast_cells(answer: MeasureAnswer, show: Show, kind: str = "levels") -> list[list[str]]:
    """Contrasts of one kind as rows of text."""
    rows = [["factor", "first", "second", "first less second", "limits, all together", "told apart", "first better in"]]
    for one in answer.contrasts:
        if one.kind == kind:
            low, high = (value_text(answer.facts, value, show, signed=True) for value in (one.low, one.high))
            rows.append(
                [
                    one.factor or "cells",
                    one.first,
                    one.second,
                    value_text(answer.facts, one.mean, show, signed=True),
                    f"{low} to {high}",
                    "yes" if one.told_apart else "no",
                    f"{100 * one.futures_better:.0f} %",
                ]
            )
    return rows


def study_sentences(found: StudyFindings) -> list[str]:
    """The answer in sentences."""
    answer, show = deciding(found), show_of(found)
    facts = answer.facts
    lines = [f"Decided by {facts.name} ({facts.meaning}), in {unit_text(facts, show)}."]
    if not answer.contrasts:
        lines.append(f"{facts.name} is not a finite number in every cell, so cells are ranked but not contrasted.")
        return lines
    lines += [_level_sentence(answer, one, show) for one in answer.contrasts if one.kind == "levels"][:6]
    if not any(one.kind == "levels" for one in answer.contrasts):
        apart = sum(one.told_apart for one in answer.contrasts)
        lines.append(f"Of {len(answer.contrasts)} pairs of cells {apart} can be told apart.")
    pairs = [one for one in answer.shares if len(one.factors) == 2]
    if pairs:
        top = max(pairs, key=lambda one: one.share)
        lines.append(
            f"Of what differs between cells, {100 * top.share:.0f} % ({100 * top.low:.0f} to {100 * top.high:.0f} %) "
            f"is {top.factors[0]} acting together with {top.factors[1]}: read those two as a table, not apart."
            if top.low > MATTERS
            else f"No pair of factors acts together by more than {100 * top.high:.0f} % of what differs between cells."
        )
    heavy = sorted((one for one in answer.assumptions if one.share > MATTERS), key=lambda one: -one.share)
    for one in heavy[:3]:
        change = value_text(facts, one.slope, show, signed=True)
        lines.append(
            f"{one.contrast} hangs on {one.level.removeprefix('level_').replace('_', ' ')}: one standard deviation "
            f"more changes it by {change}, {100 * one.share:.0f} % of its spread."
        )
    if not found.drawn_levels:
        lines.append("What nobody knows beforehand was held at its middle: the spread is that of luck alone.")
    return lines


def _level_sentence(answer: MeasureAnswer, one: Contrast, show: Show) -> str:
    facts = answer.facts
    if not one.told_apart:
        return f"{one.factor}: {one.first} and {one.second} cannot be told apart with {len_text(one)}."
    first_better = (one.mean > 0) == (facts.better == "high")
    better, other = (one.first, one.second) if first_better else (one.second, one.first)
    share = one.futures_better if first_better else 1 - one.futures_better
    gap = value_text(facts, abs(one.mean), show)
    return (
        f"{one.factor}: {better} is better than {other} by {gap} {unit_text(facts, show)} on average, and in "
        f"{100 * share:.0f} % of futures."
    )


def len_text(one: Contrast) -> str:
    """How wide a contrast's limits are, relative to its spread over futures."""
    return "these futures" if one.spread > 0 else "any number of futures: they are the same"


def methods_paragraph(found: StudyFindings) -> str:
    """How the study was made, for the methods section of a report."""
    factors = "; ".join(f"{name} ({', '.join(levels)})" for name, levels in found.factors.items())
    design = (
        f"a full factorial of {factors}"
        if found.design == "factorial"
        else f"a Latin hypercube of {found.cells} cells over {', '.join(found.factors)}"
    )
    held = "; ".join(f"{key} = {value}" for key, value in found.held.items())
    limits = deciding(found)
    critical = f" (critical value {limits.critical:.2f})" if limits.contrasts else ""
    open_levels = (
        "Levels that are not known beforehand were drawn once per future and were the same in all cells."
        if found.drawn_levels
        else "Levels that are not known beforehand were held at their middle."
    )
    return (
        f"{found.title}. The experiment was {design}, simulated with orchardsim {found.attrs['version']} from the plan "
        f"{found.attrs['base_plan']!r} (hash {str(found.attrs['base_plan_hash'])[:12]}), {found.cells} cells of "
        f"{found.trials} trials over {found.years} years, seed {found.seed}. "
        + (f"Set in every cell: {held}. " if held else "")
        + "All else is as in the base plan. Trial t met the same seasons and prices in every cell, so cells were "
        f"compared within trials. {open_levels} The unit of replication is the trial, n = {found.trials}; trees of one "
        f"trial are not independent. Limits of contrasts hold together at 95 % by the bootstrap of the largest "
        f"studentised difference over trials{critical}. Sources of all constants: orchardsim catalogue."
    )


def study_table(found: StudyFindings, *, everything: bool = False) -> str:
    """The study as text: best cells, contrasts between levels, sentences."""
    answer, show = deciding(found), show_of(found)
    most = None if everything else MOST_ROWS
    cells = cell_cells(answer, show, most)
    lines = [
        f"{found.title}: {found.cells} cells, n = {found.trials} trials of {found.years} years, seed {found.seed}",
        f"{answer.facts.name} [{unit_text(answer.facts, show)}], best mean first"
        + (f" ({MOST_ROWS} of {len(answer.cells)}; --all for the rest)" if most and len(answer.cells) > most else ""),
        *text_columns(cells, left=tuple(range(len(found.factors)))),
        "",
    ]
    contrasts = contrast_cells(answer, show)
    if len(contrasts) > 1:
        lines += [*text_columns(contrasts[: most + 1 if most else None], left=(0, 1, 2)), ""]
    lines += study_sentences(found)
    if everything:
        lines += ["", methods_paragraph(found)]
    return "\n".join(line.rstrip() for line in lines)
