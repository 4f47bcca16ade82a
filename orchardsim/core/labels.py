"""The fixed labels on the dimensions of results: one spelling for every room."""

from __future__ import annotations

from typing import Final, NamedTuple

SHARED: Final = "shared"
"""Label on the dim ``block`` of what belongs to no block, so that a sum over ``block`` is the farm."""

FARM: Final = "farm"
"""Name of all blocks together in summaries and tables; never a label on ``block``."""

CAUSES: Final = (
    "transplant_failure",
    "fire_blight",
    "winter_cold",
    "crown_rot",
    "decline",
    "replant_disease",
    "voles",
    "deer",
    "trunk_injury",
    "wind",
    "row_collapse",
    "drought",
    "old_age",
)

# The first two are fresh grades by the names of the United States standards for grades of apples (7 CFR 51.300).
FRESH_GRADES: Final = ("extra_fancy", "fancy")
GRADES: Final = (*FRESH_GRADES, "processing", "juice")
FRESH: Final = slice(len(FRESH_GRADES))
"""Place of the fresh grades on an axis of grades."""

OUTLETS: Final = ("direct", "pick_your_own", "wholesale", "processing", "juice")
"""In the order in which fruit is offered to them; what one does not take goes on to the next."""

# Number of fruit in a box; fresh fruit beyond the counts is larger than the first or smaller than the last.
BOX_COUNTS: Final = ("larger", "72", "80", "88", "100", "113", "125", "138", "150", "163", "smaller")

TASKS: Final = (
    "planting",
    "support_building",
    "replanting",
    "training",
    "dormant_pruning",
    "summer_pruning",
    "thinning",
    "picking",
    "frost_protection",
    "upkeep",
)


class FrostProtection(NamedTuple):
    """What a way of frost protection costs: key of its fuel among costs, and what its own two prices mean.

    No fuel where the price of water holds it. The prices are parameters of costs, made from this row: installed
    [money/m2] under the way's name, by the hour [money/m2/hour] under its name with ``_running``.
    """

    fuel: str
    installed: str
    running: str


FROST_PROTECTION: Final = {
    "wind_machine": FrostProtection(
        "propane", "wind machines, installed", "oil, repair and wear of wind machines, fuel apart"
    ),
    "overhead_sprinklers": FrostProtection(
        "",
        "sprinklers for frost protection, installed",
        "repair and wear of overhead water; water and its pumping stand under ``water``",
    ),
    "heaters": FrostProtection("heating_oil", "orchard heaters", "repair and wear of heaters, fuel apart"),
}
