"""What is odd in a plan and told as a warning, and what only the record shows to be wrong."""

from __future__ import annotations

from typing import Any

import pytest

from orchardsim.cli.main import main
from orchardsim.core.errors import LONGEST_LINE
from orchardsim.plan import load_plan
from orchardsim.plan.describe import remarks, stated_lines

from .examples import CONFIGS, DEMO, changed

WARNED: dict[str, tuple[list[tuple[str, Any]], str]] = {
    "smallest order over the need": (
        [("replacement.minimum_order", 50_000)],
        "more than the 2,000 that the",
    ),
    "a lower grade dearer": (
        [("market.fruit", {"Gala": {"wholesale_extra_fancy": "1 USD/kg", "wholesale_fancy": "2 USD/kg"}})],
        "wholesale_fancy is dearer than wholesale_extra_fancy",
    ),
    "juice dearer than processing": (
        [("market.fruit", {"Gala": {"processing": "0.1 USD/kg", "juice": "0.2 USD/kg"}})],
        "juice is dearer than processing",
    ),
}


@pytest.mark.parametrize("name", WARNED)
def test_what_is_odd_is_told(name):
    changes, words = WARNED[name]
    assert not any(words in line for line in load_plan(changed()).warnings)
    assert any(words in line for line in load_plan(changed(*changes)).warnings)


CHARGES = {"packing": "0.5 USD/kg", "storage": "0.1 USD/kg", "storage_share": 0.5, "picking_bin": "20 USD/bin",
           "labour_charges": 0.25, "picking_overhead": "15 USD/bin"}  # fmt: skip


@pytest.mark.parametrize(
    ("price", "told"),
    [
        ("0.7", ["take 0.65;", "the catalogue has"]),
        ("0.9", ["the catalogue has"]),
        ("1.0", []),
        ("8.0", ["unit right"]),
    ],
)
def test_a_packed_price_that_charges_eat_is_told_by_check_first(price, told):
    """0.5 packing, half of 0.1 storing, (20 x 1.25 + 15) / 400 picking: 0.65 USD/kg; Gala's 0.55 USD/lb is 1.21."""
    prices = {"wholesale_extra_fancy": f"{price} USD/kg", "wholesale_fancy": "0.5 USD/kg"}
    plan = load_plan(
        changed(
            ("units", "metric"),
            ("costs", CHARGES),
            ("packing", {"bin_mass": "400 kg"}),
            ("market.fruit", {"Gala": prices}),
        )
    )
    said = [line for line in remarks(plan) if line.startswith("best packed price of Gala")]
    assert len(said) == bool(told) and all(words in said[0] for words in told)
    assert not told or remarks(plan)[0] == said[0]


def test_a_stated_price_whose_premium_falls_is_told():
    """Common fruit is 0.5 USD/lb; a premium over it falls, unless the plan says that it does not."""
    prices = {"wholesale_extra_fancy": "0.9 USD/lb", "wholesale_fancy": "0.4 USD/lb", "premium_erosion": "0.04 1/year"}
    market = ("market.commodity_price", "0.5 USD/lb")
    plan = load_plan(changed(("units", "us"), ("market.fruit", {"Honeycrisp": prices}), market))
    told = {line.split(" = ")[0].rpartition(".")[2]: line for line in stated_lines(plan) if "Honeycrisp" in line}
    assert "above 0.5 USD/lb falls 4 % a year" in told["wholesale_extra_fancy"]
    assert "falls" not in told["wholesale_fancy"] and not any("as stated" in line for line in remarks(plan))
    del prices["premium_erosion"]
    unsaid = remarks(load_plan(changed(("market.fruit", {"Honeycrisp": prices}), market)))
    assert any(line.startswith("packed price of Honeycrisp, as stated") for line in unsaid)


RECORD = 'record = "bundled cool"'
CHECKED = {
    "baseline outside the record": (RECORD, f"{RECORD}\nbaseline_years = [1800, 1850]", "1850"),
    "a record that is none": (RECORD, 'record = "plan.toml"', "plan.toml"),
    "a northern record in a southern plan": ('latitude = "42.95 degree"', 'latitude = "-42.95 degree"', "equator"),
}


@pytest.mark.parametrize("name", CHECKED)
def test_check_reads_the_record_too(name, tmp_path, capsys):
    before, after, word = CHECKED[name]
    text = DEMO.read_text()
    assert before in text
    path = tmp_path / "plan.toml"
    path.write_text(text.replace(before, after))
    assert main(["check", str(path)]) == 2
    err = capsys.readouterr().err
    assert word in err and err.count("\n") == 1 and len(err.rstrip("\n")) <= LONGEST_LINE


@pytest.mark.parametrize(("plan", "place"), [("demo.toml", "Milwaukee"), ("warm_site.toml", "Clemson")])
def test_a_plan_on_each_bundled_record(plan, place, capsys):
    assert main(["check", str(CONFIGS / plan), "--unsimulated"]) == 0
    assert place in capsys.readouterr().out


@pytest.mark.parametrize("command", ["check", "levels"])
def test_dry_land_without_rain_is_refused_before_anything_is_said(command, tmp_path, capsys):
    path = tmp_path / "plan.toml"
    text = DEMO.read_text()
    assert RECORD in text and "irrigated = true" in text
    path.write_text(text.replace(RECORD, 'record = "bundled"').replace("irrigated = true", "irrigated = false"))
    assert main([command, str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and "add weather.normals.rain" in err
