"""The state of every tree of one block, for a tile of trials."""

from __future__ import annotations

import dataclasses
from collections import namedtuple
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.compiled import Number, compiled

Float = NDArray[np.float32]
PAGE, STAGGER = 1024, 48
"""Numbers of four bytes in a page of memory, and by how many arrays are staggered: three lines of cache."""


@dataclass
class TreeState:
    """Arrays over (trial, position), float32 unless said; C order. Dead and empty positions hold zeros.

    ``leaf`` counts growing seasons since the position's tree was planted; 1 in its first. What stands below ``health``
    is what the phases of the running season leave for each other, for the budgets and for the results. Arrays are
    changed in place and never replaced: ``arrays`` is the same memory as the loops take it.
    """

    alive: NDArray[np.bool_]
    leaf: NDArray[np.int16]
    trunk_area: Float
    """Trunk area [cm2]: in spring until leaf fall, in autumn after."""
    height: Float
    """[m]"""
    spread: Float
    """[m]"""
    head_start: Float
    """How much taller the tree came from the nursery than goes with its trunk; a leader left uncut keeps it [m]."""
    flower_clusters: Float
    """Flower clusters formed last season, that will flower next spring [1]."""
    reserves: Float
    """Dry matter stored last autumn, spent this spring [kg]."""
    spent: Float
    """Reserves that this spring had [kg]."""
    shoot_leaf: Float
    """Leaf of extension shoots, last summer's until this summer [m2]."""
    overgrown: Float
    """Leaf on wood that pruning should have taken, outside of the rest, per leaf area [1]."""
    last_crop: Float
    """Fresh crop of the last harvest [kg]."""
    vigor: Float
    """Persistent growth multiplier of the position (soil) and its tree [1]."""
    alternation_sum: Float
    alternation_terms: Float
    """Sum and number of the terms of the tree's biennial bearing index from leaf 5 on [1]."""
    health: Float
    """0 to 1; replant disease, blight and other lasting harm lower it, time heals it slowly [1]."""
    uncut: Float
    """Share of leaf-bearing wood that this winter's pruning left [1]."""
    pruning_minutes: Float
    """Pruning asked for [minute]."""
    leaf_area: Float
    """Leaf at full canopy [m2], without that of overgrown wood."""
    held: Float
    """Share of the leaf that the trunk could carry which the canopy holds [1]."""
    expressed_trunk: Float
    """Trunk area that the held canopy stands for: what shoots and buds feel of a crop is counted on it [cm2]."""
    lit_land: Float
    """Land that the tree's shadow reaches [m2]."""
    stopped: Float
    """Land whose light the tree stops [m2]."""
    drive: Float
    """Pull of the extension shoots before the crop [1]."""
    source: Float
    """Dry matter that the tree could make per radiation [kg m2/MJ]."""
    roots_left: Float
    """Growth level that the neighbours' roots leave [1]."""
    bloom_clusters: Float
    """Clusters that flowered this spring, after pruning and before frost [1]."""
    stripped: Float
    fruitlets: Float
    sprayed: Float
    target: Float
    """Fruit meant to stay on the tree [1]."""
    excess: Float
    """Fruit above the target, to come off [1]."""
    thinned: Float
    """Clusters stripped, fruitlets before the drop, fruit sprayed off and taken off by hand [1]."""
    stunted: Float
    """Share of its growth to come that fruit has lost by being thinned late [1]."""
    fruit_number: Float
    counted_crop: Float
    """Fruit on the tree, and fruit that count against next year's flower buds [1]."""
    fruit_dry_mass: Float
    thinned_mass: Float
    leaf_paid: Float
    upkeep: Float
    wood_paid: Float
    unused: Float
    pool: Float
    """Dry matter in fruit, in fruit taken off, in leaf, in shoots, roots and upkeep, in wood; not fixed for want of a
    use; left so far [kg]."""
    wood: Float
    """Dry mass of the woody tree above ground before this season's growth [kg]."""
    mass_square: Float
    """Mass of the crop times mean fruit mass [kg2]."""
    usable: Float
    clean: Float
    coloured: Float
    """Mass of ripe fruit of peeling size, fresh and not pitted, that with colour [kg]."""
    leaf_light: Float
    """Mean light on the spurs' leaf [1]."""
    lit_spurs: Float
    """Leaf of spurs with light enough to form flower buds [m2]."""
    spur_leaf: Float
    """[m2]"""
    site_vigor: Float
    """Persistent growth multiplier of the position's soil alone; set for every position, planted or not [1]."""
    cover: NDArray[np.float64]
    """Share of the season's light that the group's trees stop, gaps included, (trial, group) [1]."""
    ground: Float
    """Growth level of the trial's ground over the plan's, patches aside, (trial, group) [1]; in ``site_vigor`` too."""
    totals: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    """Sums of the running season by (trial, group) that the phases leave for budgets and results."""

    @property
    def arrays(self) -> Any:
        """The arrays over (trial, position) as the loops take them."""
        own = vars(self)
        if "_arrays" not in own:
            own["_arrays"] = Trees(*(own[name] for name in TREE_FIELDS))
        return own["_arrays"]

    def __getstate__(self) -> dict[str, Any]:
        """What a copy takes: all but the arrays as the loops take them: it must see its own."""
        return {name: value for name, value in vars(self).items() if name != "_arrays"}

    @classmethod
    def empty(cls, trials: int, positions: int, groups: int) -> TreeState:
        """Land without trees."""
        made = empty_trees(trials, positions)
        ground = np.ones((trials, groups), np.float32)
        return cls(**made._asdict(), cover=np.zeros((trials, groups)), ground=ground)

    def clear(self, where: NDArray[np.bool_]) -> None:
        """Empty the positions of a mask over (trial, position); the soil stays."""
        self.clear_at(np.flatnonzero(where))

    def clear_at(self, at: NDArray[np.int64]) -> None:
        """Empty some positions, given by their flat numbers in (trial, position)."""
        if at.size:
            for name in TREE_FIELDS:
                if name != "site_vigor":
                    getattr(self, name).reshape(-1)[at] = 0


