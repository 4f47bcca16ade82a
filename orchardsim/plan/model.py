"""The typed model of a plan file: every table and key that may stand in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final, Literal, get_type_hints

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
from orchardsim.plan.catalogue import TABLES, CropLoadTarget, EntryTable
from orchardsim.plan.raw import RawTable
from orchardsim.plan.tables import Fields, Table, plain_table, quantity, table_of
from orchardsim.season.parameters import BlockSite
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.parameters import Physiology, Thinning
from orchardsim.weather.parameters import WeatherSettings

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

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
RowSpacing = Annotated[float, *quantity("m", "distance of rows", 0.2, 30)]
RowDirection = Annotated[float, *quantity("degree", "direction of the rows, clockwise from north", 0, 360)]
TreeSpacing = Annotated[float, *quantity("m", "distance of trees in the row", 0.2, 30)]
MOST_BLOCKS: Final = 60
MOST_GROUPS: Final = 30
"""Of a block; with these limits a plan is read within a second. Our own choice."""
EARLIEST_DATE: Final = 1800
"""From here on a year is taken for a calendar year."""


def _pollinizer_steps(raw: object) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int) or not 2 <= raw <= 500:
        raise ValueError(f"found {quoted(raw)}, allowed a whole number from 2 to 500")
    return raw


def _no_calendar_year(raw: object) -> object:
    if isinstance(raw, int) and not isinstance(raw, bool) and raw >= EARLIEST_DATE:
        raise ValueError(
            f"found the calendar year {raw}; years of a plan count from year 0, that of the first outlay "
            f"(allowed {YEARS[0]} to {YEARS[1]})"
        )
    return raw


def _as_list(raw: object) -> object:
    """A farm with one crew may write ``[crews]`` for ``[[crews]]``."""
    return [raw] if isinstance(raw, dict) else raw


CrewRank = Annotated[int, Field(ge=1, le=9, description="which block or row group goes first at a crew's same task")]
YearOfPlan = Annotated[int, Field(ge=YEARS[0], le=YEARS[1]), BeforeValidator(_no_calendar_year)]
Step = Annotated[int, BeforeValidator(_pollinizer_steps)]
SiteGrowth = Annotated[float, Field(ge=0.3, le=2.5, strict=False)]


class PollinizerTable(Table):
    """``[[block.pollinizer]]``: pollen for the block.

    ``every_tree`` sets extra trees beside the row's posts, which take no planting position; ``every_row`` alone
    plants whole rows, which become a row group of their own.
    """

    cultivar: Name = Field(description="pollen source: a cultivar of the catalogue, or 'crab'")
    every_tree: Step | None = Field(None, description="an extra tree at every so many trees of a row")
    every_row: Step | None = Field(None, description="a whole row of it at every so many rows")


class GroupTable(Table):
    """``[[block.group]]``: neighbouring rows that differ from the block in stock, cultivar, grade or target."""

    name: Name = Field(description="name of the row group, after its place in the block")
    rows: Annotated[int, Field(ge=1, le=100_000)] | None = Field(
        None, description="rows of the group; the last group may take the rest"
    )
    cultivar: Name | None = Field(None, description="as in the block, where it differs")
    rootstock: Name | None = Field(None, description="as in the block, where it differs")
    tree_grade: Name | None = Field(None, description="as in the block, where it differs")
    crop_load_target: CropLoadTarget | None = Field(None, description="as in the block, where it differs")
    crew_rank: CrewRank | None = None


class BlockBase(Table):
    """``[[block]]``: land, trees and timing; the keys of the block's site are added from the season room."""

    name: Name = Field(description="name of the block, after its place on the farm")
    cultivar: Name | None = Field(None, description="cultivar of the catalogue or of the plan; row groups may differ")
    rootstock: Name | None = Field(None, description="rootstock of the catalogue or of the plan; row groups may differ")
    training: Name = Field(description="training system of the catalogue or of the plan")
    tree_grade: Name = Field("feathered", description="kind of nursery tree that is planted")
    row_spacing: RowSpacing
    tree_spacing: TreeSpacing
    gross_area: Annotated[float, *quantity("m2", "land with headlands", 10, 1e8)] | None = None
    net_area: Annotated[float, *quantity("m2", "land under the trees' own spacing", 1, 1e8)] | None = None
    trees: Annotated[int, Field(ge=1, le=500_000)] | None = Field(
        None, description="trees planted, in place of an area"
    )
    row_length: Annotated[float, *quantity("m", "length of a row under trees", 1, 2000)] | None = None
    headland: Annotated[float, *quantity("m", "free land at each row end", 0, 100)] | None = None
    row_direction: RowDirection | None = None
    year_planted: YearOfPlan = Field(
        1, description="year of the plan in which the block is planted; 0 or less: it stands already"
    )
    year_removed: YearOfPlan | None = Field(None, description="year of the plan after whose crop the block is pulled")
    crop_load_target: CropLoadTarget | None = None
    site_growth: Annotated[float, Field(ge=0.3, le=2.5, strict=False)] | None = Field(
        None, description="as in [site], where it differs"
    )
    replant_site: bool | None = Field(None, description="as in [site], where it differs")
    trunk_area: (
        Annotated[float, *quantity("cm2", "mean trunk area at the end of the season before year 0", 0.1, 2000)] | None
    ) = None
    last_crop: (
        Annotated[
            float,
            *quantity("kg/tree", "crop of the season before year 0; a usual one unless under half of that", 0, 1500),
        ]
        | None
    ) = None
    group: list[GroupTable] = Field(default_factory=list, max_length=MOST_GROUPS)
    pollinizer: list[PollinizerTable] = Field(default_factory=list, max_length=MOST_GROUPS)
    order_year: YearOfPlan | None = Field(None, description="year of the plan in which the trees are ordered")
    trees_bought: Literal["contract", "late"] = Field(
        "contract", description="grown to order, or bought late from what is left"
    )
    tree_price: Annotated[float, *quantity("money/tree", "price of a nursery tree with royalty", 0, 1e6)] | None = None
    replacement_price: Annotated[float, *quantity("money/tree", "price of a replacement tree", 0, 1e6)] | None = None
    planned_removal_leaf: Annotated[int, Field(ge=2, le=120)] | None = Field(
        None, description="leaf after which the block is to go; what it is worth at the end of a run counts up to then"
    )
    clears_old_orchard: bool = Field(False, description="old trees are pulled from the land first, and paid for")
    fallow_years: Annotated[int, Field(ge=0, le=10)] = Field(0, description="years that the land rests before planting")
    land_from_year: Annotated[int, Field(ge=0, le=YEARS[1]), BeforeValidator(_no_calendar_year)] | None = Field(
        None, description="first year of the plan in which the land is paid for"
    )
    fence: Literal["built", "stands", "none"] = Field("built", description="deer fence")
    crew_rank: CrewRank | None = None
    yield_history: list[Annotated[float, *quantity("kg", "earlier crops, oldest first", 0, 1e9)]] = Field(
        default_factory=list
    )
    if TYPE_CHECKING:  # from the trees' room, see BlockTable
        thinning: Table | None


