"""What is said and saved of a fit to measured trees."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.fit import words
from orchardsim.report.pages import Kind
from orchardsim.results.fit import SHEET_PAPER, SHEET_TABLE, Kept, fit_document


def _sentences(kept: Kept) -> list[str]:
    after, wait = kept.following, kept.waiting
    return [
        *words.fit_sentences(kept.found),
        *(words.shift_sentences(after) + words.next_sentences(after) if after else ()),
        *(words.wait_sentences(wait) if wait else ()),
    ]


def _sheets(kept: Kept) -> dict[str, bytes]:
    if kept.following is None:
        return {}
    sheet = kept.following.sheet
    return {SHEET_TABLE: sheet.text().encode(), SHEET_PAPER: words.sheet_html(sheet).encode()}


def _values(kept: Kept) -> dict[str, Any]:
    found, after, wait = kept.found, kept.following, kept.waiting
    asked: list[tuple[str, list[str], list[list[str]]]] = []
    if after is not None:
        asked.append(("What the options bring", words.shift_sentences(after), words.option_cells(after)))
        asked.append(("What to measure next", words.next_sentences(after), words.candidate_cells(after)))
    if wait is not None:
        asked.append(("What waiting is worth", words.wait_sentences(wait), words.wait_cells(wait)))
    return {
        "title": found.title,
        "footer": f"{found.measurements} measurements, {found.rows:,} simulated rows, {found.draws:,} draws, seed "
        f"{found.attrs['seed']}, version {found.attrs['version']}",
        "sentences": words.fit_sentences(found),
        "remarks": found.remarks,
        "levels": words.level_cells(found),
        "sights": words.sight_cells(found),
        "asked": asked,
    }


KIND: Final = Kind(
    name="fit",
    stem="fit",
    findings=Kept,
    sentences=_sentences,
    screen=words.fit_screen,
    text=words.fit_text,
    document=fit_document,
    values=_values,
    sheets=_sheets,
)
