"""What a study says in words and tables: cells, contrasts, places, what an answer hangs on, and how it was made."""

from __future__ import annotations

import collections
import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.core.numbers import percent
from orchardsim.core.parameters import STATUSES
from orchardsim.report.columns import above_table, cells_of, sentence_pieces, table_pieces, text_columns
from orchardsim.report.compare.words import unit_text, value_text
from orchardsim.report.fit.words import wait_cells, wait_sentences
from orchardsim.report.run_formats import RunFormats
from orchardsim.results.study import CellAnswer, Contrast, MeasureAnswer, StudyDesign, StudyFindings
from orchardsim.results.study_tables import base_numbers
from orchardsim.risk.contrasts import RESAMPLES

MOST_CELLS: Final = 6
"""Cells on the first screen, the best (wording only)."""
MATTERS: Final = 0.05
"""Share of a contrast's variance from which a level is named."""
TOO_WIDE: Final = 0.5
"""Width of a share's limits from which on it is not told as found (our own choice)."""
FORETELLS: Final = 0.8
"""Share foretold of cells left out from which a regression speaks for them (our own choice)."""


def formats_of(found: StudyFindings) -> RunFormats:
    """Units and money in which a study is shown."""
    return RunFormats.of(found.design.attrs)


def size_words(found: StudyFindings) -> str:
    """Cells, trials, years and seed of a study."""
    design = found.design
    known = f", {design.known_trials} of them again with known levels" if design.known_trials else ""
    return f"{design.cells} cells, n = {design.trials} trials{known}, {design.years} years, seed {design.seed}"


def level_words(level: str) -> str:
    """An open level for people: "site growth of north"."""
    name, of, key = level.partition(" of ")
    return term(name) + of + key


def cell_cells(answer: MeasureAnswer, formats: RunFormats) -> list[list[str]]:
    """Cells of a study as rows of text, best mean first."""
    facts = answer.facts
    factors = list(answer.cells[0].levels)
    both = any(cell.luck is not None for cell in answer.cells)
    doubts = ["low by luck alone", "high by luck alone", term("not_knowing")] if both else []
    points = [term("low"), term("middle"), term("high")]
    rows = [[*factors, "mean", "±", *points, *doubts, "first in", "first mean in"]]
    for place in _best_first(answer):
        cell = answer.cells[place]
        shares = ["–", "–"]
        if answer.places.size:
            shares[0] = f"{100 * answer.places[place, 0]:.0f} %"
        if answer.places_of_means.size:
            shares[1] = f"{100 * answer.places_of_means[place, 0]:.0f} %"
        inner = []
        if both:
            inner = ["–", "–"] if cell.luck is None else [value_text(facts, value, formats) for value in cell.luck]
            inner.append(_share_text(cell))
        rows.append(
            [
                *cell.levels.values(),
                value_text(facts, cell.mean, formats),
                value_text(facts, cell.standard_error, formats),
                *(value_text(facts, cell.points[point], formats) for point in (5, 50, 95)),
                *inner,
                *shares,
            ]
        )
    return rows


def _best_first(answer: MeasureAnswer) -> list[int]:
    """Places of the cells by their means."""
    sign = -1 if answer.facts.better == "high" else 1
    return sorted(range(len(answer.cells)), key=lambda place: answer.cells[place].mean * sign)


def contrast_cells(answer: MeasureAnswer, formats: RunFormats) -> list[list[str]]:
    """Contrasts between levels as rows of text."""

    def text(value: float, *, signed: bool = False) -> str:
        return value_text(answer.facts, value, formats, signed=signed)

    return cells_of(
        [one for one in answer.contrasts if one.kind == "levels"],
        ("factor", lambda one: one.factor or "cells"),
        ("first", lambda one: one.first),
        ("second", lambda one: one.second),
        ("first less second", lambda one: text(one.mean, signed=True)),
        ("limits, all together", lambda one: f"{text(one.low, signed=True)} to {text(one.high, signed=True)}"),
        ("told apart", lambda one: "yes" if one.told_apart else "no"),
        ("first better in", lambda one: f"{100 * one.futures_better:.0f} %"),
        ("spread", lambda one: text(one.spread)),
        ("of not knowing", lambda one: "–" if one.not_knowing is None else text(one.not_knowing)),
        ("effect size", lambda one: f"{one.effect_size:+.2f}" if math.isfinite(one.effect_size) else "–"),
    )


