"""A newcomer's walk through the page in a real browser: open, change the spacing, bring weather, run, compare, save."""

from __future__ import annotations

import base64
import re
import time

import pytest

from tests.browser.conftest import NAMELESS, POOR_CONTRAST

WIDTHS = (390, 768, 1280)
pytestmark = pytest.mark.browser


def overflow(page):
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


def finished(page):
    page.get_by_text("Finished and kept.", exact=True).wait_for()


def test_newcomers_walk(page, address, record_property):
    url, place = address
    began = time.monotonic()
    page.goto(url)
    page.get_by_label("Name of your plan").fill("home block")
    page.get_by_role("button", name="Begin").click()

    page.get_by_label("Tree spacing").wait_for()
    bill = page.locator("#bill-total")
    before = bill.inner_text()
    field = page.get_by_label("Tree spacing")
    field.fill("99 m")
    field.press("Tab")
    page.get_by_text("found '99 m', allowed 0.2 to 30 m").wait_for()
    assert field.get_attribute("aria-invalid") == "true" and bill.inner_text() == before
    changed = time.monotonic()
    field.fill("4 ft")
    field.press("Tab")
    page.wait_for_function("old => document.getElementById('bill-total').textContent !== old", arg=before)
    edited = time.monotonic() - changed
    assert _amount(bill.inner_text()) < _amount(before), "fewer trees cost less"

    content = (place.parent / "my station.dly.gz").read_bytes()
    _drop(page, "my station.dly.gz", content)
    page.get_by_role("heading", name="The weather record").wait_for()
    finished(page)
    assert page.locator("#f-weather-record").input_value() == "my station.dly.gz"

    page.get_by_label("Futures").fill("40")
    ordered = time.monotonic()
    page.locator("#run").get_by_role("button", name="Run").click()
    page.get_by_text("A first answer from").wait_for()
    first = time.monotonic() - ordered
    page.get_by_role("heading", name="The plan in 40 futures").wait_for()
    finished(page)
    whole = time.monotonic() - ordered
    page.get_by_role("button", name="Compare", exact=True).click()
    page.get_by_role("heading", name="Beside the plan before").wait_for()
    finished(page)
    page.get_by_role("button", name="Save plan").click()
    page.get_by_text("Saved as home block.toml.").wait_for()
    walk = time.monotonic() - began

    saved = (place / "home block.toml").read_text()
    assert 'tree_spacing = "4 ft"' in saved and "# degrees clockwise from north" in saved
    assert sorted(path.name for path in (place / "home block - kept").iterdir()) == ["1", "2", "3"]
    with page.expect_popup() as popup:
        page.get_by_role("link", name="Sheet for the partner or lender").first.click()
    assert "Deepest debt" in popup.value.locator("body").inner_text()
    print(f"walk {walk:.1f} s; edit {1000 * edited:.0f} ms; first answer {first:.1f} s, whole run {whole:.1f} s")
    record_property("walk_seconds", walk)


def _amount(text: str) -> int:
    return int(re.sub(r"\D", "", text))


def _drop(page, name: str, content: bytes) -> None:
    data = page.evaluate_handle(
        """([name, text]) => { const found = new DataTransfer();
        found.items.add(new File([Uint8Array.from(atob(text), one => one.charCodeAt(0))], name)); return found; }""",
        [name, base64.b64encode(content).decode()],
    )
    page.dispatch_event("#drop", "drop", {"dataTransfer": data})


def test_stop_keeps_nothing_and_the_next_run_goes(page, address):
    url, place = address
    page.goto(url)
    page.get_by_label("Name of your plan").fill("stopped")
    page.get_by_role("button", name="Begin").click()
    page.get_by_label("Futures").fill("4000")
    page.locator("#run").get_by_role("button", name="Run").click()
    page.get_by_text("A first answer from").wait_for()
    page.get_by_role("button", name="Stop").click()
    page.get_by_text("Stopped.", exact=True).wait_for()
    assert not [path for path in (place / "stopped - kept").iterdir()]
    page.get_by_label("Futures").fill("16")
    page.locator("#run").get_by_role("button", name="Run").click()
    finished(page)


@pytest.mark.parametrize("width", WIDTHS)
def test_page_fits_and_is_named(page, address, width):
    """No overflow, every control has a name, the keyboard goes in order, ink is dark enough (WCAG 2.2, 1.4.3)."""
    url, _ = address
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(url)
    assert overflow(page) <= 0
    name = f"wide {width}"
    page.get_by_label("Name of your plan").fill(name)
    page.get_by_role("button", name="Begin").click()
    page.get_by_label("Tree spacing").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert overflow(page) <= 0
    assert page.evaluate(NAMELESS) == []
    assert page.evaluate(POOR_CONTRAST) == []
    page.evaluate("document.body.focus()")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
