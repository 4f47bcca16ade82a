"""Study files: cells, designs, and one clear line for what is wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.plan.study import load_study
from tests.plan.examples import CONFIGS, DEMO, base


def study(**changes: Any) -> dict[str, Any]:
    return {
        "title": "spacing by training",
        "plan": base(),
        "trials": 4,
        "factor": [
            {"name": "training", "key": "block.training", "levels": ["tall_spindle", "vertical_axis"]},
            {
                "name": "spacing",
                "level": [
                    {"name": "close", "keys": {"block.tree_spacing": "0.9 m", "block.row_spacing": "3.2 m"}},
                    {"name": "wide", "keys": {"block.tree_spacing": "1.5 m", "block.row_spacing": "4 m"}},
                ],
            },
        ],
        **changes,
    }


def test_a_factorial_has_every_cell_once() -> None:
    found = load_study(study())
    assert [tuple(found.names(cell).values()) for cell in found.cells] == [
        ("tall_spindle", "close"), ("tall_spindle", "wide"), ("vertical_axis", "close"), ("vertical_axis", "wide"),
    ]  # fmt: skip
    assert [cell.plan.blocks[0].geometry.tree_spacing for cell in found.cells] == [0.9, 1.5, 0.9, 1.5]
    assert "training (2) x spacing (2)" in repr(found)


def test_the_shipped_study_is_a_factorial_on_the_demo() -> None:
    found = load_study(CONFIGS / "studies" / "stock_by_spacing.toml")
    assert [(one.name, len(one.levels)) for one in found.factors] == [("stock", 3), ("spacing", 2)]
    assert {group.stock_name for cell in found.cells for group in cell.plan.groups} == {"M.9", "G.935", "MM.106"}


def test_a_latin_hypercube_meets_each_range_evenly() -> None:
    # One point in each of n equal slices of every range is what makes a Latin hypercube (McKay et al. 1979).
    ranges = [
        {"name": "row", "key": "block.row_spacing", "low": 3.0, "high": 5.0, "unit": "m"},
        {"name": "tree", "key": "block.tree_spacing", "low": 0.8, "high": 1.8, "unit": "m"},
    ]
    found = load_study(study(design="latin_hypercube", samples=8, factor=ranges))
    for factor, one in zip(found.factors, ranges, strict=True):
        low, high = float(str(one["low"])), float(str(one["high"]))
        slices = np.floor((np.array(factor.values) - low) / (high - low) * 8)
        assert sorted(slices) == list(range(8))
    assert found.cells[3].plan.blocks[0].geometry.row_spacing == found.factors[0].values[3]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"factor": []}, "at least one"),
        ({"factor": [{"name": "a", "key": "block.training", "levels": ["tall_spindle"]}]}, "two or more"),
        ({"factor": [{"name": "a", "levels": [1, 2]}]}, "key: missing"),
        ({"factor": [{"name": "a", "key": "block.trainning", "levels": ["x", "y"]}]}, "cell 1"),
        ({"factor": [{"name": "a", "key": "block.row_spacing", "low": 1, "high": 2}]}, "found a range"),
        ({"samples": 8}, "found it in a factorial"),
        ({"design": "latin_hypercube"}, "samples: missing"),
        ({"design": "latin_hypercube", "samples": 9}, "found no range"),
        ({"design": "sobol"}, "allowed"),
        ({"trials": 0}, "trials"),
        ({"colour": "red"}, "colour"),
        ({"keys": {"crews.brook.x": 1}}, "no table that this key could change"),
    ],
)
def test_what_is_wrong_is_told_in_one_line(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words) as told:
        load_study(study(**changes))
    assert "\n" not in str(told.value)


def test_a_base_plan_is_found_beside_the_study_file(tmp_path: Path) -> None:
    file = tmp_path / "study.toml"
    file.write_text(
        f'title = "one factor"\nplan = "{DEMO}"\n'
        '[[factor]]\nname = "training"\nkey = "block.training"\nlevels = ["tall_spindle", "super_spindle"]\n'
    )
    assert len(load_study(file).cells) == 2
    file.write_text(file.read_text().replace(str(DEMO), "none.toml"))
    with pytest.raises(InputError, match="no such file"):
        load_study(file)


def test_a_factor_twice_and_a_key_in_two_factors_are_refused() -> None:
    factor = study()["factor"]
    with pytest.raises(InputError, match="stands twice"):
        load_study(study(factor=[factor[0], factor[0]]))
    other = {"name": "again", "key": "block.training", "levels": ["super_spindle", "vertical_axis"]}
    with pytest.raises(InputError, match="changed by another factor"):
        load_study(study(factor=[factor[0], other]))


def test_cells_that_are_the_same_plan_are_told() -> None:
    # 1 m and 100 cm are one spacing.
    same = {"name": "spacing", "key": "block.tree_spacing", "levels": ["1 m", "100 cm"]}
    with pytest.raises(InputError, match="are the same plan"):
        load_study(study(factor=[same]))
