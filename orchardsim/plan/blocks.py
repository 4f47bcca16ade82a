"""Turns the ``[[block]]`` tables of a plan into what the stages need of each block."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.geometry import Geometry
from orchardsim.core.labels import FARM, SHARED
from orchardsim.core.parameters import parameters_of
from orchardsim.economy.blocks import BlockMoney
from orchardsim.operations.parameters import GROUP_KEYS, Replacement, check_replacement
from orchardsim.plan.block_money import block_money
from orchardsim.plan.catalogue import CRAB, CropTarget
from orchardsim.plan.farm_terms import FarmTerms, StatedBlock, StatedGroup, first_stated
from orchardsim.plan.filling import DEFAULT_SOURCE
from orchardsim.plan.layout import DEFAULT_HEADLAND, lay_out, rows_of_groups
from orchardsim.plan.model import BlockBase, GroupTable
from orchardsim.plan.plan import ResolvedBlock
from orchardsim.plan.pollination import (
    FIXED,
    NEIGHBOUR_DISTANCE,
    OUTSIDE_OVERLAP,
    Pollinizer,
    bloom_overlap,
    extra_positions,
    mean_distance,
    row_positions,
)
from orchardsim.plan.raw import made
from orchardsim.plan.row_group import RowGroup
from orchardsim.plan.sense import block_faults, history_faults, protection_faults
from orchardsim.plan.tables import key_path
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.trees.parameters import BlockPlan, Cultivar, Layout, Stock, Thinning, Training, TreeGrade
from orchardsim.trees.training import NATURAL_ANGLE, training_faults

MOST_TREES: Final = 500_000
"""Trees of one block; every tree is simulated, and memory for more would not do."""
UNSTATED: Final = {
    "tree_grade": ("text", "the usual finished tree"),
    "year_planted": ("year of the plan", "ordered in year 0, first leaf in year 1"),
    "trees_bought": ("text", "on contract or late"),
    "fence": ("text", "a deer fence is built for the block"),
    "netting": ("flag", "nets are built over the block"),
    "clears_old_orchard": ("flag", "an old orchard is pulled before planting"),
}
"""Keys of a block whose defaults are listed among the assumptions: unit and meaning."""
USUAL_RANK: Final = 5
"""Rank at a crew's task of a block that states none: the middle of 1 (goes first) to 9."""
DEFAULT_DIRECTION: Final = 0.0
"""Rows run north and south; common practice where the land allows, no source."""


def resolve_blocks(tables: Sequence[BlockBase], farm: FarmTerms) -> tuple[tuple[ResolvedBlock, ...], list[str]]:
    """All blocks of a plan, and remarks on what is legal but looks wrong."""
    warnings: list[str] = []
    names: set[str] = set()
    stated = [StatedBlock(table, f"block {number}", farm, warnings) for number, table in enumerate(tables, start=1)]
    for block in stated:
        name = block.table.name
        if name in names or name in (FARM, SHARED):
            problem = "stands twice" if name in names else "is kept for what is no block"
            raise block.fault("name", f"found {name!r}, which {problem}; allowed: another name")
        names.add(name)
    cultivars = [crop_cultivars(table) | {each.cultivar for each in table.pollinizer} for table in tables]
    blocks = []
    for number, block in enumerate(stated):
        neighbours = {name for other, own in enumerate(cultivars) if other != number for name in own}
        blocks.append(_resolve(block, neighbours))
    labels = [label for block in blocks for label in block.labels]
    for label in labels:
        if labels.count(label) > 1:
            raise InputError(farm.filler.where, f"block: the label {label!r} stands twice; allowed: another group name")
    known = list(dict.fromkeys([*labels, *(block.name for block in blocks)]))
    for name in farm.refill:
        if name not in known:
            raise InputError(
                farm.filler.where,
                f"replacement.group.{name}: unknown block or row group {name!r}, {nearest_names(name, known)} "
                f"(allowed: {', '.join(known)})",
            )
    return tuple(blocks), warnings


