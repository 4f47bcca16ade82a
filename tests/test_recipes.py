"""The recipes of DEVELOPERS.md, followed to the letter in a copy of the package: shares, costs, hazards, fans.

What is added must arrive in results, summary and page, rightly added up over blocks, with no other place told of it.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

import orchardsim
from tests.simulation.small_plan import SMALL

PACKAGE = Path(orchardsim.__file__).parent


class Edit(NamedTuple):
    """Text put before an anchor that stands once in a file."""

    file: str
    anchor: str
    text: str


SHARE = (
    Edit(
        "core/variables.py",
        '    Variable("crop_load_mean"',
        '    Variable("sunburn_fraction", BLOCK, "1", "share of the fruit with sunburn", "year", 0, 1,\n'
        '             over_blocks="fruit mean", worst="high", worst_means="much sunburn", headline="run"),\n',
    ),
    Edit(
        "simulation/harvest_to_leaf_fall.py",
        "        tile.put(\"hail_fraction\", block, year, marked)\n",
        "        shares = np.broadcast_to(np.linspace(0.1, 0.4, marked.shape[1]), marked.shape)\n"
        "        tile.put(\"sunburn_fraction\", block, year, shares)\n",
    ),
)  # fmt: skip
CAPITAL = (
    Edit(
        "core/ledger_items.py",
        '    LedgerItem("planting", "capital"',
        '    LedgerItem("weather_station", "capital", "planting and building", "shared", written_off=True),\n',
    ),
    Edit(
        "economy/parameters.py",
        "    net: float = parameter(",
        '    weather_station: float = parameter("money", "a weather station, set up", low=0)\n',
    ),
    Edit(
        "catalogue/costs.toml",
        "net = { value",
        'weather_station = { value = 1234.5, unit = "USD", status = "assumption", source = "invented for a test" }\n',
    ),
    Edit(
        "economy/blocks.py",
        "    machines = [(first, costs.machines",
        '    outlays.append(Outlay(first, 0, SHARED, "weather_station", costs.weather_station, "weather station"))\n',
    ),
)
HAZARD = (
    Edit("core/labels.py", '    "trunk_injury",\n', '    "hares",\n'),
    Edit(
        "trees/hazards.py",
        "    deer: float = parameter(",
        '    hares: float = parameter("1/year", "hazard by hares (invented)", low=0, default=0.2)\n',
    ),
    Edit(
        "trees/competing.py",
        "def _trunk_injury(",
        '@competes("rest", "hares", hares=lambda year: year.hazards.hares)\n'
        "@compiled\n"
        "def by_hares(h: Number, tree: Number, level: Number) -> Number:\n"
        '    """Hares: less the taller a tree (invented)."""\n'
        "    return level.hares * exp(-tree.height)\n\n\n",
    ),
)
FROST = (
    Edit(
        "core/labels.py",
        '    "heaters": FrostProtection(',
        '    "fans": FrostProtection("propane", "fans (invented)", "their wear (invented)"),\n',
    ),
    Edit(
        "season/frost.py",
        '    "wind_machine": ProtectionMethod(',
        '    "fans": ProtectionMethod(9.0, 9.0, start_margin=1.0),\n',
    ),
    Edit(
        "catalogue/costs.toml",
        "heaters = { value",
        'fans = { value = 2, unit = "USD/m2", status = "assumption", source = "invented for a test" }\n'
        'fans_running = { value = 0, unit = "USD/m2/hour", status = "assumption", source = "invented for a test" }\n',
    ),
)
STEP = (
    Edit("core/labels.py", '    "wind",\n', '    "badgers",\n'),
    Edit(
        "simulation/losing_trees.py",
        "def take_out(",
        '@step(reads="alive standing trees.alive", writes="trees_lost " + EVERY_TREE)\n'
        "def lose_trees_to_badgers(tile: Tile, year: int) -> None:\n"
        '    """Badgers kill one tree in twelve a winter (invented)."""\n'
        "    for block in tile.standing:\n"
        '        streams = tile.rngs("badgers", block.resolved.name, year)\n'
        "        chance = np.stack([rng.random(block.state.alive.shape[1]) for rng in streams])\n"
        "        dead = block.state.alive & (chance < 1 / 12)\n"
        '        take_out(tile, block, year, np.where(dead, CAUSES.index("badgers") + 1, 0).astype(np.int8))\n\n\n',
    ),
    Edit("simulation/year.py", "    ask_dormant_work,\n    fill_gaps", "    lose_trees_to_badgers,\n"),
    Edit("simulation/year.py", "lose_trees_in_season, lose_trees_in_winter\n", "lose_trees_to_badgers, "),
)

RUN = """
import json, pathlib, sys
import orchardsim
from orchardsim.cli.main import main
from orchardsim.core.ledger_items import items_by_group, items_of
assert pathlib.Path(orchardsim.__file__).is_relative_to(sys.argv[3]), orchardsim.__file__
plan = orchardsim.load_plan(json.loads(pathlib.Path(sys.argv[1]).read_text())).with_known_futures()
from orchardsim.report.run.figures import trees_figure
from orchardsim.report.run.page import write_report
from orchardsim.results import summary_document, write_run
from orchardsim.simulation import simulate
run = simulate(plan, trials=8, years=7, seed=1)
folder = write_run(sys.argv[2], run, summary_document(run))
write_report(folder)
legends = [axes.get_legend() for axes in trees_figure(run).axes]
legend = [text.get_text() for one in legends if one for text in one.get_texts()]
print(json.dumps({"capital": items_of("capital"), "groups": items_by_group(), "legend": legend}))
"""


@pytest.fixture(scope="module")
def grown(tmp_path_factory):
    """A run of the small plan by the copy to which all were added: its folder, and what the copy says."""
    place = tmp_path_factory.mktemp("copy")
    copied = place / "orchardsim"
    shutil.copytree(PACKAGE, copied, ignore=shutil.ignore_patterns("__pycache__"))
    for edit in (*SHARE, *CAPITAL, *HAZARD, *STEP, *FROST):
        path = copied / edit.file
        text = path.read_text(encoding="utf-8")
        assert text.count(edit.anchor) == 1, (edit.file, edit.anchor)
        path.write_text(text.replace(edit.anchor, edit.text + edit.anchor), encoding="utf-8")
    plan = place / "plan.json"
    plan.write_text(
        json.dumps(SMALL | {"block": [SMALL["block"][0] | {"protection": "fans", "protection_failure": 0}]}),
        encoding="utf-8",
    )
    environment = {**os.environ, "PYTHONPATH": str(place)}
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(plan), str(place / "run"), str(place)],
        cwd=place, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    return place / "run", json.loads(done.stdout.splitlines()[-1])


@pytest.fixture(scope="module")
def results(grown):
    return orchardsim.read_results(grown[0])


@pytest.fixture(scope="module")
def summary(grown):
    return json.loads((grown[0] / "summary.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def page(grown):
    return (grown[0] / "report.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_a_share_is_averaged_by_its_weight_and_told(results, summary, page):
    """0.1 of one label's fruit and 0.4 of the other's: the farm's share of a year is weighed by fruit."""
    share = results["sunburn_fraction"]
    assert share.dims == ("trial", "year", "block") and share.sel(block="shared").isnull().all()
    gala, honeycrisp = (results["fruit_number"].sel(block=f"wires/{name}") for name in ("Gala", "Honeycrisp"))
    bears = (gala + honeycrisp > 0).values
    farm = ((0.1 * gala + 0.4 * honeycrisp) / (gala + honeycrisp)).where(bears).mean("year")
    told = summary["headline"]["sunburn_fraction"]
    assert told["farm"]["p50"] == pytest.approx(float(np.median(farm)), rel=1e-5)
    assert told["farm"]["worst_side"] == "high" and "mean" in told["farm"]
    assert "sunburn fraction" in page


