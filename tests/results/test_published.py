"""A close planting beside published budgets, by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from orchardsim.core.units import ACRE, BUSHEL
from orchardsim.report.run.published import published_gap, published_lines
from orchardsim.report.run_formats import RunFormats
from orchardsim.results.findings import findings_bytes, read_findings
from orchardsim.results.published import beside_published
from tests.results.invented_run import invented_dataset


@pytest.fixture
def run():
    """All years alike: 800 bushels an acre; sales 9,000, packing 3,000, picking 2,000, other costs 2,500."""
    dataset = invented_dataset()
    labels = [str(label) for label in dataset["block"].values if str(label) != "shared"]
    area = dataset["planted_area"].sel(block=labels)
    dataset["harvested_mass"].loc[{"block": labels}] = (800 * BUSHEL * area / ACRE).broadcast_like(
        dataset["harvested_mass"].sel(block=labels)
    )
    dataset["ledger"][:] = 0.0
    acres = float(area.sum()) / ACRE
    for name, amount in {
        "fresh_sales": 9000, "packing_and_storage": -3000, "picking": -2000, "materials": -2500
    }.items():  # fmt: skip
        dataset["ledger"].loc[{"ledger_item": name, "block": labels[0]}] = amount * acres
    dataset["establishment_cost"][:] = 20_000 * acres
    dataset["irr"][:], dataset["payback_year"][:] = 0.05, 10.0
    return dataset


def test_margin_cost_and_yield_by_hand(run):
    """20,000 an acre over 20 years at 5 %: 0.0802426 of it a year, 1,604.85 (standard annuity tables). Margin 9,000 -
    3,000 - 2,000 - 2,500 - 1,604.85; a bushel brings 5 after picking, so 200 more bushels bring 1,000; full cost
    6,104.85 over 40 bins, at 1,000 bushels 6,604.85 over 50."""
    years = run.sizes["year"]
    share = 0.05 / (1 - 1.05**-years)
    if years == 20:
        assert share == pytest.approx(0.0802426, abs=1e-7)
    capital = 20_000 * share
    found = beside_published(run)
    assert found.bushels == pytest.approx(800)
    assert found.margin == pytest.approx(1500 - capital)
    assert found.margin_at_budget_yield == pytest.approx(2500 - capital)
    assert found.cost == pytest.approx((4500 + capital) / 40)
    assert found.cost_at_budget_yield == pytest.approx((5000 + capital) / 50)
    assert found.net_price == pytest.approx(6000 / 40)
    assert found.within


def test_the_reason_is_told_where_the_middle_lies_outside(run):
    formats = RunFormats.of(run.attrs)
    assert len(published_lines(run, formats)) == 2
    run["irr"][:], run["payback_year"][:] = -np.inf, np.inf
    said = published_lines(run, formats)
    assert "IRR none" in said[1] and "not paid back" in said[1]
    assert "800 bushels an acre; budgets count on 1,000 to 1,200" in said[2]
    # 1,000 bushels of 42 lb (19.05 kg) an acre (0.40469 ha) are 47.1 t/ha
    metric = published_lines(run, dataclasses.replace(formats, system="metric"))
    assert "budgets count on 47 to 56" in metric[2] and "acre" not in " ".join(metric)
    run["harvested_mass"][:] *= 1.5
    assert "a bin of 20 bushels costs" in published_lines(run, formats)[2]
    run["irr"][:] = 0.15
    assert "4.0 points above" in published_lines(run, formats)[1]


def test_first_screens_tell_the_gap_in_one_sentence(run, tmp_path):
    """The yields and the cost are those worked out by hand above; what a comparison keeps of it comes back whole."""
    formats, within = RunFormats.of(run.attrs), beside_published(run)
    assert published_gap({"A": within, "B": None}, formats).endswith("1,000-1,200 bushels an acre; here A lies within.")
    assert published_gap({"A": None}, formats) == ""
    run["payback_year"][:] = np.inf
    poor = beside_published(run)
    assert poor is not None
    assert published_gap({"A": poor, "B": within}, formats).endswith("here A picks 800, B lies within.")
    # by hand: fruit that brings 1.0 in the first three mature years and 0.8 in the last three brings a fifth less
    falling = dataclasses.replace(poor, price_change=-0.2)
    year = int(falling.first_mature_year)
    told = published_gap({"A": falling}, formats)
    assert told.endswith(f"here A picks 800 and its fresh price ends 20 % below year {year}'s.")
    run["harvested_mass"][:] *= 1.5
    dear = published_gap({"the middle": beside_published(run)}, formats)
    assert "here the middle picks 1,200 and has " in dear and dear.endswith(" a bin to pay before packing.")
    kept = tmp_path / "found.npz"
    kept.write_bytes(findings_bytes(poor))
    assert read_findings(kept) == poor


def test_other_money_and_wide_plantings_are_left_out(run):
    wide = run.copy(deep=True)
    wide["trees_planted"][:] = 1
    assert beside_published(wide) is None
    run.attrs["currency"] = "EUR"
    assert beside_published(run) is None
