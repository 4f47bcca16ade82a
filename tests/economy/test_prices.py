"""Price paths: their spread, persistence, pairing and link with the crop; and who takes which fruit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.core.labels import BOX_COUNTS, GRADES
from orchardsim.core.streams import Streams
from orchardsim.core.units import POUND
from orchardsim.economy.parameters import OUTLETS, Market
from orchardsim.economy.prices import (
    PricePaths,
    Sales,
    base_price,
    draw_price_normals,
    draw_prices,
    log_deviation,
    market_crop_index,
    price_luck,
    price_paths,
    sell,
)
from tests.economy.sample_farm import catalogue, market, still_market

WHOLESALE, JUICE = OUTLETS.index("wholesale"), OUTLETS.index("juice")


def mean_year_paths(m: Market, crop: np.ndarray, cultivars: list[str]) -> PricePaths:
    """Prices where nothing deviates but what the crop of the region, (trial, year), brings."""
    markets = (*OUTLETS, "other regions", *(f"cultivar {name}" for name in cultivars))
    return price_paths(m, dict.fromkeys(markets, np.zeros(crop.shape)), crop, cultivars)


def test_deviation_has_the_stated_mean_spread_and_persistence() -> None:
    """Lognormal with mean 1 and the given CV; AR(1). 20,000 trials of 6 years.

    Standard errors: mean 0.2/sqrt(20000) = 0.0014, CV about 0.001, correlation (1 - 0.6^2)/sqrt(20000) = 0.005;
    about four of each are allowed (chance of a false alarm below 1e-3 in all).
    """
    normals = np.random.default_rng(1).normal(size=(20_000, 6))
    factor = np.exp(log_deviation(normals, 0.2, 0.6))
    for year in (0, 5):
        assert factor[:, year].mean() == pytest.approx(1.0, abs=0.006)
        assert factor[:, year].std() / factor[:, year].mean() == pytest.approx(0.2, abs=0.006)
    logs = np.log(factor)
    assert np.corrcoef(logs[:, 2], logs[:, 3])[0, 1] == pytest.approx(0.6, abs=0.02)
    assert np.corrcoef(logs[:, 2], logs[:, 4])[0, 1] == pytest.approx(0.36, abs=0.03)


def test_the_same_trial_meets_the_same_prices_under_every_plan() -> None:
    m = market()
    crop = np.ones((4, 8))
    both = draw_prices(Streams(9), range(4), m, crop, ["Gala", "Honeycrisp"])
    alone = draw_prices(Streams(9), [2, 3], m, crop[2:, :5], ["Honeycrisp"])
    np.testing.assert_array_equal(alone.price[:, :, 0], both.price[2:, :5, 1])
    other = draw_price_normals(Streams(10), range(4), 8, ["Gala"])
    assert not np.allclose(other["wholesale"], draw_price_normals(Streams(9), range(4), 8, ["Gala"])["wholesale"])


def test_market_crop_mixes_regions() -> None:
    """By hand: weight 0.25 on a region at 0.4, the rest at its mean: 0.25 * 0.4 + 0.75 = 0.85."""
    found = market_crop_index(np.array([[0.4]]), np.array([[0.0]]), 0.25, 0.0)
    assert found[0, 0] == pytest.approx(0.85)


def test_price_flexibility_by_hand() -> None:
    """Flexibility -1.2 and a crop 11.2 % short: 0.888^-1.2 = 1.153 (United States 2012: about +13 %)."""
    m = still_market()
    outlets = dict(m.outlets) | {"wholesale": dataclasses.replace(m.outlets["wholesale"], flexibility=-1.2)}
    m = dataclasses.replace(m, outlets=outlets, regional_weight=1.0)
    found = mean_year_paths(m, np.array([[1.0, 0.888]]), ["Gala"]).price[0, :, 0, WHOLESALE, 0]
    assert found[0] == pytest.approx(m.fruit["Gala"].wholesale_extra_fancy)
    assert found[1] / found[0] == pytest.approx(1.153, abs=5e-4)


def test_short_regional_crops_raise_prices_only_as_far_as_the_region_counts() -> None:
    rng = np.random.default_rng(2)
    crop = np.exp(rng.normal(0, 0.3, (500, 6)))
    correlations = []
    for weight in (0.0, 0.2, 0.9):
        paths = draw_prices(
            Streams(1), range(500), dataclasses.replace(market(), regional_weight=weight), crop, ["Gala"]
        )
        correlations.append(np.corrcoef(crop.ravel(), paths.price[:, :, 0, WHOLESALE, 0].ravel())[0, 1])
    # 3,000 pairs with years correlated within a trial: standard error below 0.03.
    assert abs(correlations[0]) < 0.1
    assert correlations[0] > correlations[1] > correlations[2]
    assert correlations[2] < -0.4


def test_premium_erodes_and_common_fruit_does_not() -> None:
    """By hand: premium over the common price times 0.9 per year."""
    m = still_market()
    dear = m.fruit["Honeycrisp"]
    m = dataclasses.replace(m, fruit=dict(m.fruit) | {"Honeycrisp": dataclasses.replace(dear, premium_erosion=0.1)})
    paths = mean_year_paths(m, np.ones((1, 3)), ["Honeycrisp", "Idared"])
    found = paths.price[0, :, 0, WHOLESALE, 0]
    premium = dear.wholesale_extra_fancy - m.commodity_price
    assert premium > 0
    np.testing.assert_allclose(found, m.commodity_price + premium * 0.9 ** np.arange(3))
    common = paths.price[0, :, 1, WHOLESALE, 0]
    np.testing.assert_allclose(common, common[0])


def test_which_outlet_takes_which_grade() -> None:
    table = base_price(market(), "Gala")
    taken = {
        name: {grade for grade, price in zip(GRADES, row, strict=True) if np.isfinite(price)}
        for name, row in zip(OUTLETS, table, strict=True)
    }
    assert taken["wholesale"] == taken["direct"] == {"extra_fancy", "fancy"}
    assert taken["processing"] == {"extra_fancy", "fancy", "processing"}
    assert taken["juice"] == set(GRADES)


def sold(packed: list[float], m: Market) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    mass = np.array(packed).reshape(1, 1, 1, 4)
    paths = mean_year_paths(m, np.ones((1, 1)), ["Gala"])
    found = sell(mass, paths, m, ["Gala"])
    return found.mass[0, 0, 0], found.revenue[0, 0, 0], found.unsold[0, 0, 0]


def test_surplus_flows_on_at_a_lower_price_by_hand() -> None:
    """1,000 kg extra fancy; the stall takes 300 at the full price and 30 % more (90) at 0.7 of it; 610 go wholesale."""
    m = still_market(direct={"volume": 300.0, "stretch": 0.3, "price_fall": 0.3})
    mass, revenue, unsold = sold([1000.0, 0, 0, 0], m)
    np.testing.assert_allclose(mass, [390, 0, 610, 0, 0])
    gala = m.fruit["Gala"]
    np.testing.assert_allclose(revenue[0], gala.direct * (300 + 90 * 0.7))
    np.testing.assert_allclose(revenue[2], gala.wholesale_extra_fancy * 610)
    assert unsold == 0


def test_limits_all_along_leave_fruit_unsold() -> None:
    tight = {"volume": 100.0, "stretch": 0.0}
    m = still_market(wholesale=tight, processing=tight, juice=tight)
    mass, _, unsold = sold([500.0, 0, 0, 0], m)
    np.testing.assert_allclose(mass, [0, 0, 100, 100, 100])
    assert unsold == pytest.approx(200)


def waiting(packed: list[float], limit: float, **outlets: dict[str, float]) -> Sales:
    """One year's sale where six tenths of the wholesale fruit wait in a store of this limit."""
    m = still_market(**outlets)
    paths = mean_year_paths(m, np.ones((1, 1)), ["Gala"])
    mass = np.array(packed).reshape(1, 1, 1, 4)
    return sell(mass, paths, m, ["Gala"], storage_share=0.6, storage_limit=limit)


