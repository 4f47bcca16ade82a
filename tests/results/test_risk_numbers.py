"""What a run says of its errors, its bank and its household, against counts by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from orchardsim.results import summary_document
from orchardsim.results.risk_numbers import (
    aversion,
    credit_chance,
    errors_of,
    peak_seasons,
    record_draws,
    record_silence,
    trials_for,
    trials_for_chance,
)
from orchardsim.risk.bands import wilson_interval
from tests.results.invented_run import invented_dataset

RECORD = {"record_seasons": 30, "season_run_length": 1.0}


def test_the_record_error_of_the_crop_is_that_of_its_seasons():
    """The invented crop of a year hangs on its season: the error of ten years' mean crop is sd / sqrt(30) of it.

    By the sampling of a mean from a record of 30 independent seasons, checked at 1,500 trials within a quarter.
    """
    run = invented_dataset({**RECORD}, trials=1500, planting_years=(-20,))
    crop = run["crop_load_mean"].sel(block="home").values[:, :10].mean(axis=1)
    draws = record_draws(run)
    assert draws is not None
    found = errors_of(crop, "low", draws)["mean"]
    season = run["harvest_year"].values
    by_season = np.array(
        [run["crop_load_mean"].sel(block="home").values[season == year].mean() for year in range(1991, 2021)]
    )
    assert found.record == pytest.approx(by_season.std() / np.sqrt(30), rel=0.25)
    assert found.dominates == "weather record"
    assert found.monte_carlo == pytest.approx(crop.std(ddof=1) / np.sqrt(1500))


def test_generated_and_replayed_seasons_say_what_cannot_be_said():
    generated = invented_dataset({"record_seasons": 0, "weather_method": "generated_from_normals"}, trials=30)
    assert record_draws(generated) is None
    assert "generated" in record_silence(generated)
    replayed = invented_dataset({"record_seasons": 0, "weather_method": "record_in_order"}, trials=30)
    assert "replay" in record_silence(replayed)
    assert record_silence(invented_dataset(RECORD, trials=30)) == ""
    document = summary_document(generated)
    assert "record_error" not in document["headline"]["npv"]
    assert document["risk"]["record_error"] == record_silence(generated)


def test_both_errors_stand_apart_in_the_summary():
    document = summary_document(invented_dataset(RECORD, trials=200))
    entry = document["headline"]["npv"]
    assert set(entry["record_error"]) == set(entry["standard_error"]) == set(entry["larger_error"])
    for value in entry["record_error"].values():
        assert isinstance(value, (int, float)) or value.startswith("below ")
    needed, error = entry["trials_needed"]["mean"], entry["standard_error"]["mean"]
    # The root law of Monte Carlo: n (error / wanted)^2.
    assert needed == pytest.approx(200 * (error / (0.02 * entry["mean"])) ** 2, abs=1.01)


def test_a_number_that_does_not_vary_has_no_error():
    found = errors_of(np.full(50, 1 / 3) + np.linspace(0, 1e-16, 50), "low", None)
    assert found["mean"].monte_carlo == 0
    assert trials_for(found["mean"], 50) == 2
    assert trials_for(errors_of(np.array([1.0, np.inf, 2.0]), "high", None)["mean"], 3) is None


def test_trials_for_a_chance_by_hand():
    """0.5 needs 0.25 / 0.02^2 = 625; a chance seen as 0 of 1,000 needs few, counted from its interval's upper end."""
    assert trials_for_chance(wilson_interval(50, 100)) == 625
    high = wilson_interval(0, 1000).high
    assert trials_for_chance(wilson_interval(0, 1000)) == math.ceil(high * (1 - high) / 0.02**2)


def test_chance_of_breaking_the_credit_line_by_count():
    run = invented_dataset({"credit_line": 200_000.0}, trials=80)
    beyond = (run["account_balance"].min(("year", "quarter")).values < -200_000.01).sum()
    chance = credit_chance(run)
    assert chance is not None
    assert (chance.count, chance.trials) == (beyond, 80)
    assert credit_chance(invented_dataset(trials=10)) is None
    document = summary_document(run)["risk"]["credit_line"]
    assert document["share_of_trials_that_break_it"] == pytest.approx(beyond / 80, rel=1e-5)


def test_own_wealth_is_stated_or_assumed_and_equivalents_fall_with_aversion():
    run = invented_dataset({"opening_cash": 30_000.0}, trials=60)
    assumed = aversion(run)
    assert not assumed.stated
    assert assumed.own_wealth == pytest.approx(280_000.0)
    rich = aversion(invented_dataset({"own_wealth": 5e6}, trials=60))
    assert rich.stated
    values = [float(one.value) for one in rich.equivalents.values()]
    assert values == sorted(values, reverse=True)
    assert values[0] == pytest.approx(float(run["npv"].mean()))


def test_season_of_the_peak():
    run = invented_dataset(trials=20)
    assert peak_seasons(run) == {"winter": 0.0, "spring": 0.0, "summer": 1.0, "autumn": 0.0}
    run["peak_borrowing"][:] = 0.0
    assert peak_seasons(run) == {}