class SiteBase(Table):
    """``[site]``: the farm's place; keys of a block's site given here hold for all blocks that do not state them."""

    name: Name = Field(UNNAMED, description="name of the farm or place")
    latitude: Annotated[float, *quantity("degree", "latitude, north positive", -66, 66)]
    elevation: Annotated[float, *quantity("m", "height above the sea", -400, 4500)] | None = None
    replant_site: bool = Field(False, description="apples stood here before: replant disease slows young trees")
    pollen_nearby: Annotated[
        float, *quantity("m", "distance to compatible pollen sources off the plan; far = none", 1, 10_000)
    ] = 40.0
    site_growth: SiteGrowth = Field(
        1.0,
        description="growth level of ground and grower; 1.0 = mean of published trials, "
        "1.5 = a good grower on good ground",
    )
    row_direction: RowDirection | None = None


class WeatherBase(Table):
    """``[weather]``; the keys stand in the weather room."""

    if TYPE_CHECKING:  # see WeatherTable
        record: str | None
        baseline_years: list[int] | None
        warming: tuple[float, ...]
        normals: Table | None


class PackingTable(Table):
    """``[packing]``: what a bin and a box hold."""

    bin_mass: Annotated[float, *quantity("kg", "fruit in a bin", 100, 600)] = DEFAULT_BIN
    box_mass: Annotated[float, *quantity("kg", "fruit in a box", 5, 40)] = DEFAULT_BOX


