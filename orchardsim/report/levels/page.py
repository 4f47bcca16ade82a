"""What is said, drawn and saved of a look at open levels."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.core.glossary import term
from orchardsim.core.units import CARTON
from orchardsim.report.levels.figures import FIGURES
from orchardsim.report.levels.words import (
    debt_cells,
    footer_text,
    formats_of,
    levels_screen,
    levels_sentences,
    levels_text,
    losing_cells,
    price_cells,
    swing_cells,
)
from orchardsim.report.pages import Kind
from orchardsim.results.levels import LevelsFound, levels_document


def _values(found: LevelsFound) -> dict[str, Any]:
    formats = formats_of(found)
    return {
        "title": f"Open levels: {found.attributes['title']}",
        "footer": footer_text(found),
        "tables": [
            ("One open level at a time", swing_cells(found)),
            (f"NPV in 1,000 {formats.currency} by price and yield", price_cells(found)),
            ("How the plan loses", losing_cells(found)),
            ("Debt service by year", debt_cells(found)),
        ],
        "meanings": [(term(one.name), one.meaning, one.narrowed_by) for one in found.swings],
        "money_basis": f"{formats.money_line}, carton of {formats.mass(CARTON)}",
    }


KIND: Final = Kind(
    name="look at open levels",
    stem="levels",
    findings=LevelsFound,
    sentences=levels_sentences,
    screen=levels_screen,
    text=levels_text,
    document=levels_document,
    beside=lambda found: {"sentences": levels_sentences(found)},
    figures=FIGURES,
    values=_values,
)