def interaction_cells(answer: MeasureAnswer, formats: RunFormats) -> list[list[str]]:
    """What pairs of levels add beyond both, as rows of text; those told from nothing only."""
    rows = [["levels", "beyond both", "limits, all together"]]
    for one in answer.interactions:
        if one.low > 0 or one.high < 0:
            mean, low, high = (value_text(answer.facts, v, formats, signed=True) for v in (one.mean, one.low, one.high))
            rows.append([" with ".join(one.levels), mean, f"{low} to {high}"])
    return rows


def assumption_cells(answer: MeasureAnswer, formats: RunFormats) -> list[list[str]]:
    """Which difference hangs on which open level, as rows of text."""
    return cells_of(
        answer.assumptions,
        ("difference", lambda one: one.contrast),
        ("open level", lambda one: level_words(one.level)),
        ("changed by one standard deviation", lambda one: value_text(answer.facts, one.slope, formats, signed=True)),
        ("±", lambda one: value_text(answer.facts, one.standard_error, formats)),
        ("share of its spread", lambda one: f"{100 * one.share:.0f} %"),
    )


def study_sentences(found: StudyFindings) -> list[str]:
    """The answer in sentences."""
    answer, formats = found.answer(), formats_of(found)
    facts = answer.facts
    lines = [f"Decided by {facts.name} ({facts.meaning}), in {unit_text(facts, formats)}."]
    if not answer.contrasts:
        lines.append(f"{facts.name} is not a finite number in every cell, so cells are ranked but not contrasted.")
        return lines
    lines.append(_best_sentence(found, formats))
    lines += [_level_sentence(found, one, formats) for one in answer.contrasts if one.kind == "levels"][:6]
    if not any(one.kind == "levels" for one in answer.contrasts):
        apart = sum(one.told_apart for one in answer.contrasts)
        lines.append(f"Of {len(answer.contrasts)} pairs of cells {apart} can be told apart.")
    idle = _idle_sentences(found, formats) if found.design.factorial else []
    lines += idle
    pairs = [one for one in answer.shares if len(one.factors) == 2]
    if pairs and not idle:
        top = max(pairs, key=lambda one: one.share)
        lines.append(
            f"Of what differs between cells, {100 * top.share:.0f} % ({100 * top.low:.0f} to {100 * top.high:.0f} %) "
            f"is {top.factors[0]} acting together with {top.factors[1]}: read those two as a table, not apart."
            if top.low > MATTERS
            else f"No pair of factors acts together by more than {100 * top.high:.0f} % of what differs between cells."
        )
    if answer.foretold is not None:
        lines.append(_foretold_sentence(answer.foretold))
    known_effects = [one for one in answer.contrasts if one.told_apart and one.not_knowing]
    small = sum(abs(one.effect_size) < 1 for one in known_effects)
    if known_effects:
        lines.append(
            f"Differences told apart: {len(known_effects)}; smaller than what is not known of ground, market and "
            f"hazards moves them (effect size below 1): {small}. More trials do not change that."
        )
    heavy = sorted((one for one in answer.assumptions if one.share > MATTERS), key=lambda one: -one.share)
    for one in heavy[:3]:
        change = value_text(facts, one.slope, formats, signed=True)
        lines.append(
            f"{one.contrast} hangs on {level_words(one.level)}: one standard deviation "
            f"more changes it by {change}, {100 * one.share:.0f} % of its spread."
        )
    lines += not_knowing_words(answer.cells, found.design.known_trials)
    if not found.drawn_levels:
        lines.append("What nobody knows beforehand was held at its middle: the spread is that of luck alone.")
    return lines