SHARED_FIELDS = ("cover", "ground", "totals")
"""Names of the arrays that are not over (trial, position)."""
TREE_FIELDS = tuple(one.name for one in dataclasses.fields(TreeState) if one.name not in SHARED_FIELDS)
"""Names of the arrays over (trial, position)."""
Trees: Any = namedtuple("Trees", TREE_FIELDS)  # type: ignore[misc]
"""The arrays of a :class:`TreeState` over (trial, position), as compiled loops take them."""


@compiled
def weaken(health: Number, lost: Number) -> None:
    """Take a share ``lost`` of its health from each tree; arrays (trial, position)."""
    for t in range(len(health)):
        for i in range(health.shape[1]):
            health[t, i] *= 1.0 - lost[t, i]


def empty_trees(trials: int, positions: int) -> Any:
    """Arrays (trial, position) of land without trees.

    Arrays of whole pages would all begin at one place of the processor's nearest cache, which holds eight such: a loop
    over twenty arrays then waits for memory at every tree, twenty times as long. So each begins a little further on.
    """
    names = [name for name in TREE_FIELDS if name not in ("alive", "leaf")]
    size = trials * positions
    apart = size + (STAGGER - size) % PAGE
    memory = np.empty(apart * len(names), np.float32)
    memory.fill(0)  # asked for empty, NumPy lets the system hand out large pages
    made: dict[str, Any] = {
        name: memory[number * apart : number * apart + size].reshape(trials, positions)
        for number, name in enumerate(names)
    }
    made["site_vigor"] += np.float32(1)
    shape = (trials, positions)
    return Trees(**made, alive=np.zeros(shape, np.bool_), leaf=np.zeros(shape, np.int16))  # type: ignore[call-arg]