def test_what_finds_no_room_in_the_store_is_processed_by_hand() -> None:
    """Of 1,000 kg 600 are to wait; room for 400 leaves 200 for the processor and 800 wholesale, 400 of them stored."""
    found = waiting([1000.0, 0, 0, 0], 400.0)
    np.testing.assert_allclose(found.mass[0, 0, 0], [0, 0, 800, 200, 0])
    assert found.stored.item() == pytest.approx(400)
    assert found.no_room.item() == pytest.approx(200)
    gala = still_market().fruit["Gala"]
    np.testing.assert_allclose(found.revenue[0, 0, 0, 2:4], [800 * gala.wholesale_extra_fancy, 200 * gala.processing])


def test_a_full_store_gives_up_the_cheaper_part_first_by_hand() -> None:
    """Wholesale takes 800 kg at the price and 200 at 0.7 of it; 200 kg too many for the store come off the latter."""
    found = waiting([1000.0, 0, 0, 0], 400.0, wholesale={"volume": 800.0, "stretch": 0.25, "price_fall": 0.3})
    assert found.mass[0, 0, 0, WHOLESALE] == pytest.approx(800)
    assert found.revenue[0, 0, 0, WHOLESALE] == pytest.approx(800 * still_market().fruit["Gala"].wholesale_extra_fancy)