def _best_sentence(found: StudyFindings, formats: RunFormats) -> str:
    """The cell with the best mean, and from how many others it is told apart."""
    answer = found.answer()
    place = _best_first(answer)[0]
    best, label = answer.cells[place], found.design.label(place)
    mean, error = (value_text(answer.facts, value, formats) for value in (best.mean, best.standard_error))
    leads = f"{label} has the best mean, {mean} ± {error}"
    kind = "levels" if len(found.design.factors) == 1 else "cells"
    pairs = [one for one in answer.contrasts if one.kind == kind and label in (one.first, one.second)]
    open_pairs = sum(not one.told_apart for one in pairs)
    if not pairs:
        chance = f"; it stays first in {percent(answer.places_of_means[place, 0])} of resamples"
        return f"Of {len(answer.cells)} cells {leads}{chance if answer.places_of_means.size else ''}."
    if open_pairs:
        which = "any other" if open_pairs == len(pairs) else f"{open_pairs} of the {len(pairs)} others"
        return f"No cell is surely best: {leads}, but is not told apart from {which}."
    return f"Of {len(answer.cells)} cells {leads}, and is told apart from all others."


def _share_text(cell: CellAnswer) -> str:
    if cell.not_knowing is None or cell.not_knowing_limits is None:
        return "–"
    low, high = cell.not_knowing_limits
    return f"{100 * cell.not_knowing:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def not_knowing_words(cells: Sequence[CellAnswer], trials: int) -> list[str]:
    """How much of the spread of a cell is not knowing, as far as the trials with known levels tell."""
    shares = [cell.not_knowing for cell in cells if cell.not_knowing is not None]
    limits = [cell.not_knowing_limits for cell in cells if cell.not_knowing_limits is not None]
    if not shares or not limits:
        return []
    low, high = min(one[0] for one in limits), max(one[1] for one in limits)
    if high - low > TOO_WIDE:
        return [
            f"How much of a cell's variance is not knowing and how much luck, {trials} futures with known levels "
            f"cannot tell: {100 * low:.0f} to {100 * high:.0f} % is not knowing. More known_trials narrow that."
        ]
    return [
        f"Were every open level known, {100 * min(shares):.0f} to {100 * max(shares):.0f} % of the variance of a cell "
        f"would go ({100 * low:.0f} to {100 * high:.0f} % with the error of {trials} futures); the rest is luck. More "
        "trials shrink neither."
    ]


def _level_sentence(found: StudyFindings, one: Contrast, formats: RunFormats) -> str:
    facts = found.answer().facts
    if not one.told_apart:
        sample = sample_words(one, found.design)
        return f"{one.factor}: {one.first} and {one.second} cannot be told apart with {sample}."
    first_better = (one.mean > 0) == (facts.better == "high")
    better, other = (one.first, one.second) if first_better else (one.second, one.first)
    share = one.futures_better if first_better else 1 - one.futures_better
    gap = value_text(facts, abs(one.mean), formats)
    return (
        f"{one.factor}: {better} is better than {other} by {gap} {unit_text(facts, formats)} on average, and in "
        f"{100 * share:.0f} % of futures."
    )


