"""The state of every tree of one block, for a tile of trials."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]
WORK = 8
"""Working arrays that the phases need at once."""


@dataclass
class TreeState:
    """Arrays over (trial, position), float32 unless said; C order. Dead and empty positions hold zeros.

    Attributes
    ----------
    alive : bool
    leaf : int16
        Growing season since the position's tree was planted; 1 in its first.
    trunk_area : [cm2]
    height, spread : [m]
    head_start : [m]
        How much taller the tree came from the nursery than goes with its trunk; a leader left uncut keeps it.
    leaf_area : [m2]
        Fruiting-wood leaf area at full canopy of the running season.
    flower_clusters : [1]
        Clusters formed last season, that will flower next spring.
    fruit_number : [1]
        Fruit on the tree now.
    fruit_dry_mass : [kg]
        Dry matter in the fruit now.
    last_crop : [kg]
        Fresh crop of the last harvest.
    vigor : [1]
        Persistent growth multiplier of the position (soil) and its tree.
    health : [1]
        0 to 1; replant disease, blight and other lasting harm lower it, time heals it slowly.
    reserves : [kg]
        Dry matter stored last autumn, spent this spring.
    alternation_sum, alternation_terms : [1]
        Sum and number of the terms of the tree's biennial bearing index from leaf 5 on.
    expressed_trunk : [cm2]
        Trunk area that the held canopy stands for: crop targets and flower buds are counted on it.
    held : [1]
        Share of the wanted leaf that the canopy holds within its room.
    feeding : [1]
        Share of the leaf that feeds fruit (the rest are shading shoots).
    source : [kg m2/MJ]
        Dry matter made per MJ/m2 of radiation.
    leaf_light : [1]
        Mean light on the tree's leaf.
    wood_wanted : [cm2]
        Trunk growth of the season with dry matter in plenty.
    surplus : [kg]
        Dry matter of the season left by the fruit so far.
    uncut : [1]
        Share of leaf-bearing wood that this winter's pruning left.
    excess : [1]
        Fruit above the target, to come off.
    counted_crop : [1]
        Fruit that count against next year's flower buds.
    bloom_clusters : [1]
        Clusters that flowered this spring, after pruning and before frost.
    site_vigor : [1]
        Persistent growth multiplier of the position's soil alone; set for every position, planted or not.
    cover : float64, (trial, group) [1]
        Share of the season's light that the group's trees stop, gaps included.
    shoots : float64, (trial, group) [m2/m2]
        Leaf of shading shoots per land, last summer.
    totals : dict of float64 arrays, (trial, group)
        Sums of the running season that the phases leave for budgets and results.
    work : list of float32 arrays, (trial, position)
        Working memory of the phases, no state.
    overgrown : array or None [1]
        Shading leaf of wood that pruning left uncut, per leaf area; None where all trees are pruned.
    """

    alive: NDArray[np.bool_]
    leaf: NDArray[np.int16]
    trunk_area: Float
    height: Float
    spread: Float
    head_start: Float
    leaf_area: Float
    flower_clusters: Float
    fruit_number: Float
    fruit_dry_mass: Float
    last_crop: Float
    vigor: Float
    health: Float
    reserves: Float
    alternation_sum: Float
    alternation_terms: Float
    expressed_trunk: Float
    held: Float
    feeding: Float
    source: Float
    leaf_light: Float
    wood_wanted: Float
    surplus: Float
    uncut: Float
    excess: Float
    counted_crop: Float
    bloom_clusters: Float
    site_vigor: Float
    cover: NDArray[np.float64]
    shoots: NDArray[np.float64]
    totals: dict[str, NDArray[np.float64]]
    work: list[Float]
    overgrown: Float | None = None

    @classmethod
    def empty(cls, trials: int, positions: int, groups: int) -> TreeState:
        """Land without trees."""
        kinds = {"alive": np.bool_, "leaf": np.int16}
        arrays: dict[str, Any] = {
            name: np.zeros((trials, positions), dtype=kinds.get(name, np.float32)) for name in TREE_FIELDS
        }
        arrays["site_vigor"] += np.float32(1)
        work = [np.empty((trials, positions), dtype=np.float32) for _ in range(WORK)]
        return cls(**arrays, cover=np.zeros((trials, groups)), shoots=np.zeros((trials, groups)), totals={}, work=work)

    def clear(self, where: NDArray[np.bool_]) -> None:
        """Empty the positions of a mask over (trial, position); the soil stays."""
        self.clear_at(np.flatnonzero(where))

    def clear_at(self, at: NDArray[np.int64]) -> None:
        """Empty some positions, given by their flat numbers in (trial, position)."""
        if at.size:
            for name in TREE_FIELDS:
                if name != "site_vigor":
                    getattr(self, name).reshape(-1)[at] = 0
            if self.overgrown is not None:
                self.overgrown.reshape(-1)[at] = 0


SHARED_FIELDS = ("cover", "shoots", "totals", "overgrown")
"""Names of what is kept by row group, or for some years only."""
TREE_FIELDS = tuple(field.name for field in dataclasses.fields(TreeState) if field.name not in (*SHARED_FIELDS, "work"))
"""Names of the arrays over (trial, position)."""
