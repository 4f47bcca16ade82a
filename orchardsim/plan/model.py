"""The typed model of a plan file: every table and key that may stand in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from orchardsim.core.parameters import parameters_of
from orchardsim.core.support import SupportDesign
from orchardsim.core.text import quoted, steers
from orchardsim.core.units import BUSHEL, CURRENCIES, POUND
from orchardsim.economy.parameters import Costs, Finance, IdleLand, Market, TreePrice
from orchardsim.operations.parameters import (
    GROUP_KEYS,
    Crew,
    Replacement,
    SupportRates,
    WorkRates,
)
from orchardsim.plan.catalogue import TABLES, CropLoadTarget
from orchardsim.plan.tables import Table, plain_table, quantity, table_of
from orchardsim.season.parameters import BlockSite
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.parameters import Physiology, Thinning
from orchardsim.weather.parameters import WeatherSettings

DEFAULT_BIN: Final = 875 * POUND
"""kg; least bin of the United States apple crop insurance provisions (7 CFR 457.158: read)."""
DEFAULT_BOX: Final = BUSHEL

YEARS: Final = (-80, 80)
UNNAMED: Final = "unnamed farm"
"""Name of a farm that the plan does not name."""


def _drawn_signs(text: str) -> str:
    for sign in text:
        if steers(sign):
            raise ValueError(f"found {quoted(text)}, which holds U+{ord(sign):04X}; allowed: signs that can be drawn")
    return text


Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"\S"), AfterValidator(_drawn_signs)]
RowSpacing = quantity("m", "distance of rows", 0.2, 30)
TreeSpacing = quantity("m", "distance of trees in the row", 0.2, 30)
MOST_BLOCKS: Final = 60
MOST_GROUPS: Final = 30
"""Of a block; with these limits a plan is read within a second. Our own choice."""
EARLIEST_DATE: Final = 1800
"""From here on a year is taken for a calendar year."""


def _pollinizer_steps(raw: Any) -> Any:
    if isinstance(raw, bool) or not isinstance(raw, int) or not 2 <= raw <= 500:
        raise ValueError(f"found {quoted(raw)}, allowed a whole number from 2 to 500")
    return raw


def _no_calendar_year(raw: Any) -> Any:
    if isinstance(raw, int) and not isinstance(raw, bool) and raw >= EARLIEST_DATE:
        raise ValueError(
            f"found the calendar year {raw}; years of a plan count from year 0, that of the first outlay "
            f"(allowed {YEARS[0]} to {YEARS[1]})"
        )
    return raw


def _as_list(raw: Any) -> Any:
    """A farm with one crew may write ``[crews]`` for ``[[crews]]``."""
    return [raw] if isinstance(raw, dict) else raw


CrewRank = Annotated[int, Field(ge=1, le=9, description="which block or row group goes first at a crew's same task")]
YearOfPlan = Annotated[int, Field(ge=YEARS[0], le=YEARS[1]), BeforeValidator(_no_calendar_year)]
Step = Annotated[int, BeforeValidator(_pollinizer_steps)]
SiteGrowth = Annotated[float, Field(ge=0.3, le=2.5, strict=False)]


def said(meaning: str, default: Any = ...) -> Any:
    """A field with its meaning."""
    return Field(default, description=meaning)


class PollinizerTable(Table):
    """``[[block.pollinizer]]``: pollen for the block.

    ``every_tree`` sets extra trees beside the row's posts, which take no planting position; ``every_row`` alone
    plants whole rows, which become a row group of their own.
    """

    cultivar: Name = said("pollen source: a cultivar of the catalogue, or 'crab'")
    every_tree: Step | None = said("an extra tree at every so many trees of a row", None)
    every_row: Step | None = said("a whole row of it at every so many rows", None)


class GroupTable(Table):
    """``[[block.group]]``: neighbouring rows that differ from the block in stock, cultivar, grade or target."""

    name: Name = said("name of the row group, after its place in the block")
    rows: Annotated[int, Field(ge=1, le=100_000)] | None = said(
        "rows of the group; the last group may take the rest", None
    )
    cultivar: Name | None = said("as in the block, where it differs", None)
    rootstock: Name | None = said("as in the block, where it differs", None)
    tree_grade: Name | None = said("as in the block, where it differs", None)
    crop_load_target: CropLoadTarget | None = said("as in the block, where it differs", None)
    crew_rank: CrewRank | None = None


class BlockBase(Table):
    """``[[block]]``: land, trees and timing; the keys of the block's site are added from the season room."""

    name: Name = said("name of the block, after its place on the farm")
    cultivar: Name | None = said("cultivar of the catalogue or of the plan; row groups may differ", None)
    rootstock: Name | None = said("rootstock of the catalogue or of the plan; row groups may differ", None)
    training: Name = said("training system of the catalogue or of the plan")
    tree_grade: Name = said("kind of nursery tree that is planted", "feathered")
    row_spacing: RowSpacing  # type: ignore[valid-type]
    tree_spacing: TreeSpacing  # type: ignore[valid-type]
    gross_area: quantity("m2", "land with headlands", 10, 1e8) | None = None  # type: ignore[valid-type]
    net_area: quantity("m2", "land under the trees' own spacing", 1, 1e8) | None = None  # type: ignore[valid-type]
    trees: Annotated[int, Field(ge=1, le=500_000)] | None = said("trees planted, in place of an area", None)
    row_length: quantity("m", "length of a row under trees", 1, 2000) | None = None  # type: ignore[valid-type]
    headland: quantity("m", "free land at each row end", 0, 100) | None = None  # type: ignore[valid-type]
    row_direction: quantity("degree", "direction of the rows, clockwise from north", 0, 360) | None = None  # type: ignore[valid-type]
    year_planted: YearOfPlan = said("year of the plan in which the block is planted; 0 or less: it stands already", 1)
    year_removed: YearOfPlan | None = said("year of the plan after whose crop the block is pulled", None)
    crop_load_target: CropLoadTarget | None = None
    site_growth: Annotated[float, Field(ge=0.3, le=2.5, strict=False)] | None = said(
        "as in [site], where it differs", None
    )
    replant_site: bool | None = said("as in [site], where it differs", None)
    trunk_area: quantity("cm2", "mean trunk area at the end of the season before year 0", 0.1, 2000) | None = None  # type: ignore[valid-type]
    last_crop: quantity("kg/tree", "crop of the season before year 0", 0, 1500) | None = None  # type: ignore[valid-type]
    group: list[GroupTable] = Field(default_factory=list, max_length=MOST_GROUPS)
    pollinizer: list[PollinizerTable] = Field(default_factory=list, max_length=MOST_GROUPS)
    order_year: YearOfPlan | None = said("year of the plan in which the trees are ordered", None)
    trees_bought: Literal["contract", "late"] = said("grown to order, or bought late from what is left", "contract")
    tree_price: quantity("money/tree", "price of a nursery tree with royalty", 0, 1e6) | None = None  # type: ignore[valid-type]
    replacement_price: quantity("money/tree", "price of a replacement tree", 0, 1e6) | None = None  # type: ignore[valid-type]
    planned_removal_leaf: Annotated[int, Field(ge=2, le=120)] | None = said(
        "leaf after which the block is to go; what it is worth at the end of a run counts up to then", None
    )
    clears_old_orchard: bool = said("old trees are pulled from the land first, and paid for", False)
    fallow_years: Annotated[int, Field(ge=0, le=10)] = said("years that the land rests before planting", 0)
    land_from_year: Annotated[int, Field(ge=0, le=YEARS[1]), BeforeValidator(_no_calendar_year)] | None = said(
        "first year of the plan in which the land is paid for", None
    )
    fence: Literal["built", "stands", "none"] = said("deer fence", "built")
    crew_rank: CrewRank | None = None
    yield_history: list[quantity("kg", "earlier crops, oldest first", 0, 1e9)] = Field(default_factory=list)  # type: ignore[valid-type]


