"""The state of every tree of one block, for a tile of trials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]


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
    """

    alive: NDArray[np.bool_]
    leaf: NDArray[np.int16]
    trunk_area: Float
    height: Float
    spread: Float
    leaf_area: Float
    flower_clusters: Float
    fruit_number: Float
    fruit_dry_mass: Float
    last_crop: Float
    vigor: Float
    health: Float
