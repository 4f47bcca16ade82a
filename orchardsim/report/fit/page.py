"""What is said and saved of a fit to measured trees."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.fit.next_words import (
    candidate_cells,
    next_sentences,
    option_cells,
    sheet_html,
    shift_sentences,
    wait_cells,
    wait_sentences,
)
from orchardsim.report.fit.words import fit_screen, fit_sentences, fit_text, level_cells, sight_cells
from orchardsim.report.pages import Kind
from orchardsim.results.fit import SHEET_PAPER, SHEET_TABLE, Kept, fit_document


def _sentences(kept: Kept) -> list[str]:
    after, wait = kept.following, kept.waiting
    return [
        *fit_sentences(kept.found),
        *(shift_sentences(after) + next_sentences(after) if after else ()),
        *(wait_sentences(wait) if wait else ()),
    ]


def _sheets(kept: Kept) -> dict[str, bytes]:
    if kept.following is None:
        return {}
    sheet = kept.following.sheet
    return {SHEET_TABLE: sheet.text().encode(), SHEET_PAPER: sheet_html(sheet).encode()}


def _values(kept: Kept) -> dict[str, Any]:
    found, after, wait = kept.found, kept.following, kept.waiting
    asked: list[tuple[str, list[str], list[list[str]]]] = []
    if after is not None:
        asked.append(("What the options bring", shift_sentences(after), option_cells(after)))
        asked.append(("What to measure next", next_sentences(after), candidate_cells(after)))
    if wait is not None:
        asked.append(("What waiting is worth", wait_sentences(wait), wait_cells(wait)))
    return {
        "title": found.title,
        "footer": f"{found.measurements} measurements, {found.rows:,} simulated rows, {found.draws:,} draws, seed "
        f"{found.attrs['seed']}, version {found.attrs['version']}",
        "sentences": fit_sentences(found),
        "remarks": found.remarks,
        "levels": level_cells(found),
        "sights": sight_cells(found),
        "asked": asked,
    }


KIND: Final = Kind(
    name="fit",
    stem="fit",
    findings=Kept,
    sentences=_sentences,
    screen=fit_screen,
    text=fit_text,
    document=fit_document,
    values=_values,
    sheets=_sheets,
)
