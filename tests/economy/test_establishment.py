"""What a planting costs before it bears: quantities by geometry, published totals, the order of payments."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from orchardsim.core.geometry import Geometry
from orchardsim.core.support import SupportDesign, bill_of_materials
from orchardsim.core.units import ACRE, FOOT
from orchardsim.economy.blocks import BlockMoney, Outlay, credit_shortfall, establishment_schedule, support_cost
from tests.economy.sample_farm import block, catalogue, costs, finance, market, tree_price


def acres(
    area: float, trees_per_acre: float, row_spacing: float, support: str, price: float, height: float = 3.0
) -> BlockMoney:
    """A block of whole acres in rows of 500 ft."""
    planted, length = area * ACRE, 500 * FOOT
    rows, trees = planted / row_spacing / length, trees_per_acre * area
    geometry = Geometry(rows, trees / rows, trees, row_spacing, length * rows / trees)
    bill = bill_of_materials(SupportDesign(), rows, length, trees, support)
    hours = trees / 80
    return BlockMoney("block", geometry, "Gala", price, planting_hours=hours, support=bill, support_height=height)


def by_item(outlays: list[Outlay]) -> dict[str, float]:
    return {name: sum(each.amount for each in outlays if each.item == name) for name in {each.item for each in outlays}}


def cost_per_acre(each: BlockMoney) -> float:
    total = sum(outlay.amount for outlay in establishment_schedule([each], costs(), finance()))
    return total / (each.geometry.planted_area / ACRE)


def test_close_planting_on_wires_costs_several_times_more() -> None:
    """Michigan State University 2025 cost study as reported in the press: 26,578 dollars per acre on a trellis against
    7,676 semi-dwarf without; catalogue costs, 10 acres: within 35 % of each and at least 2.5 times as dear."""
    price = tree_price("feathered").price + market().fruit["Gala"].royalty
    close = cost_per_acre(acres(10, 1156, 3.5, "wires", price))
    wide = cost_per_acre(acres(10, 220, 5.5, "none", price))
    assert close == pytest.approx(26_578, rel=0.35)
    assert wide == pytest.approx(7_676, rel=0.35)
    assert close / wide > 2.5


def test_posts_wire_and_anchors_per_acre() -> None:
    """Rows of 500 ft, 12 ft apart: 3,630 row feet, 7.26 rows and 14.5 end assemblies an acre (geometry, by hand).

    500 ft at 33.3 ft between posts are 15 spaces, so 14 line posts between the two end posts of a row.
    """
    geometry = acres(1, 1089, 12 * FOOT, "wires", 9.0).geometry
    design = SupportDesign(post_spacing=500 / 15 * FOOT, wires=5)
    pieces = bill_of_materials(design, geometry.rows, geometry.row_length, geometry.trees)
    bill = support_cost(pieces, 3.0, costs())
    rows = 43_560 / 12 / 500
    assert rows == pytest.approx(7.26)
    assert bill["line posts"][0] == pytest.approx(rows * 14)
    assert bill["end posts"][0] == bill["anchors"][0] == pytest.approx(14.52)
    assert bill["wire"][0] / FOOT == pytest.approx(3_630 * 5)
    assert bill["clips"][0] == 1089


def test_post_spacing_that_does_not_divide_the_row_is_not_exceeded() -> None:
    design = SupportDesign(post_spacing=10.0)
    assert bill_of_materials(design, 1, 95.0, 95).line_posts == 9
    assert bill_of_materials(design, 1, 8.0, 8).line_posts == 0


def test_taller_support_costs_more_and_no_support_nothing() -> None:
    plain = block()
    low, high = (sum(money for _, money in support_cost(plain.support, height, costs()).values()) for height in (3, 4))
    assert high > low
    assert support_cost(block(support="none").support, 3.0, costs()) == {}
    stakes = support_cost(block(support="stake").support, 3.0, costs())
    assert stakes == {"stakes": (plain.trees, plain.trees * costs().stake)}


@pytest.mark.parametrize(("area", "feet"), [(1, 835), (10, 2640), (40, 5280)])
def test_fence_round_a_square(area: float, feet: float) -> None:
    """4 sqrt(43,560 A) ft: 835 ft round 1 acre, 2,640 round 10, 5,280 round 40 (geometry, by hand)."""
    square = dataclasses.replace(costs(), fence_shape=1.0, fence=1.0)
    found = by_item(establishment_schedule([acres(area, 500, 4.0, "none", 5.0)], square, finance()))
    assert found["fence"] / FOOT == pytest.approx(feet, abs=0.5)


def test_payments_come_in_order_and_in_their_year() -> None:
    planned = block(
        year_planted=3,
        order_year=1,
        clears_old_orchard=True,
        fallow_years=1,
        support_leaf=2,
        netting=True,
        protection="wind_machine",
    )
    schedule = establishment_schedule([planned], costs(), finance(), years=8)
    when = {(outlay.item, outlay.how.split(":")[0]): (outlay.year, outlay.quarter) for outlay in schedule}
    first = {outlay.item: outlay.year for outlay in reversed(schedule)}
    assert first["old_orchard_removal"] == 1
    assert first["site_preparation"] == 2
    assert when["trees", "deposit"] == (1, 0)
    assert when["trees", "rest on delivery"] == (3, 0)
    assert first["planting"] == first["irrigation_system"] == first["fence"] == 3
    assert first["support"] == 4
    assert when["protection_equipment", "nets"][0] == 4
    times = [(outlay.year, outlay.quarter) for outlay in schedule]
    assert times == sorted(times)
    deposit = next(outlay for outlay in schedule if outlay.how.startswith("deposit"))
    assert deposit.amount == pytest.approx(0.3 * planned.geometry.trees * 9.0)


def test_an_order_before_the_plan_is_paid_in_year_zero() -> None:
    schedule = establishment_schedule([block(order_year=-2)], costs(), finance())
    assert sum(outlay.amount for outlay in schedule if outlay.item == "trees" and outlay.year == 0) == pytest.approx(
        9.0 * block().geometry.trees
    )


def test_an_established_block_costs_nothing_to_establish() -> None:
    assert establishment_schedule([block(year_planted=-8)], costs(), finance()) == []


def test_machines_follow_the_row_width_and_wear_out() -> None:
    c = dataclasses.replace(costs(), machines=1000.0, narrow_machines=500.0, machine_life=6.0)
    narrow = establishment_schedule([block(row_spacing=3.5)], c, finance(), years=14)
    years = [outlay.year for outlay in narrow if outlay.item == "machines"]
    assert sorted(years) == [0, 0, 6, 6, 12, 12]
    wide = establishment_schedule([block(row_spacing=6.0)], c, finance(), years=14)
    assert by_item(wide)["machines"] == 3000.0


def test_credit_line_below_the_need_is_noticed() -> None:
    schedule = establishment_schedule([block()], costs(), finance())
    need = sum(outlay.amount for outlay in schedule if outlay.year == 0)
    assert credit_shortfall(schedule, finance()) is None
    assert credit_shortfall(schedule, finance(credit_line=need + 1)) is None
    short = credit_shortfall(schedule, finance(credit_line=need - 500, opening_cash=100.0))
    assert short is not None
    assert (short[0], round(short[1], 6)) == (0, 400.0)


def test_double_area_doubles_all_but_the_fence() -> None:
    one, two = (
        by_item(establishment_schedule([acres(area, 1000, 3.5, "wires", 9.0)], costs(), finance())) for area in (5, 10)
    )
    for item, amount in one.items():
        assert two[item] == pytest.approx(amount * (np.sqrt(2) if item == "fence" else 2), rel=1e-9)


def test_every_catalogue_tree_and_cultivar_has_a_price() -> None:
    """The crab pollinizer alone sells no fruit."""
    assert set(catalogue("tree_grades.toml")) <= set(catalogue("costs.toml")["tree_price"])
    assert set(catalogue("cultivars.toml")) - {"crab"} == set(market().fruit)


def test_what_covers_trees_goes_by_planted_area_what_covers_land_by_gross() -> None:
    c, each = costs(), block(netting=True, protection="heaters", clears_old_orchard=True)
    planted, gross = each.geometry.planted_area, each.geometry.gross_area
    found = by_item(establishment_schedule([each], c, finance()))
    assert found["protection_equipment"] == pytest.approx((c.net + c.heaters) * planted)
    assert found["irrigation_system"] == pytest.approx(c.irrigation_area * planted + c.irrigation_source)
    assert found["site_preparation"] == pytest.approx(c.site_preparation * gross)
    assert found["old_orchard_removal"] == pytest.approx(c.old_orchard_removal * gross)
