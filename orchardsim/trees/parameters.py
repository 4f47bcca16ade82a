"""What the trees room needs to know of a stock, a cultivar, a training system, a nursery tree and the land.

Per-entry numbers come from published nominal values in the catalogue; what holds for every apple tree alike is in
:class:`Physiology`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

from orchardsim.core.geometry import Geometry
from orchardsim.core.parameters import parameter

NOMINAL_M9: Final = 0.34
"""1; size of trees on M.9 over that on seedling, middle of charts (30 to 40 %: read)."""


@dataclass(frozen=True, kw_only=True)
class Stock:
    """A rootstock."""

    size: float = parameter("1", "trunk area after five seasons over that on M.9, cropped alike", low=0.1, high=6)
    shoots: float = parameter(
        "1",
        "habit: pull of extension shoots over that on M.9 (about M.9's yield per trunk over the stock's)",
        low=0.3,
        high=6,
    )
    precocity: float = parameter("leaf", "leaves by which it comes into bearing later than M.9", low=-2, high=8)
    fire_blight: float = parameter("1", "susceptibility of the stock: 0 immune, 1 as M.9", low=0, high=1.5)
    crown_rot: float = parameter("1", "susceptibility: 0 immune, 1 as MM.106", low=0, high=1.5)
    replant_tolerance: float = parameter("1", "0 suffers fully from replant disease, 1 not at all", low=0, high=1)
    root_hardiness: float = parameter("degC", "temperature that kills half of the roots in midwinter", low=-25, high=-4)
    union_strength: float = parameter("1", "graft-union strength relative to M.9", low=0.2, high=2, default=1.0)
    anchorage: float = parameter(
        "1", "how firmly a free-standing tree holds: 0 falls over under a crop, 1 stands as on seedling", low=0, high=1
    )
    woolly_aphid: float = parameter(
        "1", "growth of woolly aphids on the roots: 0 none, 1 as on M.9", low=0, high=2, default=1.0
    )
    burr_knots: float = parameter(
        "1", "burr knots, in which borers lay: 0 none, 1 as many as on M.9", low=0, high=2, default=1.0
    )
    early_hardening: float = parameter(
        "K", "cold of early winter that trees on it stand beyond those on M.9", low=-10, high=10, default=0.0
    )

    @property
    def nominal_size(self) -> float:
        """Size of its trees as charts give it, over that of trees on seedling [1]: 0.34 size^(1/1.1).

        The power is that of the nominal sizes of nine stocks against their trunks in a trial (Autio et al. 2017).
        """
        return float(NOMINAL_M9 * self.size ** (1 / 1.1))

    @property
    def needs_support(self) -> bool:
        """Whether a cropping tree falls over without a stake or wire."""
        return self.anchorage < 0.5


@dataclass(frozen=True, kw_only=True)
class Cultivar:
    """A scion cultivar as it grows and bears."""

    vigor: float = parameter("1", "growth relative to Gala", low=0.4, high=1.8, default=1.0)
    biennial: float = parameter("1", "tendency to bear every other year: 0 annual, 1 strongly biennial", low=0, high=1)
    fruit_set: float = parameter(
        "1", "fruitlets per flower cluster before the drop, over Gala's", low=0.3, high=2, default=1.0
    )
    fruit_mass_potential: float = parameter("kg", "mean fruit mass at very light crop", low=0.08, high=0.6)
    triploid: bool = parameter("flag", "gives no pollen", default=False)
    self_fruitful: float = parameter(
        "1", "fruit set with own pollen relative to cross pollen", low=0, high=1, default=0.05
    )
    fire_blight: float = parameter("1", "susceptibility of the scion: 0 immune, 1 as Gala", low=0, high=1.5)
    hardiness: float = parameter(
        "degC", "midwinter temperature at which killing of hardened trees sets in: one in twenty", low=-45, high=-15
    )
    bitter_pit: float = parameter("1", "proneness: 0 none, 1 as Honeycrisp", low=0, high=1.5, default=0.2)
    colour_need: float = parameter(
        "1", "light that the fresh grade's colour asks for: 0 green, 1 full red", low=0, high=1
    )
    colour_nights: float = parameter(
        "1", "how much warm nights before harvest cost in colour, over the usual cultivar", low=0, high=5, default=1.0
    )
    preharvest_drop: float = parameter(
        "1/day", "share of ripe fruit that drops per day of delay", low=0, high=0.2, default=0.01
    )
    ripening_spread: float = parameter(
        "day",
        "standard deviation of the ripening day between fruit, within trees and between them",
        low=1,
        high=20,
        default=5.0,
    )
    handling_defects: float = parameter(
        "1", "fruit with punctures, limb rub and bruises when picked, over Gala's", low=0.2, high=4, default=1.0
    )
    harvest_window: float = parameter("day", "delay of picking that costs no firmness", low=0, high=30, default=7.0)
    picks: int = parameter("1", "usual number of picking passes", low=1, high=6, default=2)
    union_strength: float = parameter("1", "graft-union strength relative to Gala", low=0.4, high=1.6, default=1.0)


@dataclass(frozen=True, kw_only=True)
class TreeGrade:
    """A nursery tree as delivered."""

    trunk_diameter: float = parameter("mm", "trunk diameter at planting, 12 in (30 cm) above the union", low=4, high=40)
    height: float = parameter("m", "height at planting", low=0.2, high=3)
    feathers: float = parameter("1", "side branches of use", low=0, high=25)
    transplant_loss: float = parameter("1", "share that fails in the first leaf when well watered", low=0, high=0.6)
    crop_delay: float = parameter(
        "leaf", "leaves of cropping lost against a feathered tree", low=-1, high=3, default=0.0
    )


@dataclass(frozen=True, kw_only=True)
class Training:
    """A training system: what is done to the tree, by leaf where it changes (last value holds on).

    What each part does in the model stands in brackets behind its meaning. The minutes are work and wages: they change
    the tree only where the crews leave the work undone. Not in the model, so without an effect: the order of limb
    removal, root pruning, girdling, the day on which branches are bent.
    """

    height_limit: float = parameter("m", "height at which the leader is kept (light, leaf, fruit)", low=1, high=9)
    spread_limit: float = parameter(
        "m", "spread across the row at which branches are cut back (light, leaf, fruit)", low=0.4, high=9
    )
    canopy_fill: float = parameter(
        "1", "mean width of the canopy over its base width: its shape (light, leaf, fruit)", low=0.4, high=1
    )
    bending_angle: float = parameter(
        "degree",
        "angle from the upright to which branches are bent (earlier bloom above 40, their own growth, to 120)",
        low=20,
        high=150,
        default=40.0,
    )
    bending_leaf: int = parameter(
        "leaf", "first leaf in which branches are bent; their buds bloom the spring after", low=1, high=10, default=1
    )
    leader_lean: float = parameter(
        "degree",
        "lean of the leader from the upright, to either side of the row by turns (crown over more land: light)",
        low=0,
        high=45,
        default=0.0,
    )
    leader_headed: bool = parameter(
        "flag", "leader cut back at planting and each winter until full height (lower tree, later bloom)", default=False
    )
    feathers_kept: float = parameter(
        "1",
        "share of the nursery tree's side branches kept at planting (without them narrower, later bloom)",
        low=0,
        high=1,
        default=1.0,
    )
    thick_feathers_cut: bool = parameter(
        "flag",
        "side branches more than half as thick as the leader are cut out, at planting and after (else a slower leader)",
        default=True,
    )
    pruning: tuple[float, ...] = parameter(
        "1",
        "share of leaf-bearing wood cut out each winter, by leaf (fewer flowers, less leaf; too little: an overgrown "
        "canopy that bears smaller and duller fruit outside)",
        low=0,
        high=0.7,
    )
    blossom_stripped: tuple[float, ...] = parameter(
        "1", "share of blossom taken off, by leaf (no crop from it, more growth)", low=0, high=1, default=(1.0, 0.0)
    )
    support: str = parameter("text", "what holds the tree (breakage, cost)", allowed=("none", "stake", "wires"))
    support_leaf: int = parameter(
        "leaf",
        "leaf by which the support stands, 0 before planting (breakage before it, year of cost; no effect on growth)",
        low=0,
        high=5,
        default=0,
    )
    weed_free_strip: bool = parameter(
        "flag", "strip under the trees kept free of weeds (else less growth, more voles)", default=True
    )
    water_within_days: float = parameter(
        "day",
        "days from planting to first water (beyond 14 more trees fail; no effect on growth)",
        low=0,
        high=120,
        default=14.0,
    )
    training_minutes: tuple[float, ...] = parameter(
        "minute",
        "tie-down and leader work per tree, by leaf (hours, wages; trees left undone bloom later)",
        low=0,
        high=240,
    )
    pruning_minutes: tuple[float, ...] = parameter(
        "minute",
        "dormant pruning per tree, by leaf (hours, wages; trees left undone shade themselves)",
        low=0,
        high=600,
    )
    summer_pruning_minutes: tuple[float, ...] = parameter(
        "minute", "summer pruning per tree, by leaf (hours, wages; trees left undone colour less)", low=0, high=240
    )


@dataclass(frozen=True, kw_only=True)
class Thinning:
    """How a crop above the target is taken off."""

    method: str = parameter(
        "text",
        "hand: to the target; chemical: one spray where rows bear well above the target; both: spray, then by hand",
        allowed=("hand", "chemical", "both", "none"),
        default="hand",
    )
    spray_from: float = parameter(
        "1",
        "crop over the target above which a row group is sprayed: lightly cropping rows are passed over (common "
        "practice, no source)",
        low=1,
        high=10,
        default=1.5,
    )
    spray_leaves: float = parameter(
        "1",
        "crop over the target that a spray is meant to leave to hand thinning, since nobody can put fruit back "
        "(common practice, no source). Trees that bear no more are passed over",
        low=1,
        high=10,
        default=1.2,
    )
    spray_removal: float = parameter(
        "1", "largest share of fruitlets that a spray is meant to take off", low=0, high=0.9, default=0.5
    )
    spray_spread: float = parameter(
        "1",
        "log standard deviation of what a spray leaves, beside what the weather after it does (assumption)",
        low=0,
        high=1,
        default=0.15,
    )
    seconds_per_fruit: float = parameter("s", "hand work per fruitlet taken off", low=0.2, high=20, default=1.2)
    minutes_per_tree: float = parameter(
        "minute", "hand work per tree to get there and look", low=0, high=20, default=0.5
    )
    fruit_per_land: float = parameter(
        "1/m2",
        "most fruit meant to stay on a tree per land that it has, whatever its trunk (100 on a mature tree at "
        "0.9 x 3.7 m [young_honeycrisp]); of cultivars with larger fruit fewer in proportion",
        low=0,
        high=500,
        default=30.0,
    )
    fruit_limit: float = parameter(
        "1", "most fruit left on a tree, whatever its trunk", low=0, high=5000, default=5000.0
    )


@dataclass(frozen=True, kw_only=True)
class Layout(Geometry):
    """Where a block's trees stand: whole rows of equal length, numbered row by row.

    ``group`` gives for each row the index of its row group; trees of one group are one label of the results.
    ``row_direction`` [degree] is that of the rows, 0 for north and south.
    """

    row_direction: float
    group: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class TreesOfGroup:
    """What the trees room needs to know of one row group.

    Attributes
    ----------
    crop_load_target : tuple of float [cm-2]
        Fruit per trunk area, as measured before bloom, by leaf; ``inf`` leaves the crop unthinned.
    pollen_distance : float [m]
        Mean distance from a tree of the group to the nearest compatible pollen source.
    pollen_overlap : float [1]
        Share of the group's bloom that the pollen source's bloom covers.
    """

    label: str
    stock: Stock
    cultivar: Cultivar
    grade: TreeGrade
    training: Training
    crop_load_target: tuple[float, ...]
    pollen_distance: float
    pollen_overlap: float


@dataclass(frozen=True, kw_only=True)
class BlockPlan:
    """All that the trees room needs to know of one block: its layout, its row groups, its ground."""

    name: str
    layout: Layout
    groups: tuple[TreesOfGroup, ...]
    year_planted: int
    site_growth: float = 1.0
    replant_site: bool = False
    year_removed: int | None = None
    trunk_area_at_start: float | None = None
    crop_at_start: float | None = None
    deer_fence: bool = True
    drainage: str = "moderate"
    post_spacing: float = 10.0
    """Distance between the line posts of a support [m]."""
    anchors_per_row: int = 2
    thinning: Thinning = field(default_factory=Thinning)
    latitude: float = 42.0
    """Latitude [degrees north], for the light that hedgerows of this direction stop."""

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the row groups, in the order of the layout's numbers."""
        return tuple(group.label for group in self.groups)

    @property
    def training(self) -> Training:
        """Training of the block: its row groups share one."""
        return self.groups[0].training

    def with_groups(self, **changes: Any) -> BlockPlan:
        """The same block with fields of every row group changed."""
        return replace(self, groups=tuple(replace(group, **changes) for group in self.groups))


