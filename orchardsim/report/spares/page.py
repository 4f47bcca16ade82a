"""The saved answer: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from pathlib import Path

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.pages import Pictures, file_names, picture_parts, render, save_findings
from orchardsim.report.run_formats import LEFT_OUT
from orchardsim.report.spares.plan_lines import HOW_TO_USE, policy_lines
from orchardsim.report.spares.table import outcome_cells, rule_cells, table_notes
from orchardsim.report.spares.words import footer_text, formats_of, spares_sentences
from orchardsim.results.folder import OutputFolder
from orchardsim.results.spares import KIND, SPARES_FILE, SPARES_PAGE, SparesAnswer, spares_document


def spares_files() -> list[str]:
    """Files that :func:`write_spares` writes."""
    from orchardsim.report.spares.figures import FIGURES

    return file_names(SPARES_FILE, SPARES_PAGE, FIGURES)


def write_spares(place: str | Path | OutputFolder, found: SparesAnswer) -> Path:
    """Write ``spares.json``, ``figures/`` and ``spares.html``; returns the page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    from orchardsim.report.spares.figures import FIGURES

    return save_findings(
        place,
        found,
        what=KIND,
        document=(
            SPARES_FILE,
            spares_document(found) | {"sentences": spares_sentences(found), "plan_lines": policy_lines(found)},
        ),
        figures=FIGURES,
        page=(SPARES_PAGE, spares_html),
    )


def spares_html(found: SparesAnswer, pictures: Pictures) -> str:
    """The page as text."""
    from orchardsim.report.spares.figures import FIGURES

    formats = formats_of(found)
    return render(
        "spares.html",
        title="How many replacement trees, and when",
        plan_title=str(found.attrs["title"]),
        footer=footer_text(found),
        sentences=spares_sentences(found),
        outcome_cells=outcome_cells(found, formats),
        rule_cells=rule_cells(found),
        policy_lines=policy_lines(found),
        how_to_use=HOW_TO_USE,
        table_notes=table_notes(found, formats),
        pictures=picture_parts(FIGURES, pictures),
        notes=found.notes,
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )
