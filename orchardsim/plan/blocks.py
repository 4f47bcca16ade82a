"""Turns the ``[[block]]`` tables of a plan into what the stages need of each block."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from orchardsim.core.errors import InputError
from orchardsim.core.geometry import Geometry
from orchardsim.core.labels import FARM, SHARED
from orchardsim.core.parameters import parameters_of
from orchardsim.economy.blocks import BlockMoney
from orchardsim.operations.parameters import Replacement
from orchardsim.plan.block_money import block_money
from orchardsim.plan.catalogue import CRAB, CropTarget
from orchardsim.plan.farm_terms import FarmTerms, StatedGroup, first_stated
from orchardsim.plan.filling import DEFAULT_SOURCE, Filler
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
from orchardsim.plan.row_group import RowGroup
from orchardsim.plan.sense import check_block, check_history, check_protection
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
    for number, table in enumerate(tables, start=1):
        if table.name in names or table.name in (FARM, SHARED):
            problem = "stands twice" if table.name in names else "is kept for what is no block"
            raise InputError(
                farm.filler.where, f"block {number}.name: found {table.name!r}, which {problem}; allowed: another name"
            )
        names.add(table.name)
    cultivars = [_cultivars_of(table) for table in tables]
    blocks = []
    for number, table in enumerate(tables, start=1):
        neighbours = {name for other, found in enumerate(cultivars, start=1) if other != number for name in found}
        blocks.append(_resolve(table, f"block {number}", neighbours, farm, warnings))
    labels = [label for block in blocks for label in block.labels]
    for label in labels:
        if labels.count(label) > 1:
            raise InputError(farm.filler.where, f"block: the label {label!r} stands twice; allowed: another group name")
    return tuple(blocks), warnings


def _cultivars_of(table: BlockBase) -> set[str]:
    """Cultivars of a block and its pollinizers."""
    return crop_cultivars(table) | {pollinizer.cultivar for pollinizer in table.pollinizer}


def crop_cultivars(table: BlockBase) -> set[str]:
    """Cultivars of a block whose fruit is sold: its own, its groups', and those of whole pollinizer rows."""
    found = {group.cultivar for group in table.group if group.cultivar}
    if table.cultivar and (not table.group or any(group.cultivar is None for group in table.group)):
        found.add(table.cultivar)
    return found | {pollinizer.cultivar for pollinizer in table.pollinizer if pollinizer.every_tree is None}


def tree_grades(table: BlockBase) -> set[str]:
    """Tree grades that a block and its groups name."""
    return {table.tree_grade, *(group.tree_grade for group in table.group if group.tree_grade)}


