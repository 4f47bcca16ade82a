"""Bad seasons as data: what each changes, by how much, and where the number comes from.

They are hard but have happened somewhere; how often they come at a place is not said here. A user may add more: see
:class:`BadSeason`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from orchardsim.core.parameters import Status

SEASON_TARGETS: Final = {
    "bud_temperature_at_bloom": "degC",
    "blight_days": "day",
    "acclimation_shortfall": "K",
    "winter_below_record": "K",
    "summer_rain": "1",
    "irrigation": "1",
    "record_spell": "year",
}
"""What a season can bring, and its unit: lowest bud temperature of a clear night at full bloom; days of infection
weather in bloom, at least; cold beyond early-winter hardening, at least; how far the coldest winter night lies below
the coldest of the site's own past; rain from 1 April to 30 September (1 October to 31 March in the south) and
irrigation as factors; the worst run of so many years of the record."""

YEAR_TARGETS: Final = ("hail_fraction", "transplant_loss", "crew_share", "nursery_deliveries", "price")
"""What else a year can bring, 0 to 1: share of the fruit marked, at least; share of new trees that fail, at least;
share of every crew that comes; deliveries of replacement trees (0: none, they come later); prices as a factor."""

HAZARD: Final = "hazard."
"""Before the name of a field of :class:`orchardsim.trees.hazards.Hazards`: a factor on it."""


@dataclass(frozen=True)
class Change:
    """One thing that a bad season changes.

    Attributes
    ----------
    target : str
        Key of :data:`SEASON_TARGETS` or :data:`YEAR_TARGETS`, or ``hazard.`` and the name of a hazard.
    status : str
        Where the number comes from, as in the catalogue.
    """

    target: str
    value: float
    unit: str = field(init=False)
    meaning: str
    source: str
    status: Status = "assumption"

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", SEASON_TARGETS.get(self.target, "1"))


@dataclass(frozen=True)
class BadSeason:
    """A bad season, or a run of them.

    Attributes
    ----------
    name : str
        Name on the command line.
    title : str
        Name in tables.
    sentence : str
        What happens, for a grower.
    years : int
        Bad years in a row.
    """

    name: str
    title: str
    sentence: str
    changes: tuple[Change, ...]
    years: int = 1


FROST_NIGHT: Final = Change(
    "bud_temperature_at_bloom",
    -4.6,
    "buds go down to 24 °F in full bloom on a clear night; the block's own frost protection works as well as it can",
    "kill by the 10/90 % table of EB0913, Washington State University (Proebsting & Mills), whose 90 % point is 25 °F "
    "(-3.9 °C): -4.6 °C kills 98 %; the night itself is an assumption",
)

BAD_SEASONS: Final = (
    BadSeason(
        "late_frost",
        "late frost at full bloom",
        "One clear night at full bloom in which unprotected flowers are killed all but one in fifty.",
        (FROST_NIGHT,),
    ),
    BadSeason(
        "two_frosts",
        "two frosts in a row",
        "The same night at full bloom in two years running.",
        (FROST_NIGHT,),
        years=2,
    ),
    BadSeason(
        "fire_blight",
        "fire blight epidemic",
        "Infection weather all through bloom, an aggressive strain, and cutting out that comes too late.",
        (
            Change(
                "blight_days",
                8.0,
                "days in bloom that meet the infection rule",
                "a bloom of some ten days wet and warm almost throughout",
            ),
            Change(
                "hazard.blight_strike",
                60.0,
                "how much likelier a strike is than in middle years of such weather",
                "set so that a young block on M.9 loses a third to a half of its trees at once; 36-100 % of Royal Gala "
                "on M.9 and M.26 died after severe blossom infection: Plant Dis. 87:26, read",
            ),
            Change(
                "hazard.blight_level_spread",
                0.0,
                "share of the usual spread of the level between years that is left",
                "the named epidemic is the same in every future",
            ),
            Change(
                "hazard.blight_sanitation",
                0.0,
                "share of the usual gain by cutting out that is left",
                "crews cannot keep up in an epidemic",
            ),
        ),
    ),
    BadSeason(
        "hail",
        "hail before harvest",
        "A storm shortly before picking marks most of the fruit; it goes to processing.",
        (
            Change(
                "hail_fraction",
                0.8,
                "share of the fruit marked, without a net",
                "40 to 100 % of a hit crop in severe cases (a student's page on Michigan hail, 2012: weak, read)",
            ),
        ),
    ),
    BadSeason(
        "drought",
        "drought without water",
        "Two fifths of the usual rain from spring to autumn, and the water for irrigation gives out.",
        (
            Change(
                "summer_rain",
                0.4,
                "rain from April to September (October to March in the south), of what the season would have had",
                "a drought of the worst kind in a humid place",
            ),
            Change(
                "irrigation",
                0.0,
                "irrigation of that year",
                "well or pond dry",
            ),
        ),
    ),
    BadSeason(
        "hard_winter",
        "hard winter",
        "A hard freeze in November before the wood is ready, then a night far below the coldest of the record.",
        (
            Change(
                "acclimation_shortfall",
                9.0,
                "cold beyond what the wood had hardened to",
                "half of the trees die at 12 K in this model; sudden falls from 70 to below 20 °F in November are on "
                "record in Missouri (eXtension, read)",
            ),
            Change(
                "winter_below_record",
                8.0,
                "coldest night below the coldest of the site's own past",
                "a winter beyond the record",
            ),
        ),
    ),
    BadSeason(
        "price_slump",
        "price slump",
        "All prices two fifths lower for two years.",
        (
            Change(
                "price",
                0.6,
                "prices of all outlets and grades",
                "a glut in the whole trade",
            ),
        ),
        years=2,
    ),
    BadSeason(
        "short_crew",
        "short crew",
        "Half of every crew is missing for the whole year.",
        (
            Change(
                "crew_share",
                0.5,
                "share of every crew that comes",
                "a whole state was short by 8.6 to 8.8 % at the peak in 2011 and 2012 ([press_labour_2013], "
                "read); a single farm can be hit far harder",
            ),
        ),
    ),
    BadSeason(
        "nursery_failure",
        "nursery failure",
        "Replacement trees on order come two years late, and trees planted in these years are weak.",
        (
            Change(
                "nursery_deliveries",
                0.0,
                "deliveries of replacement trees in the two years",
                "as after the nursery freeze of November 2010 (press, read); the length is an assumption",
            ),
            Change(
                "transplant_loss",
                0.2,
                "share of newly planted trees that fail in their first leaf, at least",
                "establishment of 98 % with feathered trees and down to 50 % with bench grafts "
                "([feathered_trees], read)",
            ),
        ),
        years=2,
    ),
    BadSeason(
        "worst_spell",
        "worst five years of the record",
        "The five years of the record that together would have left the least crop, replayed.",
        (
            Change(
                "record_spell",
                5.0,
                "years in a row with the least crop, by frost and growing weather",
                "the plan's own station record",
                "computed",
            ),
        ),
        years=5,
    ),
)
"""The bad seasons that ``stress`` knows. They are stresses, not forecasts: no chance is given."""