SiteTable = table_of("site", BlockSite, base=SiteBase)
BlockTable = table_of("block", BlockSite, base=BlockBase, more={"thinning": (plain_table(Thinning) | None, None)})
WeatherTable = table_of(
    "weather",
    WeatherSettings,
    base=WeatherBase,
    leave_out=("latitude", "elevation"),
    more={
        "record": (
            str | None,
            Field(None, description="station record: a file beside the plan, 'bundled' or 'bundled cool'"),
        ),
        "baseline_years": (
            list[int] | None,
            Field(None, description="first and last year of the record to draw futures from"),
        ),
    },
)


@dataclass(frozen=True)
class Sections:
    """Stages' parameters that a table of the plan, of the field's name, fills."""

    replacement: Replacement
    work_rates: WorkRates
    support_rates: SupportRates
    support: SupportDesign
    costs: Costs
    market: Market
    finance: Finance
    hazards: Hazards
    physiology: Physiology


SECTIONS: Final[dict[str, type[DataclassInstance]]] = get_type_hints(Sections)
"""Plan table -> stage class that it fills."""
GroupRulesTable = table_of(
    "replacement_group",
    Replacement,
    base=Table,
    leave_out=[key for key in parameters_of(Replacement) if key not in GROUP_KEYS],
)
"""``[replacement.group."block/group"]``: rules of one row group, or of all of a block."""
SUPPLIED: Final[dict[str, tuple[str, ...]]] = {"costs": ("bin_mass",), "finance": ("price_year",)}
"""Parameters of these classes that other keys of the plan give."""


class PlanBase(Table):
    """The top of a plan file."""

    title: Name = Field(description="title of the plan")
    units: Literal["us", "metric"] = Field(description="units in which results are shown")
    currency: Literal[CURRENCIES] = Field(description="currency of the plan's money")  # type: ignore[valid-type]
    usd_rate: Annotated[float, Field(gt=0, le=1e6)] | None = Field(
        None, description="money of the plan's currency for one US dollar; needed where the currency is another"
    )
    price_year: Annotated[int, Field(ge=2000, le=2150)] = Field(2024, description="year of the plan's prices and costs")
    calendar_year: Annotated[int, Field(ge=1900, le=2150)] | None = Field(
        None, description="calendar year in which the crop of year 0 is picked; needed by `fit`"
    )
    note: str = Field("", description="remark of your own")
    packing: PackingTable = PackingTable()
    if TYPE_CHECKING:  # see _plan_table
        site: SiteBase
        weather: WeatherBase
        block: list[BlockBase]
        idle_land: list[Table]
        crews: list[Table] | None
        futures: RawTable | None
        replacement: Table | None
        costs: Table | None
        market: Table | None

    def own(self, kind: str) -> dict[str, EntryTable]:
        """The plan's own entries in a catalogue."""
        return getattr(self, kind) or {}


def _plan_table() -> type[PlanBase]:
    fields: Fields = {
        "site": (SiteTable, ...),
        "weather": (WeatherTable, ...),
        "block": (
            Annotated[list[BlockTable], Field(max_length=MOST_BLOCKS)],  # type: ignore[valid-type]
            Field(default_factory=list),
        ),
        "idle_land": (
            Annotated[list[plain_table(IdleLand)], Field(max_length=MOST_BLOCKS)],  # type: ignore[misc]
            Field(default_factory=list),
        ),
        "crews": (Annotated[list[plain_table(Crew)], BeforeValidator(_as_list)] | None, None),  # type: ignore[misc]
        "tree_price": (dict[str, plain_table(TreePrice)] | None, None),  # type: ignore[misc]
        "futures": (RawTable | None, Field(None, description="what the plan knows of the open levels, by name")),
    }
    for name, cls in SECTIONS.items():
        rules = dict[str, GroupRulesTable] | None  # type: ignore[valid-type]
        more: Fields = {"group": (rules, None)} if name == "replacement" else {}
        table = table_of(name, cls, base=Table, leave_out=SUPPLIED.get(name, ()), more=more)
        fields[name] = (table | None, None)
    for kind, entry in TABLES.items():
        fields[kind] = (dict[str, entry] | None, None)  # type: ignore[valid-type]
    return table_of("plan", base=PlanBase, more=fields)


PlanTable = _plan_table()
