"""The saved look at open levels: numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from pathlib import Path

from orchardsim.core.glossary import term
from orchardsim.core.units import CARTON
from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.levels.figures import FIGURES
from orchardsim.report.levels.words import (
    debt_cells,
    footer_text,
    formats_of,
    levels_sentences,
    losing_cells,
    price_cells,
    swing_cells,
)
from orchardsim.report.pages import Pictures, file_names, picture_parts, render, save_findings
from orchardsim.report.run_formats import LEFT_OUT
from orchardsim.results.folder import OutputFolder
from orchardsim.results.levels import KIND, LEVELS_FILE, LEVELS_PAGE, LevelsFound, levels_document


def levels_files() -> list[str]:
    """Files that :func:`write_levels` writes."""
    return file_names(LEVELS_FILE, LEVELS_PAGE, FIGURES)


def write_levels(place: str | Path | OutputFolder, found: LevelsFound) -> Path:
    """Write ``levels.json``, ``figures/`` and ``levels.html``; returns the page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    return save_findings(
        place,
        found,
        what=KIND,
        document=(LEVELS_FILE, levels_document(found) | {"sentences": levels_sentences(found)}),
        figures=FIGURES,
        page=(LEVELS_PAGE, levels_html),
    )


def levels_html(found: LevelsFound, pictures: Pictures) -> str:
    """The page as text."""
    formats = formats_of(found)
    return render(
        "levels.html",
        title=f"Open levels: {found.attributes['title']}",
        footer=footer_text(found),
        sentences=levels_sentences(found),
        tables=[
            ("One open level at a time", swing_cells(found)),
            (f"NPV in 1,000 {formats.currency} by price and yield", price_cells(found)),
            ("How the plan loses", losing_cells(found)),
            ("Debt service by year", debt_cells(found)),
        ],
        meanings=[(term(one.name), one.meaning, one.narrowed_by) for one in found.swings],
        money_basis=f"{formats.currency}: {formats.money_basis}; {formats.bin_text}, "
        f"{formats.box_text}, carton of {formats.mass(CARTON)}",
        pictures=picture_parts(FIGURES, pictures),
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )
