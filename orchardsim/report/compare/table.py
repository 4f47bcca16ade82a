"""The short tables that ``compare`` prints."""

from __future__ import annotations

import textwrap
from typing import Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.report.columns import SCREEN_WIDTH, one_screen, sentence_pieces, table_pieces, text_columns
from orchardsim.report.compare.words import (
    comparison_sentences,
    contrast_lines,
    footer_text,
    formats_of,
    interval_words,
    land_text,
    luck_caution,
    luck_text,
    measure_name,
    needed_lines,
    same_numbers_text,
    unit_text,
    value_text,
    verdict_text,
)
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import PAYBACK_AND_NPV, RunFormats
from orchardsim.results.comparison import POINTS, Comparison, Measure

TABLES: Final[dict[str, tuple[tuple[str, tuple[int, ...]], ...]]] = {
    "Money of the whole farm": (
        ("npv", (5, 50, 95)),
        ("npv_without_remaining_value", (50,)),
        ("peak_borrowing", (50, 95)),
        ("payback_year", (50, 95)),
        ("irr", (50,)),
        ("outlay", (50,)),
    ),
    "Per area, per money invested and per hour": (
        ("npv_per_area", (5, 50, 95)),
        ("borrowing_per_area", (50,)),
        ("npv_per_money", (50,)),
        ("npv_per_hour", (50,)),
    ),
    "Fruit, trees and work": (
        ("cumulative_yield_to_leaf_5", (50,)),
        ("cumulative_yield_to_leaf_10", (50,)),
        ("picked_early", (50,)),
        ("picked_per_area", (50,)),
        ("trees_lost_share", (50,)),
        ("hours_per_area", (50,)),
        ("picked_per_hour", (50,)),
    ),
}
"""Heading -> measures with their percent points; the tables stand in this order."""

MIDDLE: Final = POINTS.index(50)
POINT_NAMES: Final = {5: term("low"), 50: term("middle"), 95: term("high")}
"""Percent points in words."""
PAIR_ROWS: Final = ("peak_borrowing", "payback_year", "picked_early", "picked_per_area")
"""Measures whose differences stand beside the deciding one."""
MOST_PLANS: Final = 6
"""Plans that the first screen names."""


def plan_tables(found: Comparison, formats: RunFormats) -> dict[str, list[list[str]]]:
    """What each plan brings: heading -> a head, then a row for each number, a column for each plan."""
    tables = {}
    for heading, rows in TABLES.items():
        cells = [["", "", *(plan.label for plan in found.plans)]]
        for key, points in rows:
            measure = found.measures.get(key)
            if measure is not None:
                cells += _measure_rows(found, measure, points, formats)
        if len(cells) > 1:
            tables[heading] = cells
    return tables


def _measure_rows(found: Comparison, measure: Measure, points: tuple[int, ...], formats: RunFormats) -> list[list[str]]:
    name = measure_name(found, measure)
    if measure.unit != "year":
        name += f", {unit_text(measure, formats)}"
    rows = []
    for row, point in enumerate(points):
        values = [measure.points(plan)[POINTS.index(point)] for plan in range(len(found.plans))]
        texts = (value_text(measure, float(value), formats) for value in values)
        rows.append([name if row == 0 else "", POINT_NAMES[point], *texts])
    return rows


