"""Saved pages in Chromium: widths, paper, contrast, names, console, requests, numbers, and text that stays text.

Contrast and names: WCAG 2.1, success criteria 1.4.3 (4.5 to 1, large text 3 to 1) and 4.1.2, read back by a few lines
of our own and by axe-core, taken from the npm registry.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tarfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from orchardsim.analysis.compare import compare
from orchardsim.plan import load_plan
from orchardsim.report.compare.page import write_comparison
from orchardsim.report.run.page import write_report
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import summary_document, write_run
from orchardsim.results.store import open_results
from orchardsim.simulation import simulate
from tests.plan.examples import changed

pytestmark = pytest.mark.browser

HOSTILE = '<script>window.hit = 1</script><img src="x" onerror="hit = 1">Hill & "Dale"'
PAGES = ("report.html", "sheet.html", "compare.html", "compare_sheet.html")
MOST_SHEETS = {"report.html": 8, "sheet.html": 1, "compare_sheet.html": 1}
POOR_CONTRAST = """() => {
  const linear = (v) => v <= 10.0164 ? v / 255 / 12.92 : ((v / 255 + .055) / 1.055) ** 2.4;
  const light = (c) => { const [r, g, b] = c.map(linear);
                         return .2126 * r + .7152 * g + .0722 * b; };
  const numbers = (c) => c.match(/[\\d.]+/g).map(Number);
  const behind = (e) => { for (; e; e = e.parentElement) { const c = numbers(getComputedStyle(e).backgroundColor);
                          if (c.length < 4 || c[3] > 0) return c.slice(0, 3); } return [255, 255, 255]; };
  const poor = [];
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('svg') || !e.checkVisibility()) continue;
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const s = getComputedStyle(e), a = light(numbers(s.color).slice(0, 3)), b = light(behind(e));
    const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05), size = parseFloat(s.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(s.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) poor.push(`${e.tagName} ${ratio.toFixed(2)} ${e.textContent.slice(0, 40)}`);
  }
  return poor; }"""
NAMELESS = """() => [...document.querySelectorAll('button, a, [role=img], summary, [tabindex]')]
  .filter(e => !(e.getAttribute('aria-label') || e.textContent).trim()).map(e => e.outerHTML.slice(0, 80))"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run and a comparison of small plans with a hostile title, block and file name."""
    small = (("block.net_area", "0.05 ha"), ("block.row_length", "20 m"), ("title", HOSTILE))
    one = load_plan(changed(*small))
    place = tmp_path_factory.mktemp("<i>pages & more")
    run = simulate(one, trials=130, years=9, single_trees=(0,))
    write_run(place, run, summary_document(run))
    write_report(place)
    other = load_plan(changed(*small, ("block.year_planted", 2)))
    write_comparison(place, compare([one, other], trials=12, years=9))
    return place


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium of the system."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu", "--disable-quic"]
        )
        yield found
        found.close()


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


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Source of axe-core 4 from the npm registry."""
    place = tmp_path_factory.mktemp("axe")
    subprocess.run(["npm", "pack", "axe-core@4"], cwd=place, check=True, capture_output=True, timeout=120)
    with tarfile.open(next(place.glob("*.tgz"))) as packed:
        held = packed.extractfile("package/axe.min.js")
        assert held is not None
        return held.read().decode()
