"""Changing a plan by its keys."""

from __future__ import annotations

from typing import Any

import pytest

from orchardsim.core.errors import InputError
from orchardsim.plan.keys import with_keys

PLAN: dict[str, Any] = {
    "site": {"latitude": "43 degree"},
    "block": [
        {"name": "east", "group": [{"name": "Gala", "rootstock": "M.9"}, {"name": "late"}]},
        {"name": "west"},
    ],
}


def test_one_all_or_a_named_table() -> None:
    changed = with_keys(
        PLAN,
        {
            "block.training": "vertical_axis",
            "block.east.group.rootstock": "G.935",
            "block.east.group.late.cultivar": "Fuji",
            'rootstock."M.9".size': 1.2,
        },
        "study.toml",
    )
    east, west = changed["block"]
    assert east["training"] == west["training"] == "vertical_axis"
    assert [group["rootstock"] for group in east["group"]] == ["G.935", "G.935"]
    assert [group.get("cultivar") for group in east["group"]] == [None, "Fuji"]
    assert changed["rootstock"] == {"M.9": {"size": 1.2}}
    assert "training" not in PLAN["block"][0]


@pytest.mark.parametrize(
    "key", ["block..x", "", "a = 1\nb", "block.west.group.rootstock", "site.latitude.x", "crews.x"]
)
def test_a_key_without_a_place_is_refused(key: str) -> None:
    with pytest.raises(InputError, match="allowed"):
        with_keys(PLAN, {key: 1}, "study.toml")
