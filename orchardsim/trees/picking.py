"""Harvest: what is ripe, of what quality it is, and what picking makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import Reach
from orchardsim.core.labels import GRADES
from orchardsim.trees import grading
from orchardsim.trees import year as loops
from orchardsim.trees.block import BlockModel
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.training import LEAVES, Ages

Double = NDArray[np.float64]
PROCESSING_SHARE: Final = 0.5
"""1; share of the fruit large enough for peeling, but not fresh and not culled, that goes to it; the rest is pressed.
Assumption: it stands for the outlets near the farm."""
SOFTENING_TIME: Final = 70.0
"""day; further delay by which 1 - 1/e of the best grade has softened, about a tenth in each week (assumption)."""


@dataclass(frozen=True)
class RipeFruit:
    """What there is to pick: number [1] and fresh mass [kg] by pass, (trial, group, pass); the rest (trial, group)."""

    number: Double
    mass: Double
    summer_pruning_hours: Double


@dataclass(frozen=True)
class Harvest:
    """Picked and lost, (trial, group) or (trial, group, grade) [kg]; the crop is harvested + dropped."""

    harvested_mass: Double
    packed_mass: Double
    culled_mass: Double
    dropped_mass: Double


def ask_harvest_work(model: BlockModel, state: TreeState) -> RipeFruit:
    """Count and weigh the fruit on the trees that stand at harvest.

    Returns
    -------
    RipeFruit
        What each picking pass finds ripe, and the hours of summer pruning that the trees ask for.
    """
    totals = state.totals
    totals["fruit_dry_mass"] = model.total(state.fruit_dry_mass)
    totals["fruit_number"] = model.total(state.fruit_number)
    totals["crop_mass"] = totals["fruit_dry_mass"] / model.physiology.fruit_dry_fraction
    more = np.clip(model.total(state.shoot_leaf) / model.usual_shoots, 1, loops.MOST_WORK)
    summer = more * (model.count_by_leaf(Ages(state.leaf)) * model.summer_minutes).sum(axis=-1) / 60
    return RipeFruit(
        number=totals["fruit_number"][..., None] * model.pass_share,
        mass=totals["crop_mass"][..., None] * model.pass_share,
        summer_pruning_hours=summer,
    )


def apply_summer_pruning(
    model: BlockModel, state: TreeState, season: SeasonForTrees, reach: Reach | None = None
) -> None:
    """Light that summer pruning lets in, and the quality of the ripe crop under it, by mass, kept in the totals.

    Where nobody took out the summer shoots they shade the fruit: less colour, and nothing else. A fruit is fresh when
    it is large enough, not oversize where it is pitted, and free of defects; a fresh fruit with colour is of the best
    grade. Sunburn takes outer fruit and is a share of the block's.

    Parameters
    ----------
    reach : Reach, optional
        The trees that were pruned in summer; all by default.
    """
    p, totals = model.physiology, state.totals
    light = light_on_fruit(model, state, reach)
    count = np.array([group.cultivar.colour_nights for group in model.block.groups])
    nights = grading.night_colour(season.ripening_night) / p.colour_rate
    nights = np.broadcast_to(count * nights, totals["crop_mass"].shape)
    loops.judge_fruit(
        state.arrays, model.numbers, model.traits, model.strips, light, np.asarray(nights, np.float32, order="C")
    )
    totals["fruit_mass_square"] = model.total(state.mass_square)
    for name in ("usable", "clean", "coloured"):
        totals[name] = model.total(getattr(state, name))
    defects = p.base_defects * np.array([group.cultivar.handling_defects for group in model.block.groups])
    sound = (
        (1 - np.minimum(defects, 1)) * (1 - p.frost_russet * totals["fruit_by_frost"]) * (1 - season.sunburn_fraction)
    )
    sound = sound * (1 - season.rot_fraction)
    totals["sound_share"] = np.broadcast_to(sound, totals["clean"].shape)


def light_on_fruit(model: BlockModel, state: TreeState, reach: Reach | None) -> NDArray[np.float32]:
    """Mean light on the leaf among the ripe fruit [1], less where summer shoots that were to go still stand."""
    left = model.passed_over(reach)
    if left is None:
        return state.leaf_light
    # leaves in which no summer pruning is asked for are as they were
    left &= (model.summer_minutes > 0)[np.minimum(state.leaf, LEAVES)]
    return np.where(left, state.leaf_light * np.float32(1 - model.physiology.summer_shade), state.leaf_light)


def apply_picking(model: BlockModel, state: TreeState, share_picked: Double, days_late: Double) -> Harvest:
    """Pick the ripe fruit; what is not picked, or drops before, is lost.

    Parameters
    ----------
    share_picked : array, (trial, group, pass) [1]
    days_late : array, (trial, group) [day]
        How late the mean fruit is picked.

    Returns
    -------
    Harvest
        ``packed_mass`` runs over :data:`orchardsim.core.labels.GRADES`.

    Notes
    -----
    A crew walks a whole row group and takes the ripest fruit of every tree at each pass, so lateness is one number for
    the group: the cultivar's ripening spread is that of all fruit, within trees and between them. To give each tree its
    own lateness would change little: with trees that ripen s days apart (standard deviation) and a drop of d per day,
    the mean of exp(-d t) over the trees differs from that at the mean day by about (d s)^2 / 2, which is 0.2 % of the
    fruit for s = 3 days and a drop of 2 % a day.
    """
    p, totals = model.physiology, state.totals
    drop = np.array([group.cultivar.preharvest_drop for group in model.block.groups])
    hanging = np.exp(-drop * np.maximum(days_late, 0))
    share = (share_picked * model.pass_share).sum(-1) * hanging
    crop, sound = totals["crop_mass"], totals["sound_share"]
    best = totals["coloured"] * sound
    # fresh but pale, or coloured and oversize: the second fresh grade
    second = (totals["clean"] - totals["coloured"]) * sound
    fresh = best + second
    usable = np.maximum(totals["usable"], fresh)
    defective = usable - fresh
    culled = defective * p.cull_share
    processing = (defective - culled) * PROCESSING_SHARE
    juice = crop - fresh - culled - processing
    # late fruit of the best grade softens into processing
    window = np.array([group.cultivar.harvest_window for group in model.block.groups])
    soft = best * (1 - np.exp(-np.maximum(days_late - window, 0) / SOFTENING_TIME))
    grades = {"extra_fancy": best - soft, "fancy": second, "processing": processing + soft, "juice": juice}
    harvested = crop * share
    totals["harvested_mass"] = harvested
    return Harvest(
        harvested_mass=harvested,
        packed_mass=np.stack([grades[name] for name in GRADES], axis=-1) * share[..., None],
        culled_mass=culled * share,
        dropped_mass=crop - harvested,
    )