@given(st.lists(st.floats(0, 1e5), min_size=4, max_size=4), st.tuples(st.floats(0, 1e5), st.floats(0, 1e5)))
def test_a_bigger_store_loses_no_money_and_no_fruit(packed: list[float], limits: tuple[float, float]) -> None:
    small, big = (waiting(packed, limit) for limit in sorted(limits))
    assert big.revenue.sum() >= small.revenue.sum() - 1e-6
    for found, limit in ((small, min(limits)), (big, max(limits))):
        assert found.mass.sum() + found.unsold.sum() == pytest.approx(sum(packed), rel=1e-9, abs=1e-9)
        assert found.stored.item() <= limit * (1 + 1e-9)


def test_passes_move_the_wholesale_price_alone() -> None:
    """Nine tenths of the price for the passes picked: wholesale revenue falls by a tenth, nothing else changes."""
    m = still_market(direct={"volume": 100.0, "stretch": 0.0})
    paths = mean_year_paths(m, np.ones((1, 1)), ["Gala"])
    mass = np.array([500.0, 200.0, 100.0, 50.0]).reshape(1, 1, 1, 4)
    plain, late = (sell(mass, paths, m, ["Gala"], relative_price=price) for price in (None, np.full((1, 1, 1), 0.9)))
    np.testing.assert_array_equal(late.mass, plain.mass)
    ratio = late.revenue[0, 0, 0] / np.where(plain.revenue[0, 0, 0] > 0, plain.revenue[0, 0, 0], 1)
    np.testing.assert_allclose(ratio, [1, 0, 0.9, 1, 1])


def test_packers_downgrade_moves_value_not_mass() -> None:
    m = still_market()
    plain = sold([1000.0, 0, 0, 0], m)
    down = sold([1000.0, 0, 0, 0], dataclasses.replace(m, packout_extra=0.25))
    assert down[0].sum() == plain[0].sum()
    gala = m.fruit["Gala"]
    assert down[1][2] == pytest.approx(750 * gala.wholesale_extra_fancy + 250 * gala.wholesale_fancy)


@given(st.lists(st.floats(0, 1e5), min_size=4, max_size=4), st.floats(0, 1e5), st.floats(0, 1), st.floats(0, 1e5))
def test_fruit_is_sold_or_unsold(packed: list[float], volume: float, stretch: float, juice: float) -> None:
    m = still_market(wholesale={"volume": volume, "stretch": stretch}, juice={"volume": juice})
    mass, revenue, unsold = sold(packed, m)
    assert mass.sum() + unsold == pytest.approx(sum(packed), rel=1e-9, abs=1e-9)
    assert (mass >= 0).all()
    assert (revenue >= 0).all()
    assert mass[WHOLESALE] <= volume * (1 + stretch) * (1 + 1e-9)
    assert mass[JUICE] <= juice * (1 + m.outlets["juice"].stretch) * (1 + 1e-9)


def test_no_limit_and_no_stretch_take_all_at_the_full_price() -> None:
    m = still_market(wholesale={"volume": float("inf"), "stretch": 0.0})
    mass, revenue, _ = sold([800.0, 0, 0, 0], m)
    assert mass[WHOLESALE] == 800.0
    assert revenue[WHOLESALE] == pytest.approx(800 * m.fruit["Gala"].wholesale_extra_fancy)


def test_price_trend_compounds() -> None:
    m = dataclasses.replace(still_market(), price_trend=-0.01)
    price = mean_year_paths(m, np.ones((1, 4)), ["Gala"]).price[0, :, 0, WHOLESALE, 0]
    np.testing.assert_allclose(price / price[0], 0.99 ** np.arange(4))


