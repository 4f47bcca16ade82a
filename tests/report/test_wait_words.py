"""Words on waiting where nothing is planted either way."""

from __future__ import annotations

from orchardsim.report.fit.words import wait_sentences
from orchardsim.results.next import WaitAnswer, WaitRow


def row(years: int, mean: float, shares: tuple[float, float]) -> WaitRow:
    return WaitRow(years, mean, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, shares)


def test_no_verdict_on_waiting_where_nothing_is_planted_either_way():
    nothing = WaitAnswer(("0.9 m", "plant nothing"), (row(0, 0.0, (0, 1)), row(2, -1e-9, (0, 1))), 100, 20, "USD")
    assert wait_sentences(nothing)[0].startswith("Nothing is planted either way")
    planted = WaitAnswer(("0.9 m", "plant nothing"), (row(0, 9e4, (1, 0)), row(2, -5e3, (1, 0))), 100, 20, "USD")
    assert wait_sentences(planted)[0].startswith("Waiting does not pay")
