"""What summary.json says, against sums by hand and the rules for values that do not exist."""

from __future__ import annotations

import json

import numpy as np
import pytest

from orchardsim.results import cumulative_yield, dump_summary, headlines, summarize, summary_document, yield_by_leaf
from orchardsim.results.summary import summary_so_far
from orchardsim.results.written import number
from tests.results.invented_run import invented_arrays, invented_dataset


@pytest.fixture(scope="module")
def dataset():
    return invented_dataset(trials=60)


def test_yield_by_leaf_by_hand(dataset):
    arrays, _ = invented_arrays(trials=60)
    # Blocks of 0.8 ha planted in year 0 and 2.0 ha planted in year 2: leaf 6 is year 5 of one and year 7 of the other.
    home, north = arrays["harvested_mass"][:, 5, 0], arrays["harvested_mass"][:, 7, 1]
    farm = yield_by_leaf(dataset, "farm")
    column = list(farm.leaves).index(6)
    assert farm.values[:, column] == pytest.approx((home + north) / 2.8, rel=1e-12)
    assert farm.years[column] == (5, 7)
    assert yield_by_leaf(dataset, "north").values[:, 5] == pytest.approx(north / 2.0, rel=1e-12)
    # Only the older block reaches leaf 20 within 20 years.
    assert farm.area[-1] == pytest.approx(8000.0)
    five = cumulative_yield(farm, 5)
    assert five == pytest.approx(
        (arrays["harvested_mass"][:, 0:5, 0].sum(1) + arrays["harvested_mass"][:, 2:7, 1].sum(1)) / 2.8, rel=1e-12
    )


def test_no_cumulative_yield_where_a_leaf_is_outside_the_run():
    old = invented_dataset(trials=5, planting_years=(-20,))
    assert cumulative_yield(yield_by_leaf(old, "home"), 5) is None
    short = invented_dataset(trials=5, years=6, planting_years=(0, 3))
    assert cumulative_yield(yield_by_leaf(short, "home"), 5) is not None
    assert cumulative_yield(yield_by_leaf(short, "farm"), 5) is None


def test_what_is_said_so_far_are_numbers_of_the_whole_summary(dataset):
    def held(part, whole):
        for key, value in part.items():
            held(value, whole[key]) if isinstance(value, dict) else None
            assert isinstance(value, dict) or value == whole[key], key

    found = summary_so_far(dataset)
    held(found, summary_document(dataset))
    assert {"npv", "peak_borrowing", "payback_year", "yield_per_area_by_leaf"} == set(found["headline"])


def test_every_headline_number_has_points_worst_tenth_and_errors(dataset):
    document = summary_document(dataset)
    found = document["headline"]
    for name in (
        "yield_per_area_by_leaf", "cumulative_yield_to_leaf_5", "cumulative_yield_to_leaf_10", "trees_lost",
        "trees_replanted", "net_cash_flow_by_year", "npv", "npv_without_remaining_value", "irr", "payback_year",
        "peak_borrowing", "peak_borrowing_year", "equivalent_annual_annuity", "irr_without_remaining_value",
        "discounted_payback_year", "negative_years", "debt_service_cover_by_year", "household_draw_bearable",
        "break_even_price",
    ):  # fmt: skip
        assert name in found
    for headline in headlines(dataset):
        entry = found
        for step in headline.path:
            entry = entry[step]
        wanted = {"p5", "p25", "p50", "p75", "p95", "expected_shortfall"}
        assert wanted <= set(entry)
        assert wanted <= set(entry["standard_error"])
        assert entry["worst_side"] in ("low", "high")
        assert ("mean" in entry) == headline.has_mean
    assert found["payback_year"]["worst_side"] == "high"
    assert found["peak_borrowing"]["worst_side"] == "high"
    for name in ("trials", "seed", "version", "plan_hash", "weather_method", "baseline_years"):
        assert document[name] not in (None, "")


def test_a_plan_that_never_pays_back_is_never_and_none(dataset):
    ruin = invented_dataset(trials=30, price=0.0)
    document = summary_document(ruin)
    assert document["shares"]["never_pays_back"]["share"] == 1
    assert document["shares"]["no_irr"]["share"] == 1
    # Wilson (1927, JASA 22:209) for 30 of 30: lower end n / (n + z^2) with z = 1.959964.
    assert document["shares"]["no_irr"]["low_95"] == pytest.approx(30 / (30 + 1.959964**2), abs=1e-6)
    assert {document["headline"]["payback_year"][point] for point in ("p5", "p50", "p95", "expected_shortfall")} == {
        "never"
    }
    assert document["headline"]["irr"]["p50"] == "none"
    json.loads(dump_summary(document), parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))


def test_the_summary_is_the_same_text_again_and_has_six_figures(dataset):
    text = dump_summary(summary_document(dataset))
    assert text == dump_summary(summary_document(dataset.copy(deep=True)))

    def check(value):
        if isinstance(value, dict):
            for inner in value.values():
                check(inner)
        elif isinstance(value, float):
            assert value == float(f"{value:.6g}")

    check(json.loads(text)["headline"])


@pytest.mark.parametrize(
    ("value", "written"),
    [(0.123456789, 0.123457), (-98765432.1, -98765400.0), (12.0, 12), (np.nan, None), (-np.inf, "infinite"), (-0.0, 0)],
)
def test_numbers_as_written(value, written):
    assert number(value) == written


def test_summarize_agrees_with_numpy(dataset):
    summary = summarize(dataset)
    crop = dataset["crop_mass"].values
    assert summary["crop_mass"].sel(stat="p25").values == pytest.approx(np.quantile(crop, 0.25, axis=0), rel=1e-12)
    assert summary["crop_mass"].sel(stat="mean").values == pytest.approx(crop.mean(axis=0), rel=1e-12)
    error = summary["crop_mass_standard_error"].sel(stat="mean").values
    assert error == pytest.approx(crop.std(axis=0, ddof=1) / np.sqrt(60), rel=1e-12)
    assert summary["crop_mass"].attrs["units"] == "kg"
    assert summary["ledger"].dims == ("stat", "year", "block", "ledger_item")
    assert np.isnan(summary["payback_year"].sel(stat="mean"))
    assert "trial" not in summary.dims
    assert summary["peak_borrowing"].attrs["worst_side"] == "high"
