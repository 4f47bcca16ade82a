"""What is said, drawn and saved of a study: tables as CSV, pictures, a methods paragraph, and one page."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.pages import Kind
from orchardsim.report.study import words
from orchardsim.report.study.figures import figures_of
from orchardsim.results.study import StudyFindings
from orchardsim.results.study_tables import TABLES, study_document, tidy_csv

METHODS: Final = "methods.txt"


def _sheets(found: StudyFindings) -> dict[str, bytes]:
    tables = {f"{name}.csv": tidy_csv(rows(found)) for name, rows in TABLES.items()}
    return {name: text.encode() for name, text in {**tables, METHODS: words.methods_paragraph(found) + "\n"}.items()}


def _values(found: StudyFindings) -> dict[str, Any]:
    formats = words.formats_of(found)
    return {
        "title": found.design.title,
        "footer": words.size_words(found),
        "tables": [(answer.facts.name, words.cell_cells(answer, formats)) for answer in found.answers],
        "contrasts": words.contrast_cells(found.answer(), formats),
        "interactions": words.interaction_cells(found.answer(), formats),
        "assumptions": words.assumption_cells(found.answer(), formats),
        "waiting": words.waiting_parts(found),
        "methods": words.methods_paragraph(found),
    }


KIND: Final = Kind(
    name="study",
    stem="study",
    findings=StudyFindings,
    sentences=words.study_sentences,
    screen=words.study_screen,
    text=words.study_table,
    document=study_document,
    figures=figures_of,
    values=_values,
    sheets=_sheets,
    names=(*(f"{name}.csv" for name in TABLES), METHODS),
)
