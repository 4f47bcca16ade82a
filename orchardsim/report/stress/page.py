"""The saved stress test: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from pathlib import Path

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.pages import Pictures, file_names, picture_parts, render, save_findings
from orchardsim.report.run_formats import LEFT_OUT, RunFormats, in_shown_units
from orchardsim.report.stress.words import (
    TABLES,
    explanation_lines,
    footer_text,
    formats_of,
    ranked,
    stress_cells,
    stress_sentences,
)
from orchardsim.results.folder import OutputFolder
from orchardsim.results.stress import KIND, STRESS_FILE, STRESS_PAGE, Stress, Stressed, stress_document


def stress_files() -> list[str]:
    """Files that :func:`write_stress` writes."""
    from orchardsim.report.stress.figures import FIGURES

    return file_names(STRESS_FILE, STRESS_PAGE, FIGURES)


def write_stress(place: str | Path | OutputFolder, found: Stress) -> Path:
    """Write ``stress.json``, ``figures/`` and ``stress.html``.

    Parameters
    ----------
    place : path or OutputFolder
        Made where it does not exist.
    found : Stress

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    from orchardsim.report.stress.figures import FIGURES

    return save_findings(
        place,
        found,
        what=KIND,
        document=(STRESS_FILE, stress_document(found) | {"sentences": stress_sentences(found)}),
        figures=FIGURES,
        page=(STRESS_PAGE, stress_html),
    )


def stress_html(found: Stress, pictures: Pictures) -> str:
    """The page as text."""
    from orchardsim.report.stress.figures import FIGURES

    formats = formats_of(found)
    cells = stress_cells(found, formats)
    return render(
        "stress.html",
        title=f"Bad seasons: {found.title}",
        footer=footer_text(found),
        sentences=stress_sentences(found),
        tables=[[[row[column] for column in columns] for row in cells] for columns in TABLES],
        explanations=explanation_lines(found),
        money_basis=f"{formats.currency}: {formats.money_basis}; {formats.bin_text}, {formats.box_text}",
        pictures=picture_parts(FIGURES, pictures),
        seasons=[
            {
                "title": season.title,
                "sentence": in_shown_units(season.sentence, formats.display),
                "note": in_shown_units(season.note, formats.display),
                "changes": _change_cells(season, formats),
            }
            for season in ranked(found)
        ],
        left_out=(*NOT_IN_A_STRIKE, *LEFT_OUT),
        cautions=CAUTIONS,
    )


def _change_cells(season: Stressed, formats: RunFormats) -> list[list[str]]:
    """What a bad season changes: a head, then a row for each number."""
    cells = [["what it changes", "to", "status", "where the number comes from"]]
    for change in season.changes:
        value = f"{change['value']:g} {change['unit'] if change['unit'] != '1' else ''}".strip()
        texts = (change["meaning"], value, change["status"], change["source"])
        cells.append([in_shown_units(text, formats.display) for text in texts])
    return cells


NOT_IN_A_STRIKE = (
    "Hail marks fruit; wounds of the wood and the fire blight that follows them are not simulated. A drought brings no "
    "extra heat, a hard winter kills wood and roots but no flower buds alone.",
    "A nursery failure delays replacement trees and weakens new ones; the first planting itself is not put off.",
    "One bad season (or run of them) at a time; two different ones together can cost more than their sum.",
)
"""What the bad seasons leave out, said on the page."""
