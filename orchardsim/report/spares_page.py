"""The saved answer: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from orchardsim.core.errors import InputError
from orchardsim.report.page import inline_svg, render
from orchardsim.report.show import CAUTIONS, LEFT_OUT
from orchardsim.report.spares_table import outcome_cells, rule_cells, table_notes
from orchardsim.report.spares_words import footer_text, show_of, spares_sentences
from orchardsim.results.spares import SPARES_FILE, SPARES_PAGE, SparesAnswer, spares_document
from orchardsim.results.store import FIGURES_FOLDER, dump_summary, write_text_whole


def write_spares(out_dir: str | Path, found: SparesAnswer) -> Path:
    """Write ``spares.json``, ``figures/`` and ``spares.html``; returns the page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    from orchardsim.report.spares_figures import FIGURES
    from orchardsim.report.style import picture_settings, save_figure

    folder = Path(out_dir)
    try:
        document = spares_document(found) | {"sentences": spares_sentences(found)}
        write_text_whole(folder / SPARES_FILE, dump_summary(document))
        with picture_settings():
            pictures = {
                name: save_figure(draw(found), folder / FIGURES_FOLDER, name) for name, (_, draw) in FIGURES.items()
            }
        write_text_whole(folder / SPARES_PAGE, spares_html(found, pictures))
    except OSError as error:
        raise InputError(str(folder), f"the answer could not be written ({error.strerror or error})") from error
    return folder / SPARES_PAGE


def spares_html(found: SparesAnswer, pictures: Mapping[str, str]) -> str:
    """The page as text; ``pictures`` from name to SVG text."""
    from orchardsim.report.spares_figures import FIGURES

    show = show_of(found)
    return render(
        "spares.html",
        title="How many replacement trees, and when",
        plan_title=str(found.attrs["title"]),
        footer=footer_text(found),
        sentences=spares_sentences(found),
        outcome_cells=outcome_cells(found, show),
        rule_cells=rule_cells(found),
        table_notes=table_notes(found, show),
        pictures=[
            {"heading": heading, "svg": inline_svg(pictures[name], name)}
            for name, (heading, _) in FIGURES.items()
            if name in pictures
        ],
        notes=found.notes,
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )
