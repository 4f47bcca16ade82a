"""The elasticity study: each parameter moves what it acts on."""

from __future__ import annotations

import pytest

from experiments.calibration import elasticity
from tests.trees.blocks import PHYSIOLOGY


def test_elasticities_show_what_a_parameter_acts_on():
    names = ("radiation_use", "weed_cost", "late_thinning_days", "base_defects")
    found = elasticity.elasticities(PHYSIOLOGY, names)
    # more dry matter per light: more crop and thicker trunks, well kept or not
    assert all(found["radiation_use"][what] > 0 for what in ("kept: yield 1-5", "trunk 10", "poor: crop 1-8"))
    # nothing where no weed grows and no thinning is late
    assert found["weed_cost"]["kept: yield 1-5"] == 0 > found["weed_cost"]["poor: crop 1-8"]
    # only late thinning; which way it moves bloom hangs on the swing of on and off years
    assert found["late_thinning_days"]["free: bloom 10"] == 0 != found["late_thinning_days"]["late: bloom 5-10"]
    # 1 - defects falls by 0.1 / 0.9 per cent for each per cent more defects of 10 %
    share = PHYSIOLOGY.base_defects
    assert found["base_defects"]["fresh"] == pytest.approx(-share / (1 - share), rel=0.05)