def crop_cultivars(table: BlockBase) -> set[str]:
    """Cultivars of a block whose fruit is sold: its own, its groups', and those of whole pollinizer rows."""
    sold = {group.cultivar for group in table.group if group.cultivar}
    if table.cultivar and (not table.group or any(group.cultivar is None for group in table.group)):
        sold.add(table.cultivar)
    return sold | {pollinizer.cultivar for pollinizer in table.pollinizer if pollinizer.every_tree is None}


def tree_grades(table: BlockBase) -> set[str]:
    """Tree grades that a block and its groups name."""
    return {table.tree_grade, *(group.tree_grade for group in table.group if group.tree_grade)}


def _geometry(block: StatedBlock) -> Geometry:
    """Rows and areas of a block."""
    table = block.table
    stated = [key for key in ("gross_area", "net_area") if getattr(table, key) is not None]
    if len(stated) == 2:
        raise block.fault("", "found both gross_area and net_area, allowed one of them")
    headland = table.headland
    if headland is None:
        headland = DEFAULT_HEADLAND
        block.note("headland", headland, "m", "room to turn at each row end", "common practice")
    rows = None
    if not stated and table.trees is None:
        stated_rows = [group.rows for group in table.group if group.rows is not None]
        if not stated_rows or len(stated_rows) < len(table.group):
            raise block.fault(
                "", "missing its size; allowed: gross_area, net_area, trees, or row groups that all state rows"
            )
        rows = sum(stated_rows)
    try:
        geometry = lay_out(
            table.row_spacing,
            table.tree_spacing,
            gross_area=table.gross_area,
            net_area=table.net_area,
            trees=table.trees,
            rows=rows,
            row_length=table.row_length,
            headland=headland,
        )
    except ValueError as error:
        raise block.fault("", str(error)) from None
    if geometry.trees > MOST_TREES:
        raise block.fault(
            "",
            f"found {geometry.trees:,} trees, allowed at most {MOST_TREES:,} in a block; every tree is simulated",
        )
    if table.row_length is None:
        source = "as square as whole rows allow, rows of 150 m at most (OMAFRA, Tall spindle support systems)"
        block.note("row_length", geometry.row_length, "m", source, "assumption")
    return geometry


