"""Saves what an analysis found: all numbers as JSON, pictures as files, and one page that holds everything."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from orchardsim.results.findings import findings_bytes, findings_path
from orchardsim.results.folder import OutputFolder, opened
from orchardsim.results.store import FIGURES_FOLDER, dump_summary

Figures = Mapping[str, tuple[str, Callable[[Any], Any]]]
"""Name -> (heading, function that draws the picture of what was found)."""


def picture_names(figures: Iterable[str]) -> list[str]:
    """Files of pictures, within the folder of the results."""
    return [f"{FIGURES_FOLDER}/{name}.{kind}" for name in figures for kind in ("svg", "png")]


def file_names(document: str, page: str, figures: Iterable[str]) -> list[str]:
    """All files that :func:`save_findings` writes."""
    return [document, findings_path(Path(document)).name, page, *picture_names(figures)]


def save_pictures(folder: OutputFolder, found: Any, figures: Figures) -> dict[str, str]:
    """Draw every picture and write it as SVG and PNG; name -> SVG text."""
    from orchardsim.report.style import picture_settings, png_bytes, svg_text

    texts = {}
    with picture_settings():
        for name, (_, draw) in figures.items():
            figure = draw(found)
            texts[name] = svg_text(figure)
            vector, raster = picture_names([name])
            folder.write_text(vector, '<?xml version="1.0" encoding="utf-8"?>\n' + texts[name])
            folder.write_bytes(raster, png_bytes(figure))
    return texts


def save_findings(
    place: str | Path | OutputFolder,
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
    place : path or OutputFolder
        Made where it does not exist.
    found : object
        What the figures and the page are drawn from.
    what : str
        Kind of the files, in the words of a message: "comparison".
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
        If the folder cannot be written, or somebody else's file stands in the way.
    """
    with opened(place, what, file_names(document[0], page[0], figures)) as folder:
        folder.write_text(document[0], dump_summary(dict(document[1])))
        folder.write_bytes(findings_path(Path(document[0])).name, findings_bytes(found))
        pictures = save_pictures(folder, found, figures)
        path = folder.write_text(page[0], page[1](found, pictures))
        folder.finish()
    return path


def picture_parts(figures: Figures, pictures: Mapping[str, str]) -> list[dict[str, str]]:
    """Headings and inline SVG of the pictures that were drawn, for a page's template."""
    from orchardsim.report.page import inline_svg

    return [
        {"heading": heading, "svg": inline_svg(pictures[name], name)}
        for name, (heading, _) in figures.items()
        if name in pictures
    ]
