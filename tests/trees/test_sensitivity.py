"""The sensitivity study walks many parameter sets at once: each parameter must reach the trees."""

from __future__ import annotations

import importlib

import numpy as np
import pytest

from tests.trees.blocks import PHYSIOLOGY, run_trees

# these stand beside the harness, which tests.trees.blocks puts on the path
sensitivity, cases, elasticity = (importlib.import_module(name) for name in ("sensitivity", "cases", "elasticity"))


def test_every_parameter_moves_a_figure_and_sets_do_not_mix():
    names = sensitivity.NAMES
    base = np.array([getattr(PHYSIOLOGY, name) for name in names])
    points = np.repeat(base[:, None], len(names) + 2, axis=1)
    points[np.arange(len(names)), 1 + np.arange(len(names))] *= 0.85
    found = sensitivity.outputs(PHYSIOLOGY, points, 1.5)
    np.testing.assert_allclose(found[:, 0], found[:, -1], rtol=1e-6)
    moved = np.abs(found[:, 1:-1] / found[:, :1] - 1).max(axis=0)
    assert (moved > 1e-4).all(), [name for name, one in zip(names, moved, strict=True) if one <= 1e-4]


def test_a_set_walked_among_others_grows_as_the_plain_model():
    plan = cases.spindle(1.5, rows=3, trees_per_row=6)
    sets = {name: np.array([0.9, 1.0]) * getattr(PHYSIOLOGY, name) for name in sensitivity.NAMES}
    crop, trunk = sensitivity.walk(plan, PHYSIOLOGY, sets, 6)
    plain = run_trees(plan, PHYSIOLOGY, 6, even=True, trials=1)
    assert crop[:, 1].sum(-1) == pytest.approx(plain.values["crop_mass"][:, 0, 0], rel=1e-4, abs=1e-3)
    assert trunk[:, 1].mean(-1) == pytest.approx(plain.values["trunk_area_mean"][:, 0, 0], rel=1e-4)


def test_elasticities_show_what_a_parameter_acts_on():
    names = ("radiation_use", "weed_cost", "late_thinning_days", "base_defects")
    found = elasticity.elasticities(PHYSIOLOGY, names)
    # more dry matter per light: more crop and thicker trunks, well kept or not
    assert all(found["radiation_use"][what] > 0 for what in ("kept: yield 1-5", "trunk 10", "poor: crop 1-8"))
    # nothing where no weed grows and no thinning is late
    assert found["weed_cost"]["kept: yield 1-5"] == 0 > found["weed_cost"]["poor: crop 1-8"]
    assert found["late_thinning_days"]["free: bloom 10"] == 0 < found["late_thinning_days"]["late: bloom 10"]
    # 1 - defects falls by 0.1 / 0.9 per cent for each per cent more defects of 10 %
    share = PHYSIOLOGY.base_defects
    assert found["base_defects"]["fresh"] == pytest.approx(-share / (1 - share), rel=0.05)
