"""The table of plan keys against the shipped plans and the catalogues."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from orchardsim.core.parameters import STATUSES
from orchardsim.plan.key_table import PlanKey, plan_keys


@pytest.fixture(scope="module")
def keys() -> dict[str, PlanKey]:
    """All keys by dotted path."""
    return {row.key: row for row in plan_keys()}


def test_every_key_says_what_it_is(keys):
    for row in keys.values():
        assert row.meaning, row.key
        assert row.unit or row.kind not in ("number", "whole number"), row.key
        if row.default is not None:
            assert row.default.status in STATUSES and row.default.source, row.key
    assert keys["block.row_spacing"].required and keys["block.row_spacing"].unit == "m"
    assert (keys["block.row_spacing"].low, keys["block.row_spacing"].high) == (0.2, 30)
    assert keys["costs.land_charge"].default.status == "derived"
    assert "poor" in keys["site.drainage"].allowed


@pytest.mark.parametrize("plan", sorted(Path("configs").glob("*.toml")), ids=lambda path: path.stem)
def test_every_key_of_a_shipped_plan_is_in_it(keys, plan):
    raw = tomllib.loads(plan.read_text(encoding="utf-8"))
    tables = {row.table for row in keys.values()}

    def walk(table: dict, path: str) -> None:
        for name, value in table.items():
            key = f"{path}.{name}" if path else name
            if isinstance(value, dict) and f"{key}.NAME" in tables:
                for part in value.values():
                    walk(part, f"{key}.NAME")
            elif isinstance(value, dict) and key in tables:
                walk(value, key)
            elif isinstance(value, list) and value and isinstance(value[0], dict):
                for part in value:
                    walk(part, key)
            else:
                assert key in keys

    walk(raw, "")
