"""Saves what an analysis found: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from orchardsim.core.errors import InputError
from orchardsim.results.findings import findings_path, write_findings
from orchardsim.results.store import FIGURES_FOLDER, dump_summary, write_text_whole

Figures = Mapping[str, tuple[str, Callable[[Any], Any]]]
"""Name -> (heading, function that draws the picture of what was found)."""


def save_findings(
    out_dir: str | Path,
    found: Any,
    *,
    what: str,
    document: tuple[str, Mapping[str, Any]],
    figures: Figures,
    page: tuple[str, Callable[[Any, Mapping[str, str]], str]],
) -> Path:
    """Write JSON, the findings themselves, pictures and page into a folder.

    Parameters
    ----------
    out_dir : path
        Made where it does not exist.
    found : object
        What the figures and the page are drawn from.
    what : str
        What is saved, for the message: "the comparison".
    document : tuple of str and mapping
        Name and content of the JSON file.
    figures : mapping
    page : tuple of str and callable
        Name of the page, and the function that makes its text from ``found`` and the pictures as SVG text.

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    from orchardsim.report.style import picture_settings, save_figure

    folder = Path(out_dir)
    try:
        write_text_whole(folder / document[0], dump_summary(dict(document[1])))
        write_findings(findings_path(folder / document[0]), found)
        with picture_settings():
            pictures = {
                name: save_figure(draw(found), folder / FIGURES_FOLDER, name) for name, (_, draw) in figures.items()
            }
        write_text_whole(folder / page[0], page[1](found, pictures))
    except OSError as error:
        raise InputError(str(folder), f"{what} could not be written ({error.strerror or error})") from error
    return folder / page[0]


def picture_parts(figures: Figures, pictures: Mapping[str, str]) -> list[dict[str, str]]:
    """Headings and inline SVG of the pictures that were drawn, for a page's template."""
    from orchardsim.report.page import inline_svg

    return [
        {"heading": heading, "svg": inline_svg(pictures[name], name)}
        for name, (heading, _) in figures.items()
        if name in pictures
    ]
