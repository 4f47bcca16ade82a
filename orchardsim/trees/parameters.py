"""What the trees room needs to know of a stock, a cultivar, a training system, a nursery tree and the land.

Per-entry numbers come from published nominal values in the catalogue; what holds for every apple tree alike is in
:class:`Physiology`.
"""

from __future__ import annotations

from dataclasses import dataclass

from orchardsim.core.parameters import parameter


@dataclass(frozen=True)
class Stock:
    """A rootstock."""

    vigor: float = parameter("1", "tree size as a share of a tree on seedling (nominal chart value)", low=0.1, high=1.2)
    productivity: float = parameter("1", "flower clusters relative to M.9 at equal trunk", low=0.6, high=1.5, default=1.0)
    fire_blight: float = parameter("1", "susceptibility of the stock: 0 immune, 1 as M.9", low=0, high=1.5)
    crown_rot: float = parameter("1", "susceptibility: 0 immune, 1 as MM.106", low=0, high=1.5)
    replant_tolerance: float = parameter("1", "0 suffers fully from replant disease, 1 not at all", low=0, high=1)
    root_hardiness: float = parameter("degC", "temperature that kills half of the roots in midwinter", low=-25, high=-4)
    union_strength: float = parameter("1", "graft-union strength relative to M.9", low=0.2, high=2, default=1.0)
    needs_support: bool = parameter("flag", "whether a cropping tree falls over without a stake or wire")
    suckers: float = parameter("1/year", "root suckers per tree and year", low=0, high=20, default=0.5)


@dataclass(frozen=True)
class Cultivar:
    """A scion cultivar as it grows and bears."""

    vigor: float = parameter("1", "growth relative to Gala", low=0.4, high=1.8, default=1.0)
    biennial: float = parameter("1", "tendency to bear every other year: 0 annual, 1 strongly biennial", low=0, high=1)
    fruit_mass_potential: float = parameter("kg", "mean fruit mass at very light crop", low=0.08, high=0.6)
    triploid: bool = parameter("flag", "gives no pollen", default=False)
    self_fruitful: float = parameter("1", "fruit set with own pollen relative to cross pollen", low=0, high=1, default=0.05)
    fire_blight: float = parameter("1", "susceptibility of the scion: 0 immune, 1 as Gala", low=0, high=1.5)
    hardiness: float = parameter("degC", "midwinter temperature that kills the hardened tree", low=-45, high=-15)
    bitter_pit: float = parameter("1", "proneness: 0 none, 1 as Honeycrisp", low=0, high=1.5, default=0.2)
    colour_need: float = parameter("1", "light that the fresh grade's colour asks for: 0 green, 1 full red", low=0, high=1)
    preharvest_drop: float = parameter("1/day", "share of ripe fruit that drops per day of delay", low=0, high=0.2, default=0.01)
    ripening_spread: float = parameter("day", "standard deviation of the ripening day within a tree", low=1, high=20, default=5.0)
    picks: int = parameter("1", "usual number of picking passes", low=1, high=6, default=2)
    union_strength: float = parameter("1", "graft-union strength relative to Gala", low=0.4, high=1.6, default=1.0)


@dataclass(frozen=True)
class TreeGrade:
    """A nursery tree as delivered."""

    trunk_diameter: float = parameter("mm", "trunk diameter at planting, 30 cm above the union", low=4, high=40)
    height: float = parameter("m", "height at planting", low=0.2, high=3)
    feathers: float = parameter("1", "side branches of use", low=0, high=25)
    transplant_loss: float = parameter("1", "share that fails in the first leaf when well watered", low=0, high=0.6)
    crop_delay: float = parameter("leaf", "leaves of cropping lost against a feathered tree", low=-1, high=3, default=0.0)


@dataclass(frozen=True)
class Training:
    """A training system: what is done to the tree, by leaf where it changes (last value holds on)."""

    height_limit: float = parameter("m", "height at which the leader is kept", low=1, high=9)
    spread_limit: float = parameter("m", "spread across the row at which branches are cut back", low=0.4, high=9)
    canopy_fill: float = parameter("1", "mean width of the canopy over its base width (shape)", low=0.4, high=1)
    bending: float = parameter("leaf", "leaves of earlier bloom from bending or tying down branches", low=0, high=2, default=0.0)
    leader_headed: bool = parameter("flag", "leader cut back at planting and each winter until full height", default=False)
    feathers_kept: float = parameter("1", "share of the nursery tree's side branches kept at planting", low=0, high=1, default=1.0)
    pruning: tuple[float, ...] = parameter("1", "share of leaf-bearing wood cut out each winter, by leaf", low=0, high=0.7)
    blossom_stripped: tuple[float, ...] = parameter("1", "share of blossom taken off, by leaf", low=0, high=1, default=(1.0, 0.0))
    support: str = parameter("text", "what holds the tree", allowed=("none", "stake", "wires"))
    support_leaf: int = parameter("leaf", "leaf by which the support stands; 0 before planting", low=0, high=5, default=0)
    weed_free_strip: bool = parameter("flag", "strip under the trees kept free of weeds", default=True)
    water_within_days: float = parameter("day", "days from planting to first water", low=0, high=120, default=14.0)
    training_minutes: tuple[float, ...] = parameter("minute", "tie-down and leader work per tree, by leaf", low=0, high=240)
    pruning_minutes: tuple[float, ...] = parameter("minute", "dormant pruning per tree, by leaf", low=0, high=600)
    summer_pruning_minutes: tuple[float, ...] = parameter("minute", "summer pruning per tree, by leaf", low=0, high=240)


@dataclass(frozen=True)
class Layout:
    """Where a block's trees stand: whole rows of equal length, numbered row by row.

    ``group`` gives for each row the index of its row group; trees of one group are one label of the results.
    The last row may hold fewer trees than the others when the plan states a number of trees.
    """

    rows: int
    trees_per_row: int
    trees: int
    row_spacing: float
    tree_spacing: float
    row_direction: float
    group: tuple[int, ...]

    @property
    def positions(self) -> int:
        """Number of planting positions, rows times trees per row."""
        return self.rows * self.trees_per_row


@dataclass(frozen=True)
class BlockPlan:
    """All that the trees room needs to know of one block (entries of the tuples belong to its row groups)."""

    name: str
    labels: tuple[str, ...]
    layout: Layout
    stocks: tuple[Stock, ...]
    cultivars: tuple[Cultivar, ...]
    cultivar_names: tuple[str, ...]
    grades: tuple[TreeGrade, ...]
    training: Training
    year_planted: int
    crop_load_target: tuple[tuple[float, ...], ...]
    """Fruit per trunk area before bloom [cm-2] by leaf, one tuple per group; ``inf`` leaves the crop unthinned."""
    pollen_distance: tuple[float, ...]
    """Mean distance [m] from a tree of the group to the nearest compatible pollen source."""
    pollen_overlap: tuple[float, ...]
    """Share of the group's bloom that the pollen source's bloom covers, 0 to 1."""
    site_growth: float = 1.0
    replant_site: bool = False
    year_removed: int | None = None
    trunk_area_at_start: float | None = None
    crop_at_start: float | None = None
