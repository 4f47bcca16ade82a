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
from orchardsim.trees.loss_hazards import LOAD_LIMIT, blight_lethality, cold_hazard, strike_hazard

BLIGHT: Final = np.int8(CODE["fire_blight"])
DRY_SHARE: Final = np.float32(0.15)
"""Dry matter of fresh fruit, for its weight on the tree (memory, medium; the growth model's own share may differ a
little, which is of no account here)."""
LEAST_TRUNK: Final = np.float32(0.5)
"""cm2; a thinner trunk carries its fruit as one of this area."""
LIMIT: Final = np.float32(PATCH_LIMIT)
LIVES: Final = np.int8(0)
LOW: Final = np.float32(1.0)
"""m; a lower tree is always looked at: the bounds on what deer may do reckon with this height."""
NOT, BY_LEAF, ALWAYS = np.uint8(0), np.uint8(1), np.uint8(2)
"""Whether a tree is worked out: not, where its draw lies within reach at its leaf, in any case."""
MARGIN: Final = np.float32(1.0001)
MANY: Final = 16
"""Where more than one tree in so many is struck, their neighbours are not looked up one by one."""
TINY: Final = np.float32(1e-7)
"""Rounding, in the bounds below which a draw is looked at."""


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
    first, row_here, row_next = ground.row_node[row], ground.row_here[row], ground.row_next[row]
    for k in range(line.size):
        line[k] = nodes[first, k] * row_here + nodes[first + 1, k] * row_next
    for k in range(line.size - 1):
        node, next_node = line[k], line[k + 1]
        stretch = slice(k * ground.cell, (k + 1) * ground.cell)
        part, here, following = field[stretch], ground.tree_here[stretch], ground.tree_next[stretch]
        for column in range(part.size):
            part[column] = node * here[column] + next_node * following[column]


@compiled
def patch_factor(field: Number, patchiness: Number, scale: Number) -> Number:
    """Multiplier of a hazard with mean 1 over the ground: exp(patchiness * field) * scale."""
    return exp(patchiness * min(max(field, -LIMIT), LIMIT)) * scale


@compiled
def fill_factors(nodes: Number, ground: Number, patchiness: Number, scale: Number, found: Number) -> None:
    """Multiplier of a hazard at every tree, ``found`` (trial, position), from the nodes of a patch field."""
    per_row = ground.tree_here.size
    line, field = np.empty(nodes.shape[2], np.float32), np.empty(per_row, np.float32)
    for t in range(len(found)):
        for row in range(ground.row_group.size):
            patch_field(nodes[t], ground, row, line, field)
            factors = found[t, row * per_row : (row + 1) * per_row]
            for column in range(per_row):
                factors[column] = patch_factor(field[column], patchiness, scale)


class RestingTrees(NamedTuple):
    """Trees that a winter may take, one after the other: their numbers, and what becomes of them."""

    leaf: NDArray[np.float32]
    health: NDArray[np.float32]
    height: NDArray[np.float32]
    field: NDArray[np.float32]
    uniform: NDArray[np.float32]
    cause: NDArray[np.int8]
    health_loss: NDArray[np.float32]


class BearingTrees(NamedTuple):
    """Trees that a season may take or mark, one after the other: their numbers, and what becomes of them."""

    leaf: NDArray[np.float32]
    health: NDArray[np.float32]
    load: NDArray[np.float32]
    soil: NDArray[np.float32]
    blight_field: NDArray[np.float32]
    by_itself: NDArray[np.bool_]
    fallen: NDArray[np.bool_]
    uniform: NDArray[np.float32]
    cause: NDArray[np.int8]
    hurt: NDArray[np.bool_]
    near: NDArray[np.bool_]
    others: NDArray[np.float32]
    """Hazard of all but blight."""
    strike: NDArray[np.float32]
    """Hazard of being struck by blight from blossoms."""


