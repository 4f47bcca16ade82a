"""Wages that a plan leaves unsaid follow the one that it states."""

from __future__ import annotations

from typing import Final

from orchardsim.core.parameters import parameters_of
from orchardsim.economy.parameters import Costs
from orchardsim.plan.filling import Filler
from orchardsim.plan.raw import RawTable
from orchardsim.plan.tables import Table

FOLLOWING: Final = ("wage_skilled", "wage_picking")


def following_wages(stated: Table | None, catalogue: RawTable, filler: Filler) -> dict[str, float]:
    """Unstated wages in the catalogue's proportion to a stated ``costs.wage`` [money/hour], noted as derived.

    Returns dict: wage by key; empty where the plan states no general wage.

    Parameters
    ----------
    stated : Table or None
        ``[costs]`` of the plan.
    catalogue : mapping
        Built-in costs by key.
    """
    wage = stated.stated(("wage",)).get("wage") if stated is not None else None
    if stated is None or not isinstance(wage, float):
        return {}
    infos = parameters_of(Costs)

    def built_in(name: str) -> float:
        entry = filler.brought(catalogue[name], "catalogue", f"costs.{name}")
        value = filler.read_entry(entry, infos[name], float, "catalogue", f"costs.{name}")
        assert isinstance(value, float)
        return value

    found: dict[str, float] = {}
    general = built_in("wage")
    for name in FOLLOWING:
        if name in stated.model_fields_set or general <= 0:
            continue
        ratio = built_in(name) / general
        found[name] = ratio * wage
        filler.ledger.note(
            f"costs.{name}",
            found[name],
            infos[name].unit,
            f"{ratio:.4g} of the stated wage of general work, as in the catalogue",
            "derived",
        )
    return found
