"""What is said, drawn and saved of a study: tables as CSV, pictures, a methods paragraph, and one page."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.pages import Kind
from orchardsim.report.study.figures import figures_of
from orchardsim.report.study.words import (
    assumption_cells,
    cell_cells,
    contrast_cells,
    deciding,
    formats_of,
    interaction_cells,
    methods_paragraph,
    size_words,
    study_screen,
    study_sentences,
    study_table,
    waiting_parts,
)
from orchardsim.results.study import StudyFindings
from orchardsim.results.study_tables import TABLES, study_document, tidy_csv

METHODS: Final = "methods.txt"


def _sheets(found: StudyFindings) -> dict[str, bytes]:
    tables = {f"{name}.csv": tidy_csv(rows(found)) for name, rows in TABLES.items()}
    return {name: text.encode() for name, text in {**tables, METHODS: methods_paragraph(found) + "\n"}.items()}


def _values(found: StudyFindings) -> dict[str, Any]:
    formats = formats_of(found)
    return {
        "title": found.design.title,
        "footer": size_words(found),
        "tables": [(answer.facts.name, cell_cells(answer, formats)) for answer in found.answers],
        "contrasts": contrast_cells(deciding(found), formats),
        "interactions": interaction_cells(deciding(found), formats),
        "assumptions": assumption_cells(deciding(found), formats),
        "waiting": waiting_parts(found),
        "methods": methods_paragraph(found),
    }


KIND: Final = Kind(
    name="study",
    stem="study",
    findings=StudyFindings,
    sentences=study_sentences,
    screen=study_screen,
    text=study_table,
    document=study_document,
    figures=figures_of,
    values=_values,
    sheets=_sheets,
    names=(*(f"{name}.csv" for name in TABLES), METHODS),
)