def _idle_sentences(found: StudyFindings, formats: RunFormats) -> list[str]:
    """Which factor changes nothing under some levels of another, and what it does under the rest."""
    design, answer = found.design, found.answer()
    lines = []
    for (place, factor), (beside, other) in itertools.permutations(enumerate(design.factors), 2):
        idle = [level for level in range(len(design.factors[other])) if _idle(found, place, beside, level)]
        acts = [level for level in range(len(design.factors[other])) if level not in idle]
        if not idle or not acts:
            continue
        cells = [answer.cells[cell] for cell in np.flatnonzero(np.isin(design.levels[:, beside], acts))]
        means = {
            name: float(np.mean([cell.mean for cell in cells if cell.levels[factor] == name]))
            for name in design.factors[factor]
        }
        worse, *_, better = sorted(means, key=means.__getitem__, reverse=answer.facts.better == "low")
        gap = value_text(answer.facts, abs(means[better] - means[worse]), formats)
        nothing, something = (" or ".join(design.factors[other][level] for level in some) for some in (idle, acts))
        lines.append(
            f"{factor} changes nothing where {other} is {nothing}: read no average of it over {other}. Where {other} "
            f"is {something}, {better} is better than {worse} by {gap} {unit_text(answer.facts, formats)}."
        )
    return lines


def _idle(found: StudyFindings, factor: int, beside: int, level: int) -> bool:
    """Whether all levels of a factor give the same under one level of another factor."""
    design, cells = found.design, np.flatnonzero(found.design.levels[:, beside] == level)
    rest = [tuple(np.delete(design.levels[cell], factor)) for cell in cells]
    results = [(one.mean, one.standard_error, *one.points.values()) for one in found.answer().cells]
    return len({(key, results[cell]) for key, cell in zip(rest, cells, strict=True)}) == len(set(rest))


def _foretold_sentence(share: float) -> str:
    if not math.isfinite(share):
        return "Too few cells to try the regression on cells left out of it."
    caution = (
        ""
        if share >= FORETELLS
        else "; what bends or acts together is not in these differences, so look at the cells themselves"
    )
    told = f"{100 * share:.0f} % of" if share > 0 else "nothing of"
    return f"The regression over the cells foretells {told} what differs between cells left out of it{caution}."


def sample_words(one: Contrast, design: StudyDesign) -> str:
    """What two levels cannot be told apart with."""
    if one.spread == 0:
        return "any number of futures: they are the same"
    return "these futures" if design.factorial else "these cells and futures"


def methods_paragraph(found: StudyFindings) -> str:
    """How the study was made, for the methods section of a report."""
    one, formats = found.design, formats_of(found)
    factors = "; ".join(f"{name}: {_levels_text(one, name)}" for name in one.factors)
    design = (
        f"a full factorial ({one.cells} cells)"
        if one.factorial
        else f"a Latin hypercube of {one.cells} cells, drawn by scipy.stats.qmc from the study's seed,"
    )
    held = "; ".join(f"{key} = {value}" for key, value in one.held.items())
    statuses = collections.Counter(each["status"] for each in base_numbers(found))
    counts = ", ".join(f"{statuses[status]} {status}" for status in STATUSES if statuses[status])
    return " ".join(
        [
            f"{one.title}. The experiment was {design} over {factors}.",
            f"It was simulated with orchardsim {one.attrs['version']} from the plan {one.attrs['base_plan']!r} "
            f"(SHA-256 {str(one.attrs['base_plan_hash'])[:12]}): {one.trials} trials of each cell over {one.years} "
            f"years, seed {one.seed}.",
            f"Set in every cell: {held}." if held else "",
            f"All else is held as in the base plan: weather from {one.attrs['weather_words']}; {formats.money_basis}, "
            f"discounted at {100 * one.attrs['discount_rate']:g} % a year.",
            "Trial t met the same seasons, prices and open levels in every cell, so cells were compared within trials.",
            _open_levels_text(found),
            f"The unit of replication is the trial, n = {one.trials}; trees of one trial are not independent.",
            _limits_text(found),
            "Later plantings met the same futures. What a row would show was taken from simulated first rows, up "
            "to sixty trees measured a year. Its worth comes from money regressed on the levels that trees feel "
            "(Strong et al. 2015, Medical Decision Making 35:570)."
            if found.waiting
            else "",
            f"{sum(statuses.values())} numbers that the base plan does not state come from the program's catalogue "
            f"({counts}), each with its source in sources.csv.",
        ]
    ).replace("  ", " ")


