"""What is said, drawn and saved of a stress test."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.pages import Kind
from orchardsim.report.run_formats import LEFT_OUT, RunFormats, in_shown_units
from orchardsim.report.stress import words
from orchardsim.report.stress.figures import FIGURES
from orchardsim.results.stress import Stress, Stressed, stress_document


def _values(found: Stress) -> dict[str, Any]:
    formats = words.formats_of(found)
    cells = words.stress_cells(found, formats)
    return {
        "title": f"Bad seasons: {found.title}",
        "footer": words.footer_text(found),
        "tables": [[[row[column] for column in columns] for row in cells] for columns in words.TABLES],
        "explanations": words.explanation_lines(found),
        "money_basis": formats.money_line,
        "seasons": [
            {
                "title": season.title,
                "sentence": in_shown_units(season.sentence, formats.display),
                "note": in_shown_units(season.note, formats.display),
                "changes": _change_cells(season, formats),
            }
            for season in words.ranked(found)
        ],
        "left_out": (*NOT_IN_A_STRIKE, *LEFT_OUT),
    }


def _change_cells(season: Stressed, formats: RunFormats) -> list[list[str]]:
    """What a bad season changes: a head, then a row for each number."""
    cells = [["what it changes", "to", "status", "where the number comes from"]]
    for change in season.changes:
        value = f"{change['value']:g} {change['unit'] if change['unit'] != '1' else ''}".strip()
        texts = (change["meaning"], value, change["status"], change["source"])
        cells.append([in_shown_units(text, formats.display) for text in texts])
    return cells


NOT_IN_A_STRIKE = (
    "Hail marks fruit; wounds of the wood and the fire blight that follows them are not simulated. A drought brings no "
    "extra heat, a hard winter kills wood and roots but no flower buds alone.",
    "A nursery failure delays replacement trees and weakens new ones; the first planting itself is not put off.",
    "One bad season (or run of them) at a time; two different ones together can cost more than their sum.",
)
"""What the bad seasons leave out, said on the page."""

KIND: Final = Kind(
    name="stress test",
    stem="stress",
    findings=Stress,
    sentences=words.stress_sentences,
    screen=words.stress_screen,
    text=words.stress_table,
    document=stress_document,
    beside=lambda found: {"sentences": words.stress_sentences(found)},
    figures=FIGURES,
    values=_values,
)