def _groups(block: StatedBlock, geometry: Geometry) -> tuple[list[StatedGroup], list[Pollinizer]]:
    """Row groups of a block, rows of a pollinizer cultivar included, and its extra pollinizer trees."""
    table, catalogue = block.table, block.farm.catalogue
    rows = list(range(geometry.rows))
    pollen: list[StatedGroup] = []
    extra: list[Pollinizer] = []
    for number, pollinizer in enumerate(table.pollinizer, start=1):
        key, name = f"pollinizer {number}", pollinizer.cultivar
        catalogue.require("cultivar", name, f"{block.path}.{key}.cultivar")
        if catalogue.get("cultivar", name, Cultivar, f"{block.path}.{key}").triploid:
            raise block.fault(
                f"{key}.cultivar",
                f"found {name!r}, a triploid that gives no pollen; allowed: a cultivar that does, or 'crab'",
            )
        if pollinizer.every_tree is not None:
            every_row = pollinizer.every_row or 1
            places = extra_positions(geometry, pollinizer.every_tree, every_row)
            if not len(places):
                raise block.fault(
                    key,
                    f"every_tree = {pollinizer.every_tree} gives no pollinizer in {geometry.rows} rows of "
                    f"{geometry.trees_per_row} trees; allowed: a smaller step",
                )
            extra.append(Pollinizer(name, pollinizer.every_tree, every_row, len(places)))
        elif pollinizer.every_row is None:
            raise block.fault(key, "missing every_tree or every_row; allowed: one of them, or both")
        elif name == CRAB:
            raise block.fault(
                key,
                "found crab with every_row alone, which would give whole rows to trees without saleable fruit; "
                "allowed: every_tree, with every_row if not every row gets them",
            )
        else:
            taken = [row for row in rows if row % pollinizer.every_row == pollinizer.every_row // 2]
            if not taken or len(taken) == len(rows):
                raise block.fault(
                    f"{key}.every_row",
                    f"found {pollinizer.every_row}, which leaves no row for the block or the pollinizer; the block has "
                    f"{geometry.rows} rows",
                )
            rows = [row for row in rows if row not in taken]
            pollen.append(_group(block, None, name, tuple(taken), key))
    if not table.group:
        return _labelled(table.name, [_group(block, None, None, tuple(rows), ""), *pollen]), extra
    try:
        numbers = rows_of_groups([group.rows for group in table.group], len(rows))
    except ValueError as error:
        raise block.fault("group", str(error)) from None
    groups: list[StatedGroup] = []
    for number, (group, count) in enumerate(zip(table.group, numbers, strict=True), start=1):
        own, rows = tuple(rows[:count]), rows[count:]
        groups.append(_group(block, group, None, own, f"group {number}"))
    return _labelled(table.name, groups + pollen), extra


def _labelled(block: str, groups: list[StatedGroup]) -> list[StatedGroup]:
    if len(groups) == 1 and not groups[0].name:
        return groups
    return [dataclasses.replace(group, label=f"{block}/{group.name or group.cultivar}") for group in groups]


def _group(
    block: StatedBlock, group: GroupTable | None, pollinizer: str | None, rows: tuple[int, ...], key: str
) -> StatedGroup:
    """One row group of a table, of a pollinizer, or the block's only one; ``key`` is where it stands."""
    table, catalogue, place = block.table, block.farm.catalogue, key_path(block.path, [key] if key else [])

    def choice(name: str, kind: str) -> str:
        own = getattr(group, name, None)
        value = own or getattr(table, name)
        if value is None:
            names = catalogue.names(kind)
            listed = ", ".join(repr(name) for name in names[:6]) + (", ..." if len(names) > 6 else "")
            raise InputError(block.farm.filler.where, f"{place}.{name}: missing; allowed: {listed}")
        catalogue.require(kind, value, f"{place if own else block.path}.{name}")
        return str(value)

    cultivar = pollinizer or choice("cultivar", "cultivar")
    target = getattr(group, "crop_load_target", None)
    if target is None and pollinizer is None:
        target = table.crop_load_target
    if target is None:
        target = catalogue.get("cultivar", cultivar, CropTarget, f"{place}.cultivar").crop_load_target
    return StatedGroup(
        name=group.name if group is not None else (f"{pollinizer} pollinizer" if pollinizer else ""),
        label=table.name,
        rows=rows,
        cultivar=cultivar,
        rootstock=choice("rootstock", "rootstock"),
        tree_grade=choice("tree_grade", "tree_grade"),
        target=target,
        crew_rank=first_stated(
            group.crew_rank if group is not None else None, first_stated(table.crew_rank, USUAL_RANK)
        ),
    )


def _layout(block: StatedBlock, geometry: Geometry, groups: list[StatedGroup]) -> Layout:
    """Where the trees stand, and of which group each row is."""
    row_group = [0] * geometry.rows
    for index, group in enumerate(groups):
        for row in group.rows:
            row_group[row] = index
    direction = first_stated(block.table.row_direction, block.farm.site.row_direction)
    if direction is None:
        direction = DEFAULT_DIRECTION
        block.note("row_direction", direction, "degree", "rows run north and south", "common practice")
    return Layout(**dataclasses.asdict(geometry), row_direction=direction, group=tuple(row_group))


def _row_group(
    block: StatedBlock, group: StatedGroup, training: Training, pollen: tuple[float, float], money: BlockMoney
) -> RowGroup:
    """One row group, looked up in the catalogue."""
    return RowGroup(
        label=group.label,
        cultivar_name=group.cultivar,
        stock_name=group.rootstock,
        grade_name=group.tree_grade,
        training_name=block.table.training,
        stock=block.entry("rootstock", group.rootstock, Stock),
        cultivar=block.entry("cultivar", group.cultivar, Cultivar),
        grade=block.entry("tree_grade", group.tree_grade, TreeGrade),
        training=training,
        phenology=block.entry("cultivar", group.cultivar, Phenology),
        crop_load_target=group.target,
        pollen_distance=pollen[0],
        pollen_overlap=pollen[1],
        rows=len(group.rows),
        trees=money.geometry.trees,
        money=money,
        refill=_refill_rules(block, group),
        crew_rank=group.crew_rank,
    )


def _refill_rules(block: StatedBlock, group: StatedGroup) -> Replacement:
    """Rules for spares of a row group: the farm's, with what ``[replacement.group]`` says of its block or of it."""
    farm, own = block.farm, dict[str, object]()
    for name in dict.fromkeys((block.table.name, group.label)):
        if name in farm.refill:
            own |= farm.refill[name].stated(GROUP_KEYS)
    rules = made(Replacement, {**vars(farm.sections.replacement), **own})
    if own:
        named = group.label if group.label in farm.refill else block.table.name
        check_replacement(f"{farm.filler.where}: replacement.group.{named}", rules)
    return rules


def _resolve(block: StatedBlock, neighbours: set[str]) -> ResolvedBlock:
    table, farm = block.table, block.farm
    filler, support = farm.filler, farm.sections.support
    block.refuse(block_faults(table))
    for key, (unit, reason) in UNSTATED.items():
        if key not in table.model_fields_set:
            block.note(key, getattr(table, key), unit, f"{DEFAULT_SOURCE}: {reason}", "assumption")
    training = farm.catalogue.get("training_system", table.training, Training, f"{block.path}.training")
    geometry = _geometry(block)
    block.refuse(history_faults(table, geometry))
    groups, extra = _groups(block, geometry)

    names = parameters_of(BlockSite)
    site = filler.fill(BlockSite, block.path, given=farm.site.stated(names) | table.stated(names))
    block.refuse(protection_faults(site))
    pollen = [_pollen(block, group, groups, geometry, extra, neighbours) for group in groups]
    check_training(training, table.training, filler.where)
    _warn_of_training(block, training, groups)
    short = geometry.positions - geometry.trees
    money = [
        block_money(
            block,
            group,
            len(group.rows) * geometry.trees_per_row - (short if geometry.rows - 1 in group.rows else 0),
            geometry,
            training,
            site,
            extra if index == 0 else [],
        )
        for index, group in enumerate(groups)
    ]
    plan = BlockPlan(
        name=table.name,
        layout=_layout(block, geometry, groups),
        groups=tuple(
            _row_group(block, group, training, own_pollen, own_money)
            for group, own_pollen, own_money in zip(groups, pollen, money, strict=True)
        ),
        year_planted=table.year_planted,
        site_growth=first_stated(table.site_growth, farm.site.site_growth),
        replant_site=first_stated(table.replant_site, farm.site.replant_site),
        year_removed=table.year_removed,
        deer_fence=table.fence != "none",
        drainage=site.drainage,
        post_spacing=support.post_spacing,
        anchors_per_row=int(support.anchors_per_row),
        trunk_area_at_start=table.trunk_area,
        crop_at_start=table.last_crop,
        thinning=filler.fill(Thinning, f"{block.path}.thinning", table.thinning),
        latitude=farm.site.latitude,
    )
    return ResolvedBlock(table.name, plan, site, tuple(extra))


def _pollen(
    block: StatedBlock,
    group: StatedGroup,
    groups: list[StatedGroup],
    geometry: Geometry,
    extra: list[Pollinizer],
    neighbours: set[str],
) -> tuple[float, float]:
    """Distance [m] and bloom overlap of a group's best pollen source: nearness and overlap weighed together."""
    outside = block.farm.site.pollen_nearby
    heat = block.entry("cultivar", group.cultivar, Phenology).bloom_heat

    def usable(name: str) -> bool:
        return name != group.cultivar and not block.entry("cultivar", name, Cultivar).triploid

    def overlap(name: str) -> float:
        return bloom_overlap(heat, block.entry("cultivar", name, Phenology).bloom_heat)

    trees = row_positions(geometry, group.rows)
    sources = [(other.cultivar, row_positions(geometry, other.rows)) for other in groups]
    sources += [
        (pollinizer.cultivar, extra_positions(geometry, pollinizer.every_tree, pollinizer.every_row))
        for pollinizer in extra
    ]
    reachable = [(mean_distance(trees, places), overlap(name)) for name, places in sources if usable(name)]
    reachable += [(NEIGHBOUR_DISTANCE, overlap(name)) for name in sorted(neighbours) if usable(name)]
    for key, value, unit, reason in FIXED:
        source = f"fixed in the program: {reason}"
        block.farm.filler.note(f"pollination.{key}", value, unit, source, "assumption")
    reachable = [(distance, share) for distance, share in reachable if share > 0 and math.isfinite(distance)]
    if not reachable:
        block.warn(
            f"{group.cultivar} has no pollen source in the plan whose bloom meets its own; one is assumed "
            f"{outside:.4g} m away (site.pollen_nearby). Add a [[block.pollinizer]] if that is not so"
        )
    reachable.append((outside, OUTSIDE_OVERLAP))
    # Pollen thins out over some tens of metres; the source with the most of overlap times nearness counts.
    reach = block.farm.sections.physiology.pollen_reach
    return max(reachable, key=lambda each: each[1] * math.exp(-each[0] / reach))


def check_training(entry: object, name: str, where: str) -> None:
    """Stop on a training system whose keys contradict each other; other entries pass."""
    faults = training_faults(entry) if isinstance(entry, Training) else ()
    if faults:
        raise InputError(where, f"training_system.{name}: {'; '.join(faults)}")


def _warn_of_training(block: StatedBlock, training: Training, groups: list[StatedGroup]) -> None:
    """What a training system does that does not suit the block's stocks, spacing or nursery trees."""
    table, system, spacing = block.table, repr(block.table.training), block.table.row_spacing
    for group in groups:
        if block.entry("rootstock", group.rootstock, Stock).needs_support and training.support == "none":
            block.warn(
                f"trees on {group.rootstock} fall over without a support, and the training system {system} gives none"
            )
    if training.feathers_kept == 0 and training.bending_angle > NATURAL_ANGLE and training.bending_leaf == 1:
        block.warn(f"{system} bends branches in leaf 1 (bending_angle) that it cuts off (feathers_kept = 0)")
    if max(training.pruning) > 0.5:
        block.warn(f"{system} cuts out more than half of the wood in a winter (pruning)")
    if training.spread_limit > spacing:
        block.warn(
            f"{system} lets trees spread {training.spread_limit:g} m across rows of {spacing:g} m; no alley is left"
        )
    if table.tree_spacing > 2.0 * training.spread_limit:
        block.warn(
            f"trees {table.tree_spacing:g} m apart never meet: {system} lets them spread {training.spread_limit:g} m; "
            "is the spacing meant?"
        )
    if training.height_limit > 1.5 * spacing:
        block.warn(
            f"{system} keeps trees of {training.height_limit:g} m in rows of {spacing:g} m; rows shade each other when "
            "trees are much taller than the alley is wide"
        )
    for group in groups:
        grade = block.entry("tree_grade", group.tree_grade, TreeGrade)
        if grade.height > training.height_limit:
            block.warn(
                f"a {group.tree_grade!r} tree is taller at planting ({grade.height:g} m) than {system} lets it grow "
                f"({training.height_limit:g} m)"
            )
        if training.feathers_kept > 0.5 and training.bending_angle > 90 and grade.feathers < 1:
            block.warn(f"{system} crops early on kept and bent side branches, but a {group.tree_grade!r} tree has none")