class SiteBase(Table):
    """``[site]``: the farm's place; keys of a block's site given here hold for all blocks that do not state them."""

    name: Name = said("name of the farm or place", UNNAMED)
    latitude: quantity("degree", "latitude, north positive", -66, 66)  # type: ignore[valid-type]
    elevation: quantity("m", "height above the sea", -400, 4500) | None = None  # type: ignore[valid-type]
    replant_site: bool = said("apples stood here before: replant disease slows young trees", False)
    pollen_nearby: quantity("m", "distance to compatible pollen sources off the plan; far = none", 1, 10_000) = 40.0  # type: ignore[valid-type]
    site_growth: SiteGrowth = said(
        "growth level of ground and grower; 1.0 = mean of published trials, 1.5 = a good grower on good ground", 1.0
    )
    row_direction: quantity("degree", "direction of the rows, clockwise from north", 0, 360) | None = None  # type: ignore[valid-type]


class PackingTable(Table):
    """``[packing]``: what a bin and a box hold."""

    bin_mass: quantity("kg", "fruit in a bin", 100, 600) = DEFAULT_BIN  # type: ignore[valid-type]
    box_mass: quantity("kg", "fruit in a box", 5, 40) = DEFAULT_BOX  # type: ignore[valid-type]


SiteTable: Any = table_of("site", BlockSite, base=SiteBase)
BlockTable: Any = table_of("block", BlockSite, base=BlockBase, thinning=(plain_table(Thinning) | None, None))
WeatherTable: Any = table_of(
    "weather",
    WeatherSettings,
    leave_out=("latitude", "elevation"),
    record=(str | None, said("station record: a file beside the plan, 'bundled' or 'bundled cool'", None)),
    baseline_years=(list[int] | None, said("first and last year of the record to draw futures from", None)),
)