@pytest.mark.slow
def test_a_capital_item_is_booked_discounted_and_told(grown, results, page):
    item = results["ledger"].sel(ledger_item="weather_station")
    assert float(item.sel(block="shared").isel(trial=0).sum()) == pytest.approx(-1234.5)
    assert float(np.abs(item).sum("block").max()) == float(np.abs(item.sel(block="shared")).max())
    assert "weather_station" in grown[1]["capital"]
    assert "weather_station" in grown[1]["groups"]["planting and building"]
    spent = -results["ledger"].sel(ledger_item=grown[1]["capital"]).sum(("ledger_item", "block")).values
    worth = spent @ (1 + results.attrs["discount_rate"]) ** -np.arange(results.sizes["year"])
    np.testing.assert_allclose(results["establishment_cost"], worth, rtol=1e-9)
    assert "weather station" in page


@pytest.mark.slow
def test_a_step_kills_by_its_cause_and_is_told(grown, results, summary):
    """One tree in twelve a winter, of those that stand in winter: within four standard errors of the binomial."""
    lost = results["trees_lost"].sel(cause="badgers").sum("block")
    standing = results["trees_alive"].sum("block").isel(year=slice(1, -1)).sum()
    expected, count = float(standing) / 12, float(lost.isel(year=slice(2, None)).sum())
    # what competes in winter comes first, so a few of those that stood in autumn are gone before the badgers
    assert abs(count - expected) < 4 * np.sqrt(expected) + 0.1 * expected
    total = results["trees_lost"].sum(("year", "block", "cause"))
    assert summary["headline"]["trees_lost"]["farm"]["mean"] == pytest.approx(float(total.mean()), rel=1e-5)
    assert "badgers" in grown[1]["legend"]


@pytest.mark.slow
def test_a_competing_hazard_kills_by_its_cause_and_is_told(grown, results):
    """A hazard of 0.2 exp(-height), taken at the mean height: within four standard errors and a tenth (assumption)."""
    lost = results["trees_lost"].sel(cause="hares").isel(year=slice(2, None)).values
    standing = results["trees_alive"].isel(year=slice(1, -1)).values
    height = np.nan_to_num(results["canopy_height_mean"].isel(year=slice(1, -1)).values)
    expected = float((standing * -np.expm1(-0.2 * np.exp(-height))).sum())
    assert expected > 30
    assert abs(float(lost.sum()) - expected) < 4 * np.sqrt(expected) + 0.1 * expected
    assert "hares" in grown[1]["legend"]


@pytest.mark.slow
def test_a_way_of_frost_protection_is_bought_and_saves_bloom(results):
    """2 USD/m2 on the planted area; at 9 K warmer than the air no bloom freezes."""
    bought = results["ledger"].sel(ledger_item="protection_equipment").isel(trial=0).sum()
    planted = sum(block.geometry.planted_area for block in orchardsim.load_plan(SMALL).money)
    assert float(bought) == pytest.approx(-2 * planted)
    assert float(results["frost_kill"].max()) < 0.1
