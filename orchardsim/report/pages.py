"""The way of every page: pictures with their numbers as files, a template filled, all in one folder."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

from orchardsim.core.glossary import WORDS, Word
from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.run_formats import LEFT_OUT
from orchardsim.results.findings import findings_bytes, findings_path
from orchardsim.results.folder import OutputFolder, opened
from orchardsim.results.store import FIGURES_FOLDER, dump_summary

Found = TypeVar("Found")
Figures = Mapping[str, tuple[str, Callable[[Any], Any]]]
"""Name -> (heading, function that draws the picture of what was found)."""
PICTURE_KINDS: Final = ("svg", "csv")
"""Files of a picture: itself, and its numbers."""


@dataclass(frozen=True)
class Picture:
    """A picture that was drawn: its SVG text, and itself in words."""

    svg: str
    words: str


Pictures = Mapping[str, Picture]


def picture_names(figures: Iterable[str]) -> list[str]:
    """Files of pictures, within the folder of the results."""
    return [f"{FIGURES_FOLDER}/{name}.{kind}" for name in figures for kind in PICTURE_KINDS]


def drawn(heading: str, draw: Callable[[Any], Any], found: Any) -> tuple[Picture, str]:
    """A picture, and its numbers as CSV."""
    from orchardsim.report.drawn import numbers_csv, picture_words
    from orchardsim.report.style import picture_settings, svg_text

    with picture_settings():
        figure = draw(found)
        return Picture(svg_text(figure), picture_words(heading, figure)), numbers_csv(figure)


def keep_picture(folder: OutputFolder, name: str, picture: Picture, numbers: str) -> None:
    """Write a picture as SVG, and its numbers as CSV."""
    vector, table = picture_names([name])
    folder.write_text(vector, '<?xml version="1.0" encoding="utf-8"?>\n' + picture.svg)
    folder.write_text(table, numbers)


SmallPictures = Mapping[str, tuple[str, tuple[float, float], Callable[..., object]]]
"""Name -> (heading, width and height [inch], function that draws on axes)."""


def small_pictures(pictures: SmallPictures, **shown: Any) -> tuple[dict[str, Any], dict[str, str]]:
    """Pictures of a sheet as inline SVG, and their numbers as CSV, both by name; ``shown``: what they are drawn of."""
    from matplotlib.figure import Figure

    from orchardsim.report.drawn import numbers_csv, picture_words
    from orchardsim.report.style import picture_settings, svg_text

    drawings, numbers = {}, {}
    with picture_settings():
        for name, (heading, size, draw) in pictures.items():
            figure = Figure(figsize=size, layout="constrained")
            draw(figure.subplots(), **shown)
            drawings[name] = inline_svg(svg_text(figure), name, picture_words(heading, figure))
            numbers[name] = numbers_csv(figure)
    return drawings, numbers


def save_pictures(folder: OutputFolder, found: Any, figures: Figures) -> dict[str, Picture]:
    """Draw every picture and write it as SVG, and its numbers as CSV; by name."""
    pictures = {}
    for name, (heading, draw) in figures.items():
        pictures[name], numbers = drawn(heading, draw, found)
        keep_picture(folder, name, pictures[name], numbers)
    return pictures


@dataclass(frozen=True, kw_only=True)
class Kind(Generic[Found]):
    """A kind of findings: what is said of it, how it is drawn and saved; commands and rebuilt folders go by this alone.

    Attributes
    ----------
    name : str
        What its files are, in the words of a message: "comparison".
    stem : str
        Of its files and its template: "compare" for ``compare.json``, ``compare.npz`` and ``compare.html``.
    findings : type
        What an analysis gives and a folder keeps.
    sentences, screen, text : callable
        The answer in words, the short one of a terminal, the long one.
    document, beside : callable
        All numbers as JSON values, and what stands besides in their file.
    figures : mapping or callable
        Its pictures; a callable where they hang on what was found.
    values : callable
        What the template shows beyond sentences, pictures and cautions.
    sheets, names : callable, sequence of str
        Further files by name, as bytes; those that are always written.
    """

    name: str
    stem: str
    findings: type[Found]
    sentences: Callable[[Found], list[str]]
    screen: Callable[[Found], str]
    text: Callable[[Found], str]
    document: Callable[[Found], Mapping[str, Any]]
    values: Callable[[Found], Mapping[str, Any]]
    beside: Callable[[Found], Mapping[str, Any]] = lambda found: {}
    figures: Figures | Callable[[Found], Figures] = field(default_factory=dict)
    sheets: Callable[[Found], Mapping[str, bytes]] = lambda found: {}
    names: Sequence[str] = ()

    @property
    def page(self) -> str:
        """Name of the page."""
        return f"{self.stem}.html"

    @property
    def numbers(self) -> str:
        """Name of the JSON file."""
        return f"{self.stem}.json"

    def files(self) -> list[str]:
        """All files of it that are known beforehand."""
        pictures = () if callable(self.figures) else self.figures
        kept = findings_path(Path(self.numbers)).name
        return [self.numbers, kept, self.page, *picture_names(pictures), *self.names]

    def write(self, place: str | Path | OutputFolder, found: Found) -> Path:
        """Write JSON, the findings themselves, pictures, page and sheets into a folder, made where there is none.

        Returns
        -------
        pathlib.Path
            The page.

        Raises
        ------
        InputError
            If the folder cannot be written, or somebody else's file stands in the way.
        """
        with opened(place, self.name, self.files()) as folder:
            folder.write_text(self.numbers, dump_summary({**self.document(found), **self.beside(found)}))
            folder.write_bytes(findings_path(Path(self.numbers)).name, findings_bytes(found))
            page = folder.write_text(self.page, self.html(found, save_pictures(folder, found, self._figures(found))))
            for name, content in self.sheets(found).items():
                folder.write_bytes(name, content)
            folder.finish()
        return page

    def html(self, found: Found, pictures: Pictures) -> str:
        """The page as text."""
        shown = {
            "sentences": self.sentences(found),
            "pictures": picture_parts(self._figures(found), pictures),
            "left_out": LEFT_OUT,
            "cautions": CAUTIONS,
        }
        return render(self.page, **{**shown, **self.values(found)})

    def _figures(self, found: Found) -> Figures:
        return self.figures(found) if callable(self.figures) else self.figures


def picture_parts(figures: Figures, pictures: Pictures) -> list[dict[str, str]]:
    """Name, heading, words and inline SVG of the pictures that were drawn, for a page's template."""
    return [
        {
            "name": name,
            "heading": heading,
            "words": pictures[name].words,
            "svg": inline_svg(pictures[name].svg, name, pictures[name].words),
            "folder": FIGURES_FOLDER,
        }
        for name, (heading, _) in figures.items()
        if name in pictures
    ]