@dataclass(frozen=True)
class Physiology:
    """What holds for every apple tree alike: the shared parameters.

    Values with source and status stand in the catalogue's physiology table; the equations stand in the modules
    light, growth, bearing, fruit and grading.
    """

    # shape
    height_coefficient: float = parameter("m", "height of a tree with 1 cm2 of trunk", low=0.6, high=2)
    height_exponent: float = parameter("1", "power of trunk area in height", low=0.2, high=0.5)
    height_level: float = parameter("1", "power of the growth level in height at a given trunk", low=0, high=0.6)
    spread_coefficient: float = parameter("m", "spread of a tree with 1 cm2 of trunk", low=0.3, high=1)
    spread_exponent: float = parameter("1", "power of trunk area in spread", low=0.25, high=0.55)
    headed_height: float = parameter("1", "height of a tree with headed leader over an unheaded one", low=0.6, high=1)
    rival_height: float = parameter(
        "1", "height of a tree whose thick side branches are left over one with them cut", low=0.6, high=1
    )
    row_clearance: float = parameter("1", "largest base width of a canopy over the row spacing", low=0.6, high=1)
    crown_overlap: float = parameter(
        "1", "largest base width of a canopy along the row over the tree spacing", low=1, high=2
    )
    # leaf and light
    leaf_per_trunk: float = parameter("m2/cm2", "leaf area wanted per spring trunk area", low=0.1, high=1.0)
    first_leaf_canopy: float = parameter(
        "1", "leaf area in the first leaf over that of an established tree", low=0.3, high=1
    )
    leaf_of_roots: float = parameter("m2", "leaf that the roots of a full-grown Gala on M.9 feed", low=4, high=100)
    roots_exponent: float = parameter("1", "power of a stock's five-year size in that leaf", low=0, high=3)
    leaf_per_reach: float = parameter(
        "1", "leaf area index that canopies hold on the land that their shadows reach", low=0.5, high=6
    )
    shadow_overlap: float = parameter(
        "1", "shadows met per shadow's share of the land: 1 strewn at random, more in even rows", low=0.8, high=4
    )
    extinction: float = parameter("1", "light extinction per leaf area index", low=0.3, high=0.9)
    competition: float = parameter(
        "1", "share of a tree's growth of wood that the roots of a full stand take", low=0, high=1
    )
    competition_half: float = parameter("1", "leaf area index at which 1 - 1/e of that is lost", low=0.05, high=2)
    lasting_cut: float = parameter(
        "1", "share of what a winter's pruning takes out of a full canopy that summer does not refill", low=0, high=1
    )
    usual_shoots: float = parameter(
        "1", "leaf of extension shoots per land up to which a training system's pruning suffices", low=0.05, high=20
    )
    unpruned_shade: float = parameter(
        "1", "leaf that wood grows which a winter should have renewed and did not, per leaf area of it", low=0, high=5
    )
    wood_renewal: float = parameter(
        "1", "share of leaf-bearing wood that a full canopy must have cut out each winter to stay open", low=0, high=0.3
    )
    summer_shade: float = parameter(
        "1", "share of the light on the fruit that is lost where summer pruning is left undone", low=0, high=0.6
    )
    early_canopy: float = parameter(
        "1", "mean interception from bloom to closed canopy over that of full canopy", low=0.3, high=0.9
    )
    late_light: float = parameter(
        "MJ/m2", "light after harvest that leaf uses before it has aged; more is worth ever less", low=50, high=2000
    )
    room_along: float = parameter(
        "1", "share of an empty position's land that each neighbour in the row uses", low=0, high=0.5
    )
    room_across: float = parameter(
        "1", "share of an empty position's land that each neighbour across the alley uses", low=0, high=0.5
    )
    # dry matter
    radiation_use: float = parameter(
        "g/MJ",
        "dry matter that a full hedge could fix per intercepted photosynthetically active radiation, sinks in plenty",
        low=0.8,
        high=5,
    )
    light_half: float = parameter("1", "light that half saturates a leaf, over full light", low=0.05, high=5)
    source_exponent: float = parameter(
        "1", "power of the growth level (site, vigor, health) in dry-matter supply", low=0, high=1
    )
    cultivar_source: float = parameter("1", "power of a cultivar's vigor in dry-matter supply", low=0, high=1)
    leaf_mass: float = parameter("kg/m2", "dry mass of leaf", low=0.05, high=0.15)
    stem_mass: float = parameter("kg/m2", "dry mass of the stems of extension shoots per leaf on them", low=0, high=0.2)
    root_mass: float = parameter("kg/m2", "fine roots grown in a season per leaf area", low=0, high=0.2)
    wood_mass: float = parameter("kg", "dry mass above ground of a tree with 1 cm2 of trunk", low=0.02, high=0.3)
    wood_exponent: float = parameter("1", "power of trunk area in dry mass", low=1, high=1.6)
    root_share: float = parameter("1", "dry mass of the whole tree over that above ground", low=1, high=1.6)
    wood_upkeep: float = parameter("1/year", "respiration of wood over its dry mass", low=0, high=0.1)
    shoot_pull: float = parameter(
        "1", "pull of extension shoots over that of fruiting wood, M.9, no crop, canopy not cut", low=0, high=3
    )
    shoot_answer: float = parameter(
        "1", "power in the pull of shoots of the leaf that roots could feed over the leaf held", low=0, high=2
    )
    cut_answer: float = parameter("1", "pull of shoots gained per share of bearing wood cut", low=0, high=10)
    calming_crop: float = parameter("1/cm2", "crop that halves the pull of extension shoots", low=2, high=100)
    shoot_hold: float = parameter("1", "dry matter kept from fruit per share of extension shoots", low=0, high=1.2)
    trunk_growth: float = parameter(
        "cm2/year", "trunk growth wanted at 1 cm2 of trunk by Gala on M.9 without neighbours", low=0.2, high=12
    )
    trunk_exponent: float = parameter("1", "power of expressed trunk area in the wanted growth", low=0.1, high=0.95)
    size_exponent: float = parameter("1", "power of a stock's five-year size in wanted trunk growth", low=0.2, high=3)
    wood_curvature: float = parameter(
        "1", "sharpness of the limit between wood demand and supply: 0 soft, 1 hard", low=0, high=0.95
    )
    reserve_wood: float = parameter("1", "reserves that wood holds over its dry mass", low=0, high=0.3)
    reserve_leaf: float = parameter("kg/m2", "reserves that buds and spurs hold per leaf area", low=0, high=0.1)
    reserve_share: float = parameter("1", "most of the season's rest that goes into reserves", low=0, high=1)
    heat_reference: float = parameter(
        "K day", "degree days from bloom to leaf fall at which growth demand is unscaled", low=800, high=3500
    )
    heat_exponent: float = parameter("1", "power of degree days in growth demand", low=0, high=1)
    drought_light: float = parameter("1", "power of the water factor in what leaf fixes", low=0, high=2)
    drought_exponent: float = parameter(
        "1", "power of the water factor from closed canopy to harvest in growth demand", low=0, high=4
    )
    # flowers and fruit
    flowers_per_cluster: float = parameter("1", "flowers in a cluster", low=4, high=7)
    clusters_per_leaf: float = parameter("1/m2", "most flower clusters per leaf area of spurs", low=5, high=80)
    set_per_cluster: float = parameter("1", "fruitlets set per cluster in good weather, before drop", low=0.5, high=4)
    fruit_per_source: float = parameter(
        "1/kg", "most fruit that early dry matter keeps through the drop", low=20, high=1000
    )
    pollination_half: float = parameter("hour", "bee hours that give half of full pollination", low=0.5, high=30)
    pollen_reach: float = parameter(
        "m", "distance from the pollen source at which transfer has fallen to a third", low=20, high=300
    )
    chill_effect: float = parameter("1", "loss of bloom per share of chill missing", low=0, high=2)
    early_fruit_share: float = parameter(
        "1", "share of a fruit's potential that grows before closed canopy", low=0.03, high=0.4
    )
    fruit_curvature: float = parameter(
        "1", "sharpness of the limit between fruit demand and supply: 0 soft, 1 hard", low=0, high=0.97
    )
    fruit_dry_fraction: float = parameter("1", "dry matter of fresh fruit", low=0.11, high=0.2)
    fruit_margin: float = parameter(
        "1", "fruit mass with dry matter in plenty over that of a very light crop", low=1, high=1.5
    )
    early_heat_best: float = parameter(
        "K day", "degree days in the 60 days after bloom that give the largest fruit", low=300, high=1200
    )
    early_heat_loss: float = parameter(
        "1", "loss of fruit potential per squared relative departure of early heat", low=0, high=1
    )
    # return bloom
    half_crop_biennial: float = parameter(
        "1/cm2", "crop that halves return bloom of a fully biennial cultivar", low=1, high=9
    )
    half_crop_annual: float = parameter("1/cm2", "crop that halves return bloom of an annual cultivar", low=5, high=20)
    crop_width_biennial: float = parameter(
        "1/cm2", "width in crop of the fall of return bloom, biennial cultivar", low=0.2, high=4
    )
    crop_width_annual: float = parameter(
        "1/cm2", "width in crop of the fall of return bloom, annual cultivar", low=0.3, high=6
    )
    spur_loss: float = parameter("1", "loss of return bloom with a fruit on every spur", low=0, high=1)
    thinned_weight: float = parameter(
        "1", "share of fruit thinned in time that still counts against return bloom", low=0, high=1
    )
    late_thinning_days: float = parameter(
        "day", "delay of thinning after which 1 - 1/e of what it does for return bloom is lost", low=10, high=90
    )
    cell_division_days: float = parameter(
        "day", "delay of thinning after which 1 - 1/e of what it does for fruit size is lost", low=2, high=30
    )
    shade_half: float = parameter("1", "light on the spurs at which bud formation is halved", low=0.1, high=0.7)
    bearing_leaf: float = parameter("leaf", "leaf of half bloom on M.9, branches as they grow", low=0, high=6)
    full_bearing: float = parameter(
        "1", "leaves by which half of full bloom comes later, per leaf by which first crops do", low=1, high=2
    )
    bearing_rate: float = parameter("1/leaf", "steepness of coming into bearing", low=0.5, high=4)
    bending_gain: float = parameter(
        "leaf", "leaves by which branches bent well below the horizontal bloom earlier", low=0, high=2
    )
    heading_delay: float = parameter("leaf", "leaves of bearing lost by heading the leader each winter", low=0, high=2)
    feather_delay: float = parameter("leaf", "leaves of bearing lost by cutting off all side branches", low=0, high=2)
    # spread between trees
    site_spread: float = parameter("1", "log standard deviation of growth from soil patches", low=0, high=0.6)
    tree_spread: float = parameter("1", "log standard deviation of growth from the nursery tree", low=0, high=0.6)
    weak_share: float = parameter("1", "share of nursery trees that stay weak", low=0, high=0.3)
    weak_growth: float = parameter("1", "growth of a weak tree over that of the others", low=0.3, high=1)
    patch_length: float = parameter(
        "m", "distance over which soil patches lose two thirds of their likeness", low=1, high=60
    )
    set_spread: float = parameter("1", "log standard deviation of set between trees in a year", low=0, high=0.8)
    block_set_spread: float = parameter(
        "1", "log standard deviation of set of a block in a year, weather aside", low=0, high=0.8
    )
    thinning_spread: float = parameter(
        "1", "log standard deviation of the crop that hand thinning leaves", low=0, high=0.6
    )
    weed_cost: float = parameter("1", "growth lost to weeds under the trees", low=0, high=0.6)
    replant_stunting: float = parameter(
        "1", "growth lost to replant disease on a stock without tolerance", low=0, high=0.9
    )
    recovery_rate: float = parameter("1/year", "share of lost health regained each year", low=0, high=1)
    lasting_harm: float = parameter(
        "1", "health below which a tree heals ever more slowly, with the fourth power of its health", low=0.05, high=1
    )
    # size and grade
    size_spread: float = parameter("kg", "standard deviation of fruit mass within a tree", low=0.005, high=0.08)
    fresh_mass: float = parameter("kg", "smallest fruit mass for the fresh grades", low=0.06, high=0.2)
    processing_mass: float = parameter("kg", "smallest fruit mass for processing", low=0.03, high=0.15)
    colour_light: float = parameter(
        "1", "mean leaf light at which half of the fruit of a full-red cultivar colours", low=0.1, high=0.8
    )
    colour_crop: float = parameter("1", "light that each fruit per cm2 costs in colour", low=0, high=0.1)
    colour_rate: float = parameter("1", "steepness of colour in light", low=2, high=40)
    bitter_pit_scale: float = parameter(
        "1", "share of fruit pitted at very light crop on the most prone cultivar", low=0, high=1
    )
    bitter_pit_crop: float = parameter("1/cm2", "crop at which bitter pit falls to a third", low=1, high=15)
    oversize_mass: float = parameter("kg", "fruit mass above which fruit is oversize", low=0.2, high=0.6)
    frost_russet: float = parameter(
        "1", "share of fruit with frost rings over the square of the share of flowers killed", low=0, high=1
    )
    base_defects: float = parameter("1", "share of picked fruit with limb rub, bruises, pests or scab", low=0, high=0.5)
    cull_share: float = parameter("1", "share of defective fruit that no outlet takes", low=0, high=1)