def _levels_text(one: StudyDesign, name: str) -> str:
    """Levels of a factor with what each sets: a name stands beside it where it says more than the value."""
    if name in one.values:
        return one.sets[name][0]
    keys = {words.split(" = ")[0] for words in one.sets[name]}
    pairs = zip(one.factors[name], one.sets[name], strict=True)
    if len(keys) == 1 and all(words == f"{next(iter(keys))} = {level}" for level, words in pairs):
        return f"{next(iter(keys))} = {', '.join(one.factors[name])}"
    return ", ".join(f"{level} ({words})" for level, words in zip(one.factors[name], one.sets[name], strict=True))


def _open_levels_text(found: StudyFindings) -> str:
    if not found.drawn_levels:
        return "Levels that are not known beforehand were held at their middle."
    text = (
        f"Levels that are not known beforehand ({len(found.drawn_levels)} of them, such as "
        f"{level_words(found.drawn_levels[0])}; their spreads stand in sources.csv) were drawn once per trial."
    )
    if found.design.known_trials:
        text += (
            f" The first {found.design.known_trials} trials were run again with all of these levels at their middle, "
            "in the same seasons. The effect size is a mean difference over the standard deviation of what the levels "
            "add to it, trial by trial. Further trials do not shrink it."
        )
    return text


def _limits_text(found: StudyFindings) -> str:
    answer = found.answer()
    if not answer.contrasts:
        return ""
    how = (
        ""
        if found.design.factorial or answer.foretold is None
        else ", each from a least-squares regression over the cells within a trial, with the error of its misfit added,"
    )
    return (
        f"Limits of the {len(answer.contrasts)} contrasts of {answer.facts.name}{how} hold together at 95 % by a "
        f"bootstrap of the largest studentised difference, {RESAMPLES:,} resamples of trials (critical value "
        f"{answer.critical:.2f}). Other measures likewise, each by itself."
    )


def waiting_parts(found: StudyFindings) -> list[tuple[str, list[str], list[list[str]]]]:
    """What waiting is worth in every circumstance: title, sentences, table."""
    return [
        (f"What waiting is worth{f', {name}' if name else ''}", wait_sentences(one), wait_cells(one))
        for name, one in found.waiting
    ]


def study_screen(found: StudyFindings) -> str:
    """The short answer: sentences, and the best cells."""
    answer, formats = found.answer(), formats_of(found)
    factors = len(found.design.factors)
    cells = [row[: factors + 5] for row in cell_cells(answer, formats)]
    head = [
        *sentence_pieces([f"{found.design.title}: {size_words(found)}"]),
        *sentence_pieces(study_sentences(found)),
    ]
    for title, sentences, _ in waiting_parts(found):
        head += sentence_pieces([f"{title}: {sentences[0]}"])
    table = table_pieces(cells[: MOST_CELLS + 1], left=range(factors))
    if table and len(answer.cells) > MOST_CELLS:
        table.append([f"The best {MOST_CELLS} of {len(answer.cells)} cells; --all shows the rest."])
    return above_table(head, table)


def study_table(found: StudyFindings) -> str:
    """The study as text: all cells, contrasts between levels, sentences, methods."""
    answer, formats = found.answer(), formats_of(found)
    lines = [
        f"{found.design.title}: {size_words(found)}",
        f"{answer.facts.name} [{unit_text(answer.facts, formats)}], best mean first",
        *text_columns(cell_cells(answer, formats), left=range(len(found.design.factors))),
        "",
    ]
    contrasts = contrast_cells(answer, formats)
    if len(contrasts) > 1:
        lines += [*text_columns(contrasts, left=(0, 1, 2)), ""]
    for title, sentences, cells in waiting_parts(found):
        lines += [title, *sentences, *text_columns(cells, left=range(len(cells[0]))), ""]
    lines += [*study_sentences(found), "", methods_paragraph(found)]
    return "\n".join(line.rstrip() for line in lines)
