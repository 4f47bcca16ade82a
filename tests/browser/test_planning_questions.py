"""The page to plan on, question by question: tables added by keyboard, any key tried, measured trees, print, axe-core,
two windows, and a server that is killed.

Names and contrast: WCAG 2.1 at levels A and AA as axe-core checks them.
"""

from __future__ import annotations

import shutil
import signal
import tomllib
from pathlib import Path

import pytest

from tests.browser.conftest import LONG, served

pytestmark = pytest.mark.browser
CONFIGS = Path(__file__).parents[2] / "configs"


def begin(page, url, name, start="demo"):
    page.goto(url)
    page.locator(f"input[value={start}]").check()
    page.get_by_label("Name of your plan").fill(name)
    page.get_by_role("button", name="Begin").click()
    page.locator("#form").wait_for()


def small(page, futures=8, years=8):
    page.get_by_label("Futures").fill(str(futures))
    page.get_by_label("Years", exact=True).fill(str(years))


def focused(page):
    return page.evaluate("document.activeElement.id")


def test_tables_are_added_with_the_keyboard_alone(page, address):
    """After each the focus stands in what was added, so that one can go on typing."""
    url, place = address
    begin(page, url, "keys")
    page.get_by_role("button", name="Add idle land").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.id === 'f-idle_land-0-gross_area'")
    page.keyboard.press("Control+A")
    page.keyboard.type("2 acre")
    page.keyboard.press("Tab")
    page.locator("#shown").get_by_text("2.00 acre").wait_for()
    page.locator("#part-work > summary").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Add a crew").focus()
    page.keyboard.press("Space")
    page.wait_for_function("() => document.activeElement.id === 'f-crews-0-name'")
    page.locator("#part-own > summary").focus()
    page.keyboard.press("Enter")
    page.get_by_label("New cultivar").focus()
    page.keyboard.type("Dawn")
    page.get_by_role("button", name="Add cultivar").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.id === 'f-cultivar-Dawn-like'")
    assert "Dawn" in page.locator("#f-block-0-group-1-cultivar").inner_text()
    page.get_by_role("button", name="Remove idle land 1").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.tagName === 'SUMMARY'")
    page.keyboard.press("Shift+Tab")
    page.get_by_role("button", name="Save plan").focus()
    page.keyboard.press("Enter")
    page.get_by_text("Saved as keys.toml.").wait_for()
    saved = tomllib.loads((place / "keys.toml").read_text())
    assert saved["crews"] and list(saved["cultivar"]) == ["Dawn"] and "idle_land" not in saved


def test_any_key_is_found_and_tried(page, address):
    url, _ = address
    begin(page, url, "tried")
    page.get_by_text("Try several values of one number").click()
    page.get_by_label("Find").fill("wage picking")
    keys = page.get_by_label("Number to try")
    keys.locator("option[value='costs.wage_picking']").wait_for(state="attached")
    shown = keys.locator("option:not([hidden])")
    page.wait_for_function("() => document.querySelectorAll('#study-key option:not([hidden])').length < 5")
    assert "costs.wage_picking" in shown.evaluate_all("found => found.map(one => one.value)")
    keys.select_option("costs.wage_picking")
    assert "USD/hour" in page.locator("#study-about").inner_text()
    small(page)
    page.get_by_label("Values, with commas").fill("15 USD/hour, 40 USD/hour")
    page.get_by_role("button", name="Try them").click()
    page.get_by_role("heading", name="Several values").wait_for()
    page.get_by_text("Finished and kept.", exact=True).wait_for()
    with page.expect_popup() as popup:
        page.locator("#kept").get_by_role("link", name="Full page").click()
    assert "wage_picking" in popup.value.locator("body").inner_text()


@pytest.mark.parametrize(
    ("question", "heading", "told"),
    [
        ("Bad seasons", "Bad seasons", "What hurts most is"),
        ("Spare trees", "Spare trees", "west_side/Gala: buy"),
        ("What is not known", "What is not known", "With every level at its middle"),
    ],
)
def test_a_question_is_answered_to_its_end(page, address, question, heading, told):
    url, place = address
    name = question.replace(" ", "-").lower()
    begin(page, url, name)
    small(page)
    page.get_by_role("button", name=question).click()
    page.locator("#answer").get_by_role("heading", name=heading).wait_for()
    page.get_by_text("Finished and kept.", exact=True).wait_for()
    assert told in page.locator("#answer").inner_text()
    with page.expect_popup() as popup:
        page.locator("#kept").get_by_role("link", name="Full page").click()
    assert popup.value.locator("figure svg").count() > 0
    assert (place / f"{name} - kept" / "1" / "plan.toml").is_file()


def test_a_number_to_state_first_leads_to_its_field(page, address):
    url, _ = address
    begin(page, url, "first numbers")
    page.get_by_role("button", name="Numbers to state first").click()
    page.locator("#answer").get_by_role("heading", name="Numbers to state first").wait_for()
    assert page.locator("#answer li").count() == 10
    # A number of the catalogue has no field before there is an entry of one's own.
    assert not page.locator("[data-key^='training_system']").first.is_visible()
    page.locator("[data-key='market.fruit.Gala.wholesale_extra_fancy']").click()
    assert focused(page) == "f-market-fruit-Gala-wholesale_extra_fancy"
    assert page.locator("#f-market-fruit-Gala-wholesale_extra_fancy").is_visible()


def test_measured_trees_are_learned_from_and_carried_on(page, address):
    url, place = address
    begin(page, url, "measured", "first_row")
    small(page)
    page.get_by_text("Learn from your measured trees").click()
    page.get_by_label("Say what to measure next").check()
    page.get_by_label("Weigh planting now").check()
    page.locator("#measured-file").set_input_files(CONFIGS / "first_row_measurements.csv")
    page.get_by_role("heading", name="What your trees told").wait_for()
    page.get_by_text("Finished and kept.", exact=True).wait_for()
    answer = page.locator("#answer").inner_text()
    assert "All of these together are worth" in answer and "planting all now" in answer
    with page.expect_popup() as popup:
        page.locator("#answer").get_by_role("link", name="Field sheet to print").click()
    assert popup.value.locator("table").count() > 0
    page.locator("#answer").get_by_role("button", name="Go on with what was learned").click()
    page.get_by_text("measured learned 1.toml").wait_for()
    assert tomllib.loads((place / "measured learned 1.toml").read_text())["futures"]["learned"] == (
        "measured learned 1.json"
    )


@pytest.mark.parametrize(("start", "width"), [("demo", 390), ("first_row", 1280)])
def test_axe_finds_no_fault(browser, address, axe, start, width):
    url, _ = address
    # The content policy keeps scripts of others out, axe-core's too.
    page = browser.new_context(bypass_csp=True, viewport={"width": width, "height": 900}).new_page()
    page.set_default_timeout(LONG)

    def faults():
        page.evaluate(axe)
        found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']})")
        assert found["passes"]
        return [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in found["violations"]]

    page.goto(url)
    assert faults() == []
    begin(page, url, f"axe {start} {width}", start)
    small(page)
    page.locator("#run").get_by_role("button", name="Run").click()
    page.get_by_text("Finished and kept.", exact=True).wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    page.locator("#study-key option").first.wait_for(state="attached")
    assert faults() == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    page.context.close()


def test_paper_shows_land_bill_and_answer_alone(page, address):
    url, _ = address
    begin(page, url, "paper", "two_stages")
    page.emulate_media(media="print")
    for one in ("#run", "#form", "#save", "#drop", "nav.ways", "#try", "#kept"):
        assert not page.locator(one).is_visible(), one
    assert page.locator("#shown figure svg").is_visible() and page.locator("#bill-total").is_visible()


def test_two_windows_on_one_plan_stay_true(page, address, browser):
    url, _ = address
    begin(page, url, "twice")
    other = browser.new_page()
    other.set_default_timeout(LONG)
    other.goto(f"{url}plan/twice")
    page.get_by_label("Headland").fill("9 m")
    page.keyboard.press("Tab")
    page.get_by_text("Taken over.").wait_for()
    assert other.get_by_label("Headland").input_value() == "7 m"
    other.get_by_label("Row length").fill("80 m")
    other.keyboard.press("Tab")
    other.wait_for_function("() => document.getElementById('f-block-0-headland').value === '9 m'")
    assert other.get_by_label("Row length").input_value() == "80 m"
    other.close()


def test_what_cannot_be_read_is_told(browser, address, tmp_path):
    url, place = address
    page = browser.new_page()
    page.set_default_timeout(LONG)
    page.goto(url)
    for name, text, told in (
        ("broken.toml", "title = ", "broken TOML"),
        ("odd.toml", "title = 'x'\nblok = 1\n", "blok"),
        ("<b>.toml", "title = 'x'", "allowed: letters"),
    ):
        (tmp_path / name).write_text(text)
        page.get_by_label("A plan file (TOML) of your own").set_input_files(tmp_path / name)
        page.locator("#bring-problem").get_by_text(told).wait_for()
        assert not (place / name).exists()
    begin(page, url, "told")
    record = tmp_path / "record.csv"
    record.write_text("day,warm\n1,2\n")
    page.locator("#record-file").set_input_files(record)
    page.locator("#drop-problem").get_by_text("record.csv").or_(
        page.locator("#drop-problem:not(:empty)")
    ).first.wait_for()
    assert not (place / "record.csv").exists()
    page.close()


def test_a_killed_server_leaves_plans_whole(browser, tmp_path):
    """Killed in the middle of a run: the plan stands, the run is told as not finished, and the next one goes."""
    shutil.copy(CONFIGS / "demo.toml", tmp_path / "demo.toml")
    server, url = served(tmp_path)
    page = browser.new_page()
    page.set_default_timeout(LONG)
    page.goto(f"{url}plan/demo")
    page.get_by_label("Futures").fill("4000")
    page.locator("#run").get_by_role("button", name="Run").click()
    page.get_by_text("A first answer from").wait_for()
    server.send_signal(signal.SIGKILL)
    server.wait()
    page.get_by_text("The program does not answer").first.wait_for()
    assert (tmp_path / "demo.toml").read_bytes() == (CONFIGS / "demo.toml").read_bytes()
    server, url = served(tmp_path)
    page.goto(f"{url}plan/demo")
    page.locator("#kept").get_by_text("not finished").wait_for()
    small(page)
    page.locator("#run").get_by_role("button", name="Run").click()
    page.get_by_text("Finished and kept.", exact=True).wait_for()
    assert page.locator("#kept").get_by_role("link", name="Full report").count() == 1
    page.close()
    server.send_signal(signal.SIGINT)
    server.wait(30)
