"""What the season room needs to know of a cultivar, a site and its protection."""

from __future__ import annotations

from dataclasses import dataclass

from orchardsim.core.labels import FROST_PROTECTION
from orchardsim.core.parameters import parameter


@dataclass(frozen=True)
class Phenology:
    """Chill, heat and ripening needs of a cultivar."""

    chill_requirement: float = parameter("1", "chill portions (Dynamic Model) for full bud break", low=10, high=110)
    bloom_heat: float = parameter(
        "K day", "degree days above 43 °F (6.1 °C), single sine, from 1 January to full bloom", low=80, high=500
    )
    days_to_harvest: float = parameter("day", "days from full bloom to mid harvest", low=70, high=230)
    sunburn_sensitivity: float = parameter("1", "relative to an average cultivar", low=0, high=3, default=1.0)


@dataclass(frozen=True)
class BlockSite:
    """The place of a block within the farm, as weather and water see it."""

    night_offset: float = parameter(
        "K", "how much colder (negative) the block is than the station on clear nights", low=-8, high=5, default=0.0
    )
    available_water: float = parameter(
        "mm", "water that the root zone holds between field capacity and wilting", low=20, high=400, default=150.0
    )
    drainage: str = parameter(
        "text",
        "how fast the ground drains: crowns rot where water stands",
        allowed=("good", "moderate", "poor"),
        default="moderate",
    )
    irrigated: bool = parameter("flag", "whether the block is irrigated", default=True)
    irrigation_limit: float = parameter(
        "mm/day", "most that the irrigation can give in a day", low=0, high=20, default=6.0
    )
    season_water_limit: float = parameter(
        "mm", "most water that a season allows, frost protection included", low=0, high=3000, default=3000.0
    )
    protection: str = parameter("text", "frost protection", allowed=("none", *FROST_PROTECTION), default="none")
    protection_failure: float = parameter(
        "1",
        "chance in a spring that frost protection breaks down when it is needed (assumption: 5 %)",
        low=0,
        high=1,
        default=0.05,
    )
    bud_cooling: float = parameter(
        "K", "how far buds run below shelter air on clear nights", low=0, high=2, default=0.8
    )
    hail_storms: float = parameter(
        "1/year",
        "damaging hailstorms at the place; one year in 5 to 15 for apple districts of the northern United States "
        "(memory, low confidence): ask your insurer",
        low=0,
        high=4,
        default=0.1,
    )
    hail_damage: float = parameter(
        "1", "mean share of the fruit that a damaging storm marks (assumption)", low=0.01, high=0.95, default=0.4
    )
    netting: bool = parameter("flag", "hail net over the block; it is closed from leaf 2 on", default=False)
    sunburn_protection: bool = parameter("flag", "net or evaporative cooling against sunburn", default=False)
