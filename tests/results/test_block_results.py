"""Money, work and fruit of block labels, against sums by hand over invented arrays."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.labels import GRADES, TASKS
from orchardsim.core.ledger_items import ITEM
from orchardsim.results import summary_document
from orchardsim.results.block_results import (
    label_money,
    label_work,
    mature_year,
    mature_years,
    not_shared_out,
    pays_back,
    ratio,
    years_in_full_crop,
)
from tests.results.invented_run import invented_arrays, invented_dataset

TRIALS = 40


@pytest.fixture(scope="module")
def dataset():
    return invented_dataset(trials=TRIALS)


@pytest.fixture(scope="module")
def arrays():
    return invented_arrays(trials=TRIALS)[0]


def test_labels_and_the_farms_own_money_make_up_the_farm(dataset, arrays):
    labels = sum(one.summed[:, -1] for one in label_money(dataset))
    own = not_shared_out(dataset)
    assert own == pytest.approx(np.full(TRIALS, -4000.0 * 20), rel=1e-9)  # the invented farm's overhead, 20 years
    assert labels + own == pytest.approx(arrays["net_cash_flow"].sum((1, 2)), rel=1e-9)


def test_money_of_a_mature_year_by_hand(dataset, arrays):
    # The second block is planted in year 2, so leaf n is year n + 1; its crop is full from about leaf 6 to the end.
    one = label_money(dataset)[1]
    first, last = one.leaves
    assert 5 <= first <= 9 and last == 18
    ledger = arrays["ledger"][:, first + 1 : last + 2, 1]
    sales = ledger[:, :, ITEM["fresh_sales"]].mean(1)
    costs = ledger[:, :, [ITEM["upkeep"], ITEM["picking"]]].sum(2).mean(1)
    assert one.sales == pytest.approx(sales, rel=1e-12)
    assert one.costs == pytest.approx(-costs, rel=1e-12)
    assert one.net == pytest.approx(sales + costs, rel=1e-12)


@pytest.mark.parametrize(
    ("leaf", "crop", "years"),
    [
        (np.arange(-9, 1), np.zeros(10), []),  # never in leaf
        (np.arange(1, 8), np.full(7, 50.0), []),  # too short a course to judge
        (np.arange(0, 20), np.arange(0, 20.0), []),  # a wide tree still climbs at leaf 19
        # Full from leaf 6: over three leaves (5 + 6 + 6) / 3 = 5.67 at leaf 6 is above 0.9 x 6, 5 at leaf 5 is not.
        (np.arange(0, 14), np.clip(np.arange(0, 14.0), 0, 6), list(range(6, 14))),
        (np.arange(25, 37), np.full(12, 40.0), list(range(1, 12))),  # grown: the first leaf has no mean over three
        # Full until it is cut back to half in leaf 12: the last full mean is that of leaves 9 to 11.
        (np.arange(1, 17), np.where(np.arange(1, 17) < 12, 10.0, 5.0), list(range(1, 11))),
    ],
)
def test_years_that_count_as_mature(leaf, crop, years):
    assert mature_years(leaf, crop[None, :]).tolist() == years


def test_payback_by_hand():
    summed = np.array([[0.0, 1.0, 2.0], [-1.0, 0.0, 2.0], [-1.0, 2.0, -0.1]])
    assert pays_back(summed).tolist() == [0.0, 1.0, np.inf]


def test_hours_pack_out_and_fruit_by_hand(dataset, arrays):
    work = label_work(dataset, "north")
    row, picking = work.leaves.index(6), TASKS.index("picking")  # year 7, 2 ha
    hours = arrays["labour_hours"][:, 7, 1]
    assert work.hours[row, picking] == pytest.approx(hours[:, picking].mean() / 2.0, rel=1e-12)
    error = hours.sum(1).std(ddof=1) / np.sqrt(TRIALS) / 2.0
    assert work.hours_error[row] == pytest.approx(error, rel=1e-12)
    # The invented run packs 50 % extra fancy and 25 % fancy of what is picked, in every trial alike.
    assert GRADES[:2] == ("extra_fancy", "fancy")
    assert work.fresh_share[row] == pytest.approx(0.75, rel=1e-12)
    assert work.fresh_share_error[row] == pytest.approx(0.0, abs=1e-9)
    fruit, mass = arrays["fruit_number"][:, 7, 1], arrays["fruit_mass_mean"][:, 7, 1]
    assert work.fruit_mass[row] == pytest.approx((fruit * mass).sum() / fruit.sum(), rel=1e-12)


def test_the_farm_aligns_its_blocks_by_leaf(dataset, arrays):
    # Leaf 3 is year 2 of the block of 0.8 ha and year 4 of the block of 2 ha.
    farm = label_work(dataset, "farm")
    both = arrays["labour_hours"][:, 2, 0] + arrays["labour_hours"][:, 4, 1]
    assert farm.hours[farm.leaves.index(3)] == pytest.approx(both.mean(0) / 2.8, rel=1e-12)
    year = mature_year(dataset)
    one, two = (years_in_full_crop(dataset, label) for label in ("home", "north"))
    hours = (arrays["labour_hours"][:, one, 0].sum(2).mean() + arrays["labour_hours"][:, two, 1].sum(2).mean()) / 2.8
    assert year.hours == pytest.approx(hours, rel=1e-12)
    assert year.picking_hours < year.hours
    assert year.fresh_share == pytest.approx(0.75, rel=1e-12)


def test_error_of_a_ratio_is_that_of_repeated_samples():
    """Spread of the ratio over 4,000 samples of 60 trials against the mean of its estimated error."""
    rng = np.random.default_rng(2)
    below = rng.gamma(4.0, 1.0, (4000, 60))
    above = below * rng.beta(6.0, 4.0, (4000, 60))
    found = np.array([ratio(*rows) for rows in zip(above, below, strict=True)])
    # The spread of 4,000 values is known to 1.1 % (1/sqrt(2 n)); the linearised error runs about 1 % low at 60 trials.
    assert found[:, 1].mean() == pytest.approx(found[:, 0].std(ddof=1), rel=0.05)


def test_no_leaf_no_numbers():
    late = invented_dataset(trials=5, planting_years=(9,), years=6)
    assert mature_year(late) is None
    document = summary_document(late)
    assert document["mature_year"] is None
    assert document["by_block"]["home"]["by_leaf"] == {}
    assert document["by_block"]["home"]["net_per_ha_in_a_mature_year"]["mean"] is None


def test_summary_holds_every_label(dataset):
    document = summary_document(dataset)
    assert list(document["by_block"]) == ["home", "north"]
    home = document["by_block"]["home"]
    paid = np.isfinite(label_money(dataset)[0].payback_year).mean()
    assert home["pays_back"]["share"] == pytest.approx(paid, rel=1e-5)
    leaf = home["by_leaf"]["8"]
    assert sum(leaf["hours_per_ha"].values()) == pytest.approx(leaf["hours_per_ha_of_all_tasks"], rel=1e-4)