class TrialTrees(NamedTuple):
    """All trees of one trial in a season, (position,), and the nodes of its patches."""

    uniform: NDArray[np.float32]
    alive: NDArray[np.bool_]
    leaf: NDArray[np.int16]
    health: NDArray[np.float32]
    fruit: NDArray[np.float32]
    trunk: NDArray[np.float32]
    unsupported: NDArray[np.bool_]
    fallen: NDArray[np.bool_]
    soil: NDArray[np.float32]
    blight_nodes: NDArray[np.float32]


class Losses(NamedTuple):
    """What becomes of the trees in a phase; arrays (trial, position), or (position,) of one trial.

    Attributes
    ----------
    cause : int8
        0 for a tree that lives or was not there, else ``CODE`` of the cause.
    health_loss : float32 [1]
        Share of its health that a tree which lives loses.
    struck : bool
        Struck by fire blight, and lives.
    """

    cause: NDArray[np.int8]
    health_loss: NDArray[np.float32]
    struck: NDArray[np.bool_]


class SeasonWork(NamedTuple):
    """Room that the loops of a season work in, made once for a tile."""

    node: NDArray[np.int32]
    """Node of the patches before each tree of a row."""
    look: NDArray[np.uint8]
    words: NDArray[np.uint64]
    """Which trees of a row to work out, and the same by eights."""
    chosen: NDArray[np.int32]
    some: BearingTrees
    """Trees that are worked out, and their numbers."""
    sources: NDArray[np.int32]
    """Trees struck by blight from blossoms."""
    added: NDArray[np.float32]
    more: NDArray[np.float32]
    near_row: NDArray[np.bool_]
    """Hazard that these bring, by tree and by tree that is worked out; rows where there is any."""


@compiled
def field_at(nodes: Number, ground: Number, row: Number, column: Number, node: Number) -> Number:
    """Patch field at one tree, to the bit as :func:`patch_field` has it; ``node`` is the one before it in the row."""
    first, here, following = ground.row_node[row], ground.row_here[row], ground.row_next[row]
    value = nodes[first, node] * here + nodes[first + 1, node] * following
    next_value = nodes[first, node + 1] * here + nodes[first + 1, node + 1] * following
    return value * ground.tree_here[column] + next_value * ground.tree_next[column]


@compiled
def nodes_before(ground: Number) -> Number:
    """Node before each tree of a row, (tree,)."""
    found = np.empty(ground.tree_here.size, np.int32)
    for column in range(found.size):
        found[column] = column // ground.cell
    return found


@compiled
def oldest(leaf: Number) -> Number:
    """Highest leaf of the trees (tree,)."""
    found = np.int16(0)
    for i in range(leaf.size):
        found = max(found, leaf[i])
    return found


@compiled
def highest(values: Number) -> Number:
    """Highest of some positive values."""
    found = np.float32(0.0)
    for i in range(values.size):
        found = max(found, values[i])
    return found


@compiled
def pick(
    look: Number,
    words: Number,
    first: Number,
    uniform: Number,
    leaf: Number,
    most: Number,
    chosen: Number,
    number: Number,
) -> Number:
    """Add the trees of a row that must be worked out to those ``chosen``; their number then.

    ``words`` are the bytes of ``look`` by eights: most are zero, so eight trees are passed over at once.
    """
    for word in range(words.size):
        if words[word] == 0:
            continue
        for column in range(8 * word, 8 * word + 8):
            if look[column] == NOT:
                continue
            i = first + column
            chosen[number] = i
            number += int((look[column] == ALWAYS) | (uniform[i] < most[np.uint16(leaf[i])]))
    return number


@compiled
def rest_bounds(h: Number, levels: Number, scale: Number, least: Number, most: Number) -> None:
    """Chance below which a winter leaves its mark on no tree of a leaf, ``most`` (group, leaf); leaf 0: of any leaf."""
    patch = patch_factor(LIMIT, h.patchiness, scale)
    for g in range(most.shape[0]):
        level = rest_level(levels[g])
        for leaf in range(most.shape[1]):
            tree = RestingTree(np.float32(leaf), np.float32(0.0), least, patch)
            death = -exp_less_one(-rest_sums(h, tree, level)[-1])
            most[g, leaf] = death * (1.0 + h.maimed) * MARGIN + TINY
        most[g, 0] = highest(most[g])


@compiled
def rest_kernel(
    h: Number,
    levels: Number,
    ground: Number,
    scale: Number,
    nodes: Number,
    uniform: Number,
    alive: Number,
    leaf: Number,
    health: Number,
    height: Number,
    found: Number,
) -> None:
    """Winter losses of a tile; writes cause codes and the health lost by trees that barely escape.

    Most trees draw a number that lies beyond the hazard of the worst tree of their leaf: they are passed over.
    """
    trials, trees = alive.shape
    row_group, per_row = ground.row_group, ground.tree_here.size
    cause, health_loss = found.cause, found.health_loss
    node, look = nodes_before(ground), np.zeros((per_row + 7) // 8 * 8, np.uint8)
    words = look.view(np.uint64)
    chosen, some = np.empty(trees, np.int32), resting_trees(trees)
    for t in range(trials):
        cause[t, :], health_loss[t, :] = LIVES, np.float32(0.0)
        most = np.empty((levels.shape[1], oldest(leaf[t]) + 1), np.float32)
        rest_bounds(h, levels[t], scale, LOW, most)
        number = 0
        for row in range(row_group.size):
            g, before, first = row_group[row], number, row * per_row
            for column in range(per_row):
                i = first + column
                low = height[t, i] < LOW
                may = alive[t, i] & (low | (uniform[t, i] < most[g, 0]))
                look[column] = (ALWAYS if low else BY_LEAF) if may else NOT
            number = pick(look, words, first, uniform[t], leaf[t], most[g], chosen, number)
            for k in range(before, number):
                i = chosen[k]
                some.leaf[k] = np.float32(leaf[t, i])
                some.health[k], some.height[k], some.uniform[k] = health[t, i], height[t, i], uniform[t, i]
                some.field[k] = field_at(nodes[t], ground, row, i - first, node[i - first])
            if row + 1 == row_group.size or row_group[row + 1] != g:
                weigh_resting(h, levels[t, g], scale, some, number)
                for k in range(number):
                    i = chosen[k]
                    cause[t, i], health_loss[t, i] = some.cause[k], some.health_loss[k]
                number = 0


@compiled
def resting_trees(number: Number) -> Number:
    """Room for so many trees."""
    single = np.empty((6, number), np.float32)
    return RestingTrees(single[0], single[1], single[2], single[3], single[4], np.empty(number, np.int8), single[5])


@compiled
def weigh_resting(h: Number, levels: Number, scale: Number, some: Number, number: Number) -> None:
    """What a winter does to the first so many trees, all of one row group."""
    level = rest_level(levels)
    for k in range(number):
        patch = patch_factor(some.field[k], h.patchiness, scale)
        tree = RestingTree(some.leaf[k], some.health[k], some.height[k], patch)
        sums = rest_sums(h, tree, level)
        death = -exp_less_one(-sums[-1])
        u = some.uniform[k]
        code = rest_cause(u / death * sums[-1], sums)
        some.cause[k] = code if u < death else LIVES
        near = (u >= death) & (u < death * (1.0 + h.maimed))
        some.health_loss[k] = h.maimed_loss if near else np.float32(0.0)


@compiled
def season_bounds(h: Number, levels: Number, scale: Number, support_leaf: Number, worst: Number, most: Number) -> None:
    """Hazard of the worst tree that stands as planned, and the chance below which a season marks no tree of a leaf.

    ``worst`` (group,) and ``most`` (group, leaf; leaf 0: of any); strikes of blight that a tree outlives count as well.
    """
    patch = patch_factor(LIMIT, h.patchiness, scale)
    for g in range(most.shape[0]):
        level = season_level(levels[g])
        for leaf in range(most.shape[1]):
            age = np.float32(leaf)
            tree = BearingTree(age, np.float32(0.0), LOAD_LIMIT, patch, patch, age < support_leaf, False)
            others = season_sums(h, tree, level)[-2]
            hazard = others + strike_hazard(h, age, np.float32(0.0), patch, level.strikes)
            worst[g] = max(worst[g], hazard)
            most[g, leaf] = -(exp_less_one(-hazard) + h.maimed * exp_less_one(-others)) * MARGIN + TINY
        most[g, 0] = highest(most[g])


@compiled
def season_kernel(
    h: Number,
    levels: Number,
    spread: Number,
    ground: Number,
    scale: Number,
    soil: Number,
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
    trials, trees = alive.shape
    work = season_work(trees, ground)
    for t in range(trials):
        one = TrialTrees(
            uniform[t], alive[t], leaf[t], health[t], fruit[t], trunk[t], unsupported[t], fallen[t], soil[t],
            blight_nodes[t],
        )  # fmt: skip
        fate = Losses(found.cause[t], found.health_loss[t], found.struck[t])
        gnaw(levels[t], ground, one, fate.health_loss)
        most = np.empty((levels.shape[1], oldest(one.leaf) + 1), np.float32)
        worst = np.zeros(levels.shape[1], np.float32)
        season_bounds(h, levels[t], scale, support_leaf, worst, most)
        struck = lose_bearing(h, levels[t], ground, scale, one, support_leaf, most, work, fate)
        if struck and spread.trees + spread.rows:
            spread_strikes(spread, struck, work)
            strike_neighbours(h, levels[t], ground, scale, one, support_leaf, worst, work, fate)


@compiled
def season_work(trees: Number, ground: Number) -> Number:
    """Room for the season of so many trees."""
    rows, look = ground.row_group.size, np.zeros((ground.tree_here.size + 7) // 8 * 8, np.uint8)
    return SeasonWork(
        nodes_before(ground), look, look.view(np.uint64), np.empty(trees, np.int32), bearing_trees(trees),
        np.empty(trees, np.int32), np.zeros(trees, np.float32), np.empty(trees, np.float32), np.zeros(rows, np.bool_),
    )  # fmt: skip


@compiled
def lose_bearing(
    h: Number,
    levels: Number,
    ground: Number,
    scale: Number,
    trees: Number,
    support_leaf: Number,
    most: Number,
    work: Number,
    fate: Number,
) -> Number:
    """What a season brings to the trees of a trial before blight spreads; number of trees struck, in ``work.sources``.

    Most trees draw a number that lies beyond the hazard of the worst tree of their leaf: they are passed over.
    """
    fate.cause[:], fate.struck[:] = LIVES, False
    row_group, per_row, chosen, some, look = ground.row_group, ground.tree_here.size, work.chosen, work.some, work.look
    number, struck = 0, 0
    for row in range(row_group.size):
        g, before, first = row_group[row], number, row * per_row
        for column in range(per_row):
            i = first + column
            down = trees.unsupported[i] | trees.fallen[i]
            may = trees.alive[i] & (down | (trees.uniform[i] < most[g, 0]))
            look[column] = (ALWAYS if down else BY_LEAF) if may else NOT
        number = pick(look, work.words, first, trees.uniform, trees.leaf, most[g], chosen, number)
        for k in range(before, number):
            look_at(some, k, row, chosen[k], ground, work.node, trees, support_leaf)
        if row + 1 == row_group.size or row_group[row + 1] != g:
            weigh_bearing(h, levels[g], scale, some, number)
            for k in range(number):
                i = chosen[k]
                fate.cause[i], fate.struck[i] = some.cause[k], some.hurt[k]
                lost = max(h.maimed_loss, fate.health_loss[i]) if some.near[k] else fate.health_loss[i]
                fate.health_loss[i] = h.blight_wood_loss if some.hurt[k] else lost
                work.sources[struck] = i
                struck += int(some.hurt[k] | (some.cause[k] == BLIGHT))
            number = 0
    return struck


@compiled
def spread_strikes(spread: Number, struck: Number, work: Number) -> None:
    """Hazard that the first so many ``work.sources`` bring to those around them, and the rows where there is any."""
    rows = work.near_row.size
    if struck > work.added.size // MANY:
        work.more[:] = 0.0
        for k in range(struck):
            work.more[work.sources[k]] = 1.0
        add_many_strikes(spread, rows, work.added.size // rows, work.more, work.added)
        work.near_row[:] = True
    else:
        add_strikes(spread, work.added.size // rows, work.sources[:struck], work.added, work.near_row)


@compiled
def strike_neighbours(
    h: Number,
    levels: Number,
    ground: Number,
    scale: Number,
    trees: Number,
    support_leaf: Number,
    worst: Number,
    work: Number,
    fate: Number,
) -> None:
    """What struck neighbours bring to living trees of a trial; ``added`` and ``near_row`` are zero at the end."""
    row_group, per_row, number = ground.row_group, ground.tree_here.size, 0
    added, near_row, chosen, more, some = work.added, work.near_row, work.chosen, work.more, work.some
    for row in range(row_group.size):
        g, before, first = row_group[row], number, row * per_row
        if near_row[row]:
            near_row[row] = False
            scion = season_level(levels[g]).scion_blight
            for i in range(first, first + per_row):
                chosen[number], more[number] = i, added[i]
                down = trees.unsupported[i] | trees.fallen[i]
                may = (trees.uniform[i] < (worst[g] + added[i] * scion) * MARGIN) | down
                number += int(trees.alive[i] & may & (added[i] > 0.0) & (fate.cause[i] == LIVES))
                added[i] = 0.0
            for k in range(before, number):
                look_at(some, k, row, chosen[k], ground, work.node, trees, support_leaf)
        if row + 1 == row_group.size or row_group[row + 1] != g:
            weigh_bearing(h, levels[g], scale, some, number)
            weigh_spread(h, levels[g], some, more, number)
            for k in range(number):
                i = chosen[k]
                if some.cause[k] == BLIGHT:
                    fate.cause[i], fate.health_loss[i], fate.struck[i] = BLIGHT, 0.0, False
                elif some.hurt[k]:
                    fate.health_loss[i], fate.struck[i] = h.blight_wood_loss, True
            number = 0


@compiled
def bearing_trees(number: Number) -> Number:
    """Room for so many trees."""
    single, flags = np.empty((8, number), np.float32), np.empty((4, number), np.bool_)
    return BearingTrees(
        single[0], single[1], single[2], single[3], single[4], flags[0], flags[1], single[5],
        np.empty(number, np.int8), flags[2], flags[3], single[6], single[7],
    )  # fmt: skip


@compiled
def gnaw(levels: Number, ground: Number, trees: Number, health_loss: Number) -> None:
    """Share of its health that every tree of a trial loses to woolly aphids, more where the ground is wet or worn."""
    row_group, per_row = ground.row_group, ground.tree_here.size
    for row in range(row_group.size):
        aphids, row_of = season_level(levels[row_group[row]]).aphids, slice(row * per_row, (row + 1) * per_row)
        lost, alive, soil = health_loss[row_of], trees.alive[row_of], trees.soil[row_of]
        if aphids == 0.0:
            lost[:] = np.float32(0.0)
            continue
        for column in range(per_row):
            gnawed = min(aphids * soil[column], np.float32(1.0))
            lost[column] = gnawed if alive[column] else np.float32(0.0)


@compiled
def look_at(
    some: Number, k: Number, row: Number, i: Number, ground: Number, node: Number, trees: Number, support_leaf: Number
) -> None:
    """Note the numbers of the tree at position ``i`` of a trial at place ``k``."""
    column, age = i - row * ground.tree_here.size, np.float32(trees.leaf[i])
    some.leaf[k], some.health[k], some.uniform[k] = age, trees.health[i], trees.uniform[i]
    some.load[k] = min(trees.fruit[i] / DRY_SHARE / max(trees.trunk[i], LEAST_TRUNK), LOAD_LIMIT)
    some.soil[k] = trees.soil[i]
    some.blight_field[k] = field_at(trees.blight_nodes, ground, row, column, node[column])
    some.by_itself[k], some.fallen[k] = (age < support_leaf) | trees.unsupported[i], trees.fallen[i]


@compiled
def weigh_bearing(h: Number, levels: Number, scale: Number, some: Number, number: Number) -> None:
    """What a season does to the first so many trees, all of one row group."""
    level = season_level(levels)
    for k in range(number):
        patch = patch_factor(some.blight_field[k], h.patchiness, scale)
        age, vigour = some.leaf[k], some.health[k]
        tree = BearingTree(age, vigour, some.load[k], some.soil[k], patch, some.by_itself[k], some.fallen[k])
        sums = season_sums(h, tree, level)
        hit = strike_hazard(h, age, vigour, patch, level.strikes)
        death = -exp_less_one(-sums[-1])
        u = some.uniform[k]
        code = season_cause(u / death * sums[-1], sums)
        some.cause[k] = code if u < death else LIVES
        # of those that live, some are struck by blight, and some barely escape something else
        marked = -exp_less_one(-(sums[-2] + hit))
        some.hurt[k] = (u >= death) & (u < marked)
        some.near[k] = (u >= marked) & (u < marked - h.maimed * exp_less_one(-sums[-2]))
        some.others[k], some.strike[k] = sums[-2], hit


@compiled
def add_strikes(spread: Number, per_row: Number, sources: Number, added: Number, near_row: Number) -> None:
    """Add up the hazard that struck trees bring to those around them, and note the rows of these."""
    for s in range(sources.size):
        row = sources[s] // per_row
        column = sources[s] - row * per_row
        start, end = max(0, column - spread.trees), min(per_row, column + spread.trees + 1)
        for across in range(max(0, row - spread.rows), min(near_row.size, row + spread.rows + 1)):
            near_row[across] = True
            away, first = spread.added[across - row + spread.rows], across * per_row
            for along in range(start, end):
                added[first + along] += away[along - column + spread.trees]


@compiled
def add_many_strikes(spread: Number, rows: Number, per_row: Number, struck: Number, added: Number) -> None:
    """The same, to the bit, where ``struck`` (1 or 0 for each tree) holds so many that all trees are gone through."""
    for row in range(rows):
        for source in range(max(0, row - spread.rows), min(rows, row + spread.rows + 1)):
            for away in range(-spread.trees, spread.trees + 1):
                hazard = spread.added[row - source + spread.rows, spread.trees - away]
                start, end = max(0, -away), min(per_row, per_row - away)
                here, there = added[row * per_row : (row + 1) * per_row], struck[source * per_row + start + away :]
                for k in range(end - start):
                    here[start + k] += hazard * there[k]


@compiled
def weigh_spread(h: Number, levels: Number, some: Number, added: Number, number: Number) -> None:
    """What blight from their neighbours does to the first so many trees: it comes on top of the same draw."""
    level = season_level(levels)
    for k in range(number):
        hit = some.strike[k] + added[k] * level.scion_blight
        lethal = blight_lethality(h, some.leaf[k], level.stock_blight)
        u = some.uniform[k]
        death = -exp_less_one(-(some.others[k] + hit * lethal))
        some.cause[k] = BLIGHT if u < death else LIVES
        some.hurt[k] = u < -exp_less_one(-(some.others[k] + hit))


@compiled
def winter_injury_kernel(h: Number, injury: Number, levels: Number, out: Number) -> None:
    """Share of health that trees in full health lose to a winter that they survive, (trial, group).

    ``levels``, (trial, group, 5): those of ``COLD_LEVELS``.
    """
    for t in range(out.shape[0]):
        for g in range(out.shape[1]):
            cold = levels[t, g]
            hazard = cold_hazard(h, cold[0], cold[1], cold[2], cold[3], cold[4], np.float32(0.0))
            out[t, g] = min(np.float32(1.0), 2.0 * injury * -exp_less_one(-hazard))
