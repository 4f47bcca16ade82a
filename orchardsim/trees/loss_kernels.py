"""Loops over the trees of a tile that decide which die of what, compiled."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp, exp_less_one
from orchardsim.trees.competing import (
    CODE,
    BearingTree,
    RestingTree,
    rest_cause,
    rest_level,
    rest_sums,
    season_cause,
    season_level,
    season_sums,
)
from orchardsim.trees.loss_draws import PATCH_LIMIT
from orchardsim.trees.loss_hazards import blight_lethality, cold_hazard, strike_hazard

BLIGHT: Final = np.int8(CODE["fire_blight"])
DRY_SHARE: Final = np.float32(0.15)
"""Dry matter of fresh fruit, for its weight on the tree (memory, medium; the growth model's own share may differ a
little, which is of no account here)."""
LEAST_TRUNK: Final = np.float32(0.5)
"""cm2; a thinner trunk carries its fruit as one of this area."""
LIMIT: Final = np.float32(PATCH_LIMIT)
LIVES: Final = np.int8(0)


class Spread(NamedTuple):
    """Blight from tree to tree: hazard added to a neighbour, by rows and trees away; 0 in the middle."""

    added: NDArray[np.float32]
    rows: int
    trees: int


@compiled
def patch_field(nodes: Number, ground: Number, row: Number, line: Number, field: Number) -> None:
    """Patch field along a row of trees, from its nodes (node row, node column); ``line`` is for work, (node column,).

    Tree by tree from node to node, since a loop that looked each tree's node up would not run on vectors.
    """
    first, here, following = ground.row_node[row], ground.row_here[row], ground.row_next[row]
    for k in range(line.size):
        line[k] = nodes[first, k] * here + nodes[first + 1, k] * following
    for k in range(line.size - 1):
        node, next_node = line[k], line[k + 1]
        for column in range(k * ground.cell, min((k + 1) * ground.cell, field.size)):
            field[column] = node * ground.tree_here[column] + next_node * ground.tree_next[column]


@compiled
def patch_factor(field: Number, patchiness: Number, scale: Number) -> Number:
    """Multiplier of a hazard with mean 1 over the ground: exp(patchiness * field) * scale."""
    return exp(patchiness * min(max(field, -LIMIT), LIMIT)) * scale


@compiled
def rest_kernel(
    h: Number,
    levels: Number,
    ground: Number,
    row_group: Number,
    scale: Number,
    nodes: Number,
    uniform: Number,
    alive: Number,
    leaf: Number,
    health: Number,
    height: Number,
    ahead: Number,
    found: Number,
) -> None:
    """Winter losses of a tile; writes cause codes and the health lost by trees that barely escape."""
    per_row = ground.tree_here.size
    cause, health_loss = found.cause, found.health_loss
    line, field = np.empty(nodes.shape[2], np.float32), np.empty(per_row, np.float32)
    for t in range(alive.shape[0]):
        for row in range(row_group.size):
            patch_field(nodes[t], ground, row, line, field)
            level = rest_level(levels[t, row_group[row]])
            for column in range(per_row):
                i = row * per_row + column
                patch = patch_factor(field[column], h.patchiness, scale)
                tree = RestingTree(np.float32(leaf[t, i]) - ahead, health[t, i], height[t, i], patch)
                sums = rest_sums(h, tree, level)
                death = -exp_less_one(-sums[-1])
                u = uniform[t, i]
                here = alive[t, i]
                code = rest_cause(u / death * sums[-1], sums)
                cause[t, i] = code if here & (u < death) else LIVES
                near = here & (u >= death) & (u < death * (1.0 + h.maimed))
                health_loss[t, i] = h.maimed_loss if near else np.float32(0.0)


@compiled
def season_kernel(
    h: Number,
    levels: Number,
    spread: Number,
    ground: Number,
    row_group: Number,
    scale: Number,
    site: Number,
    blight_nodes: Number,
    uniform: Number,
    alive: Number,
    leaf: Number,
    health: Number,
    fruit: Number,
    trunk: Number,
    unsupported: Number,
    fallen: Number,
    support_leaf: Number,
    found: Number,
) -> None:
    """Season losses of a tile; writes cause codes and the health lost by trees struck by blight or barely escaped."""
    per_row = ground.tree_here.size
    cause, health_loss, struck = found.cause, found.health_loss, found.struck
    line = np.empty(site.shape[2], np.float32)
    soil_field, blight_field = np.empty(per_row, np.float32), np.empty(per_row, np.float32)
    others, strike = np.empty(alive.shape[1], np.float32), np.empty(alive.shape[1], np.float32)
    for t in range(alive.shape[0]):
        struck_trees = np.int32(0)
        for row in range(row_group.size):
            patch_field(site[t], ground, row, line, soil_field)
            patch_field(blight_nodes[t], ground, row, line, blight_field)
            level = season_level(levels[t, row_group[row]])
            for column in range(per_row):
                i = row * per_row + column
                soil = patch_factor(soil_field[column], h.patchiness, scale)
                patch = patch_factor(blight_field[column], h.patchiness, scale)
                age = np.float32(leaf[t, i])
                load = fruit[t, i] / DRY_SHARE / max(trunk[t, i], LEAST_TRUNK)
                by_itself = (age < support_leaf) | unsupported[t, i]
                tree = BearingTree(age, health[t, i], load, soil, patch, by_itself, fallen[t, i])
                sums = season_sums(h, tree, level)
                hit = strike_hazard(h, age, health[t, i], patch, level.strikes)
                death = -exp_less_one(-sums[-1])
                u = uniform[t, i]
                here = alive[t, i]
                code = season_cause(u / death * sums[-1], sums)
                code = code if here & (u < death) else LIVES
                cause[t, i] = code
                # of those that live, some are struck by blight, and some barely escape something else
                marked = -exp_less_one(-(sums[-2] + hit))
                hurt = here & (u >= death) & (u < marked)
                near = here & (u >= marked) & (u < marked - h.maimed * exp_less_one(-sums[-2]))
                gnawed = min(level.aphids * soil, np.float32(1.0)) if here else np.float32(0.0)
                lost = max(h.maimed_loss, gnawed) if near else gnawed
                health_loss[t, i] = h.blight_wood_loss if hurt else lost
                struck[t, i] = hurt
                others[i] = sums[-2]
                strike[i] = hit
                struck_trees = np.int32(struck_trees + np.int32(hurt | (code == BLIGHT)))
        if struck_trees > 0 and spread.trees + spread.rows > 0:
            spread_blight(h, levels, spread, row_group, t, per_row, others, strike, uniform, alive, leaf, found)


@compiled
def spread_blight(
    h: Number,
    levels: Number,
    spread: Number,
    row_group: Number,
    t: Number,
    per_row: Number,
    others: Number,
    strike: Number,
    uniform: Number,
    alive: Number,
    leaf: Number,
    found: Number,
) -> None:
    """Blight goes from the struck trees of a trial to their neighbours: what they add comes on top of the same draw."""
    cause, health_loss, struck = found.cause, found.health_loss, found.struck
    rows = row_group.size
    added = np.zeros(others.size, np.float32)
    for row in range(rows):
        for column in range(per_row):
            i = row * per_row + column
            if cause[t, i] != BLIGHT and not struck[t, i]:
                continue
            for across in range(max(0, row - spread.rows), min(rows, row + spread.rows + 1)):
                for along in range(max(0, column - spread.trees), min(per_row, column + spread.trees + 1)):
                    away = spread.added[across - row + spread.rows, along - column + spread.trees]
                    added[across * per_row + along] += away
    for row in range(rows):
        level = season_level(levels[t, row_group[row]])
        for column in range(per_row):
            i = row * per_row + column
            if added[i] == 0.0 or cause[t, i] != LIVES or not alive[t, i]:
                continue
            hit = strike[i] + added[i] * level.scion_blight
            lethal = blight_lethality(h, np.float32(leaf[t, i]), level.stock_blight)
            u = uniform[t, i]
            if u < -exp_less_one(-(others[i] + hit * lethal)):
                cause[t, i] = BLIGHT
                health_loss[t, i], struck[t, i] = 0.0, False
            elif u < -exp_less_one(-(others[i] + hit)):
                health_loss[t, i], struck[t, i] = h.blight_wood_loss, True


@compiled
def winter_injury_kernel(h: Number, injury: Number, out: Number, cold: Number, soil: Number, shortfall: Number,
                         wood: Number, roots: Number) -> None:  # fmt: skip
    """Share of health that trees in full health lose to a winter that they survive, (trial, group)."""
    for t in range(out.shape[0]):
        for g in range(out.shape[1]):
            hazard = cold_hazard(h, cold[t, g], soil[t, g], shortfall[t, g], wood[t, g], roots[t, g], np.float32(0.0))
            out[t, g] = min(np.float32(1.0), 2.0 * injury * -exp_less_one(-hazard))


def spread_of(strength: float, distance: float, row_spacing: float, tree_spacing: float) -> Spread:
    """Hazard that a struck tree adds to its neighbours: strength exp(-metres / distance), within 2.5 distances."""
    reach = 2.5 * distance
    rows, trees = (int(reach / spacing) if strength > 0 else 0 for spacing in (row_spacing, tree_spacing))
    across = np.arange(-rows, rows + 1)[:, None] * row_spacing
    along = np.arange(-trees, trees + 1)[None, :] * tree_spacing
    metres = np.hypot(across, along)
    added = np.where((metres > 0) & (metres <= reach), strength * np.exp(-metres / distance), 0.0)
    return Spread(added.astype(np.float32), rows, trees)