def render(template: str, **values: Any) -> str:
    """Fill a template of this room; all text is escaped."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("orchardsim.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        keep_trailing_newline=True,
    )
    environment.filters["explained"] = explained
    return environment.get_template(template).render(glossary=WORDS.values(), **values)


@functools.cache
def _forms() -> tuple[dict[str, Word], re.Pattern[str]]:
    """Every form of a word of the glossary, and a pattern that finds them, the longest first."""
    forms = {form: word for word in WORDS.values() for form in (word.name, *word.forms)}
    longest = sorted(forms, key=len, reverse=True)
    return forms, re.compile("(?<![\\w±-])(" + "|".join(map(re.escape, longest)) + ")(?![\\w-])([.,;:]?)")


def explained(text: Any) -> Any:
    """Text in which a word of the glossary opens its meaning, each word once; all else is escaped.

    A stop behind a word stays on its line, so it is part of what opens.
    """
    from markupsafe import Markup, escape

    forms, pattern = _forms()
    parts: list[str] = []
    told: set[str] = set()
    place = 0
    for found in pattern.finditer(str(text)):
        word = forms[found[1]]
        if word.anchor not in told:
            told.add(word.anchor)
            button = (
                f'<button type="button" class="open" popovertarget="open-{word.anchor}">{escape(found[0])}</button>'
            )
            parts += [str(escape(str(text)[place : found.start()])), button]
            place = found.end()
    return Markup("".join([*parts, str(escape(str(text)[place:]))]))


def inline_svg(svg: str, name: str, words: str = "") -> Any:
    """A picture of our own as markup: its ids made its own, so that two pictures on a page do not share them.

    ``words`` say what it shows to whoever cannot see it.
    """
    from markupsafe import Markup, escape

    own = re.sub(r'(\bid="|href="#|url\(#)', rf"\1{name}-", svg)
    return Markup(own.replace("<svg", f'<svg role="img" aria-label="{escape(words)}"', 1) if words else own)
