"""The saved comparison: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from orchardsim.core.errors import InputError
from orchardsim.report.compare_table import pair_cells, pair_explanations, plan_cells
from orchardsim.report.compare_words import comparison_sentences, footer_text, land_text, show_of
from orchardsim.report.page import inline_svg, render
from orchardsim.report.show import CAUTIONS, LEFT_OUT
from orchardsim.results.comparison import COMPARE_FILE, COMPARE_PAGE, Comparison, comparison_document
from orchardsim.results.store import FIGURES_FOLDER, dump_summary, write_text_whole


def write_comparison(out_dir: str | Path, found: Comparison) -> Path:
    """Write ``compare.json``, ``figures/`` and ``compare.html``.

    Parameters
    ----------
    out_dir : path
        Made where it does not exist; see :func:`orchardsim.results.comparison.prepare_comparison_folder`.
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
    from orchardsim.report.compare_figures import FIGURES
    from orchardsim.report.style import picture_settings, save_figure

    folder = Path(out_dir)
    try:
        document = comparison_document(found) | {"sentences": comparison_sentences(found)}
        write_text_whole(folder / COMPARE_FILE, dump_summary(document))
        with picture_settings():
            pictures = {
                name: save_figure(draw(found), folder / FIGURES_FOLDER, name) for name, (_, draw) in FIGURES.items()
            }
        write_text_whole(folder / COMPARE_PAGE, comparison_html(found, pictures))
    except OSError as error:
        raise InputError(str(folder), f"the comparison could not be written ({error.strerror or error})") from error
    return folder / COMPARE_PAGE


def comparison_html(found: Comparison, pictures: Mapping[str, str]) -> str:
    """The page as text; ``pictures`` from name to SVG text."""
    from orchardsim.report.compare_figures import FIGURES

    show = show_of(found)
    return render(
        "compare.html",
        title=f"{len(found.plans)} plans in the same futures",
        plans=[
            {"label": plan.label, "name": plan.name, "title": plan.title, "land": land_text(found, place, show)}
            for place, plan in enumerate(found.plans)
        ],
        footer=footer_text(found),
        sentences=comparison_sentences(found),
        notes=found.notes,
        plan_cells=plan_cells(found, show),
        pair_cells=pair_cells(found, show),
        explanations=pair_explanations(found),
        money_basis=f"{show.currency}: {show.money_basis}; {show.bin_text}, {show.box_text}",
        pictures=[
            {"heading": heading, "svg": inline_svg(pictures[name], name)}
            for name, (heading, _) in FIGURES.items()
            if name in pictures
        ],
        choice=_choice_text(found),
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
    )


def _choice_text(found: Comparison) -> str:
    choice = found.choice
    return (
        f"The best plan was chosen on the first {choice.choosing_trials:,} trials; the sentences above speak of its "
        f"lead in the other {choice.reporting_trials:,}, which had no part in the choice. The tables use all trials."
    )
