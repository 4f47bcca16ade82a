"""Crop insurance and tree-loss aid, worked by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.core.units import ACRE, BUSHEL
from orchardsim.economy.insurance import approved_yield, crop_insurance, insurance_flows, tree_loss_aid, trees_lost
from tests.economy.sample_farm import block, insurance, market, quantities

TERMS = insurance(coverage=0.75, price_election=1.0, premium_rate=0.1, premium_subsidy=0.5, minimum_yield=2.0)


def test_catalogue_terms_are_the_published_ones() -> None:
    """New York crop-insurance slides: 150 bu/acre in one of the last four years; 7 CFR 1416.400: 15 %, 65 % (read)."""
    terms = insurance()
    assert terms.minimum_yield == pytest.approx(150 * BUSHEL / ACRE, rel=1e-6)
    assert (terms.tree_aid_threshold, terms.tree_aid_share) == (0.15, 0.65)


def test_young_blocks_are_bare() -> None:
    """Yields 0, 1, 2, 3, 4 from leaf 1 on: four crops known in year 4, mean 1.5; the best of the last four is 3."""
    production = np.array([[0.0, 1.0, 2.0, 3.0, 4.0, 5.0]])
    approved, insurable = approved_yield(production, np.ones(6, bool), np.array([]), TERMS)
    np.testing.assert_array_equal(insurable, [[False] * 4 + [True] * 2])
    np.testing.assert_allclose(approved[0, 4:], [1.5, 2.0])


def test_low_yields_are_not_insurable() -> None:
    _, insurable = approved_yield(np.full((1, 6), 1.9), np.ones(6, bool), np.full(5, 1.9), TERMS)
    assert not insurable.any()


def test_history_before_the_plan_counts_and_old_crops_drop_out() -> None:
    terms = insurance(coverage=0.75, minimum_yield=1.0, history_most=4)
    approved, insurable = approved_yield(np.full((1, 3), 8.0), np.ones(3, bool), np.array([9.0, 2, 2, 2, 2]), terms)
    np.testing.assert_allclose(approved, [[2.0, 3.5, 5.0]])
    assert insurable.all()


def test_premium_and_indemnity_by_hand() -> None:
    """Approved 4, guarantee 3 kg/m2 at 0.5 money/kg: premium 0.1 x 1.5 x 0.5 = 0.075; crop 1 pays 2 x 0.5 = 1."""
    premium, indemnity = crop_insurance(np.array([[1.0, 3.5]]), np.full((1, 2), 4.0), np.ones((1, 2), bool), 0.5, TERMS)
    np.testing.assert_allclose(premium, 0.075)
    np.testing.assert_allclose(indemnity, [[1.0, 0.0]])
    premium, indemnity = crop_insurance(np.zeros((1, 1)), np.full((1, 1), 4.0), np.zeros((1, 1), bool), 0.5, TERMS)
    assert premium[0, 0] == indemnity[0, 0] == 0


@given(st.floats(0, 10), st.floats(0, 10), st.floats(0, 5))
def test_insurance_never_leaves_less_fruit_money_than_the_guarantee(crop: float, approved: float, price: float) -> None:
    _, indemnity = crop_insurance(np.array([[crop]]), np.array([[approved]]), np.ones((1, 1), bool), price, TERMS)
    assert crop * price + indemnity[0, 0] >= 0.75 * approved * price * (1 - 1e-12)


def test_tree_aid_by_hand() -> None:
    """1,000 trees, 250 lost: 250 - 30 normal - 150 threshold = 70 trees x 10 x 0.65 = 455; 180 lost: nothing."""
    found = tree_loss_aid(np.array([[250.0, 180.0]]), np.full((1, 2), 1000.0), 10.0, insurance())
    np.testing.assert_allclose(found, [[455.0, 0.0]])


def test_lost_trees_by_hand() -> None:
    """3,000 planted, 100 die; next year 50 replanted, 140 die, the 10 left over are grubbed."""
    each = block()
    q = quantities([each], years=2, trials=1)
    history = {"trees_alive": [2900.0, 2800.0], "trees_lost": [100.0, 140.0], "trees_removed": [0.0, 10.0]}
    q = dataclasses.replace(q, **{name: np.array(values).reshape(1, 2, 1) for name, values in history.items()})
    lost, standing = trees_lost(q, 0)
    np.testing.assert_array_equal(lost, [[100.0, 140.0]])
    np.testing.assert_array_equal(standing, [[3000.0, 2950.0]])


def test_losses_before_year_0_bring_no_tree_aid() -> None:
    """Half of an old block's places stand empty at the start; no tree dies in the run, so no aid is paid."""
    old = block(year_planted=-20)
    q = quantities([old], trials=1)
    q = dataclasses.replace(q, trees_alive=0.5 * q.trees_alive, trees_lost=0 * q.trees_lost)
    terms = insurance(coverage=0.0, tree_aid=True)
    flows, owed = insurance_flows(q, [old], market(), terms, np.ones(20))
    assert not flows.any() and not owed.any()


def test_the_last_years_indemnity_is_owed() -> None:
    """A crop of nothing in the last year: the guarantee is paid after the end."""
    each, terms = block(), dataclasses.replace(TERMS, minimum_yield=0.5)
    q = quantities([each], years=10, trials=2)
    packed = q.packed_mass.copy()
    packed[:, -1] = 0.0
    flows, owed = insurance_flows(dataclasses.replace(q, packed_mass=packed), [each], market(), terms, np.ones(10))
    premium = -flows[:, -1, 2, 0]
    # Premium = rate x (1 - subsidy) x guarantee, and the whole guarantee is lost.
    np.testing.assert_allclose(owed[:, 0], premium / (0.1 * 0.5), rtol=1e-9)
    assert (owed > 0).all()