def pair_cells(found: Comparison, formats: RunFormats) -> list[list[str]]:
    """Differences of every pair: a head, then a row for each pair."""
    deciding = found.measures[found.deciding]
    others = [found.measures[key] for key in PAIR_ROWS if key in found.measures]
    head = [
        "pair",
        f"{deciding.name}, {unit_text(deciding, formats)}",
        "low",
        "high",
        "± record",
        "first wins",
        *(one.name if one.unit == "year" else f"{one.name}, {unit_text(one, formats)}" for one in others),
        "any luck",
        "verdict",
    ]
    cells = [head]
    for pair in found.pairs:
        one = pair.differences[found.deciding]
        row = [
            f"{found.plans[pair.first].label} - {found.plans[pair.second].label}",
            *(value_text(deciding, value, formats, signed=True) for value in (one.centre, one.low, one.high)),
            "unseen" if pair.record_error == 0 else value_text(deciding, pair.record_error, formats),
            f"{one.chance_better.count:,} of {one.chance_better.trials:,}",
        ]
        for measure in others:
            other = pair.differences.get(measure.key)
            both = all(np.isinf(measure.points(plan)[MIDDLE]) for plan in (pair.first, pair.second))
            row.append(value_text(measure, other.centre, formats, signed=True) if other and not both else "–")
        cells.append([*row, luck_text(found, pair), verdict_text(found, pair)])
    return cells


def pair_explanations(found: Comparison) -> list[str]:
    """How to read the table of differences."""
    lines = [
        "First plan less second in the same futures: means, and for the payback year the median difference.",
        "'first only': in more than half of the futures the other never pays back. –: in most futures neither does, or "
        "one plan invests nothing.",
        f"{interval_words(found).capitalize()}.",
        "± record: standard error that the finite weather record adds. It is no part of the interval, and more futures "
        "do not remove it. 'unseen': the noise of these futures hides it.",
        luck_caution(found),
    ]
    return lines + needed_lines(found)


def comparison_screen(found: Comparison) -> str:
    """The short answer: the plans, what is best and how sure that is, and the money of the whole farm."""
    formats = formats_of(found)
    named = [
        [textwrap.shorten(f"{plan.label}  {plan.name}: {plan.title}", SCREEN_WIDTH, placeholder=" ...")]
        for plan in found.plans
    ]
    more = [[f"and {len(named) - MOST_PLANS} more plans"]] if len(named) > MOST_PLANS else []
    cells = next(iter(plan_tables(found, formats).values()))
    return one_screen(
        [*named[:MOST_PLANS], *more], sentence_pieces(comparison_sentences(found)), table_pieces(cells, left=(0, 1))
    )


def comparison_table(found: Comparison) -> str:
    """The comparison as text, in the plans' own units, lines of at most :data:`WIDTH` characters where it can be.

    Sentences first, then the money of the whole farm and its differences, then what is told per area, then the rest.
    """
    formats = formats_of(found)
    lines = []
    for place, plan in enumerate(found.plans):
        lines.append(f"{plan.label}  {plan.name}: {plan.title}")
        lines.append(f"   {land_text(found, place, formats)}")
    lines += ["", *comparison_sentences(found), ""]
    tables = plan_tables(found, formats)
    money = next(iter(tables))
    lines += [f"{money} (low, middle, high: of twenty futures one, ten, nineteen fall below)"]
    lines += [
        *text_columns(tables.pop(money), left=(0,)),
        f"{formats.currency}: {formats.money_basis}",
        PAYBACK_AND_NPV,
        "",
    ]
    lines.append("Differences in the same futures")
    lines += [*_narrow(pair_cells(found, formats)), *pair_explanations(found), ""]
    for heading, cells in tables.items():
        lines += [heading, *text_columns(cells, left=(0,)), ""]
    lines += ["What differs between the plans", *(f"  {line}" for line in contrast_lines(found)), ""]
    lines += [f"{formats.bin_text}, {formats.box_text}", footer_text(found), same_numbers_text(found), *found.notes]
    wrapped = [part for line in lines for part in (textwrap.wrap(line, WIDTH) if len(line) > WIDTH else [line])]
    return "\n".join(line.rstrip() for line in wrapped)


def _narrow(cells: list[list[str]]) -> list[str]:
    """Two tables, so that a line fits a terminal: the deciding measure with its verdict, then the other measures."""
    count = len(cells[0])
    main = [[row[0], *row[1:6], row[count - 2], row[count - 1]] for row in cells]
    others = [[row[0], *row[6 : count - 2]] for row in cells]
    return [*text_columns(main, left=(6, 7)), "", *text_columns(others, left=())]
