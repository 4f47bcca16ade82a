"""The first screen: short, narrow, and it says what is not the site's own, what never binds, and who pays."""

from __future__ import annotations

import json

import numpy as np
import pytest

from orchardsim.cli.main import main
from orchardsim.report import first_screen
from orchardsim.report.cautions import CAUTION_LINE, CAUTIONS
from orchardsim.report.run.first_screen import headline_lines, notices, part_rows
from orchardsim.report.run.risk import AVERSION_WORDS, aversion_cells, errors_cells
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import shares, summary_document
from orchardsim.results.notices import deadliest_cause, loose_targets, price_share, unpicked_share
from tests.results.invented_run import invented_dataset
from tests.simulation.small_plan import CONFIGS

CLIMATE = {
    "record": "somewhere.csv",
    "record_latitude": 40.0,
    "site_latitude": 44.5,
    "borrowed": True,
    "rain": False,
}


def told(**attrs):
    return {name: json.dumps(value) for name, value in attrs.items()}


def test_the_demo_fits_a_screen_and_starts_by_saying_that_it_is_invented(capsys):
    assert main(["run", str(CONFIGS / "demo.toml"), "--trials", "8", "--jobs", "1"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Invented farm and sizes")
    assert len(lines) <= 24 and max(map(len, lines)) <= 80
    assert lines[-1] == CAUTION_LINE
    assert any(line.startswith("Climate borrowed") for line in lines)
    assert any(line.startswith("Price of") and "of fresh sales" in line for line in lines)
    assert any(line.startswith("Crop targets reached in under 5 %") for line in lines)


def test_climate_and_missing_rain_are_told_before_any_number():
    dataset = invented_dataset(told(climate=CLIMATE))
    second, first = notices(dataset, RunFormats.of(dataset.attrs))[:2]
    assert first == "Climate borrowed: somewhere.csv, 40° N; the site is at 44.5° N."
    assert second.startswith("Water stress is not computed")
    screen = first_screen(dataset)
    assert screen.index("Water stress") < screen.index("low (1 in 20)")


def test_the_way_seasons_are_drawn_is_said_in_words():
    screen = first_screen(invented_dataset(trials=10))
    assert "Seasons: whole biological years of the record, 1991 to 2020" in screen
    assert "years_independent" not in screen


def test_a_target_that_never_binds_is_told_with_what_was_carried():
    dataset = invented_dataset(told(crop_load_targets={"home": [9.0], "north": [1.0]}), planting_years=(0, 2))
    dataset["crop_load_mean"].loc[{"block": "home"}] = 4.5
    dataset["crop_load_mean"].loc[{"block": "north"}] = 1.0
    (one,) = loose_targets(dataset)
    assert (one.label, one.target, one.carried) == ("home", 9.0, 4.5)
    assert any("home 4.5 of 9" in line for line in notices(dataset, RunFormats.of(dataset.attrs)))
    dataset["crop_load_mean"].loc[{"block": "home", "year": [9, 10]}] = 8.9  # two of eighteen crops from leaf 3 on
    assert loose_targets(dataset) == []


def test_trees_that_bear_by_turns_are_told():
    dataset = invented_dataset(planting_years=(0, 2))
    dataset["biennial_index"][:] = 0.2
    formats = RunFormats.of(dataset.attrs)
    assert not any("by turns" in line for line in notices(dataset, formats))
    dataset["biennial_index"].loc[{"block": "home"}] = 0.9
    (said,) = [line for line in notices(dataset, formats) if "by turns" in line]
    assert said.endswith("home 0.90.") and "north" not in said


def test_fruit_left_unpicked_and_work_undone_are_told():
    dataset = invented_dataset()
    assert unpicked_share(dataset) == 0.0
    dataset["labour_undone"].loc[{"task": "picking"}] = dataset["labour_hours"].sel(task="picking") / 9.0
    dataset["harvested_mass"][:] = 0.9 * dataset["crop_mass"]
    assert unpicked_share(dataset) == pytest.approx(0.1)
    lines = " ".join(notices(dataset, RunFormats.of(dataset.attrs)))
    assert "want of people, of the hours asked: picking 10 %" in lines and "unpicked: 10 %" in lines


def test_the_weight_of_one_price_by_hand():
    """Two labels that sell 300 and 100 in year 0: three quarters, and a tenth of 300 off NPV."""
    dataset = invented_dataset(told(cultivars={"home": "Gala", "north": "Fuji"}), planting_years=(0, 0))
    dataset["ledger"][:] = 0.0
    dataset["ledger"].loc[{"block": "home", "year": 0, "ledger_item": "fresh_sales"}] = 300.0
    dataset["ledger"].loc[{"block": "north", "year": 0, "ledger_item": "direct_sales"}] = 100.0
    found = price_share(dataset)
    assert (found.cultivar, found.share, found.lost) == ("Gala", pytest.approx(0.75), pytest.approx(30.0))


def test_new_planting_and_standing_blocks_stand_apart():
    dataset = invented_dataset(planting_years=(-20, 1))
    formats = RunFormats.of(dataset.attrs)
    rows = {row.name: row.band[1] for row in part_rows(dataset, formats)}
    assert set(rows) == {"NPV of new planting", "NPV of standing blocks"}
    assert max(map(len, headline_lines(dataset, formats))) <= 80
    new = float(np.quantile(dataset["npv_by_block"].sel(block="north").values, 0.5))
    assert rows["NPV of new planting"] == formats.money(new)
    assert part_rows(invented_dataset(planting_years=(0, 1)), formats) == []


def test_payback_beside_standing_blocks_is_the_new_plantings():
    plan = {"resolved": {"market": {"outlets": {"direct": {"volume": 500.0}, "wholesale": {"volume": "infinite"}}}}}
    dataset = invented_dataset(told(plan=plan), planting_years=(-20, 1))
    formats = RunFormats.of(dataset.attrs)
    text = first_screen(dataset)
    assert "new planting's payback" in text and "new planting's IRR" in text and "the plan pays" not in text
    assert [line for line in notices(dataset, formats) if "direct" in line and "new fruit" in line]
    alone = first_screen(invented_dataset(told(plan=plan), planting_years=(0, 1)))
    assert "new planting" not in alone and "Older blocks" not in alone


def test_nothing_invested_has_no_number_of_return_anywhere():
    dataset = invented_dataset(planting_years=(-20,))
    for name in ("irr", "irr_without_remaining_value", "payback_year", "discounted_payback_year"):
        dataset[name][:] = np.nan
    text = first_screen(dataset)
    assert "invests nothing" in text and "payback year  " not in text
    lines = headline_lines(dataset, RunFormats.of(dataset.attrs))
    assert not any(line.startswith(("IRR", "payback")) for line in lines)
    document = summary_document(dataset)
    assert set(shares(dataset)) == {"npv_below_zero"}
    assert not {"irr", "payback_year", "discounted_payback_year"} & set(document["headline"])
    assert "pays_back" not in document["by_block"]["home"]


def test_the_words_are_our_own_and_the_cautions_hold_what_can_hurt():
    assert list(AVERSION_WORDS.values()) == ["none", "slight", "mild", "medium", "strong", "extreme"]
    text = " ".join(CAUTIONS).casefold()
    for word in ("ladders", "platforms", "tractors on slopes", "heat", "re-entry", "pickers", "code", "label"):
        assert word in text
    assert len(CAUTION_LINE) <= 80


def test_the_risk_table_of_a_plan_that_loses_gives_reasons():
    dataset = invented_dataset({"own_wealth": 1000.0}, trials=40, planting_years=(0,), price=0.0)
    cells = [cell for row in errors_cells(dataset, RunFormats.of(dataset.attrs))[1:] for cell in row]
    cells += [cell for row in aversion_cells(dataset, RunFormats.of(dataset.attrs))[1:] for cell in row]
    assert "–" not in cells
    assert "never" in cells and "no number to refine" in cells and "none: a future eats all own wealth" in cells


def test_a_planting_that_dies_says_of_what():
    """Half of the trees dead, three of four by frost: told; one of ten dead: not."""
    run = invented_dataset(trials=4, planting_years=(0,))
    for name in ("trees_lost", "trees_alive", "trees_removed"):
        run[name] = run[name] * 0.0
    run["trees_lost"].loc[{"cause": "winter_cold", "year": 3}] = 30.0
    run["trees_lost"].loc[{"cause": "voles", "year": 5}] = 10.0
    run["trees_alive"][{"year": -1}] = 40.0
    share, cause, part = deadliest_cause(run)
    assert (share, cause, part) == (pytest.approx(0.5), "winter_cold", pytest.approx(0.75))
    assert any(
        "Trees die: 50 % of all" in line and "winter cold" in line for line in notices(run, RunFormats.of(run.attrs))
    )
    run["trees_alive"][{"year": -1}] = 360.0
    assert deadliest_cause(run) is None


def test_where_room_is_wanting_what_the_headline_tells_too_goes_first():
    run = invented_dataset(trials=20, planting_years=(0,), price=0.62)
    assert "the farm owes" in first_screen(run)
    run.attrs["title"] = "a long title " * 65
    assert "the farm owes" not in first_screen(run) and "paid for itself" in first_screen(run)
    assert "the farm owes" in first_screen(run, whole=True)
