"""What is said, drawn and saved of a look at open levels."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.core.glossary import term
from orchardsim.core.units import CARTON
from orchardsim.report.levels import words
from orchardsim.report.levels.figures import FIGURES
from orchardsim.report.pages import Kind
from orchardsim.results.levels import LevelsFound, levels_document


def _values(found: LevelsFound) -> dict[str, Any]:
    formats = words.formats_of(found)
    return {
        "title": f"Open levels: {found.attributes['title']}",
        "footer": words.footer_text(found),
        "tables": words.levels_tables(found),
        "meanings": [(term(one.name), one.meaning, one.narrowed_by) for one in found.swings],
        "money_basis": f"{formats.money_line}, carton of {formats.mass(CARTON)}",
    }


KIND: Final = Kind(
    name="look at open levels",
    stem="levels",
    findings=LevelsFound,
    sentences=words.levels_sentences,
    screen=words.levels_screen,
    text=words.levels_text,
    document=levels_document,
    beside=lambda found: {"sentences": words.levels_sentences(found)},
    figures=FIGURES,
    values=_values,
)
