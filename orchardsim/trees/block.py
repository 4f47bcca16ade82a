"""A block as the tree model sees it: fixed arrays over positions, built once, and sums by row group."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from orchardsim.core.handover import COVER_LEVELS, Reach
from orchardsim.trees import bearing
from orchardsim.trees import year as loops
from orchardsim.trees.fruit import pass_shares
from orchardsim.trees.parameters import BlockPlan, Physiology
from orchardsim.trees.state import TreeState
from orchardsim.trees.sums import sum_stretches
from orchardsim.trees.training import LEAVES, Ages, table_by_leaf
from orchardsim.trees.traits import make_place, make_traits, shared_numbers, unbent_bloom_leaf
from orchardsim.trees.variation import YearDraws, patchy_field

Float = NDArray[np.float32]
Double = NDArray[np.float64]
WHIP_SPREAD: Final = 0.25
"""m; spread of a nursery tree without side branches (assumption)."""
FEATHER_SPREAD: Final = 0.05
"""m; spread that each side branch kept adds (assumption: ten of them make some 0.75 m)."""
USUAL_FRUIT: Final = 0.6
"""1; fruit mass of a usual crop over the cultivar's potential, for the last crop of trees that stand before year 0.
Derived: Honeycrisp 175 g at 7 fruit per cm2 against about 300 g at very light crop (Robinson et al., target T9)."""
BALANCED_BLOOM: Final = 0.5
"""1; share of full bloom on trees that stand before year 0 and whose last crop is not stated (assumption)."""


class BlockModel:
    """One block's fixed numbers per position: arrays (1, position), or (1, 1) where all row groups agree.

    Parameters
    ----------
    block : BlockPlan
    physiology : Physiology
    """

    def __init__(self, block: BlockPlan, physiology: Physiology) -> None:
        layout = block.layout
        self.block = block
        self.physiology = physiology
        self.rows = layout.rows
        self.trees_per_row = layout.trees_per_row
        self.positions = layout.positions
        self.groups = len(block.groups)
        self.land = layout.row_spacing * layout.tree_spacing
        self.row_group = np.asarray(layout.group, dtype=np.int64)
        self.strips = loops.strips_of(self.row_group, self.trees_per_row)
        self.rows_of_group = (self.row_group == np.arange(self.groups)[:, None]).astype(np.float64)
        self.position_group = np.repeat(self.row_group, self.trees_per_row)
        self.exists = (np.arange(self.positions) < layout.trees)[None, :]
        self.group_trees = np.array([(self.exists[0] & (self.position_group == g)).sum() for g in range(self.groups)])
        self.group_positions = np.bincount(self.position_group, minlength=self.groups)
        # order in which a crew walks the group's trees, as a share of them
        self.walk = np.zeros((1, self.positions), dtype=np.float32)
        for group in range(self.groups):
            at = np.flatnonzero((self.position_group == group) & self.exists[0])
            self.walk[0, at] = (np.arange(at.size) + 0.5) / max(at.size, 1)

        p, training = physiology, block.training
        stocks, cultivars, grades = zip(*((one.stock, one.cultivar, one.grade) for one in block.groups), strict=True)
        self.numbers, self.traits, self.place = shared_numbers(p), make_traits(block, p), make_place(block, p)
        self.fruit_potential = self.by_group([c.fruit_mass_potential for c in cultivars])
        self.usual_shoots = p.usual_shoots * self.land * np.maximum(self.group_trees, 1)
        bearing_leaf = np.array([unbent_bloom_leaf(group, p) for group in block.groups])
        bloom = bearing.bearing_share(np.ones(1), bearing_leaf, p.bearing_rate)
        self.nursery_bloom = self.by_group(bloom.tolist())
        self.start_health = self.by_group([1 - p.replant_stunting * (1 - s.replant_tolerance) for s in stocks])
        self.start_trunk = self.by_group([np.pi / 4 * (g.trunk_diameter / 10) ** 2 for g in grades])
        headed = p.headed_height if training.leader_headed else 1.0
        self.start_height = self.by_group([g.height * headed for g in grades])
        self.start_spread = self.by_group(
            [WHIP_SPREAD + FEATHER_SPREAD * g.feathers * training.feathers_kept for g in grades]
        )
        self.weak_quality = float(ndtri(p.weak_share)) if p.weak_share > 0 else -np.inf
        self.pass_count = max(c.picks for c in cultivars)
        self.pass_share = np.zeros((self.groups, self.pass_count))
        for group, cultivar in enumerate(cultivars):
            self.pass_share[group, : cultivar.picks] = pass_shares(cultivar.picks)

        self.training_minutes = table_by_leaf(training.training_minutes)
        self.pruning_minutes = table_by_leaf(training.pruning_minutes)
        self.summer_minutes = table_by_leaf(training.summer_pruning_minutes)

    def by_group(self, values: Sequence[float]) -> Float:
        """Values per row group as an array over positions (1, position), or (1, 1) where they agree."""
        array: Float = np.asarray(values, dtype=np.float32)
        return array[:1][None, :] if (array == array[0]).all() else array[self.position_group][None, :]

    def expand(self, values: NDArray[np.floating]) -> Float:
        """Values (trial, group) as float32 over (trial, position), or (trial, 1) with one group."""
        narrow = np.asarray(values, dtype=np.float32)
        return narrow if self.groups == 1 else narrow[:, self.position_group]

    def total(self, values: NDArray[np.floating] | NDArray[np.bool_]) -> Double:
        """Sum by row group, float64 (trial, group)."""
        if self.groups == 1 and values.dtype == np.bool_:
            # counting is four times faster than adding up whole numbers
            return np.array([[np.count_nonzero(one)] for one in values], dtype=np.float64)
        kind = np.float32 if values.dtype == np.float32 else np.int64
        if self.groups == 1:
            # float32 along a whole trial: numpy adds pairwise, so that the error stays near rounding for any length
            return np.add.reduce(values, axis=-1, dtype=kind).astype(np.float64)[:, None]
        grid = values.reshape(len(values), self.rows, self.trees_per_row)
        by_row = np.add.reduce(grid, axis=-1, dtype=kind)
        summed: Double = (by_row[:, None, :] * self.rows_of_group).sum(axis=-1)
        return summed

    def total_by_place(self, values: Float, places: int) -> Double:
        """Sum over stretches of the rows, (trial, group, place), as the loops over trees cut them."""
        parts = np.empty((len(values), self.rows, places))
        sum_stretches(self.grid(values), parts)
        return np.einsum("trp,gr->tgp", parts, self.rows_of_group)

    def cell(self, at: NDArray[np.int64]) -> NDArray[np.int64]:
        """Place in a flat array (trial, group) of trees given by their flat positions."""
        trial: NDArray[np.int64] = at // self.positions
        if self.groups == 1:
            return trial
        return trial * self.groups + self.position_group[at - trial * self.positions]

    def count_by_leaf(self, ages: Ages) -> Double:
        """Number of positions by the leaf of their tree, (trial, group, leaf); 0 is no tree."""
        size = LEAVES + 1
        found = np.bincount(self.cell(ages.odd) * size + ages.odd_leaf, minlength=ages.trials * self.groups * size)
        counts = found.reshape(ages.trials, self.groups, size).astype(np.float64)
        counts[:, :, ages.usual] += self.group_positions - counts.sum(axis=-1)
        return counts

    def passed_over(self, reach: Reach | None) -> NDArray[np.bool_] | None:
        """Positions that a crew did not come to, (trial, position); None where it came to all.

        A crew walks its row group in the order of ``walk``, from its start on and round again.
        """
        if reach is None or not (reach.share < 1).any():
            return None
        place = np.mod(self.walk - self.expand(reach.start), 1)
        return np.asarray(place > self.expand(reach.share))

    def water(self, factor: Double, cover: Double) -> Double:
        """Water factor (trial, group) at the group's own cover, between the cover levels of the season's balance."""
        number = np.arange(len(COVER_LEVELS))
        place = np.interp(cover, COVER_LEVELS, number)
        # weights of a linear interpolation: 1 at a level, falling to 0 at the levels beside it
        weight = np.maximum(1 - np.abs(place[..., None] - number), 0)
        return (factor * weight).sum(axis=-1)

    def grid(self, values: Float) -> Float:
        """Values (trial, position) as (trial, row, tree), a view."""
        return values.reshape(len(values), self.rows, self.trees_per_row)

    def new_state(self, trials: int) -> TreeState:
        """Land without trees, on even soil."""
        return TreeState.empty(trials, self.positions, self.groups)

    def draw_persistent(self, rngs: Sequence[np.random.Generator]) -> Float:
        """Lasting growth multiplier of each position's soil (trial, position), patchy over the block [1].

        Its mean over the block's trees is 1: how good the block is as a whole is the plan's ``site_growth``.
        """
        layout, p = self.block.layout, self.physiology
        grown = []
        for rng in rngs:
            field = patchy_field(
                rng, self.rows, self.trees_per_row, layout.row_spacing, layout.tree_spacing, p.patch_length
            )
            one = np.exp(p.site_spread * field.reshape(-1))
            grown.append(one / one[self.exists[0]].mean())
        growth: Float = np.stack(grown).astype(np.float32)
        return growth

    def plant(
        self,
        state: TreeState,
        draws: YearDraws,
        where: NDArray[np.bool_] | None = None,
        *,
        replant: bool | None = None,
    ) -> None:
        """Plant nursery trees; call it after ``rest_to_bloom`` of the year.

        Parameters
        ----------
        state : TreeState
        draws : YearDraws
            Of the year of planting: ``normal`` is the quality of the tree.
        where : bool array, (trial, position), optional
            Empty positions to fill; all of them by default.
        replant : bool, optional
            Whether the soil carries replant disease; by default the block's own setting.
        """
        gaps = self.exists & ~state.alive
        at = np.flatnonzero(gaps if where is None else gaps & where)
        self._plant_at(state, draws, at, self.block.replant_site if replant is None else replant)

    def _plant_at(self, state: TreeState, draws: YearDraws, at: NDArray[np.int64], replant: bool) -> None:
        """Plant at empty positions, given by their flat numbers in (trial, position)."""
        if not at.size:
            return
        p, position = self.physiology, at % self.positions
        # a slice takes a third of the time, where all positions are planted
        where = at if at.size < state.alive.size else slice(None)

        def put(name: str, values: NDArray[np.floating] | float) -> None:
            getattr(state, name).reshape(-1)[where] = values

        def of(values: Float) -> Float:
            return values[0, position] if values.shape[1] > 1 else values[0, 0]

        quality = draws.normal.reshape(-1)[where]
        trunk = of(self.start_trunk) * np.exp(np.float32(p.tree_spread) * quality)
        put("alive", 1)
        put("leaf", 1)
        put("uncut", 1)
        put("trunk_area", trunk)
        put("height", np.minimum(of(self.start_height), self.block.training.height_limit))
        usual = p.height_coefficient * trunk**p.height_exponent
        put("head_start", 0 if self.block.training.leader_headed else np.maximum(of(self.start_height) - usual, 0))
        put("spread", np.minimum(of(self.start_spread), self.block.training.spread_limit))
        growth = np.exp(np.float32(p.tree_spread) * quality)
        growth *= np.where(quality < self.weak_quality, np.float32(p.weak_growth), np.float32(1))
        put("vigor", state.site_vigor.reshape(-1)[where] * growth)
        put("health", of(self.start_health) if replant else 1)
        leaf = p.leaf_per_trunk * p.first_leaf_canopy * trunk
        put("flower_clusters", p.clusters_per_leaf * of(self.nursery_bloom) * leaf)
        # a nursery tree brings the stored dry matter of a season in the nursery: about its leaf's own cost
        put("reserves", p.leaf_mass * leaf)

    def plant_established(
        self,
        state: TreeState,
        draws: YearDraws,
        leaf: int,
        trunk_area: float,
        crop: Sequence[float] | Double | None,
        fruit_mass: Sequence[float] | Double | None = None,
    ) -> None:
        """Set a block that is there before the first year: trees of one age at the end of their last season.

        Parameters
        ----------
        leaf : int
            Seasons that the trees have had.
        trunk_area : float [cm2]
            Mean over the block.
        crop : sequence of float, (group,), or None [kg]
            Mean crop per tree of the last harvest; None takes trees in balance.
        fruit_mass : sequence of float, (group,), optional [kg]
            Mean mass of its fruit; a usual share of the cultivar's potential by default.

        Notes
        -----
        Next spring's clusters follow from the last crop as at every leaf fall: by shade, by tree and by spur.
        """
        p = self.physiology
        self.plant(state, draws, replant=False)
        alive = state.alive
        spread = np.exp(np.float32(p.tree_spread) * draws.normal - np.float32(p.tree_spread**2 / 2))
        state.leaf[alive] = leaf
        state.trunk_area[...] = np.float32(trunk_area) * spread * alive
        state.uncut[...] = alive
        self.set_shape(state)
        loops.open_canopy(state.arrays, self.numbers, self.traits, self.place, self.strips, state.ground)
        kilograms = np.zeros((1, 1), np.float32) if crop is None else self.by_group([*map(float, crop)])
        state.last_crop[...] = kilograms * alive
        mass = USUAL_FRUIT * self.fruit_potential if fruit_mass is None else self.by_group([*map(float, fruit_mass)])
        state.fruit_number[...] = state.last_crop / mass
        balanced = np.float32(BALANCED_BLOOM if crop is None else 1.0)
        loops.open_bloom(state.arrays, self.numbers, self.traits, self.strips, balanced)

    def replant(self, state: TreeState, counts: NDArray[np.integer], draws: YearDraws) -> Double:
        """Fill the first empty positions of each group; call it after ``rest_to_bloom``.

        Parameters
        ----------
        counts : int array, (trial, group)
            Trees to plant.

        Returns
        -------
        array, (trial, group) [1]
            Trees planted: the count, or the number of gaps where that is smaller.
        """
        gaps = np.flatnonzero(self.exists & ~state.alive)
        cell = self.cell(gaps)
        order = np.argsort(cell, kind="stable")
        gaps, cell = gaps[order], cell[order]
        before = np.arange(gaps.size) - np.searchsorted(cell, cell)
        chosen = before < np.asarray(counts).reshape(-1)[cell]
        self._plant_at(state, draws, gaps[chosen], replant=True)
        return self._sum_by_cell(len(state.alive), cell[chosen])

    def kill(self, state: TreeState, dead: NDArray[np.bool_]) -> Double:
        """Take trees out; returns the fruit that was on them, (trial, group) [1]."""
        return self.kill_at(state, np.flatnonzero(dead))

    def kill_at(self, state: TreeState, at: NDArray[np.int64]) -> Double:
        """The same of trees given by their flat positions."""
        at = at[state.alive.reshape(-1)[at]]
        fruit = self._sum_by_cell(len(state.alive), self.cell(at), state.fruit_number.reshape(-1)[at])
        state.clear_at(at)
        return fruit

    def _sum_by_cell(self, trials: int, cell: NDArray[np.int64], values: Float | None = None) -> Double:
        """Number of trees, or sum of their values, (trial, group), by their flat place in it."""
        found = np.bincount(cell, values, minlength=trials * self.groups)
        return found.reshape(trials, self.groups).astype(np.float64, copy=False)

    def set_shape(self, state: TreeState) -> None:
        """Height and spread that go with the trunk, within what the training allows."""
        p, place = self.physiology, self.place
        level = np.maximum(place.growth_level * state.vigor * state.health, 1e-6)
        height = place.leader * level**p.height_level * state.trunk_area**p.height_exponent
        state.height[...] = np.minimum(height, place.height_limit) * state.alive
        spread = p.spread_coefficient * state.trunk_area**p.spread_exponent
        state.spread[...] = np.minimum(spread, place.spread_limit) * state.alive
