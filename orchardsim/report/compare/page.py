"""The saved comparison: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.compare.sheet import PICTURES, choice_sheet_page, choice_sheet_pdf
from orchardsim.report.compare.table import pair_cells, pair_explanations, plan_tables
from orchardsim.report.compare.words import (
    comparison_sentences,
    contrast_lines,
    footer_text,
    formats_of,
    land_text,
    same_numbers_text,
)
from orchardsim.report.pages import Pictures, file_names, picture_parts, render, save_findings
from orchardsim.report.run_formats import LEFT_OUT, PAYBACK_AND_NPV
from orchardsim.results.comparison import COMPARE_FILE, COMPARE_PAGE, KIND, Comparison, comparison_document
from orchardsim.results.folder import OutputFolder
from orchardsim.results.store import FIGURES_FOLDER

SHEET_PAGE: Final = "compare_sheet.html"
SHEETS: Final = (SHEET_PAGE, "compare_sheet.pdf", *(f"{FIGURES_FOLDER}/{name}.csv" for name in PICTURES))
"""One page for a partner: what you gain and risk by choosing another plan; with the numbers of its pictures."""


def _sheets(found: Comparison) -> dict[str, bytes]:
    page, numbers = choice_sheet_page(found)
    made = [page.encode(), choice_sheet_pdf(found), *(text.encode() for text in numbers.values())]
    return dict(zip(SHEETS, made, strict=True))


def comparison_files() -> list[str]:
    """Files that :func:`write_comparison` writes."""
    from orchardsim.report.compare.figures import FIGURES

    return [*file_names(COMPARE_FILE, COMPARE_PAGE, FIGURES), *SHEETS]


def write_comparison(place: str | Path | OutputFolder, found: Comparison) -> Path:
    """Write ``compare.json``, ``figures/``, ``compare.html`` and the sheet on two of the plans.

    Parameters
    ----------
    place : path or OutputFolder
        Made where it does not exist.
    found : Comparison

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    from orchardsim.report.compare.figures import FIGURES

    return save_findings(
        place,
        found,
        what=KIND,
        document=(COMPARE_FILE, comparison_document(found) | {"sentences": comparison_sentences(found)}),
        figures=FIGURES,
        page=(COMPARE_PAGE, comparison_html),
        sheets=(SHEETS, _sheets),
    )


def comparison_html(found: Comparison, pictures: Pictures) -> str:
    """The page as text."""
    from orchardsim.report.compare.figures import FIGURES

    formats = formats_of(found)
    return render(
        "compare.html",
        title=f"{len(found.plans)} plans in the same futures",
        plans=[
            {"label": plan.label, "name": plan.name, "title": plan.title, "land": land_text(found, place, formats)}
            for place, plan in enumerate(found.plans)
        ],
        footer=footer_text(found),
        sentences=comparison_sentences(found),
        contrasts=contrast_lines(found),
        notes=(same_numbers_text(found), *found.notes),
        plan_tables=plan_tables(found, formats),
        pair_cells=[[row[0].replace(" ", "\u00a0"), *row[1:]] for row in pair_cells(found, formats)],
        explanations=pair_explanations(found),
        money_basis=f"{formats.currency}: {formats.money_basis}; {formats.bin_text}, {formats.box_text}",
        pictures=picture_parts(FIGURES, pictures),
        payback_and_npv=PAYBACK_AND_NPV,
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )
