"""``orchardsim check`` and ``orchardsim catalogue`` as a user meets them."""

from __future__ import annotations

import json
import re

import pytest

from orchardsim.cli.main import main
from orchardsim.economy.blocks import establishment_schedule
from orchardsim.plan import load_plan
from orchardsim.plan.catalogue_text import quantity_text
from orchardsim.plan.describe import assumption_lines, plan_lines, remarks, schedule, stated_lines
from tests.screens import fits_a_screen

from .examples import CONFIGS, DEMO, changed


def test_check_says_what_is_planted_ordered_built_and_paid(capsys):
    assert main(["check", str(DEMO), "--all", "--unsimulated"]) == 0
    text = capsys.readouterr().out
    plan = load_plan(DEMO)
    for words in ("planted (net)", "headlands (gross)", "order ", "plant ", "build the support", "year 0", "875.0 lb"):
        assert words in text
    for label in plan.labels:
        assert label in text
    for each in plan.assumptions:
        assert each.key in text
    # 12 rows of 84 at 1.0 x 3.5 m: 3,528 m2 planted, 42 m x 98 m with headlands; an acre is 4,046.8564224 m2.
    assert f"{3528 / 4046.8564224:.3f} acre planted" in text and f"{42 * 98 / 4046.8564224:.3f} acre with" in text
    assert "1,156.2 trees/acre" in text  # 4,046.856 / 3.5


def test_the_paid_years_add_up(capsys):
    main(["check", str(DEMO), "--all", "--unsimulated"])
    text = capsys.readouterr().out
    plan = load_plan(DEMO)
    total = sum(outlay.amount for outlay in establishment_schedule(plan.money, plan.costs, plan.finance, 6))
    assert total == pytest.approx(sum(outlay.amount for outlay in schedule(plan)))
    row = next(line for line in text.splitlines() if line.strip().startswith("total"))
    years = [float(cell.replace(",", "")) for cell in row.split()[1:]]
    assert years[-1] == pytest.approx(total, abs=0.5) and sum(years[:-1]) == pytest.approx(total, abs=len(years))
    # Nursery trees are the largest single item of the first outlay (common practice, no source).
    items = [outlay.item for outlay in schedule(plan)]
    sums = {item: sum(outlay.amount for outlay in schedule(plan) if outlay.item == item) for item in items}
    assert max(sums, key=sums.__getitem__) == "trees"


def test_an_old_block_costs_nothing_to_establish(capsys):
    assert main(["check", str(CONFIGS / "old_block.toml"), "--all", "--unsimulated"]) == 0
    text = capsys.readouterr().out
    assert "stand in leaf 25" in text and "nothing: no block is planted" in text


def test_the_short_description_says_how_to_see_the_rest(capsys):
    assert main(["check", str(DEMO)]) == 0
    text = capsys.readouterr().out
    assert "--all" in text and "hazards." not in text and "± " in text
    assert fits_a_screen(text, closing=0)


def test_a_plan_comes_as_json_too(capsys):
    assert main(["check", str(DEMO), "--unsimulated", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    plan = load_plan(DEMO)
    assert found["plan_hash"] == plan.hash and len(found["plan"]["assumed"]) == len(plan.assumptions)
    assert sum(one["amount"] for one in found["outlays"]) == pytest.approx(sum(one.amount for one in schedule(plan)))


def test_what_the_plan_states_is_told_as_read_and_nothing_else():
    lines = stated_lines(
        load_plan(
            changed(
                ("units", "us"),
                ("site.night_offset", "-2 degF"),
                ("costs.wage", "24 USD/hour"),
                ("costs.land_price", "9000 USD/acre"),
                ("finance.discount_rate", "6 %/year"),
                ("market.fruit", {"Gala": {"wholesale_extra_fancy": "25 USD/box"}}),
            )
        )
    )
    text = "\n".join(lines)
    for words in (
        "site.night_offset = -2 °F (a difference)",
        "costs.wage = 24 USD/hour",
        "costs.land_price = 9,000 USD/acre",
        "finance.discount_rate = 0.06 per year",
        "(25 USD/box)",
    ):
        assert words in text
    # a pound is 1/42 of the box by which the plan sells: 25 / 42 = 0.59524
    assert "0.59524 USD/lb" in text
    assert "wage_picking" not in text and "tree_spacing" not in text


def test_no_program_words_reach_the_user():
    for units in ("us", "metric"):
        text = "\n".join(plan_lines(load_plan(changed(("units", units)))))
        shown = [line.split(" | ")[0] for line in text.splitlines()]
        assert not any(re.search(r"\bmoney\b|sha256", line) for line in shown)
        assert "1 Jul" in text  # order_day = 273, counted from 1 October


def test_a_fence_in_the_costs_deserves_a_second_look():
    lines = remarks(load_plan(changed(("costs", {"fence": "30 USD/m", "fence_length": "400 m"}))))
    assert any("12,000 USD" in line and "fence" in line for line in lines)
    assert any("fire blight in bloom" in line for line in lines) and "Climate" in lines[-1]
    sprayed = remarks(load_plan(changed(("hazards.blight_control", 0.9))))
    assert not any("fire blight" in line for line in sprayed)
    standing = remarks(load_plan(changed(("block.fence", "stands"))))
    assert not any("deer fence" in line for line in standing)


def test_remarks_come_in_the_users_lengths():
    # 4.3 m are 14.1 ft (a foot is 0.3048 m)
    for units, words in (("us", "14.1 ft"), ("metric", "4.3 m")):
        assert any(words in line for line in remarks(load_plan(changed(("units", units)))))


def test_assumptions_are_grouped_worst_known_first():
    lines = assumption_lines(load_plan(DEMO))
    heads = [line.strip() for line in lines if line.startswith("  ") and not line.startswith("    ")]
    assert heads[0] == "assumption" and heads[-1] == "read"


def test_catalogue_lists_and_shows(capsys):
    assert main(["catalogue"]) == 0
    names = capsys.readouterr().out
    assert "MM.111" in names and fits_a_screen(names, closing=0)
    assert main(["catalogue", "--all"]) == 0
    assert "MM.111" in capsys.readouterr().out
    assert main(["catalogue", "honeycrisp"]) == 0
    short = capsys.readouterr().out
    assert "fruit_mass_potential = 0.3 kg (0.661 lb) [read]" in short and fits_a_screen(short, closing=0)
    assert main(["catalogue", "honeycrisp", "--json"]) == 0
    number = json.loads(capsys.readouterr().out)["cultivar"]["Honeycrisp"]["fruit_mass_potential"]
    assert (number["value"], number["unit"], number["status"]) == (0.3, "kg", "read") and number["source"]
    assert main(["catalogue", "honeycrisp", "--all"]) == 0
    page = capsys.readouterr().out
    assert (
        "fruit_mass_potential = 0.3 kg (0.661 lb) [read]" in page
        and "[honeycrisp_size]" in page
        and "Robinson" not in page
    )


@pytest.mark.parametrize(("units", "height", "hardiness"), [("us", "10.5 ft", "-13 °F"), ("metric", "3.2 m", "-25 °C")])
def test_catalogue_shows_the_units_asked_for(capsys, units, height, hardiness):
    # 3.2 m = 10.5 ft (3.2 / 0.3048); degC to degF by 1.8 and 32: definitions
    assert main(["catalogue", "tall_spindle", "--units", units]) == 0
    assert f"height_limit = {height} [" in capsys.readouterr().out
    shown = quantity_text(-25.0, "degC", units)
    assert shown == hardiness
    with pytest.raises(SystemExit) as stopped:
        main(["catalogue", "--units", "imperial"])
    assert stopped.value.code == 2
    assert "'us'" in capsys.readouterr().err


def test_catalogue_offers_the_nearest_name(capsys):
    assert main(["catalogue", "Honycrisp"]) == 2
    assert "did you mean 'Honeycrisp'" in capsys.readouterr().err
