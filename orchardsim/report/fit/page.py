"""The saved fit: the updated plan, what was learned, the numbers, and one page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.fit.next_words import (
    candidate_cells,
    next_sentences,
    option_cells,
    sheet_html,
    shift_sentences,
    wait_cells,
    wait_sentences,
)
from orchardsim.report.fit.words import fit_sentences, level_cells, sight_cells
from orchardsim.report.pages import render
from orchardsim.report.run_formats import LEFT_OUT
from orchardsim.results.findings import findings_bytes, findings_path
from orchardsim.results.fit import FIT_FILE, FIT_PAGE, KIND, SHEET_PAPER, SHEET_TABLE, FitFindings, Kept, fit_document
from orchardsim.results.folder import OutputFolder, opened
from orchardsim.results.next import NextAnswer, WaitAnswer
from orchardsim.results.store import dump_summary


def write_fit(
    place: str | Path | OutputFolder,
    found: FitFindings,
    more: Mapping[str, str] | None = None,
    following: NextAnswer | None = None,
    waiting: WaitAnswer | None = None,
) -> Path:
    """Write what a fit found; returns the page.

    Parameters
    ----------
    place : path or OutputFolder
    found : FitFindings
    more : mapping from name to text, optional
        The updated plan and what was learned; left as they stand where the page alone is built again.
    following, waiting : optional
        What to measure next, with its field sheet, and what waiting is worth.
    """
    with opened(place, KIND, [FIT_FILE, FIT_PAGE]) as folder:
        for name, text in (more or {}).items():
            folder.write_text(name, text)
        folder.write_text(FIT_FILE, dump_summary(fit_document(found, following, waiting)))
        folder.write_bytes(findings_path(Path(FIT_FILE)).name, findings_bytes(Kept(found, following, waiting)))
        if following is not None:
            folder.write_text(SHEET_TABLE, following.sheet.text())
            folder.write_text(SHEET_PAPER, sheet_html(following.sheet))
        page = folder.write_text(FIT_PAGE, fit_html(found, following, waiting))
        folder.finish()
    return page


def fit_html(found: FitFindings, following: NextAnswer | None = None, waiting: WaitAnswer | None = None) -> str:
    """The page as text."""
    asked: list[tuple[str, list[str], list[list[str]]]] = []
    if following is not None:
        asked.append(("What the options bring", shift_sentences(following), option_cells(following)))
        asked.append(("What to measure next", next_sentences(following), candidate_cells(following)))
    if waiting is not None:
        asked.append(("What waiting is worth", wait_sentences(waiting), wait_cells(waiting)))
    return render(
        "fit.html",
        title=found.title,
        footer=f"{found.measurements} measurements, {found.rows:,} simulated rows, {found.draws:,} draws, seed "
        f"{found.attrs['seed']}, version {found.attrs['version']}",
        sentences=fit_sentences(found),
        remarks=found.remarks,
        levels=level_cells(found),
        sights=sight_cells(found),
        asked=asked,
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )
