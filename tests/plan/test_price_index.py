"""The catalogue's money in the year of the plan: published indices, and plans that state another year."""

from __future__ import annotations

import pytest

from orchardsim.core.errors import InputError
from orchardsim.core.units import ACRE
from orchardsim.plan import load_plan
from orchardsim.plan.price_index import factor, index_names, index_value
from orchardsim.plan.raw import catalogue_file

from .examples import changed


@pytest.mark.parametrize(("year", "times"), [(2005, 1.606), (2011, 1.395), (1998 + 2, 1.822), (2016, 1.307)])
def test_consumer_prices_to_2024(year, times):
    """Consumer Price Index, all urban consumers, annual means (Bureau of Labor Statistics): 313.7 in 2024."""
    assert factor("consumer", year, 2024) == pytest.approx(times, abs=5e-4)


def test_wages_and_machines_to_2024():
    """Hourly minimum of New York 16.95 in 2023 and 17.80 in 2024 (read in the press); producer prices of farm machinery
    258.0 in 2021 and 316.4 in 2023 (WPU111), and consumer prices from there on."""
    assert factor("wages", 2023, 2024) == pytest.approx(17.80 / 16.95)
    assert factor("machinery", 2021, 2024) == pytest.approx(316.4 / 258.0 * 313.7 / 304.7)
    assert factor("consumer", 2025, 2027) == pytest.approx(1.023**2)
    assert factor("none", 2005, 2024) == 1.0


def test_indices_say_where_they_are_from_and_run_without_gaps():
    for name in index_names()[:-1]:
        table = catalogue_file("price_index.toml")["index"][name]
        assert table["source"] and table["status"] and table["unit"]
        years = sorted(map(int, table["values"]))
        assert years == list(range(years[0], years[-1] + 1))
        assert all(value > 0 for value in table["values"].values())
    with pytest.raises(ValueError, match="1999"):
        index_value("consumer", 1999)


def test_a_plan_gets_the_catalogues_money_in_its_own_year_and_is_told_so():
    """Rent of 337 dollars an acre of 2005: 541.30 in 2024, 555.45 in 2025; fruit keeps its price."""
    now, later = load_plan(changed()), load_plan(changed(("price_year", 2025)))
    assert now.costs.land_charge * ACRE == pytest.approx(337 * 313.7 / 195.3)
    assert later.costs.land_charge * ACRE == pytest.approx(337 * 321.9 / 195.3)
    assert later.costs.wage == pytest.approx(now.costs.wage * 18.83 / 17.80)
    assert later.market.fruit["Gala"] == now.market.fruit["Gala"]
    told = {each.key: each for each in later.assumptions}["costs.land_charge"]
    assert "337 of 2005 times 1.648 by the consumer index to 2025" in told.source
    assert told.status == "derived"


def test_what_a_plan_states_stays_as_it_is():
    plan = load_plan(changed(("price_year", 2015), ("costs.land_charge", "500 USD/acre/year")))
    assert plan.costs.land_charge * ACRE == pytest.approx(500)


def test_a_year_before_the_indices_is_refused():
    with pytest.raises(InputError, match="price_year: found 1995"):
        load_plan(changed(("price_year", 1995)))


def test_sizes_of_a_price_by_count_are_counted():
    with pytest.raises(InputError, match=r"Gala\.size_price: found 2 values, allowed 11"):
        load_plan(changed(("market.fruit.Gala.size_price", [1.0, 1.0])))
