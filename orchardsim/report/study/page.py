"""The saved study: tables as CSV, all trials as NetCDF, pictures, a methods paragraph, and one page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.pages import Pictures, picture_parts, render, save_pictures
from orchardsim.report.run_formats import LEFT_OUT
from orchardsim.report.study.figures import figures_of
from orchardsim.report.study.words import (
    assumption_cells,
    cell_cells,
    contrast_cells,
    deciding,
    formats_of,
    interaction_cells,
    methods_paragraph,
    size_words,
    study_sentences,
    waiting_parts,
)
from orchardsim.results.findings import findings_bytes, findings_path
from orchardsim.results.folder import OutputFolder, opened
from orchardsim.results.store import dump_summary
from orchardsim.results.study import KIND, STUDY_FILE, STUDY_METHODS, STUDY_PAGE, STUDY_TRIALS, StudyFindings
from orchardsim.results.study_tables import TABLES, study_document, tidy_csv

if TYPE_CHECKING:
    import xarray


def write_study(place: str | Path | OutputFolder, found: StudyFindings, trials: xarray.Dataset | None = None) -> Path:
    """Write everything that a study gives; returns the page.

    Parameters
    ----------
    place : path or OutputFolder
    found : StudyFindings
    trials : xarray.Dataset, optional
        Every measure by trial; left as it stands where the page alone is built again.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    with opened(place, KIND, [STUDY_FILE, STUDY_PAGE]) as folder:
        if trials is not None:
            # The classic format holds no time of writing, so that the same study is the same file.
            folder.write(STUDY_TRIALS, lambda path: trials.to_netcdf(path, engine="scipy", format="NETCDF3_64BIT"))
        for name, rows in TABLES.items():
            folder.write_text(f"{name}.csv", tidy_csv(rows(found)))
        folder.write_text(STUDY_METHODS, methods_paragraph(found) + "\n")
        folder.write_text(STUDY_FILE, dump_summary(study_document(found)))
        folder.write_bytes(findings_path(Path(STUDY_FILE)).name, findings_bytes(found))
        figures = figures_of(found)
        pictures = save_pictures(folder, found, figures)  # type: ignore[arg-type]
        page = folder.write_text(STUDY_PAGE, study_html(found, pictures))
        folder.finish()
    return page


def study_html(found: StudyFindings, pictures: Pictures) -> str:
    """The page as text."""
    formats = formats_of(found)
    tables = [(answer.facts.name, cell_cells(answer, formats)) for answer in found.answers]
    return render(
        "study.html",
        title=found.design.title,
        footer=size_words(found),
        sentences=study_sentences(found),
        pictures=picture_parts(figures_of(found), pictures),  # type: ignore[arg-type]
        tables=tables,
        contrasts=contrast_cells(deciding(found), formats),
        interactions=interaction_cells(deciding(found), formats),
        assumptions=assumption_cells(deciding(found), formats),
        waiting=waiting_parts(found),
        methods=methods_paragraph(found),
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )
