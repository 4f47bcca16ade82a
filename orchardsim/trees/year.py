"""The year of a tree, as loops over (trial, position) around the formulas of one tree.

Each loop is a growth phase or a part of one; :mod:`orchardsim.trees.model` calls them in order and does the work by row
group between them. Empty positions hold zeros, and every formula makes zero of a tree without trunk.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.compiled import compiled
from orchardsim.core.elementary import exp, power
from orchardsim.trees import bearing, canopy, fruit, grading, growth
from orchardsim.trees.canopy import TINY
from orchardsim.trees.training import LEAVES, UNTHINNED

MOST_CUT: Final = np.float32(0.7)
"""Largest share of leaf-bearing wood that a winter's pruning takes (assumption; the bound of a system's own)."""
MOST_WORK: Final = np.float32(3.0)
"""Most pruning work over what the training system states (assumption)."""
MOST_OVERGROWN: Final = np.float32(1.2)
"""1; most leaf on wood that should have been cut, per leaf area (assumption: bare wood inside then goes as fast as new
wood comes outside)."""
SHELL: Final = np.float32(0.75)
"""1; share of that leaf with spurs, which bear in the outer shell; the rest is on upright shoots (assumption: three
quarters, as of the tree as it is kept)."""
LAST: Final = np.uint16(LEAVES)
"""Last leaf of the tables by leaf."""
PRESENT_CROP: Final = np.float32(1e-3)
"""Least crop [kg] that is no blank."""
BEARING_LEAF: Final = 5
"""Leaf from which the biennial bearing index counts."""


class Strips(NamedTuple):
    """Rows of one row group that stand side by side, and so are walked in one go.

    Attributes
    ----------
    group : int64 array, (strip,)
    begin, end : uint64 array, (strip,)
        Position of the first tree and after the last. Without a sign: an index that could be negative would be checked
        at every tree, and no loop would run on vectors.
    per_row : int
        Positions of a row.
    """

    group: NDArray[np.int64]
    begin: NDArray[np.uint64]
    end: NDArray[np.uint64]
    per_row: int


def strips_of(row_group: NDArray[np.int64], per_row: int) -> Strips:
    """Strips of a block from the row group of each row, (row,).

    Examples
    --------
    >>> strips_of(np.array([0, 0, 1, 0]), 50).end.tolist()
    [100, 150, 200]
    """
    first = np.flatnonzero(np.diff(row_group, prepend=-1))
    rows = np.array([*first, len(row_group)], np.uint64) * np.uint64(per_row)
    return Strips(row_group[first], rows[:-1], rows[1:], per_row)


class Place(NamedTuple):
    """What is the same all over a block: land, training shape, light."""

    row_spacing: np.float32
    tree_spacing: np.float32
    across_limit: np.float32
    fill: np.float32
    shadow: np.float32
    growth_level: np.float32
    height_limit: np.float32
    spread_limit: np.float32
    leader: np.float32
    lean: np.float32


@compiled
def place_in_walk(step: Any, first: Any) -> Any:
    """Where a tree stands in a crew's walk that begins at ``first`` and goes round [1]; both are shares of the walk."""
    place = step - first
    return place + 1.0 if place < 0.0 else place


@compiled
def look_up(table: Any, leaf: Any, found: Any) -> None:
    """Values by leaf, of a table (leaf,), for some trees: a loop of its own, since the others run on vectors."""
    for i in range(leaf.size):
        found[i] = table[min(np.uint16(leaf[i]), LAST)]


@compiled
def ask_pruning(trees: Any, p: Any, traits: Any, place: Any, strips: Any) -> None:
    """Trees grow a leaf older, heal, and ask for their winter cut: what it would leave uncut, and minutes.

    Shoots above what the training system reckons with are cut too: more wood, and more minutes.
    """
    usual = p.usual_shoots * place.row_spacing * place.tree_spacing
    cut_here, minutes_here = np.empty((2, trees.alive.shape[1]), np.float32)
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            for i in range(begin, end):
                trees.leaf[t, i] += np.int16(trees.alive[t, i])
            look_up(traits.pruning[g], trees.leaf[t, begin:end], cut_here[begin:end])
            look_up(traits.pruning_minutes[g], trees.leaf[t, begin:end], minutes_here[begin:end])
            for i in range(begin, end):
                # health heals, where enough of it is left
                health = trees.health[t, i]
                enough = min(np.float32(1), health / p.lasting_harm)
                lost = np.float32(trees.alive[t, i]) - health
                trees.health[t, i] = health + lost * p.recovery_rate * enough * enough * enough * enough
                more = min(max(trees.shoot_leaf[t, i] / usual, np.float32(1.0)), MOST_WORK)
                trees.uncut[t, i] = 1.0 - min(cut_here[i] * more, MOST_CUT)
                trees.pruning_minutes[t, i] = minutes_here[i] * more


@compiled
def cut_wood(trees: Any, p: Any, walk: Any, strips: Any, done: Any, start: Any) -> None:
    """Pruning as far as the crews came: the cut takes flower clusters; a full canopy that is not renewed is overgrown.

    What a tree needs hangs on the tree and not on the plan: the more of its leaf finds no room, the more wood must be
    renewed. A lesser cut leaves its share of what stood over before. ``done`` and ``start`` (trial, group) are the
    share of trees reached and where in the walk the crew began.
    """
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            share, first = done[t, g], start[t, g]
            for i in range(begin, end):
                reached = place_in_walk(walk[i], first) <= share
                uncut = trees.uncut[t, i] if reached else np.float32(1.0)
                # a tree in its first leaf holds nothing yet
                held = trees.held[t, i]
                needed = p.wood_renewal * (1.0 - held) if held > 0.0 else np.float32(0.0)
                left = 1.0 - min((1.0 - uncut) / (needed + TINY), np.float32(1.0))
                grown = (trees.overgrown[t, i] + needed * p.unpruned_shade) * left
                trees.overgrown[t, i] = min(grown, MOST_OVERGROWN)
                trees.uncut[t, i] = uncut
                trees.flower_clusters[t, i] *= uncut


@compiled
def share_room(height: Any, spread: Any, p: Any, crown: Any, along: Any, across: Any) -> None:
    """Room of each tree of a trial over its position's own, along and across the rows [1]; arrays (row, tree).

    ``crown`` is for work, with a margin of one tree all round: beyond an end of the row, and outside the outer rows,
    lies land without trees.
    """
    rows, per_row = height.shape
    for r in range(rows):
        for i in range(per_row):
            crown[r + 1, i + 1] = height[r, i] * spread[r, i]
    for r in range(rows):
        for i in range(per_row):
            size, before, behind = crown[r + 1, i + 1], crown[r + 1, i], crown[r + 1, i + 2]
            left, right = crown[r, i + 1], crown[r + 2, i + 1]
            won_along = canopy.room_won(size, before, p.room_along) + canopy.room_won(size, behind, p.room_along)
            won_across = canopy.room_won(size, left, p.room_across) + canopy.room_won(size, right, p.room_across)
            along[r, i] = 1.0 + won_along
            across[r, i] = 1.0 + won_across


@compiled
def open_canopy(trees: Any, p: Any, traits: Any, place: Any, strips: Any, ground: Any) -> None:
    """Leaf, the light it stops, the shoots' pull before the crop, and dry matter per radiation.

    ``ground`` (trial, group) is the growth level of the trial's ground over the plan's, patches aside [1].
    """
    rows, per_row = trees.alive.shape[1] // strips.per_row, strips.per_row
    room_along, room_across = np.empty((rows, per_row), np.float32), np.empty((rows, per_row), np.float32)
    along_of, across_of = room_along.reshape(-1), room_across.reshape(-1)
    crown = np.zeros((rows + 2, per_row + 2), np.float32)
    for t in range(len(trees.alive)):
        height_by_row, spread_by_row = (
            trees.height[t].reshape((rows, per_row)),
            trees.spread[t].reshape((rows, per_row)),
        )
        share_room(height_by_row, spread_by_row, p, crown, room_along, room_across)
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            leaf_vigor, habit = traits.leaf_vigor[g], traits.shoot_habit[g]
            rooting = traits.rooting[g]
            whole = ground[t, g]
            for i in range(begin, end):
                along, across = along_of[i], across_of[i]
                # roots are cut at lifting
                settled = p.first_leaf_canopy if trees.leaf[t, i] == 1 else np.float32(1.0)
                land = place.row_spacing * place.tree_spacing * along * across

                height, spread, trunk = trees.height[t, i], trees.spread[t, i], trees.trunk_area[t, i]
                width = canopy.soft_minimum(spread + place.lean * height, place.across_limit * across)
                length = canopy.soft_minimum(spread, p.crown_overlap * place.tree_spacing * along)
                shade = canopy.shadow_area(width, length, height, place.fill, place.shadow)
                reach = canopy.shadow_reach(shade, land, p.shadow_overlap)
                level = place.growth_level * trees.vigor[t, i] * trees.health[t, i]
                strength = power(level, p.source_exponent)
                wanted = p.leaf_per_trunk * trunk * settled
                uncut = trees.uncut[t, i]
                room = p.leaf_per_reach * strength * land * reach * (1.0 - p.lasting_cut * (1.0 - uncut))
                # roots refill what a cut took, as far as there is wood to bear it
                roots = p.leaf_of_roots * rooting * strength
                fed = canopy.soft_minimum(wanted, roots)
                leaf = canopy.soft_minimum(canopy.soft_minimum(wanted * uncut, roots), room)
                held = leaf / (wanted + TINY)
                total = leaf * (1.0 + trees.overgrown[t, i])
                stopped = canopy.light_stopped(total, land * reach, p.extinction)
                alone = growth.competition(total / (land + TINY), p.competition, p.competition_half)
                trees.leaf_area[t, i] = leaf
                trees.held[t, i] = held
                trees.expressed_trunk[t, i] = trunk * held
                trees.lit_land[t, i] = land * reach
                trees.stopped[t, i] = stopped
                trees.drive[t, i] = growth.shoot_drive(
                    p.shoot_pull * habit, level, fed / (leaf + TINY) + TINY, p.shoot_answer, 1.0 - uncut, p.cut_answer
                )
                # leaf in deeper shade than in a full hedge makes no better use of it
                use = min(canopy.light_use(stopped / (total + TINY), p.light_half), np.float32(1.0))
                trees.source[t, i] = stopped * use * (p.radiation_use / 1000.0 * leaf_vigor * strength)
                # a soil patch acts on what a tree fixes, and through that on its wood; the ground as a whole and the
                # tree's own quality act on both
                own = whole * trees.vigor[t, i] / (trees.site_vigor[t, i] + TINY)
                trees.roots_left[t, i] = alone * place.growth_level * own * trees.health[t, i] * settled


@compiled
def set_fruit(
    trees: Any,
    p: Any,
    traits: Any,
    strips: Any,
    setting: Any,
    most: Any,
    radiation: Any,
    potential: Any,
    normal: Any,
) -> None:
    """Flowers set, fruitlets drop to what early dry matter carries, leaf is paid for and fruit begins to grow.

    Parameters
    ----------
    setting, most : arrays, (trial, group, place) [1]
        Fruitlets per cluster, and flowers alive per cluster, along the rows from hollow to crest.
    radiation : array, (trial, group) [MJ/m2]
        That counts from bloom to closed canopy.
    potential : array, (trial, group) [1]
        Of fruit mass, after the early season's warmth.
    normal : array, (trial, position)
    """
    positions, per_row, places = trees.alive.shape[1], strips.per_row, setting.shape[2]
    set_here, most_here = np.empty(positions, np.float32), np.empty(positions, np.float32)
    stripped_here = np.empty(positions, np.float32)
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            light = radiation[t, g]
            young = traits.fruit_potential[g] * potential[t, g] * p.fruit_dry_fraction * p.early_fruit_share
            look_up(traits.stripping[g], trees.leaf[t, begin:end], stripped_here[begin:end])
            one_row = slice(begin, begin + per_row)
            for c in range(places):
                here = slice(begin + c * per_row // places, begin + (c + 1) * per_row // places)
                set_here[here], most_here[here] = setting[t, g, c], most[t, g, c]
            for row in range(begin + per_row, end, per_row):
                here = slice(row, row + per_row)
                set_here[here], most_here[here] = set_here[one_row], most_here[one_row]
            for i in range(begin, end):
                stripped = trees.flower_clusters[t, i] * stripped_here[i]
                share = min(set_here[i] * exp(p.set_spread * normal[t, i]), most_here[i])
                fruitlets = (trees.flower_clusters[t, i] - stripped) * share
                leaf = trees.leaf_area[t, i] * (1.0 + trees.overgrown[t, i])
                stored = trees.reserves[t, i] + trees.source[t, i] * light
                paid = min(p.leaf_mass * leaf, stored)
                shoots = growth.shoot_share(trees.drive[t, i], np.float32(0.0), p.calming_crop)
                kept_back = 1.0 - p.shoot_hold * shoots
                carried = p.fruit_per_source * (trees.source[t, i] * light * kept_back + trees.reserves[t, i])
                number = bearing.kept_after_drop(fruitlets, carried)
                grown = growth.two_limits(number * young, (stored - paid) * kept_back, p.fruit_curvature)
                trees.bloom_clusters[t, i] = trees.flower_clusters[t, i]
                trees.spent[t, i] = trees.reserves[t, i]
                trees.stripped[t, i] = stripped
                trees.fruitlets[t, i] = fruitlets
                trees.fruit_number[t, i] = number
                trees.counted_crop[t, i] = number
                trees.fruit_dry_mass[t, i] = grown
                trees.leaf_paid[t, i] = paid
                trees.pool[t, i] = stored - paid - grown


@compiled
def find_target(trees: Any, traits: Any, strips: Any, room: Any) -> None:
    """Fruit meant to stay on each tree.

    The target is counted on the trunk as a grower measures it before bloom, up to ``room``: the fruit that a tree's
    land is meant to bear, fewer where they are large.
    """
    load_here = np.empty(trees.alive.shape[1], np.float32)
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            most = room * traits.fewer_on_land[g]
            look_up(traits.target[g], trees.leaf[t, begin:end], load_here[begin:end])
            for i in range(begin, end):
                target = load_here[i] * trees.trunk_area[t, i]
                trees.target[t, i] = min(target, most) if load_here[i] < UNTHINNED else target


@compiled
def find_excess(
    trees: Any,
    p: Any,
    strips: Any,
    sprayed_off: Any,
    spared: Any,
    by_hand: Any,
    limit: Any,
    normal: Any,
) -> None:
    """Spray, then find what must come off by hand.

    ``sprayed_off`` (trial, group) is the share that a spray takes off, 0 where none is used; trees that bear no more
    than ``spared`` times their target are passed over. ``limit`` is the most fruit on a tree.
    """
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            off = sprayed_off[t, g]
            for i in range(begin, end):
                target, number = trees.target[t, i], trees.fruit_number[t, i]
                sprayed = number * off if number > spared * target else np.float32(0.0)
                # fruitlets that fall take along what they are made of
                mass = trees.fruit_dry_mass[t, i]
                lost = min(mass, mass * sprayed / (number + TINY))
                trees.thinned_mass[t, i] = lost
                trees.fruit_dry_mass[t, i] -= lost
                number -= sprayed
                meant = min(target * exp(p.thinning_spread * normal[t, i]), limit)
                trees.sprayed[t, i] = sprayed
                trees.fruit_number[t, i] = number
                trees.counted_crop[t, i] -= sprayed * (1.0 - p.thinned_weight)
                trees.excess[t, i] = max(number - meant, np.float32(0.0)) if by_hand else np.float32(0.0)


@compiled
def misjudge(trees: Any, strips: Any, skill: Any, error: Any) -> None:
    """Thinners take a share of the excess, and err in counting what they leave; both (trial, group)."""
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            share, missed = skill[t, g], error[t, g]
            for i in range(begin, end):
                excess, number = trees.excess[t, i], trees.fruit_number[t, i]
                left = (number - excess) * missed if excess > 0.0 else np.float32(0.0)
                trees.excess[t, i] = min(max(excess * share - left, np.float32(0.0)), number)


@compiled
def thin(trees: Any, p: Any, walk: Any, strips: Any, done: Any, weight: Any, divided: Any, eaten: Any) -> None:
    """Take the excess off the trees that the crews reach.

    Parameters
    ----------
    done : array, (trial, group) [1]
        Share of the trees reached.
    weight : array, (trial, group) [1]
        By which fruit taken off still counts against next year's flower buds.
    divided : array, (trial, group) [1]
        Share of cell division that the fruit went through in the crowd.
    eaten : array, (trial, group) [1]
        Dry matter that fruit taken off late has grown beyond what it had in time, over that.
    """
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            share, still, crowded, later = done[t, g], weight[t, g], divided[t, g], eaten[t, g]
            for i in range(begin, end):
                removed = trees.excess[t, i] if walk[i] <= share else np.float32(0.0)
                # rounding must not take more than there is
                mass, number = trees.fruit_dry_mass[t, i], trees.fruit_number[t, i]
                lost = min(mass, mass * removed / (number + TINY))
                spent = min(lost * later, trees.pool[t, i])
                trees.stunted[t, i] = fruit.stunted(number, removed, crowded)
                trees.thinned[t, i] = removed
                trees.thinned_mass[t, i] += lost + spent
                trees.pool[t, i] -= spent
                trees.fruit_dry_mass[t, i] -= lost
                trees.fruit_number[t, i] = number - removed
                trees.counted_crop[t, i] -= removed * (1.0 - still)


@compiled
def grow_fruit(trees: Any, p: Any, traits: Any, strips: Any, radiation: Any, potential: Any) -> None:
    """Closed canopy to harvest: roots, upkeep of wood and shoots first, then fruit by number and supply."""
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            light = radiation[t, g]
            late = traits.fruit_potential[g] * potential[t, g] * p.fruit_dry_fraction * (1.0 - p.early_fruit_share)
            for i in range(begin, end):
                number = trees.fruit_number[t, i]
                load = number / (trees.expressed_trunk[t, i] + TINY)
                shoots = growth.shoot_share(trees.drive[t, i], load, p.calming_crop)
                leaf = trees.leaf_area[t, i]
                over = leaf * trees.overgrown[t, i]
                shell = over * SHELL
                kept_shoots = leaf * shoots
                shoot_leaf = kept_shoots + (over - shell)
                inner = leaf - kept_shoots
                whole = leaf + over
                pool = trees.pool[t, i] + trees.source[t, i] * light
                wood = growth.wood_mass(trees.trunk_area[t, i], p.wood_mass, p.wood_exponent)
                trees.wood[t, i] = wood
                upkeep = min(p.wood_upkeep * wood + p.root_mass * whole, pool)
                pool -= upkeep
                stems = min(p.stem_mass * shoot_leaf, 0.5 * pool)
                pool -= stems
                # wood that should have gone grows on with what its leaf makes
                held_back = p.shoot_hold * (kept_shoots + over) / (whole + TINY)
                demand = number * late * (1.0 - trees.stunted[t, i])
                grown = growth.two_limits(demand, pool * (1.0 - held_back), p.fruit_curvature)
                depth = p.extinction / (trees.lit_land[t, i] + TINY)
                # from outside: shoots, the spurs of overgrown wood, those of the tree as it is kept
                outside = canopy.spur_light(shoot_leaf * depth, shell * depth)
                inside = canopy.spur_light((shoot_leaf + shell) * depth, inner * depth)
                spurs = inner + shell
                trees.leaf_light[t, i] = (inner * inside + shell * outside) / (spurs + TINY)
                lit = inner * bearing.shade_term(inside, p.shade_half) + shell * bearing.shade_term(
                    outside, p.shade_half
                )
                trees.lit_spurs[t, i] = lit
                trees.shoot_leaf[t, i] = shoot_leaf + shell
                trees.spur_leaf[t, i] = spurs
                trees.upkeep[t, i] = upkeep + stems
                trees.pool[t, i] = pool - grown
                trees.fruit_dry_mass[t, i] += grown
            for i in range(begin, end):
                crop = trees.fruit_dry_mass[t, i] / p.fruit_dry_fraction
                both = crop + trees.last_crop[t, i] > PRESENT_CROP
                pair = both and trees.leaf[t, i] > BEARING_LEAF
                term = bearing.alternation(crop, trees.last_crop[t, i])
                trees.alternation_sum[t, i] += term if pair else np.float32(0.0)
                trees.alternation_terms[t, i] += np.float32(1.0) if pair else np.float32(0.0)
                trees.last_crop[t, i] = crop


@compiled
def judge_fruit(trees: Any, p: Any, traits: Any, strips: Any, light: Any, nights: Any) -> None:
    """Mass of the ripe crop by quality [kg]: usable, fresh, fresh and not pitted, that with colour.

    ``light`` (trial, position) [1] falls on the leaf among the fruit; cool ``nights`` (trial, group) count as such.
    """
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            cultivar = traits.cultivar[g]
            need, proneness, coolness = cultivar.colour_need, cultivar.bitter_pit, nights[t, g]
            for i in range(begin, end):
                crop, number = trees.last_crop[t, i], trees.fruit_number[t, i]
                mean = crop / (number + TINY)
                load = number / (trees.expressed_trunk[t, i] + TINY)
                pitted = grading.bitter_pit_share(load, proneness, p.bitter_pit_scale, p.bitter_pit_crop)
                clean = crop * fruit.share_above(mean, p.fresh_mass, p.size_spread) * (1.0 - pitted)
                clean *= 1.0 - fruit.share_above(mean, p.oversize_mass, p.size_spread)
                lit = light[t, i] + coolness
                colour = grading.colour_share(lit, load, need, p.colour_light, p.colour_crop, p.colour_rate)
                trees.mass_square[t, i] = crop * mean
                trees.usable[t, i] = crop * fruit.share_above(mean, p.processing_mass, p.size_spread)
                trees.clean[t, i] = clean
                trees.coloured[t, i] = clean * colour


@compiled
def fall_leaf(
    trees: Any,
    p: Any,
    traits: Any,
    place: Any,
    walk: Any,
    strips: Any,
    radiation: Any,
    heat: Any,
    tied: Any,
    start: Any,
) -> None:
    """Wood, reserves, shape and next spring's flower clusters. What no use takes is not fixed (``unused``).

    ``tied`` and ``start`` (trial, group) are the share of trees whose branches were bent this year and where in the
    walk the crew began.
    """
    bent_here, unbent_here, bloom_here = np.empty((3, trees.alive.shape[1]), np.float32)
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            light, vigor = radiation[t, g], p.trunk_growth * traits.growth_vigor[g] * heat[t, g]
            rooting = traits.rooting[g]
            half_crop, crop_width, share, first = traits.half_crop[g], traits.crop_width[g], tied[t, g], start[t, g]
            look_up(traits.next_bloom[g], trees.leaf[t, begin:end], bent_here[begin:end])
            look_up(traits.next_bloom_unbent[g], trees.leaf[t, begin:end], unbent_here[begin:end])
            for i in range(begin, end):
                bent, unbent = bent_here[i], unbent_here[i]
                bloom_here[i] = bent if place_in_walk(walk[i], first) <= share else unbent
            for i in range(begin, end):
                trunk, held, expressed = trees.trunk_area[t, i], trees.held[t, i], trees.expressed_trunk[t, i]
                pool = trees.pool[t, i] + trees.source[t, i] * light
                root_held = np.sqrt(held)
                wood = trees.wood[t, i]
                cost = p.root_share * p.wood_exponent * wood / (trunk + TINY)
                wanted = growth.trunk_wanted(expressed, root_held, vigor * trees.roots_left[t, i], p.trunk_exponent)
                paid = growth.two_limits(cost * wanted, pool, p.wood_curvature)
                rest = pool - paid
                stored = min(p.reserve_wood * wood + p.reserve_leaf * trees.leaf_area[t, i], p.reserve_share * rest)
                grown = trunk + paid / (cost + TINY)
                trees.wood_paid[t, i] = paid
                trees.reserves[t, i] = stored
                trees.unused[t, i] = rest - stored
                trees.trunk_area[t, i] = grown

                level = place.growth_level * trees.vigor[t, i] * trees.health[t, i]
                # a tree alone stays as small as its roots: its shape follows the trunk whose leaf they feed; in a crown
                # that is kept narrow this leaf stands higher
                fed = p.leaf_of_roots * rooting * power(level, p.source_exponent) / p.leaf_per_trunk
                natural = canopy.size_of_trunk(fed, p.spread_coefficient, p.spread_exponent)
                narrow = max(natural / place.spread_limit, np.float32(1.0))
                taller = place.leader * power(level, p.height_level)
                raised = canopy.soft_minimum(grown, fed * narrow * narrow)
                height = canopy.size_of_trunk(raised, taller, p.height_exponent) + trees.head_start[t, i]
                shaped = canopy.soft_minimum(grown, fed)
                spread = canopy.size_of_trunk(shaped, p.spread_coefficient, p.spread_exponent)
                trees.height[t, i] = min(max(height, trees.height[t, i]), place.height_limit)
                trees.spread[t, i] = min(max(spread, trees.spread[t, i]), place.spread_limit)

                spurs = p.clusters_per_leaf * trees.spur_leaf[t, i]
                crop = trees.counted_crop[t, i]
                buds = p.clusters_per_leaf * trees.lit_spurs[t, i] * bloom_here[i]
                felt = crop / (grown * root_held + TINY)
                buds *= bearing.tree_term(felt, half_crop, crop_width)
                trees.flower_clusters[t, i] = buds * bearing.spur_term(crop, spurs, p.spur_loss)


@compiled
def open_bloom(trees: Any, p: Any, traits: Any, strips: Any, balanced: Any) -> None:
    """Shoots, reserves and next spring's clusters of trees that are set as they stand, by the last crop's fruit.

    As at every leaf fall, branches tied down as planned; ``balanced`` is the share of the bloom that comes [1].
    """
    for t in range(len(trees.alive)):
        for s in range(len(strips.group)):
            g, begin, end = strips.group[s], strips.begin[s], strips.end[s]
            for i in range(begin, end):
                number, leaf = trees.fruit_number[t, i], trees.leaf_area[t, i]
                load = number / (trees.expressed_trunk[t, i] + TINY)
                shoot_leaf = leaf * growth.shoot_share(trees.drive[t, i], load, p.calming_crop)
                spur_leaf = leaf - shoot_leaf
                depth = p.extinction / (trees.lit_land[t, i] + TINY)
                spurs = p.clusters_per_leaf * spur_leaf
                buds = spurs * traits.next_bloom[g, min(trees.leaf[t, i], LEAVES)] * balanced
                buds *= bearing.shade_term(canopy.spur_light(shoot_leaf * depth, spur_leaf * depth), p.shade_half)
                felt = number / (trees.trunk_area[t, i] * np.sqrt(trees.held[t, i]) + TINY)
                buds *= bearing.tree_term(felt, traits.half_crop[g], traits.crop_width[g])
                trees.flower_clusters[t, i] = buds * bearing.spur_term(number, spurs, p.spur_loss)
                trees.shoot_leaf[t, i] = shoot_leaf
                wood = growth.wood_mass(trees.trunk_area[t, i], p.wood_mass, p.wood_exponent)
                trees.reserves[t, i] = p.reserve_wood * wood + p.reserve_leaf * leaf
