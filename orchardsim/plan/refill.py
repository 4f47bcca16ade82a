"""``[replacement.group."label"]``: rules for spares of one row group or block, in place of the farm's."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Sequence

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.operations.parameters import GROUP_KEYS, Replacement, check_replacement
from orchardsim.plan.plan import ResolvedBlock
from orchardsim.plan.raw import made
from orchardsim.plan.row_group import RowGroup
from orchardsim.plan.tables import Table


def with_refill_rules(
    table: Table | None, farm: Replacement, blocks: Sequence[ResolvedBlock], where: str
) -> tuple[ResolvedBlock, ...]:
    """Blocks whose row groups know their replacement rules: the farm's, or those of a table named by block or label."""
    stated = table.named("group") if table is not None else {}
    labels = {label: block.name for block in blocks for label in block.labels}
    known = list(dict.fromkeys([*labels, *labels.values()]))
    for name in stated:
        if name not in known:
            raise InputError(
                where,
                f"replacement.group.{name}: unknown block or row group {name!r}, {nearest_names(name, known)} "
                f"(allowed: {', '.join(known)})",
            )

    def with_rules(block: ResolvedBlock, group: RowGroup) -> RowGroup:
        own: dict[str, object] = {}
        for name in dict.fromkeys((block.name, group.label)):
            if name in stated:
                own |= stated[name].stated(GROUP_KEYS)
        rules = made(Replacement, {**vars(farm), **own})
        if own:
            named = group.label if group.label in stated else block.name
            check_replacement(f"{where}: replacement.group.{named}", rules)
        return dataclasses.replace(group, refill=rules)

    return tuple(block.with_groups(functools.partial(with_rules, block)) for block in blocks)
