"""Saved pages in Chromium: widths, paper, contrast, names, console, requests, numbers, and text that stays text.

Contrast and names: WCAG 2.1, success criteria 1.4.3 (4.5 to 1, large text 3 to 1) and 4.1.2, read back by a few lines
of our own and by axe-core, taken from the npm registry.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import orchardsim
from orchardsim.analysis.compare import compare
from orchardsim.analysis.fit import fit
from orchardsim.analysis.levels import look_at_levels
from orchardsim.analysis.stress import stress
from orchardsim.analysis.study import run_study
from orchardsim.analysis.study_answers import study_findings
from orchardsim.plan import load_plan
from orchardsim.plan.measurements import parse_measurements
from orchardsim.plan.study import load_study
from orchardsim.report.compare.page import KIND as COMPARISON
from orchardsim.report.fit.page import KIND as FIT
from orchardsim.report.levels.page import KIND as LEVELS
from orchardsim.report.run.page import write_report
from orchardsim.report.run_formats import RunFormats, round_figures
from orchardsim.report.spares.page import KIND as SPARES
from orchardsim.report.stress.page import KIND as STRESS
from orchardsim.report.study.page import KIND as STUDY
from orchardsim.report.weather.page import KIND as WEATHER
from orchardsim.results import summary_document, write_run
from orchardsim.results.fit import Kept
from orchardsim.results.store import open_results
from orchardsim.simulation import simulate
from tests.browser.conftest import NAMELESS, POOR_CONTRAST
from tests.plan.examples import CONFIGS, changed
from tests.report.test_weather_page import made_up

pytestmark = pytest.mark.browser

HOSTILE = '<script>window.hit = 1</script><img src="x" onerror="hit = 1">Hill & "Dale"'
BLOCK = '<img src="x" onerror="hit = 1">west & "low"'
CULTIVAR = "<script>window.hit = 1</script>Own & Red"
PAGES = (
    "report.html", "sheet.html", "compare.html", "compare_sheet.html", "stress/stress.html", "spares/spares.html",
    "study/study.html", "levels/levels.html", "weather/weather.html", "fit/fit.html",
)  # fmt: skip
MOST_SHEETS = {
    "report.html": 8, "sheet.html": 1, "compare.html": 8, "compare_sheet.html": 1, "stress/stress.html": 8,
    "spares/spares.html": 8, "study/study.html": 8, "levels/levels.html": 8, "weather/weather.html": 8,
    "fit/fit.html": 8,
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every page of small plans whose title, block, cultivar and folder are hostile."""
    small = (
        ("block.net_area", "0.05 ha"), ("block.row_length", "20 m"), ("title", HOSTILE), ("block.name", BLOCK),
        ("cultivar", {CULTIVAR: {"like": "Gala"}}), ("block.cultivar", CULTIVAR),
    )  # fmt: skip
    one = load_plan(changed(*small))
    place = tmp_path_factory.mktemp("<i>pages & more")
    run = simulate(one, trials=130, years=9, single_trees=(0,))
    write_run(place, run, summary_document(run))
    write_report(place)
    other = load_plan(changed(*small, ("block.year_planted", 2)))
    COMPARISON.write(place, compare([one, other], trials=12, years=9))
    STRESS.write(place / "stress", stress(one, trials=4, years=6, seed=1, bad_seasons=["hail", "late_frost"]))
    SPARES.write(place / "spares", orchardsim.spares(one, trials=8, years=7, seed=3))
    factors = [
        {"name": "training", "key": "block.training", "levels": ["tall_spindle", "vertical_axis"]},
        {"name": "spacing", "key": "block.tree_spacing", "levels": ["0.9 m", "1.4 m"]},
    ]
    plan = changed(*(pair for pair in small if pair[0] != "cultivar" and not pair[0].endswith(".cultivar")))
    declared = {"title": HOSTILE, "plan": plan, "trials": 5, "known_trials": 3, "years": 7, "factor": factors}
    STUDY.write(place / "study", study_findings(run_study(load_study(declared))))
    LEVELS.write(place / "levels", look_at_levels(one, trials=4, years=6, seed=1))
    WEATHER.write(place / "weather", dataclasses.replace(made_up(units="us"), name=HOSTILE, station=BLOCK))
    young = load_plan(CONFIGS / "first_row.toml")
    rows = [f"{date},first_row,1,{tree},trunk_girth,{girth},mm"
            for date, girth in (("2019-11-18", 90), ("2020-11-18", 140)) for tree in range(1, 21)]  # fmt: skip
    measured = parse_measurements("\n".join(["date,block,row,tree,measure,value,unit", *rows]), young, HOSTILE)
    learned = fit(young, measured, rows=100, draws=100).findings
    FIT.write(place / "fit", Kept(dataclasses.replace(learned, title=HOSTILE)))
    return place


