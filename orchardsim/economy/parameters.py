"""What the economy room needs to know: costs, prices, outlets, money terms.

Money units are written with the word ``money``, which stands for the plan's currency: "money/tree", "money/m2/year".
All amounts are in the price year and basis (real or nominal) that :class:`Finance` states. Values come from the
catalogue (``costs.toml``, ``prices.toml``) and the plan; only choices and switches have defaults here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, make_dataclass
from typing import Any

from orchardsim.core.labels import FROST_PROTECTION
from orchardsim.core.labels import OUTLETS as OUTLETS
from orchardsim.core.parameters import parameter


@dataclass(frozen=True)
class IdleLand:
    """Land of the farm on which nothing is planted (plan table ``[[idle_land]]``)."""

    gross_area: float = parameter("m2", "land that lies idle", low=10, high=1e8)
    yearly_margin: float = parameter(
        "money/m2/year",
        "rent received for it less what is paid to keep it open; land charges are paid besides",
        default=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class SprayNeed:
    """What a cultivar asks of sprays."""

    scab: float = parameter(
        "1", "susceptibility to apple scab: 0 immune, 1 as McIntosh (fungicides)", low=0, high=1.5, default=1.0
    )


ProtectionPrices: Any = make_dataclass(
    "ProtectionPrices",
    [
        row
        for way, of in FROST_PROTECTION.items()
        for row in (
            (way, "float", parameter("money/m2", of.installed, low=0)),
            (f"{way}_running", "float", parameter("money/m2/hour", of.running, low=0)),
        )
    ],
    frozen=True,
)
"""The two prices of each way of frost protection, from its row in :mod:`orchardsim.core.labels`."""


@dataclass(frozen=True)
class Costs(ProtectionPrices):
    """What things and hours cost (plan table ``[costs]``)."""

    # Land and its making ready
    old_orchard_removal: float = parameter("money/m2", "pulling, burning or chipping an old orchard", low=0)
    site_preparation: float = parameter("money/m2", "drainage, lime, soil treatment, cover crop before planting", low=0)
    land_price: float = parameter(
        "money/m2", "price of the land, paid when a block's land starts, where ``land_bought``", low=0
    )
    land_charge: float = parameter("money/m2/year", "rent, or land tax and charges, on the gross area", low=0)
    # Planting and support
    planting_materials: float = parameter("money/tree", "label and starter water per tree", low=0)
    trunk_guard: float = parameter(
        "money/tree", "trunk guard of a tree planted, where the plan has guards (hazards.vole_guards)", low=0
    )
    planting_machine: float = parameter("money/tree", "planter, tractor and layout per tree", low=0)
    line_post: float = parameter("money/post", "line post, delivered", low=0)
    end_post: float = parameter("money/post", "end post, delivered", low=0)
    anchor: float = parameter("money/post", "anchor with its cable and tensioner, per row end", low=0)
    post_height_charge: float = parameter(
        "money/post/m", "what support above 10 ft (3 m) adds to a post, by its length", low=0
    )
    wire: float = parameter("money/m", "wire, by its length", low=0)
    clip: float = parameter("money/tree", "clips, ties and leader pole per tree on wires", low=0)
    stake: float = parameter("money/tree", "single stake with tie, set", low=0)
    support_machine: float = parameter("money/post", "post driver and tractor, per post", low=0)
    # Water, fence, protection, machines
    irrigation_area: float = parameter("money/m2", "mains, drip lines and emitters per planted area", low=0)
    irrigation_source: float = parameter("money", "pump, well or pond and filter for the farm", low=0)
    fence: float = parameter("money/m", "deer fence, built, by its length", low=0)
    fence_shape: float = parameter("1", "fence length over that of one square round all gross area", low=1, high=4)
    net: float = parameter("money/m2", "hail or sun net with its posts, installed", low=0)
    machines: float = parameter("money", "machines bought in the first planting year", low=0)
    narrow_machines: float = parameter(
        "money", "narrow tractor and sprayer where rows are too close for the old ones", low=0
    )
    narrow_row: float = parameter("m", "row spacing below which narrow machines are needed", low=2, high=6)
    machine_life: float = parameter("year", "years after which bought machines are replaced", low=3, high=60)
    # Each year
    materials: tuple[float, ...] = parameter("money/m2/year", "sprays, fertilizer, herbicide, bees by leaf", low=0)
    machine_running: float = parameter("money/m2/year", "fuel, repair and hire of machines, or contract work", low=0)
    machine_ownership: float = parameter(
        "money/m2/year", "wear and capital of the farm's machines per planted area, from leaf 1 on", low=0
    )
    tractor_hours: float = parameter(
        "hour/m2/year", "hours of driving per planted area, among the labour hours; picking and planting apart", low=0
    )
    young_density: float = parameter(
        "tree/m2", "trees per area from which the first leaves' materials and machines cost in full", low=0.005, high=1
    )
    young_least: float = parameter("1", "least share of that cost in leaf 1 of a wide planting", low=0, high=1)
    young_leaves: int = parameter("leaf", "leaf from which a wide planting costs in full", low=2, high=40)
    water: float = parameter("money/m2/mm", "irrigation water and pumping", low=0)
    propane: float = parameter("money/L", "fuel of wind machines", low=0)
    heating_oil: float = parameter("money/L", "fuel of orchard heaters", low=0)
    overhead_area: float = parameter(
        "money/m2/year", "office, dues and farm insurance per gross area, management apart", low=0
    )
    management: float = parameter(
        "money/m2/year", "charge for managing, a hired manager's or the owner's own, per gross area", low=0
    )
    overhead_farm: float = parameter("money/year", "overhead of the farm whatever its area", low=0)
    # Labour
    wage: float = parameter("money/hour", "wage of general work", low=0)
    wage_skilled: float = parameter("money/hour", "wage of pruning and training", low=0)
    wage_picking: float = parameter("money/hour", "hourly wage of picking, and floor under piece pay", low=0)
    labour_charges: float = parameter("1", "charges on top of pay (insurance, housing, transport)", low=0, high=2)
    picking_bin: float = parameter("money/bin", "piece rate per bin", low=0)
    picking_overhead: float = parameter("money/bin", "supervision, bins and hauling per bin", low=0)
    bin_mass: float = parameter("kg", "fruit in a bin", low=100, high=600)
    # Replacement trees
    spare_upkeep: float = parameter("money/tree/year", "keep of a spare tree on hand, labour apart", low=0)
    replant_care: float = parameter("money/tree", "hole and water of a replanted tree", low=0)
    # After the tree
    packing: float = parameter("money/kg", "sorting, packing and selling wholesale fruit", low=0)
    storage: float = parameter("money/kg", "cold or controlled-atmosphere storage of stored fruit", low=0)
    scab_share: float = parameter(
        "1", "share of the yearly materials that a cultivar immune to scab saves over one as McIntosh", low=0, high=0.6
    )
    blight_sprays: float = parameter(
        "money/m2/year",
        "sprays in bloom that would prevent all blossom infections by fire blight; paid by the share that the plan's "
        "hazards.blight_control prevents",
        low=0,
    )
    storage_share: float = parameter("1", "share of wholesale fruit that is stored", low=0, high=1)
    direct_handling: float = parameter("money/kg", "stall, sorting, sellers of direct sales", low=0)
    pick_your_own_handling: float = parameter("money/kg", "checkers, parking, liability of pick-your-own", low=0)
    processing_haul: float = parameter("money/kg", "haul to the processor", low=0)
    # Choices and trends
    land_bought: bool = parameter("flag", "the land is bought for the plan", default=False)
    fence_length: float = parameter("m", "length of the fence; 0: from the gross area", low=0, default=0.0)
    storage_limit: float = parameter(
        "kg",
        "most fruit that the store holds at once; of the share that would wait there, what finds no room is sold for "
        "processing; left out: no limit",
        low=0,
        default=float("inf"),
        limitless=True,
    )
    picking_pay: str = parameter("text", "how pickers are paid", allowed=("piece", "hourly"), default="piece")
    family_hours: float = parameter("hour/year", "hours of the family a year, picking aside", low=0, default=0.0)
    family_labour_priced: bool = parameter("flag", "the family's hours are paid as any others", default=True)
    wage_trend: float = parameter(
        "1/year", "yearly growth of wages in the basis of the plan", low=-0.2, high=0.3, default=0.0
    )
    cost_trend: float = parameter("1/year", "yearly growth of other costs", low=-0.2, high=0.3, default=0.0)


@dataclass(frozen=True)
class TreePrice:
    """What a nursery tree of one grade costs."""

    price: float = parameter("money/tree", "contract price, delivered, before royalty", low=0)
    late_premium: float = parameter("1", "share by which a tree bought without contract is dearer", low=0, high=2)


@dataclass(frozen=True)
class FruitPrice:
    """Prices of one cultivar by grade and outlet, before packing and selling charges.

    ``nan`` in an optional price means that the cultivar is not sold there.
    """

    wholesale_extra_fancy: float = parameter("money/kg", "packed price of the best fresh grade", low=0)
    wholesale_fancy: float = parameter("money/kg", "packed price of the second fresh grade", low=0)
    processing: float = parameter("money/kg", "processor's price", low=0)
    juice: float = parameter("money/kg", "juice price", low=0)
    price_cv: float = parameter("1", "year-to-year coefficient of variation of the cultivar's own part", low=0, high=1)
    direct: float = parameter("money/kg", "farm stall or market price", low=0, default=float("nan"))
    pick_your_own: float = parameter("money/kg", "pick-your-own price", low=0, default=float("nan"))
    premium_erosion: float = parameter(
        "1/year",
        "yearly loss of the premium over common fruit (derived: a new cultivar's fell by 5 to 7 % a year, Honeycrisp "
        "at retail 2012 to 2024, Axios)",
        low=0,
        high=0.5,
        default=0.05,
    )
    size_price: tuple[float, ...] = parameter(
        "1",
        "wholesale price by number of fruit in a carton of 40 lb over that of count 100: larger, 72, 80, 88, 100, "
        "113, 125, 138, 150, 163, smaller. Derived: means of 20 quotations of six cultivars, 2014 to 2021, USDA "
        "Market News; 125 and smaller from eleven of them",
        low=0,
        high=3,
        default=(1.17, 1.17, 1.15, 1.12, 1.0, 0.91, 0.90, 0.85, 0.80, 0.80, 0.80),
    )
    packing: float = parameter(
        "money/kg",
        "sorting, packing and selling; in place of costs.packing (assumption where left out: the same)",
        low=0,
        default=float("inf"),
    )
    storage_shrink: float = parameter(
        "1",
        "share of the stored fruit that dries up or decays (common practice: 1 to 3 % of weight in controlled "
        "atmosphere)",
        low=0,
        high=0.6,
        default=0.02,
    )
    picking_premium: float = parameter("money/bin", "added piece rate (clipped stems, many passes)", low=0, default=0.0)
    pass_price: tuple[float, ...] = parameter(
        "1",
        "wholesale price of the fruit of each picking pass over the price stated, first pass first, such as a "
        "premium for first colour and a discount for what comes last. The last value holds on",
        low=0,
        high=3,
        default=(1.0,),
    )
    royalty: float = parameter("money/tree", "plant royalty per tree", low=0, default=0.0)
    sales_levy: float = parameter(
        "1", "share of fresh sales owed to the variety's owner or a levy", low=0, high=0.5, default=0.0
    )


@dataclass(frozen=True)
class Outlet:
    """A buyer of fruit: how much it takes, how its price falls beyond that, when it pays."""

    stretch: float = parameter("1", "share of the volume more that it takes at the lower price", low=0, high=10)
    price_fall: float = parameter("1", "share by which the price of the stretched volume is lower", low=0, high=1)
    paid: tuple[float, ...] = parameter(
        "1", "share paid by quarter, from the quarter of harvest on; sums to 1", low=0, high=1
    )
    price_cv: float = parameter(
        "1", "year-to-year coefficient of variation of the outlet's price level", low=0, high=1.5
    )
    flexibility: float = parameter("1", "change of log price per change of the market's log crop", low=-3, high=0)
    volume: float = parameter(
        "kg/year",
        "what the farm sells there in a year at the full price; left out: no limit",
        low=0,
        default=float("inf"),
        limitless=True,
    )


@dataclass(frozen=True)
class Market:
    """Prices and outlets (plan table ``[market]``)."""

    persistence: float = parameter("1", "correlation of a price's yearly deviation with the next", low=0, high=0.98)
    regional_weight: float = parameter(
        "1", "share of the market's supply that shares the farm's region's seasons", low=0, high=1
    )
    other_crop_sd: float = parameter(
        "1", "standard deviation of the log of the rest of the market's crop", low=0, high=1
    )
    commodity_price: float = parameter("money/kg", "packed price of common fruit; premiums are counted over it", low=0)
    waste_pick_your_own: float = parameter(
        "1", "fruit dropped or eaten by customers, of what they pay for", low=0, high=1
    )
    price_trend: float = parameter("1/year", "yearly growth of all fruit prices", low=-0.2, high=0.3, default=0.0)
    packout_extra: float = parameter(
        "1", "share of the best grade that the packer puts down to the second", low=0, high=1, default=0.0
    )
    outlets: Mapping[str, Outlet] = field(default_factory=dict)
    fruit: Mapping[str, FruitPrice] = field(default_factory=dict)


@dataclass(frozen=True)
class Tax:
    """Income tax (plan table ``[finance.tax]``); without it all results are before tax."""

    rate: float = parameter("1", "rate on income of the year", low=0, high=0.7)
    depreciation_years: float = parameter(
        "year", "straight-line years of establishment and machines", low=1, high=40, default=15.0
    )
    carry_forward: bool = parameter("flag", "losses are set against later income", default=True)


@dataclass(frozen=True)
class Insurance:
    """Crop insurance on the block's own yield history, and tree-loss aid (plan table ``[finance.insurance]``)."""

    coverage: float = parameter("1", "share of the approved yield that is guaranteed; 0: none", low=0, high=0.85)
    price_election: float = parameter("1", "share of the expected price at which losses are paid", low=0, high=1)
    premium_rate: float = parameter("1", "premium over liability, before subsidy", low=0, high=0.6)
    premium_subsidy: float = parameter("1", "share of the premium that the state pays", low=0, high=1)
    minimum_yield: float = parameter("kg/m2", "yield that one of the last four crops must reach", low=0, high=10)
    tree_aid_threshold: float = parameter("1", "share of trees lost in a year above which aid is paid", low=0, high=1)
    tree_aid_normal: float = parameter("1", "normal yearly mortality taken off first", low=0, high=0.2)
    tree_aid_share: float = parameter("1", "share of the replanting cost that is paid", low=0, high=1)
    history_least: int = parameter("1", "crops of history needed", low=1, high=10, default=4)
    history_most: int = parameter("1", "most recent crops that the history holds", low=1, high=20, default=10)
    quality: bool = parameter("flag", "only fresh grades count as production", default=True)
    tree_aid: bool = parameter("flag", "public aid for tree losses is claimed", default=False)


