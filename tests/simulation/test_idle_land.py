"""A plan without trees: what idle land costs and brings, by hand, and every command that reads such a plan."""

from __future__ import annotations

import copy

import numpy as np
import pytest

import orchardsim
from orchardsim.cli.main import main
from orchardsim.core.errors import InputError
from tests.simulation.small_plan import CONFIGS, SMALL, small_plan


def idle_plan(**changes):
    table = copy.deepcopy(SMALL)
    del table["block"]
    table |= {"idle_land": [{"gross_area": "1 ha", "yearly_margin": "-100 USD/ha/year"}], **changes}
    return orchardsim.load_plan(table, base=CONFIGS)


def test_idle_land_by_hand():
    """1 ha at 400 of charge, 100 of mowing and 500 of overhead: 1,000 a year; no borrowed money, so NPV is an annuity.

    The sum of 1 / 1.05^t for t = 0 to 4 is 4.54595 (annuity table, due, 5 %).
    """
    plan = idle_plan(
        costs={"land_charge": "400 USD/ha/year", "overhead_farm": "500 USD/year", "cost_trend": "0 1/year"},
        finance={"discount_rate": "0.05 1/year", "opening_cash": "100000 USD"},
    )
    found = orchardsim.simulate(plan, trials=3, years=5)
    level = -found["net_cash_flow"].values[:, 0, -1] / 1000
    np.testing.assert_allclose(found["npv"].values, -4545.95 * level, rtol=1e-5)
    assert (found["harvested_mass"].values == 0).all()


def test_idle_land_beside_a_block_is_land_of_the_farm():
    alone, more = small_plan(), small_plan(idle_land=[{"gross_area": "1 ha"}])
    assert more.gross_area == pytest.approx(alone.gross_area + 1e4)
    assert more.hash != alone.hash
    less = [orchardsim.simulate(plan, trials=2, years=4)["npv"].values for plan in (alone, more)]
    assert (less[1] < less[0]).all()


def test_commands_work_on_the_shipped_plan(tmp_path, capsys):
    plan = str(CONFIGS / "idle_land.toml")
    assert main(["check", plan, "--all"]) == 0
    assert "Idle land: 1.017 ac" in capsys.readouterr().out
    assert main(["check", plan]) == 0
    short = capsys.readouterr().out
    assert "Idle land: 1.017 ac" in short and "a year with its land charge" in short
    words = ["run", plan, "--trials", "4", "--years", "4", "--jobs", "1", "--out", str(tmp_path / "out")]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "No trees" in said and "(1.02 acres with headlands)" in said
    assert (tmp_path / "out" / "report.html").exists()


def test_a_plan_of_nothing_is_refused():
    with pytest.raises(InputError, match="idle_land"):
        idle_plan(idle_land=[])