SECTIONS: Final[dict[str, type]] = {
    "replacement": Replacement,
    "work_rates": WorkRates,
    "support_rates": SupportRates,
    "support": SupportDesign,
    "costs": Costs,
    "market": Market,
    "finance": Finance,
    "hazards": Hazards,
    "physiology": Physiology,
}
"""Plan table -> stage class that it fills."""
GroupRulesTable: Any = table_of(
    "replacement_group", Replacement, leave_out=[key for key in parameters_of(Replacement) if key not in GROUP_KEYS]
)
"""``[replacement.group."block/group"]``: rules of one row group, or of all of a block."""
SUPPLIED: Final[dict[str, tuple[str, ...]]] = {"costs": ("bin_mass",), "finance": ("price_year",)}
"""Parameters of these classes that other keys of the plan give."""


class PlanBase(Table):
    """The top of a plan file."""

    title: Name = said("title of the plan")
    units: Literal["us", "metric"] = said("units in which results are shown")
    currency: Literal[CURRENCIES] = said("currency of the plan's money")  # type: ignore[valid-type]
    price_year: Annotated[int, Field(ge=2000, le=2150)] = said("year of the plan's prices and costs", 2024)
    calendar_year: Annotated[int, Field(ge=1900, le=2150)] | None = said(
        "calendar year in which the crop of year 0 is picked; needed by `fit`", None
    )
    note: str = said("remark of your own", "")
    packing: PackingTable = PackingTable()


IdleTable: Any = plain_table(IdleLand)


def _plan_table() -> Any:
    fields: dict[str, Any] = {
        "site": (SiteTable, ...),
        "weather": (WeatherTable, ...),
        "block": (Annotated[list[BlockTable], Field(max_length=MOST_BLOCKS)], Field(default_factory=list)),
        "idle_land": (Annotated[list[IdleTable], Field(max_length=MOST_BLOCKS)], Field(default_factory=list)),
        "crews": (Annotated[list[plain_table(Crew)], BeforeValidator(_as_list)] | None, None),  # type: ignore[misc]
        "tree_price": (dict[str, plain_table(TreePrice)] | None, None),  # type: ignore[misc]
        "futures": (Mapping[str, Any] | None, said("what the plan knows of the open levels, by name", None)),
    }
    for name, cls in SECTIONS.items():
        more: dict[str, Any] = {"group": (dict[str, GroupRulesTable] | None, None)} if name == "replacement" else {}
        table = table_of(name, cls, leave_out=SUPPLIED.get(name, ()), **more)
        fields[name] = (table | None, None)
    for kind, entry in TABLES.items():
        fields[kind] = (dict[str, entry] | None, None)  # type: ignore[valid-type]
    return table_of("plan", base=PlanBase, **fields)


PlanTable: Any = _plan_table()
