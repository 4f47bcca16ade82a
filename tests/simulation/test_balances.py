"""The books must notice what they are there to notice: every check is shown to pass and to fail."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.errors import IdentityError
from orchardsim.simulation.balances import check_flow, check_ledger, check_trees
from orchardsim.simulation.totals import Totals


def test_tree_book_is_exact():
    alive = np.array([[100.0, 50.0]])
    kept = dict(planted=np.array([[0.0, 5.0]]), replanted=np.array([[2.0, 0.0]]), removed=np.zeros((1, 2)))
    check_trees(alive, lost=np.array([[3.0, 1.0]]), alive_after=np.array([[99.0, 54.0]]), **kept)
    with pytest.raises(IdentityError, match="1 trees"):
        check_trees(alive, lost=np.array([[3.0, 1.0]]), alive_after=np.array([[98.0, 54.0]]), **kept)


def test_flow_book_allows_rounding_and_no_more():
    source = np.array([1000.0, 0.0])
    check_flow("fruit", source, {"picked": np.array([900.0, 0.0]), "dropped": np.array([100.001, 0.0])}, 1e-5)
    with pytest.raises(IdentityError, match="fruit"):
        check_flow("fruit", source, {"picked": np.array([900.0, 0.0]), "dropped": np.array([99.0, 0.0])}, 1e-5)


def test_ledger_book():
    items = np.array([[1e6, -4e5, 0.1]])
    check_ledger(items, items.sum(axis=-1))
    with pytest.raises(IdentityError):
        check_ledger(items, items.sum(axis=-1) + 0.01)


def test_totals_are_held_to_the_variable_table():
    totals = Totals(2, 3, ("a", "b"))
    totals.check_bounds()
    totals.put("trees_alive", slice(0, 2), 1, slice(0, 1), 10.5)
    with pytest.raises(IdentityError, match="part of a tree"):
        totals.check_bounds()
    totals.put("trees_alive", slice(0, 2), 1, slice(0, 1), -1.0)
    with pytest.raises(IdentityError, match="below its bound"):
        totals.check_bounds()
    totals.put("trees_alive", slice(0, 2), 1, slice(0, 1), np.nan)
    with pytest.raises(IdentityError, match="missing"):
        totals.check_bounds()