@pytest.mark.parametrize(
    ("cultivar", "low", "high"),
    [
        ("Gala", 18, 26),
        ("Fuji", 18, 24),
        ("Golden Delicious", 22, 28),
        ("Granny Smith", 27, 32),
        ("Red Delicious", 16, 19),
    ],
)
def test_wholesale_prices_are_the_middles_of_the_published_ranges(cultivar: str, low: float, high: float) -> None:
    """Dollars per 40 lb box, USDA Market News of February and March 2019, as reported by Capital Press (read)."""
    price = market().fruit[cultivar].wholesale_extra_fancy
    assert price * 40 * POUND == pytest.approx((low + high) / 2, rel=1e-6)
    assert catalogue("prices.toml")["fruit"][cultivar]["wholesale_extra_fancy"]["status"] == "derived"


def test_fruit_prices_keep_the_order_of_their_sources() -> None:
    """Honeycrisp of 2023-24: 48.45 dollars a box of March 2019 less 34 %, and 0.475 of 1.70 dollars/lb at retail.

    Sources of both beside the entry. Grades: four fifths; no cultivar's juice is dearer than its peelers.
    """
    found = market().fruit
    dear = found["Honeycrisp"].wholesale_extra_fancy * POUND
    assert dear == pytest.approx(48.45 * 0.66 / 40, rel=0.02)
    assert dear == pytest.approx(0.475 * 1.70, rel=0.02)
    for name, fruit in found.items():
        assert fruit.wholesale_fancy == pytest.approx(0.8 * fruit.wholesale_extra_fancy, rel=1e-3), name
        assert fruit.juice < fruit.processing < fruit.wholesale_fancy, name


def test_price_luck_is_free_of_the_crop_and_one_where_prices_stand_still() -> None:
    m = market()
    crop = np.exp(0.3 * np.random.default_rng(5).normal(size=(400, 6)))
    normals = draw_price_normals(Streams(4), range(400), 6, ["Gala"])
    rich, poor = (price_luck(price_paths(m, normals, one, ["Gala"]), m, ["Gala"]) for one in (crop, np.ones_like(crop)))
    np.testing.assert_allclose(rich, poor, rtol=1e-12)
    calm = still_market()
    paths = price_paths(calm, normals, crop, ["Gala"])
    np.testing.assert_allclose(price_luck(paths, calm, ["Gala"]), 1.0, rtol=1e-12)


def test_a_new_planting_takes_nothing_from_what_older_blocks_sell() -> None:
    """What the old block sells where, with a stall, a store and a packer of limited volume, is what it sells alone."""
    m = market()
    outlets = dict(m.outlets)
    for name, volume in (("direct", 9e3), ("wholesale", 3e4), ("processing", 5e3)):
        outlets[name] = dataclasses.replace(outlets[name], volume=volume)
    m = dataclasses.replace(m, outlets=outlets)
    packed = np.random.default_rng(8).uniform(0, 2e4, (5, 3, 2, len(GRADES)))
    names, terms = ["Gala", "Honeycrisp"], {"storage_share": 0.6, "storage_limit": 8e3}
    paths = draw_prices(Streams(2), range(5), m, np.ones((5, 3)), names)
    both = sell(packed, paths, m, names, years_planted=[-9, 2], **terms)
    alone = sell(packed[:, :, :1], paths, m, names[:1], **terms)
    assert (both.mass[:, :, 1] > 0).any(axis=(0, 1)).sum() >= 3 and both.no_room[:, :, 1].any()
    for name in ("mass", "revenue", "stored", "no_room", "unsold"):
        np.testing.assert_allclose(
            getattr(both, name)[:, :, 0], getattr(alone, name)[:, :, 0], rtol=1e-12, err_msg=name
        )
    peers = sell(packed, paths, m, names, **terms)
    np.testing.assert_allclose(both.mass.sum(axis=(2, 3)) + both.unsold.sum(axis=2), packed.sum(axis=(2, 3)))
    np.testing.assert_allclose(both.mass.sum(axis=2), peers.mass.sum(axis=2), err_msg="the farm's sales by outlet")