def geometry_of(table: BlockBase, path: str, filler: Filler) -> Geometry:
    """Rows and areas of a block."""
    stated = [key for key in ("gross_area", "net_area") if getattr(table, key) is not None]
    if len(stated) == 2:
        raise InputError(filler.where, f"{path}: found both gross_area and net_area, allowed one of them")
    headland = table.headland
    if headland is None:
        headland = DEFAULT_HEADLAND
        filler.ledger.note(f"{path}.headland", headland, "m", "room to turn at each row end", "common practice")
    rows = None
    if not stated and table.trees is None:
        stated_rows = [group.rows for group in table.group if group.rows is not None]
        if not stated_rows or len(stated_rows) < len(table.group):
            raise InputError(
                filler.where,
                f"{path}: missing its size; allowed: gross_area, net_area, trees, or row groups that all state rows",
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
        raise InputError(filler.where, f"{path}: {error}") from None
    if geometry.trees > MOST_TREES:
        raise InputError(
            filler.where,
            f"{path}: found {geometry.trees:,} trees, allowed at most {MOST_TREES:,} in a block; every "
            "tree is simulated",
        )
    if table.row_length is None:
        filler.ledger.note(
            f"{path}.row_length",
            geometry.row_length,
            "m",
            "as square as whole rows allow, rows of 150 m at most (OMAFRA, Tall spindle support systems)",
            "assumption",
        )
    return geometry


def _groups(
    table: BlockBase, path: str, geometry: Geometry, farm: FarmTerms
) -> tuple[list[StatedGroup], list[Pollinizer]]:
    """Row groups of a block, rows of a pollinizer cultivar included, and its extra pollinizer trees."""
    filler = farm.filler
    rows = list(range(geometry.rows))
    groups: list[StatedGroup] = []
    extra: list[Pollinizer] = []
    for number, pollinizer in enumerate(table.pollinizer, start=1):
        key = f"{path}.pollinizer {number}"
        farm.catalogue.require("cultivar", pollinizer.cultivar, f"{key}.cultivar")
        if farm.catalogue.get("cultivar", pollinizer.cultivar, Cultivar, key).triploid:
            raise InputError(
                filler.where,
                f"{key}.cultivar: found {pollinizer.cultivar!r}, a triploid that gives no pollen; "
                "allowed: a cultivar that does, or 'crab'",
            )
        if pollinizer.every_tree is not None:
            every_row = pollinizer.every_row or 1
            places = extra_positions(geometry.rows, geometry.trees_per_row, 1.0, 1.0, pollinizer.every_tree, every_row)
            if not len(places):
                raise InputError(
                    filler.where,
                    f"{key}: every_tree = {pollinizer.every_tree} gives no pollinizer in {geometry.rows} rows of "
                    f"{geometry.trees_per_row} trees; allowed: a smaller step",
                )
            extra.append(Pollinizer(pollinizer.cultivar, pollinizer.every_tree, every_row, len(places)))
        elif pollinizer.every_row is None:
            raise InputError(filler.where, f"{key}: missing every_tree or every_row; allowed: one of them, or both")
        elif pollinizer.cultivar == CRAB:
            raise InputError(
                filler.where,
                f"{key}: found crab with every_row alone, which would give whole rows to trees without "
                "saleable fruit; allowed: every_tree, with every_row if not every row gets them",
            )
        else:
            taken = [row for row in rows if row % pollinizer.every_row == pollinizer.every_row // 2]
            if not taken or len(taken) == len(rows):
                raise InputError(
                    filler.where,
                    f"{key}.every_row: found {pollinizer.every_row}, which leaves no row for the block "
                    f"or the pollinizer; the block has {geometry.rows} rows",
                )
            rows = [row for row in rows if row not in taken]
            groups.append(_group(table, path, None, pollinizer.cultivar, tuple(taken), farm, key))
    if not table.group:
        groups.insert(0, _group(table, path, None, None, tuple(rows), farm, path))
        return _labelled(table.name, groups), extra
    try:
        numbers = rows_of_groups([group.rows for group in table.group], len(rows))
    except ValueError as error:
        raise InputError(filler.where, f"{path}.group: {error}") from None
    found: list[StatedGroup] = []
    for number, (group, count) in enumerate(zip(table.group, numbers, strict=True), start=1):
        own, rows = tuple(rows[:count]), rows[count:]
        found.append(_group(table, path, group, None, own, farm, f"{path}.group {number}"))
    return _labelled(table.name, found + groups), extra


def _labelled(block: str, groups: list[StatedGroup]) -> list[StatedGroup]:
    if len(groups) == 1 and not groups[0].name:
        return groups
    from dataclasses import replace

    return [replace(group, label=f"{block}/{group.name or group.cultivar}") for group in groups]


def _group(
    table: BlockBase,
    path: str,
    group: GroupTable | None,
    pollinizer: str | None,
    rows: tuple[int, ...],
    farm: FarmTerms,
    key: str,
) -> StatedGroup:
    def choice(name: str, kind: str) -> str:
        value = getattr(group, name, None) or getattr(table, name)
        if value is None:
            raise InputError(farm.filler.where, f"{key}.{name}: missing; allowed: {_listed(farm, kind)}")
        farm.catalogue.require(kind, value, f"{key if getattr(group, name, None) else path}.{name}")
        return str(value)

    cultivar = pollinizer or choice("cultivar", "cultivar")
    target = getattr(group, "crop_load_target", None)
    if target is None and pollinizer is None:
        target = table.crop_load_target
    if target is None:
        target = farm.catalogue.get("cultivar", cultivar, CropTarget, f"{key}.cultivar").crop_load_target
    name = group.name if group is not None else (f"{pollinizer} pollinizer" if pollinizer else "")
    return StatedGroup(
        name=name,
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


def _listed(farm: FarmTerms, kind: str) -> str:
    names = farm.catalogue.names(kind)
    return ", ".join(repr(name) for name in names[:6]) + (", ..." if len(names) > 6 else "")


def _layout(table: BlockBase, path: str, geometry: Geometry, groups: list[StatedGroup], farm: FarmTerms) -> Layout:
    """Where the trees stand, and of which group each row is."""
    row_group = [0] * geometry.rows
    for index, group in enumerate(groups):
        for row in group.rows:
            row_group[row] = index
    direction = first_stated(table.row_direction, farm.site.row_direction)
    if direction is None:
        direction = DEFAULT_DIRECTION
        farm.filler.ledger.note(
            f"{path}.row_direction", direction, "degree", "rows run north and south", "common practice"
        )
    return Layout(**dataclasses.asdict(geometry), row_direction=direction, group=tuple(row_group))


def _row_group(
    table: BlockBase,
    path: str,
    group: StatedGroup,
    training: Training,
    pollen: tuple[float, float],
    money: BlockMoney,
    farm: FarmTerms,
) -> RowGroup:
    """One row group, looked up in the catalogue; its refill rules are filled in once those of the farm are read."""
    catalogue = farm.catalogue
    return RowGroup(
        label=group.label,
        cultivar_name=group.cultivar,
        stock_name=group.rootstock,
        grade_name=group.tree_grade,
        training_name=table.training,
        stock=catalogue.get("rootstock", group.rootstock, Stock, path),
        cultivar=catalogue.get("cultivar", group.cultivar, Cultivar, path),
        grade=catalogue.get("tree_grade", group.tree_grade, TreeGrade, path),
        training=training,
        phenology=catalogue.get("cultivar", group.cultivar, Phenology, path),
        crop_load_target=group.target,
        pollen_distance=pollen[0],
        pollen_overlap=pollen[1],
        rows=len(group.rows),
        trees=money.geometry.trees,
        money=money,
        refill=Replacement(),
        crew_rank=group.crew_rank,
    )


def _resolve(table: BlockBase, path: str, neighbours: set[str], farm: FarmTerms, warnings: list[str]) -> ResolvedBlock:
    filler, catalogue = farm.filler, farm.catalogue
    _check_years(table, path, filler)
    check_block(table, path, filler.where)
    for key, (unit, reason) in UNSTATED.items():
        if key not in table.model_fields_set:
            filler.ledger.note(f"{path}.{key}", getattr(table, key), unit, f"{DEFAULT_SOURCE}: {reason}", "assumption")
    catalogue.require("training_system", table.training, f"{path}.training")
    training = catalogue.get("training_system", table.training, Training, f"{path}.training")
    geometry = geometry_of(table, path, filler)
    check_history(table, geometry, path, filler.where)
    groups, extra = _groups(table, path, geometry, farm)

    site = filler.fill(
        BlockSite,
        path,
        given={
            name: value
            for source in (farm.site, table)
            for name, value in source.stated(parameters_of(BlockSite)).items()
        },
    )
    check_protection(site.protection, site.irrigated, path, filler.where)
    pollen = [_pollen(index, groups, geometry, extra, neighbours, farm, path, warnings) for index in range(len(groups))]
    check_training(training, table.training, filler.where)
    _check_training(table, training, groups, farm, path, warnings)
    short = geometry.positions - geometry.trees
    group_trees = [
        len(group.rows) * geometry.trees_per_row - (short if geometry.rows - 1 in group.rows else 0) for group in groups
    ]
    money = [
        block_money(table, path, group, trees, geometry, training, site, extra if index == 0 else [], farm)
        for index, (group, trees) in enumerate(zip(groups, group_trees, strict=True))
    ]
    plan = BlockPlan(
        name=table.name,
        layout=_layout(table, path, geometry, groups, farm),
        groups=tuple(
            _row_group(table, path, group, training, own_pollen, own_money, farm)
            for group, own_pollen, own_money in zip(groups, pollen, money, strict=True)
        ),
        year_planted=table.year_planted,
        site_growth=first_stated(table.site_growth, farm.site.site_growth),
        replant_site=first_stated(table.replant_site, farm.site.replant_site),
        year_removed=table.year_removed,
        deer_fence=table.fence != "none",
        drainage=site.drainage,
        post_spacing=farm.support.post_spacing,
        anchors_per_row=int(farm.support.anchors_per_row),
        trunk_area_at_start=table.trunk_area,
        crop_at_start=table.last_crop,
        thinning=filler.fill(Thinning, f"{path}.thinning", table.thinning),
        latitude=farm.site.latitude,
    )
    return ResolvedBlock(table.name, plan, site, tuple(extra))


def _check_years(table: BlockBase, path: str, filler: Filler) -> None:
    established = table.year_planted < 0
    if table.year_removed is not None and table.year_removed <= table.year_planted:
        raise InputError(
            filler.where,
            f"{path}.year_removed: found {table.year_removed}, allowed: later than year_planted = {table.year_planted}",
        )
    if not established:
        for key in ("trunk_area", "last_crop", "yield_history"):
            if getattr(table, key) not in (None, []):
                raise InputError(
                    filler.where,
                    f"{path}.{key}: stated for a block planted in year {table.year_planted}; allowed: "
                    "only for an established block, with year_planted below 0",
                )
    if table.order_year is not None and table.order_year > table.year_planted:
        raise InputError(
            filler.where,
            f"{path}.order_year: found {table.order_year}, allowed: at most year_planted = {table.year_planted}",
        )


def _pollen(
    index: int,
    groups: list[StatedGroup],
    geometry: Geometry,
    extra: list[Pollinizer],
    neighbours: set[str],
    farm: FarmTerms,
    path: str,
    warnings: list[str],
) -> tuple[float, float]:
    """Distance [m] and bloom overlap of a group's best pollen source: nearness and overlap weighed together."""
    outside, catalogue, filler = farm.site.pollen_nearby, farm.catalogue, farm.filler
    group = groups[index]
    heat = catalogue.get("cultivar", group.cultivar, Phenology, path).bloom_heat

    def usable(name: str) -> bool:
        return name != group.cultivar and not catalogue.get("cultivar", name, Cultivar, path).triploid

    def overlap(name: str) -> float:
        return bloom_overlap(heat, catalogue.get("cultivar", name, Phenology, path).bloom_heat)

    trees = row_positions(np.asarray(group.rows), geometry.trees_per_row, geometry.tree_spacing, geometry.row_spacing)
    found: list[tuple[float, float]] = []
    for other in groups:
        if usable(other.cultivar):
            places = row_positions(
                np.asarray(other.rows), geometry.trees_per_row, geometry.tree_spacing, geometry.row_spacing
            )
            found.append((mean_distance(trees, places), overlap(other.cultivar)))
    for pollinizer in extra:
        if usable(pollinizer.cultivar):
            places = extra_positions(
                geometry.rows,
                geometry.trees_per_row,
                geometry.tree_spacing,
                geometry.row_spacing,
                pollinizer.every_tree,
                pollinizer.every_row,
            )
            found.append((mean_distance(trees, places), overlap(pollinizer.cultivar)))
    found += [(NEIGHBOUR_DISTANCE, overlap(name)) for name in sorted(neighbours) if usable(name)]
    for key, value, unit, reason in FIXED:
        filler.ledger.note(f"pollination.{key}", value, unit, f"fixed in the program: {reason}", "assumption")
    found = [(distance, share) for distance, share in found if share > 0 and math.isfinite(distance)]
    if not found:
        warnings.append(
            f"{path}: {group.cultivar} has no pollen source in the plan whose bloom meets its own; one is assumed "
            f"{outside:.4g} m away (site.pollen_nearby). Add a [[block.pollinizer]] if that is not so"
        )
    found.append((outside, OUTSIDE_OVERLAP))
    # Pollen thins out over some tens of metres; the source with the most of overlap times nearness counts.
    return max(found, key=lambda each: each[1] * math.exp(-each[0] / farm.pollen_reach))


def check_training(entry: object, name: str, where: str) -> None:
    """Stop on a training system whose keys contradict each other; other entries pass."""
    faults = training_faults(entry) if isinstance(entry, Training) else ()
    if faults:
        raise InputError(where, f"training_system.{name}: {'; '.join(faults)}")


def _check_training(
    table: BlockBase, training: Training, groups: list[StatedGroup], farm: FarmTerms, path: str, warnings: list[str]
) -> None:
    spacing = table.row_spacing
    for group in groups:
        stock = farm.catalogue.get("rootstock", group.rootstock, Stock, path)
        if stock.needs_support and training.support == "none":
            warnings.append(
                f"{path}: trees on {group.rootstock} fall over without a support, and the training system "
                f"{table.training!r} gives none"
            )
    if training.feathers_kept == 0 and training.bending_angle > NATURAL_ANGLE and training.bending_leaf == 1:
        warnings.append(
            f"{path}: {table.training!r} bends branches in leaf 1 (bending_angle) that it cuts off (feathers_kept = 0)"
        )
    if max(training.pruning) > 0.5:
        warnings.append(f"{path}: {table.training!r} cuts out more than half of the wood in a winter (pruning)")
    if training.spread_limit > spacing:
        warnings.append(
            f"{path}: {table.training!r} lets trees spread {training.spread_limit:g} m across rows of {spacing:g} m; "
            "no alley is left"
        )
    if table.tree_spacing > 2.0 * training.spread_limit:
        warnings.append(
            f"{path}: trees {table.tree_spacing:g} m apart never meet: {table.training!r} lets them spread "
            f"{training.spread_limit:g} m; is the spacing meant?"
        )
    if training.height_limit > 1.5 * spacing:
        warnings.append(
            f"{path}: {table.training!r} keeps trees of {training.height_limit:g} m in rows of {spacing:g} m; "
            "rows shade each other when trees are much taller than the alley is wide"
        )
    for group in groups:
        grade = farm.catalogue.get("tree_grade", group.tree_grade, TreeGrade, path)
        if grade.height > training.height_limit:
            warnings.append(
                f"{path}: a {group.tree_grade!r} tree is taller at planting ({grade.height:g} m) than "
                f"{table.training!r} lets it grow ({training.height_limit:g} m)"
            )
        if training.feathers_kept > 0.5 and training.bending_angle > 90 and grade.feathers < 1:
            warnings.append(
                f"{path}: {table.training!r} crops early on kept and bent side branches, but a {group.tree_grade!r} "
                "tree has none"
            )
