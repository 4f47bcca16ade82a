"""What is said, drawn and saved of a comparison."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.compare import words
from orchardsim.report.compare.figures import FIGURES
from orchardsim.report.compare.sheet import PICTURES, choice_sheet_page, choice_sheet_pdf
from orchardsim.report.pages import Kind
from orchardsim.report.run_formats import PAYBACK_AND_NPV
from orchardsim.results.comparison import Comparison, comparison_document
from orchardsim.results.store import FIGURES_FOLDER

SHEETS: Final = ("compare_sheet.html", "compare_sheet.pdf", *(f"{FIGURES_FOLDER}/{name}.csv" for name in PICTURES))
"""One page for a partner: what you gain and risk by choosing another plan; with the numbers of its pictures."""


def _sheets(found: Comparison) -> dict[str, bytes]:
    page, numbers = choice_sheet_page(found)
    made = [page.encode(), choice_sheet_pdf(found), *(text.encode() for text in numbers.values())]
    return dict(zip(SHEETS, made, strict=True))


def _values(found: Comparison) -> dict[str, Any]:
    formats = words.formats_of(found)
    return {
        "title": f"{len(found.plans)} plans in the same futures",
        "plans": [(plan, words.land_text(found, place, formats)) for place, plan in enumerate(found.plans)],
        "footer": words.footer_text(found),
        "contrasts": words.contrast_lines(found),
        "notes": (words.same_numbers_text(found), *found.notes),
        "plan_tables": words.plan_tables(found, formats),
        "pair_cells": [[row[0].replace(" ", "\u00a0"), *row[1:]] for row in words.pair_cells(found, formats)],
        "explanations": words.pair_explanations(found),
        "money_basis": formats.money_line,
        "payback_and_npv": PAYBACK_AND_NPV,
    }


KIND: Final = Kind(
    name="comparison",
    stem="compare",
    findings=Comparison,
    sentences=words.comparison_sentences,
    screen=words.comparison_screen,
    text=words.comparison_table,
    document=comparison_document,
    beside=lambda found: {"sentences": words.comparison_sentences(found)},
    figures=FIGURES,
    values=_values,
    sheets=_sheets,
    names=SHEETS,
)
