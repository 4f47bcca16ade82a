"""What plans state or take differently, in plain words: beside a difference in money stands what may have made it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from orchardsim.core.parameters import parameters_of
from orchardsim.plan import Plan
from orchardsim.plan.plan import ResolvedBlock
from orchardsim.plan.row_group import RowGroup
from orchardsim.results.comparison import Contrast
from orchardsim.season.parameters import BlockSite

SECTIONS: Final = (
    "weather", "replacement", "work_rates", "support_rates", "support", "costs", "market", "finance", "hazards",
    "physiology",
)  # fmt: skip
"""Parts of a plan whose single keys are compared."""
OF_TREES: Final = ("replacement", "work_rates", "support_rates", "support", "hazards", "physiology")
"""Those that mean nothing where a plan has no trees."""
ABSENT: Final = "–"
"""Of a plan that has no such thing; between plans that have it, it makes no difference."""


def contrasts(plans: Sequence[Plan]) -> tuple[Contrast, ...]:
    """All that differs between plans: their blocks and trees first, then single keys of the rest.

    ``plans``: in one system of units.
    """
    rows = [(name, [tell(plan) for plan in plans]) for name, tell in BLOCKS.items()]
    for key, parameter in parameters_of(BlockSite).items():
        rows.append((f"site.{key}", [_each(plan, _site_key(plan, key, parameter.unit)) for plan in plans]))
    rows += [(f"crew {key}", values) for key, values in _keys([_crews(plan) for plan in plans])]
    for section in SECTIONS:
        by_plan = [
            {} if section in OF_TREES and not plan.blocks else dict(_leaves(section, getattr(plan, section), plan))
            for plan in plans
        ]
        rows += _keys(by_plan)
    differing = {name: tuple(values) for name, values in rows if len({*values} - {ABSENT}) > 1}
    if "cultivars" in differing:
        # each cultivar has its own
        differing.pop("crop load target", None)
    return tuple(Contrast(name, values) for name, values in differing.items())


def _keys(by_plan: Sequence[Mapping[str, str]]) -> list[tuple[str, list[str]]]:
    names = dict.fromkeys(name for own in by_plan for name in own)
    return [(name, [own.get(name, ABSENT) for own in by_plan]) for name in names]


def _leaves(path: str, value: Any, plan: Plan) -> Iterator[tuple[str, str]]:
    """Single keys of a part of a plan with their values as a user would write them."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        known = parameters_of(type(value))
        for field in dataclasses.fields(value):
            unit = known[field.name].unit if field.name in known else ""
            held = getattr(value, field.name)
            name = f"{path}.{field.name}"
            if dataclasses.is_dataclass(held) or isinstance(held, (Mapping, Path)):
                yield from _leaves(name, held, plan)
            else:
                yield name, plan.formats.text(name, held, unit)
    elif isinstance(value, Mapping):
        for key, held in value.items():
            if path != "market.fruit":
                yield from _leaves(f"{path}.{key}", held, plan)
    else:
        yield path, value.name if isinstance(value, Path) else str(value)


def _crews(plan: Plan) -> dict[str, str]:
    return {
        f"{crew.name}.{key.split('.', 1)[1]}": text for crew in plan.crews for key, text in _leaves("crew", crew, plan)
    }


def _each(plan: Plan, tell: Any) -> str:
    """What the blocks of a plan have, each value once, in their order."""
    if not plan.blocks:
        return ABSENT
    told = [tell(block) for block in plan.blocks]
    return ", ".join(dict.fromkeys(own for own in told if own)) or "none"


def _site_key(plan: Plan, key: str, unit: str) -> Callable[[ResolvedBlock], str]:
    return lambda block: plan.formats.text(f"site.{key}", getattr(block.site, key), unit)


def _planted(block: ResolvedBlock) -> str:
    pulled = "" if block.plan.year_removed is None else f", pulled in year {block.plan.year_removed}"
    if block.year_planted < 0:
        return f"stands in leaf {block.leaf(0)}{pulled}"
    return f"year {block.year_planted}{pulled}"


def _cleared(plan: Plan) -> str:
    if not plan.blocks:
        return ABSENT
    money = [group.money for group in plan.groups]
    return "yes" if any(terms.clears_old_orchard or terms.removal_year is not None for terms in money) else "no"


def _idle(plan: Plan) -> str:
    area = sum(land.gross_area for land in plan.idle_land)
    return plan.display.area.text(area, 2) if area else "none"


def _spacing(plan: Plan, block: ResolvedBlock) -> str:
    geometry = block.geometry
    length = plan.display.length
    return f"{length.text(geometry.tree_spacing, 1)} x {length.text(geometry.row_spacing, 1)}"


def _pollinizers(block: ResolvedBlock) -> str:
    return ", ".join(dict.fromkeys(pollinizer.cultivar for pollinizer in block.pollinizers))


def _groups(tell: Callable[[RowGroup], str]) -> Callable[[ResolvedBlock], str]:
    """What the row groups of a block have, each value once."""
    return lambda block: ", ".join(dict.fromkeys(tell(group) for group in block.groups))


BLOCKS: Final[Mapping[str, Any]] = {
    "blocks": lambda plan: ", ".join(block.name for block in plan.blocks) or "none",
    "idle land": lambda plan: _idle(plan),
    "planted": lambda plan: _each(plan, _planted),
    "cultivars": lambda plan: _each(plan, _groups(lambda group: group.cultivar_name)),
    "rootstocks": lambda plan: _each(plan, _groups(lambda group: group.stock_name)),
    "training": lambda plan: _each(plan, _groups(lambda group: group.training_name)),
    "nursery trees": lambda plan: _each(
        plan, lambda block: _groups(lambda group: group.grade_name)(block) if block.year_planted >= 0 else ""
    ),
    "spacing": lambda plan: _each(plan, lambda block: _spacing(plan, block)),
    "pollinizers": lambda plan: _each(plan, _pollinizers),
    "old orchard cleared": lambda plan: _cleared(plan),
    "replant ground": lambda plan: _each(plan, lambda block: "yes" if block.plan.replant_site else "no"),
    "fence built": lambda plan: _each(plan, _groups(lambda group: "yes" if group.money.fenced else "no")),
    "site growth": lambda plan: _each(plan, lambda block: f"{block.plan.site_growth:g}"),
    "crop load target": lambda plan: _each(plan, _groups(lambda group: str(list(group.crop_load_target)))),
}
"""What is told of blocks and land: name -> how to tell it of a plan."""
