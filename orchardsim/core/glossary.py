"""The words of pages and tables, each with what it means: labels come from here, and pages open a word's meaning.

Meanings are the trade's and the textbooks' (common practice, no source) as this program uses them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Word:
    """A word.

    Attributes
    ----------
    name : str
        As it is written on pages.
    meaning : str
        A sentence or two.
    forms : tuple of str
        Other forms of it in running text.
    """

    name: str
    meaning: str
    forms: tuple[str, ...] = ()

    @property
    def anchor(self) -> str:
        """Its place on a page."""
        return "word-" + re.sub(r"[^a-z0-9]+", "-", self.name.lower().replace("±", "plus-minus")).strip("-")


WORDS: Final[dict[str, Word]] = {
    "leaf": Word("leaf", "A growing season of a tree: leaf 1 is its first after planting.", ("leaves",)),
    "trial": Word("future", "One way in which it may go: a draw of seasons, prices, losses and of what nobody knows "
                  "yet. Files and studies call it a trial.", ("futures", "trial", "trials")),
    "low": Word("low (1 in 20)", "One future of twenty falls below it."),
    "high": Word("high (1 in 20)", "One future of twenty lies above it."),
    "middle": Word("middle", "As many futures lie above it as below it (the median)."),
    "luck": Word("luck", "What varies even where all levels are known: seasons, yearly prices, which trees die.",
                 ("luck alone",)),
    "not_knowing": Word("not knowing", "What is fixed on your ground but not known yet: how trees grow there, the "
                        "levels of prices, costs and hazards."),
    "npv": Word("NPV", "Net present value: all cash flows in money of year 0, later money valued less by the discount "
                "rate, with what the blocks are worth at the end.", ("net present value",)),
    "npv_without_remaining_value": Word("NPV, nothing counted at the end", "NPV where trees and land count nothing at "
                                        "the end."),
    "irr": Word("IRR", "Internal rate of return: the yearly rate at which NPV is zero; none where money never comes "
                "back. Beside standing blocks it is the new planting's own, before tax."),
    "irr_without_remaining_value": Word("IRR, nothing counted at the end", "IRR where trees and land count nothing at "
                                        "the end."),
    "equivalent_annual_annuity": Word("annuity", "The level yearly amount that is worth as much as NPV."),
    "payback_year": Word("payback year", "First year from which the summed cash flow stays above zero, interest "
                         "counted; not before half of all that is invested is spent. Beside standing blocks it is the "
                         "new planting's own, before tax and interest.", ("payback",)),
    "discounted_payback_year": Word("discounted payback", "The same with later money valued less, interest left out."),
    "peak_borrowing": Word("peak borrowing", "The deepest debt at the end of any quarter."),
    "peak_borrowing_year": Word("year of the peak", "Year of the deepest debt."),
    "break_even_price": Word("break-even price", "Packed price of fresh fruit at which NPV without remaining value is "
                             "zero."),
    "household_draw_bearable": Word("sustainable family draw", "The largest level yearly amount for the household that "
                                    "leaves no debt at the end."),
    "negative_years": Word("years with negative cash flow", "Years in which more is paid than comes in."),
    "debt_service_cover": Word("debt-service cover", "Cash flow before interest over the interest and principal due; "
                               "below 1 the year does not earn what its debts ask for.", ("Debt-service cover",)),
    "standard_error": Word("±", "Standard error: how far a number would move with other futures."),
    "weather_record": Word("± weather record", "How far a number would move with another weather record of the same "
                           "length; more futures do not lessen it."),
    "worst_tenth": Word("worst tenth", "Mean of the worst tenth of the futures (expected shortfall)."),
    "certainty_equivalent": Word("certainty equivalent", "The sure amount worth as much as an unsure one to somebody "
                                 "who shuns risk so much."),
    "remaining_value": Word("remaining value", "What living blocks are worth at the end of the run."),
    "pack_out": Word("pack-out", "Share of the fruit picked that is packed for fresh sale."),
    "culled": Word("culled", "Fruit that no fresh market takes: it goes for juice or is left."),
    "trunk_area": Word("trunk area", "Cross-sectional area of the trunk, the usual measure of a tree's size."),
    "crop_load": Word("fruit per trunk", "Crop load: fruit at harvest over trunk area."),
    "biennial": Word("biennial bearing index", "How much crops swing between years: 0 every year alike, 1 every other "
                     "year blank."),
    "row_group": Word("row group", "Rows of one block with the same cultivar, rootstock and tree grade.",
                      ("row groups",)),
    "spares": Word("spares", "Replacement trees held ready to fill gaps.", ("spare trees",)),
    "gap": Word("gap", "A place in a row where no tree stands.", ("gaps",)),
    "replant": Word("replanted", "Gaps filled with young trees after the first planting.", ("replants",)),
    "pollinizer": Word("pollinizer", "A tree that stands for its pollen, at posts or in rows of its own.",
                       ("pollinizers",)),
    "full_bloom": Word("full bloom", "Day on which most flowers are open.", ("Full bloom",)),
    "chill": Word("chill", "Cold that buds need in winter before they can open."),
    "baseline": Word("baseline", "Years of the weather record from which seasons are drawn.", ("baseline years",)),
    "headland": Word("headlands", "Ground at the ends of rows to turn on.", ("headland",)),
}  # fmt: skip
"""Key (a result variable's name where it is one's label) -> word."""


def term(name: str) -> str:
    """How people call what the program names so: the glossary's word, else the name with spaces.

    Examples
    --------
    >>> term("pack_out"), term("price_level")
    ('pack-out', 'price level')
    """
    return WORDS[name].name if name in WORDS else name.replace("_", " ")