@dataclass(frozen=True)
class Finance:
    """Money terms (plan table ``[finance]``).

    ``discount_rate`` and ``reinvest_rate`` are in the plan's basis, real or nominal. ``loan_rate`` and
    ``term_loan_rate`` are what a lender quotes, nominal; in a real basis inflation is taken off them. Who states real
    loan rates states ``inflation`` 0 as well.
    """

    discount_rate: float = parameter("1/year", "rate at which later money counts less", low=-0.9, high=1)
    loan_rate: float = parameter("1/year", "rate on the running credit, as quoted (nominal)", low=0, high=1)
    price_year: int = parameter("1", "year in whose money all amounts are stated", low=1950, high=2150)
    planned_removal_leaf: int = parameter("leaf", "leaf at the end of which a block is to be pulled", low=2, high=120)
    deposit_share: float = parameter("1", "share of the tree price paid when ordered", low=0, high=1)
    mature_leaf: int = parameter("leaf", "leaf from which a block counts as in full bearing", low=3, high=30)
    credit_line: float = parameter(
        "money", "most that the bank lends on the running account; inf: not stated", low=0, default=float("inf")
    )
    opening_cash: float = parameter("money", "own cash at the start", low=0, default=0.0)
    household_draw: float = parameter("money/year", "money that the household takes out", low=0, default=0.0)
    own_wealth: float = parameter(
        "money",
        "what the household owns without the plan, from which aversion to risk is counted; 0: not stated",
        low=0,
        default=0.0,
    )
    loan_amount: float = parameter("money", "term loan drawn at the start", low=0, default=0.0)
    loan_years: int = parameter("year", "years of level payments on the term loan", low=1, high=40, default=10)
    term_loan_rate: float = parameter(
        "1/year", "rate on the term loan, as quoted (nominal); 0: as the running credit", low=0, high=1, default=0.0
    )
    reinvest_rate: float = parameter(
        "1/year", "rate at which surpluses grow, for the modified rate of return", low=0, high=1, default=0.0
    )
    basis: str = parameter("text", "how money counts", allowed=("real", "nominal"), default="real")
    inflation: float = parameter(
        "1/year",
        "growth of all prices, costs and wages where the basis is nominal; taken off loan rates where it is real",
        low=-0.1,
        high=0.5,
        default=0.0,
    )
    remaining_years: int = parameter(
        "year", "last years whose mean margin gives the remaining value", low=1, high=15, default=5
    )
    tax: Tax | None = None
    insurance: Insurance | None = None
