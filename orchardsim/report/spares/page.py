"""What is said, drawn and saved of a search for spares."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.pages import Kind
from orchardsim.report.spares import words
from orchardsim.report.spares.figures import FIGURES
from orchardsim.report.spares.plan_lines import HOW_TO_USE, policy_lines
from orchardsim.results.spares import SparesAnswer, spares_document


def _values(found: SparesAnswer) -> dict[str, Any]:
    formats = words.formats_of(found)
    return {
        "title": "How many replacement trees, and when",
        "plan_title": str(found.attrs["title"]),
        "footer": words.footer_text(found),
        "outcome_cells": words.outcome_cells(found, formats),
        "rule_cells": words.rule_cells(found),
        "policy_lines": policy_lines(found),
        "how_to_use": HOW_TO_USE,
        "table_notes": words.table_notes(found, formats),
        "notes": found.notes,
    }


KIND: Final = Kind(
    name="search for spares",
    stem="spares",
    findings=SparesAnswer,
    sentences=words.spares_sentences,
    screen=words.spares_screen,
    text=words.spares_text,
    document=spares_document,
    beside=lambda found: {"sentences": words.spares_sentences(found), "plan_lines": policy_lines(found)},
    figures=FIGURES,
    values=_values,
)
