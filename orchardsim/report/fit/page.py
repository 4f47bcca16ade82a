"""What is said and saved of a fit to measured trees."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.fit import words
from orchardsim.report.pages import Kind
from orchardsim.results.fit import SHEET_PAPER, SHEET_TABLE, Kept, fit_document


def _sheets(kept: Kept) -> dict[str, bytes]:
    if kept.following is None:
        return {}
    sheet = kept.following.sheet
    return {SHEET_TABLE: sheet.text().encode(), SHEET_PAPER: words.sheet_html(sheet).encode()}


def _values(kept: Kept) -> dict[str, Any]:
    found = kept.found
    return {
        "title": found.title,
        "footer": f"{found.measurements} measurements, {found.rows:,} simulated rows, {found.draws:,} draws, seed "
        f"{found.attrs['seed']}, version {found.attrs['version']}",
        "sentences": words.fit_sentences(found),
        "remarks": found.remarks,
        "levels": words.level_cells(found),
        "sights": words.sight_cells(found),
        "asked": words.asked_parts(kept),
    }


KIND: Final = Kind(
    name="fit",
    stem="fit",
    findings=Kept,
    sentences=words.kept_sentences,
    screen=words.fit_screen,
    text=words.fit_text,
    document=fit_document,
    values=_values,
    sheets=_sheets,
)
