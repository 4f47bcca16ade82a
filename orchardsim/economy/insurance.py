"""Crop insurance on a block's own yield history, and public aid for lost trees: both only where the plan asks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import QUARTERS
from orchardsim.core.handover import FarmQuantities
from orchardsim.core.labels import FRESH
from orchardsim.economy.blocks import BlockMoney
from orchardsim.economy.parameters import Insurance, Market

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def approved_yield(production: Array, bearing: Flags, history: Array, terms: Insurance) -> tuple[Array, Flags]:
    """Mean of the block's own past yields, and whether it may be insured.

    Parameters
    ----------
    production : (trial, year) [kg/m2]
    bearing : (year,) bool
        Years whose crop counts as history (leaf at least 1).
    history : (years before,) [kg/m2]
        Yields before year 0, oldest first.

    Returns
    -------
    approved : (trial, year) [kg/m2]
        Known before the year's crop; 0 where the history is too short.
    insurable : (trial, year) bool
        Enough history, and one of its last four crops at least ``minimum_yield``.
    """
    trials, years = production.shape
    approved = np.zeros((trials, years))
    insurable = np.zeros((trials, years), dtype=bool)
    past = np.broadcast_to(history, (trials, len(history)))
    for year in range(years):
        recent = past[:, -terms.history_most :]
        if recent.shape[1] >= terms.history_least:
            approved[:, year] = recent.mean(axis=1)
            insurable[:, year] = past[:, -4:].max(axis=1) >= terms.minimum_yield
        if bearing[year]:
            past = np.concatenate([past, production[:, year : year + 1]], axis=1)
    return approved, insurable


def crop_insurance(
    production: Array, approved: Array, insurable: Flags, price: float, terms: Insurance
) -> tuple[Array, Array]:
    """Premium and indemnity per area [money/m2], both (trial, year).

    Guarantee = coverage x approved yield; indemnity = (guarantee - production, not below 0) x elected price;
    premium = rate x guarantee x elected price x (1 - subsidy).
    """
    guarantee = np.where(insurable, terms.coverage * approved, 0.0)
    elected = terms.price_election * price
    premium = terms.premium_rate * guarantee * elected * (1.0 - terms.premium_subsidy)
    indemnity = np.maximum(guarantee - production, 0.0) * elected
    return premium, indemnity


def tree_loss_aid(lost: Array, standing: Array, cost_per_tree: float, terms: Insurance) -> Array:
    """Aid for tree losses of a year above the threshold, after normal mortality [money].

    Nothing unless losses exceed normal mortality by the threshold share; then ``tree_aid_share`` of the replanting cost
    of the trees above that. Shape after 7 CFR 1416.400 (losses above 15 % after normal mortality, 65 %).

    Parameters
    ----------
    lost, standing : (trial, year) [1]
        Trees that died in the year, and trees that stood at its start.
    cost_per_tree : float [money/tree]
    """
    least = (terms.tree_aid_normal + terms.tree_aid_threshold) * standing
    return np.maximum(lost - least, 0.0) * cost_per_tree * terms.tree_aid_share


def trees_lost(quantities: FarmQuantities, row: int) -> tuple[Array, Array]:
    """Trees that died in each year and trees that stood before, planting included: both (trial, year)."""
    lost = quantities.trees_lost[:, :, row]
    return lost, quantities.trees_alive[:, :, row] + quantities.trees_removed[:, :, row] + lost


def insurance_flows(
    quantities: FarmQuantities,
    blocks: Sequence[BlockMoney],
    market: Market,
    terms: Insurance,
    index: Array,
    year_later: float = 1.0,
) -> tuple[Array, Array]:
    """Insurance and aid of each block by quarter, in (+) and out (-), and what is owed at the end [money].

    The premium falls due in summer, the indemnity and aid in the first quarter of the next year, when they are worth
    ``year_later`` of themselves (:func:`orchardsim.economy.payments.worth_a_year_later`).

    Returns
    -------
    flows : (trial, year, quarter, block)
    owed : (trial, block)
        Indemnity and aid of the last year.
    """
    trials, years, count = quantities.harvested_mass.shape
    flows = np.zeros((trials, years, len(QUARTERS), count))
    owed = np.zeros((trials, count))
    for row, block in enumerate(blocks):
        area = block.geometry.planted_area
        mass = (
            quantities.packed_mass[:, :, row, FRESH].sum(axis=-1)
            if terms.quality
            else quantities.harvested_mass[:, :, row]
        )
        production = mass / area
        received = np.zeros((trials, years))
        bearing = quantities.leaf[:, row] >= 1
        if terms.coverage > 0:
            approved, insurable = approved_yield(production, bearing, np.asarray(block.yield_history) / area, terms)
            price = market.fruit[block.cultivar].wholesale_fancy
            premium, indemnity = crop_insurance(production, approved, insurable & bearing, price, terms)
            flows[:, :, 2, row] -= premium * area * index
            received += indemnity * area * index
        if terms.tree_aid:
            lost, standing = trees_lost(quantities, row)
            received += tree_loss_aid(lost, standing, block.tree_price, terms) * index
        flows[:, 1:, 0, row] += year_later * received[:, :-1]
        owed[:, row] = received[:, -1]
    return flows, owed
