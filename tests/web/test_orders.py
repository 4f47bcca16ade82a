"""The process that simulates: what it says on the way, and that the run it leaves is that of the command."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.plan import load_plan
from orchardsim.results.store import open_results
from orchardsim.simulation import simulate
from orchardsim.web import orders

ORDER = {"kind": "run", "name": "p", "number": 1, "trials": 20, "years": 4, "seed": 3}


@pytest.mark.slow
def test_a_run_sharpens_and_ends_as_the_command_does(tmp_path):
    import tomlkit

    said = []
    text = tomlkit.dumps(orders.WARM_PLAN)
    orders.do(
        {**ORDER, "folder": str(tmp_path), "place": str(tmp_path / "p - kept" / "1"), "text": text}, 1, said.append
    )
    assert [one["first"]["trials"] for one in said if "first" in one] == [8, 16, 20]
    assert [one["progress"] for one in said if "progress" in one][-1] == 20
    assert said[-1]["done"]["sentences"] == [one["first"] for one in said if "first" in one][-1]["sentences"]
    whole = simulate(load_plan(orders.WARM_PLAN), trials=20, years=4, seed=3)
    with open_results(tmp_path / "p - kept" / "1") as kept:
        for name in ("npv", "harvested_mass", "net_cash_flow"):
            np.testing.assert_array_equal(kept[name].values, whole[name].values)


def test_an_order_is_given_up_where_it_next_counts(tmp_path, monkeypatch):
    import tomlkit

    said = []

    def say(news):
        said.append(news)
        orders._stopping.set()

    order = {**ORDER, "folder": str(tmp_path), "place": str(tmp_path / "p"), "text": tomlkit.dumps(orders.WARM_PLAN)}
    try:
        orders.do({**order, "years": 2}, 1, say)
    finally:
        orders._stopping.clear()
    assert [list(one) for one in said] in ([["progress", "total"]], [["progress", "total"], ["first"]])


def test_a_fault_is_told_and_the_next_order_goes(tmp_path, capsys):
    said = []
    orders.do({**ORDER, "kind": "nonsense"}, 1, said.append)
    assert "went wrong" in said[0]["failed"] and "Traceback" in capsys.readouterr().err
    orders.do({**ORDER, "folder": str(tmp_path), "text": "title = 'x'"}, 1, said.append)
    assert "missing" in said[1]["failed"]