def test_sales_by_grade_sum_to_sales_by_block() -> None:
    m = market()
    rng = np.random.default_rng(8)
    packed = rng.uniform(0, 4e4, (5, 3, 2, len(GRADES)))
    names = ["Gala", "Honeycrisp"]
    paths = draw_prices(Streams(2), range(5), m, np.ones((5, 3)), names)
    found = sell(packed, paths, m, names)
    np.testing.assert_allclose(found.mass_by_grade.sum(axis=3), found.mass.sum(axis=2), rtol=1e-12)
    np.testing.assert_allclose(found.revenue_by_grade.sum(axis=3), found.revenue.sum(axis=2), rtol=1e-12)
    offered = packed.sum(axis=(2, 3))
    np.testing.assert_allclose(found.mass_by_grade.sum(axis=(2, 3)) + found.unsold.sum(axis=2), offered, rtol=1e-12)


QUOTED: dict[str, list[tuple[float, ...]]] = {
    "Gala": [(30, 30, 29, 25, 23, 21), (18.75, 17.5, 17.5, 17), (23, 21, 19, 17, 17, 16), (20, 19, 19, 18, 17, 17),
             (23.5, 23.5, 23.5, 23, 22, 21)],
    "Honeycrisp": [(50, 50, 48, 35.5, 25), (54.5, 55.5, 55.5, 50.5, 42.5), (53.5, 53.5, 53.5, 48.5)],
    "Fuji": [(35, 35, 35, 27, 25), (25, 25, 25, 21, 17), (22, 22, 20.5, 18, 17)],
    "Granny Smith": [(25, 25, 25, 23, 21, 19), (37, 37, 33, 23, 19, 18), (33, 33, 31.5, 29, 29)],
    "Golden Delicious": [(23, 21, 21, 21, 19, 19), (28, 27, 26, 21, 19, 19), (27, 27, 27, 25, 23.5)],
    "Red Delicious": [(18, 18, 18, 19, 19, 19), (12, 13, 13, 14, 13.5, 17), (21, 21, 21, 19, 17, 16.5)],
}  # fmt: skip
"""Dollars a carton of counts 72, 80, 88, 100, 113 and 125: middles of the quoted ranges of standard-grade tray packs,
Washington, USDA Market News, July 2014 to December 2021 (read in trade newspapers and market reports)."""


@pytest.mark.parametrize("cultivar", QUOTED)
def test_prices_by_size_are_the_means_of_market_quotations(cultivar: str) -> None:
    """Within 0.02, or 0.04 from count 113 on, where few dates quote a price."""
    found = market().fruit[cultivar].size_price
    for place, count in enumerate(("72", "80", "88", "100", "113", "125")):
        ratios = [row[place] / row[3] for row in QUOTED[cultivar] if place < len(row)]
        if ratios:
            slack = 0.02 if place < 4 else 0.04
            assert found[BOX_COUNTS.index(count)] == pytest.approx(np.mean(ratios), abs=slack), count


def test_prices_move_from_year_to_year_as_those_of_the_united_states() -> None:
    """Producer prices of 1991 to 2018 in real money (FAOSTAT): detrended standard deviation of the log 0.22, of its
    yearly change 0.24, lag-1 correlation 0.37, correlation with the national crop -0.64. All apples are the outlet's
    price without a cultivar's own part; a sample of 28 years leaves the correlations open by some 0.15."""
    m = market()
    m = dataclasses.replace(m, fruit={"Gala": dataclasses.replace(m.fruit["Gala"], price_cv=0.0, premium_erosion=0.0)})
    region = np.exp(0.3 * np.random.default_rng(3).normal(size=(2000, 28)))
    paths = draw_prices(Streams(4), range(2000), m, region, ["Gala"])
    logs = np.log(paths.price[:, :, 0, WHOLESALE, 0])
    centred = logs - logs.mean(axis=1, keepdims=True)
    assert logs.std(axis=1).mean() == pytest.approx(0.22, abs=0.03)
    assert 0.17 <= np.diff(logs, axis=1).std() <= 0.28
    assert 0.2 <= (centred[:, 1:] * centred[:, :-1]).mean() / (centred**2).mean() <= 0.6
    crop = np.log(paths.market_crop)
    assert np.corrcoef(crop.ravel(), logs.ravel())[0, 1] == pytest.approx(-0.64, abs=0.1)