def plain(text: str) -> str:
    """Text with one blank between its words."""
    return " ".join(text.split())


def opened(browser: Any, path: Path, width: int) -> tuple[Any, list[str]]:
    """A page, and what it says on the console or asks for from outside."""
    page = browser.new_page(viewport={"width": width, "height": 900})
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on("request", lambda asked: None if asked.url.startswith(("file:", "data:")) else told.append(asked.url))
    page.goto(path.as_uri())
    return page, told


@pytest.mark.parametrize("width", [390, 768, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_is_legible_and_keeps_to_itself(browser: Any, folder: Path, name: str, width: int) -> None:
    page, told = opened(browser, folder / name, width)
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    assert page.evaluate(POOR_CONTRAST) == []
    assert page.evaluate(NAMELESS) == []
    assert page.evaluate("window.hit") is None
    assert told == []
    page.close()


@pytest.mark.parametrize("name", MOST_SHEETS)
def test_a_page_prints_on_few_sheets(browser: Any, folder: Path, name: str) -> None:
    page, _ = opened(browser, folder / name, 1280)
    for paper in ("A4", "Letter"):
        printed = page.pdf(format=paper)
        assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= MOST_SHEETS[name]
    page.close()


def test_numbers_on_page_and_sheet_are_those_of_the_summary(browser: Any, folder: Path) -> None:
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    with open_results(folder) as dataset:
        formats = RunFormats.of(dataset.attrs)
    npv, debt = summary["headline"]["npv"], summary["headline"]["peak_borrowing"]
    page, _ = opened(browser, folder / "report.html", 1280)
    assert page.inner_text("h1") == HOSTILE
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    row = page.locator("table[class=fit] tr", has=page.locator("td", has_text=re.compile("^NPV$"))).first
    texts = row.locator("td").all_inner_texts()
    assert texts[1:4] == [formats.money(npv[point]) for point in ("p5", "p50", "p95")]
    known = npv["were_the_levels_known"]
    assert texts[4:6] == [formats.money(known[point]) for point in ("p5", "p95")]
    page.close()
    sheet, _ = opened(browser, folder / "sheet.html", 390)
    text = sheet.inner_text("body")
    assert (
        formats.money(debt["p50"]) in text and formats.money(debt["p95"]) in text and formats.money(npv["p5"]) in text
    )
    sheet.close()


@pytest.mark.parametrize("name", PAGES)
def test_names_stay_text(browser: Any, folder: Path, name: str) -> None:
    page, told = opened(browser, folder / name, 1280)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    text = plain(page.inner_text("body"))
    if "compare" not in name and not name.startswith("fit"):
        assert HOSTILE[:24] in text or BLOCK[:24] in text
    assert page.evaluate("window.hit") is None and page.locator("img").count() == 0 and told == []
    page.close()


def test_numbers_of_the_sheet_are_those_of_its_file(browser: Any, folder: Path) -> None:
    """Every amount of money in the answer's sentences stands in summary.json, to three figures."""
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    known = {f"{round_figures(abs(value)):,.0f}" for value in _numbers(summary)}
    page, _ = opened(browser, folder / "sheet.html", 768)
    said = page.locator(".say").inner_text() + page.locator("section[aria-label='what can go wrong']").inner_text()
    amounts = re.findall(r"USD ([\d,]*\d)", said)
    assert len(amounts) >= 4 and all(amount in known for amount in amounts)
    bill = summary["sheet"]["bill_by_year"]
    cells = page.locator("table tr").last.locator("td").all_inner_texts()
    assert [1000 * float(cell) for cell in cells[1:]] == [
        pytest.approx(sum(map(float, bill[year].values())), abs=51) for year in bill
    ]
    page.close()


def _numbers(found: Any) -> Iterator[float]:
    if isinstance(found, dict):
        found = list(found.values())
    if isinstance(found, list):
        for one in found:
            yield from _numbers(one)
    elif isinstance(found, (int, float)) and not isinstance(found, bool):
        yield float(found)


def test_a_word_opens_its_meaning(browser: Any, folder: Path) -> None:
    page, _ = opened(browser, folder / "report.html", 390)
    word = page.locator("button.open").first
    meaning = page.locator(f"#{word.get_attribute('popovertarget')}")
    assert not meaning.is_visible()
    word.click()
    assert meaning.is_visible()
    page.keyboard.press("Escape")
    assert not meaning.is_visible()
    page.close()


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_no_fault(browser: Any, folder: Path, name: str, axe: str) -> None:
    page, _ = opened(browser, folder / name, 768)
    page.add_script_tag(content=axe)
    found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa']})")
    assert found["passes"]
    assert [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found["violations"]] == []
    assert page.locator("h1").count() == 1 and page.locator("html[lang=en]").count() == 1
    page.close()
