"""Table, sentences, page and pictures of an invented run."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from orchardsim.core.calendar import QUARTERS
from orchardsim.core.errors import InputError
from orchardsim.core.glossary import WORDS
from orchardsim.core.labels import TASKS
from orchardsim.core.variables import RESULTS
from orchardsim.report import headline_table, plain_sentences, write_report
from orchardsim.report.pages import explained
from orchardsim.report.run.block_tables import label_cells, label_lines, work_cells, work_groups, work_line
from orchardsim.report.run.figures import FIGURES
from orchardsim.report.run.ledger_table import BALANCE_YEARS, balance_cells, ledger_cells, spans
from orchardsim.report.run.page import report_html
from orchardsim.report.run.risk import family_lines
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import summary_document, write_run
from orchardsim.results.block_results import LabelWork, failed_crops, years_in_full_crop
from tests.results.invented_run import invented_arrays, invented_dataset

SITUATIONS: dict[str, dict[str, Any]] = {
    "two blocks, US units": {},
    "one block, metric, nominal": {
        "planting_years": (0,),
        "attrs": {"display_units": "metric", "real_or_nominal": "nominal", "currency": "EUR"},
    },
    "old block that pays": {"planting_years": (-25,), "price": 1.5},
    "never pays back": {"planting_years": (0,), "price": 0.0},
    "short run, planted late, old block beside": {"planting_years": (0, 3, -20), "years": 5},
    "planted after the run": {"planting_years": (9,), "years": 6},
    "two trials": {"trials": 2},
    "southern": {"attrs": {"latitude": -38.0, "baseline_years": (0, 0), "frost_years": []}},
}


@pytest.fixture(params=SITUATIONS)
def run(request):
    return invented_dataset(**{"trials": 40, **SITUATIONS[request.param]})


def test_yields_are_converted_as_by_hand():
    # 1 ha = 2.471054 acres; a bin is 875 lb = 396.893 kg. 50 t/ha: 50,000 / 2.471054 / 396.893 = 50.98 bins an acre,
    # and in boxes of 42 lb = 19.0509 kg: 50,000 / 2.471054 / 19.0509 = 1,062.1.
    formats = RunFormats("us", "USD", 396.893, 19.0509, "")
    assert formats.yield_value(50_000.0) == pytest.approx(50.98, abs=0.01)
    assert formats.boxes(50_000.0) == pytest.approx(1062.1, abs=0.1)
    metric = RunFormats("metric", "EUR", 300.0, 13.0, "")
    assert metric.yield_value(50_000.0) == 50.0
    assert metric.bins(50_000.0) == pytest.approx(166.67, abs=0.01)


def test_table_says_what_it_must(run):
    table = headline_table(run)
    for words in (
        "±",
        "NPV",
        "IRR",
        "payback year",
        "peak borrowing",
        "trees lost",
        "trees replanted",
        "baseline",
        "n =",
    ):
        assert words in table
    assert re.search(r"bin of [\d.]+ (lb|kg)", table)
    assert re.search(r"box of [\d.]+ (lb|kg)", table)
    assert max(len(line) for line in table.splitlines()) < 140


def test_table_shows_the_middle_of_the_yields():
    dataset = invented_dataset(trials=41, planting_years=(0,), attrs={"display_units": "metric"})
    arrays, _ = invented_arrays(trials=41, planting_years=(0,))
    # Leaf 12 is year 11; the block has 0.8 ha; the middle of 41 trials is a trial.
    middle = np.median(arrays["harvested_mass"][:, 11, 0]) / 0.8 / 1000
    row = next(line.split() for line in headline_table(dataset).splitlines() if line.split()[:2] == ["12", "11"])
    assert row[4] == f"{middle:.1f}"


def test_plain_sentences(run):
    """Sentences that a reader takes in at once: no term of statistics, under thirty words."""
    sentences = plain_sentences(run)
    assert 3 <= len(sentences) <= 5
    for sentence in sentences:
        assert sentence.endswith(".")
        assert not re.search(r"\.\s", sentence)
        assert len(sentence.split()) < 30
        assert not re.search(r"percentile|quantile|NPV|IRR|Monte Carlo|median|stochastic|nan|inf\b|e\+", sentence)


def test_sentences_tell_good_plans_from_bad():
    never = plain_sentences(invented_dataset(trials=40, planting_years=(0,), price=0.0))
    assert "none of the 40" in never[-1]
    assert not any("give or take" in sentence for sentence in never)
    good = plain_sentences(invented_dataset(trials=40, planting_years=(0,), price=3.0))
    assert "half of the futures tried" in good[-1]
    assert "in all 40 it does so" in good[-1]


def test_the_credit_line_is_spoken_of_where_one_is_stated():
    dataset = invented_dataset(trials=40, planting_years=(0,), price=0.62)
    assert "credit line" not in " ".join(plain_sentences(dataset))
    lowest = dataset["account_balance"].min("quarter").values
    line = float(np.sort(-lowest.min(axis=1))[20])  # about half of the futures go deeper than this one
    dataset.attrs["credit_line"] = line
    broken = lowest < -line - 0.01
    first = broken.argmax(axis=1)[broken.any(axis=1)].min()
    sentence = plain_sentences(dataset)[-2]
    assert (
        f"is broken in {broken.any(axis=1).sum()} of 40 futures tried, for the first time in year {first}" in sentence
    )
    dataset.attrs["credit_line"] = 1e9
    assert "holds in all 40 futures tried" in plain_sentences(dataset)[-2]


def test_frost_is_named_only_where_it_makes_the_crops_fail():
    dataset = invented_dataset(trials=40, planting_years=(0,))
    dataset["frost_kill"][:] = 0.0
    dataset["harvested_mass"][:] = 20_000.0
    assert failed_crops(dataset) is None
    # Trials 0 to 3 of 40 bring a third of the middle crop in year 9, one of 19 mature years; frost hits 3 of the 4.
    dataset["harvested_mass"][:4, 9] = 7_000.0
    dataset["frost_kill"][:3, 9] = 0.95
    assert failed_crops(dataset) == pytest.approx((0.1 / 19, 0.75))
    sentence = plain_sentences(dataset)[1]
    assert "Of 100 crops 0.53 fail" in sentence
    assert "75 of 100 of these after a frost" in sentence
    dataset["frost_kill"][:2, 9] = 0.85
    assert failed_crops(dataset) == pytest.approx((0.1 / 19, 0.25))
    assert "after a frost" not in " ".join(plain_sentences(dataset))


def test_weak_points_are_marked():
    from orchardsim.report.run.headline_rows import Band, low_text

    assert low_text(Band(10.0, 0, 0, 2.1, 0, 0), 1) == "~10.0"
    assert low_text(Band(10.0, 0, 0, 1.9, 0, 0), 1) == "10.0"
    assert low_text(Band(0.0, 0, 0, 0.0, 0, 0), 1) == "0.0"
    few = invented_dataset(trials=8, planting_years=(0,))
    assert re.search(r"~\d", headline_table(few))
    assert "rests on few seasons" in headline_table(few)


def test_a_label_that_does_not_pay_is_named():
    dataset = invented_dataset(trials=40, planting_years=(0, 2), price=1.5)
    formats = RunFormats.of(dataset.attrs)
    assert label_lines(dataset, formats) == [
        "Each of them pays by itself within 20 years in at least nine of ten futures tried."
    ]
    sales = dataset["ledger_item"] == "fresh_sales"
    dataset["ledger"].loc[{"block": "home"}] = dataset["ledger"].sel(block="home").where(~sales, 0.0)
    (line,) = label_lines(dataset, formats)
    assert line.startswith("home does not pay: by itself it has paid for itself within 20 years in 0 of 40")
    assert "In a mature year it loses USD" in line
    # By hand: costs of a mature year over 0.8 ha = 1.9768 acres, to three figures.
    mature = years_in_full_crop(dataset, "home")
    ledger = dataset["ledger"].sel(block="home").isel(year=mature)
    costs = -ledger.sum("ledger_item").mean().item() / (8000 / 4046.8564224)
    assert f"it loses USD {float(f'{costs:.3g}'):,.0f} an acre" in line
    assert label_cells(dataset, formats)[1][-2:] == ["0 of 40", "never"]


@pytest.mark.parametrize(
    ("paid", "words"),
    # Wilson's interval of 13 of 40 is 20 to 48 %, of 20 of 40 35 to 65 %, of 30 of 40 60 to 86 % (as by hand).
    [(13, "home does not pay"), (20, "home barely pays, if at all"), (30, "home pays in most futures, not in all")],
)
def test_verdicts_on_a_label_keep_to_what_the_trials_tell(paid, words):
    dataset = invented_dataset(trials=40, planting_years=(0,))
    dataset["ledger"].loc[{"block": "home"}] = 0.0
    dataset["ledger"].loc[{"block": "home", "year": 19, "ledger_item": "upkeep"}] = np.where(
        np.arange(40) < paid, 1.0, -1.0
    )
    (line,) = label_lines(dataset, RunFormats.of(dataset.attrs))
    assert line.startswith(words)
    assert f"{paid} of 40 futures" in line


def test_hours_by_leaf_are_shown_per_acre(run):
    formats = RunFormats.of(run.attrs)
    for group in work_groups(run, formats):
        head, *rows = group["cells"]
        assert len({len(row) for row in group["cells"]}) == 1
        everything = head.index("all hours")
        for row in rows:
            tasks = [float(text.replace(",", "")) for text in row[1:everything] if text != "–"]
            assert float(row[everything].replace(",", "")) == pytest.approx(sum(tasks), abs=0.6)
    line = work_line(run, formats)
    assert bool(line) == bool(work_groups(run, formats))
    assert ("hours per" in line) != ("no mature year is named" in line) or not line
    assert work_line(run, formats) in headline_table(run).replace("\n", " ")


def test_fruit_in_ounces_and_boxes_by_hand():
    # 28.349523 g to the ounce; 170.1 g is 6.0 oz, and a box of 19.0509 kg holds 112 such fruit.
    work = LabelWork("x", (7,), TASKS, np.ones((1, len(TASKS))), *(np.array([one]) for one in (0.5, 0.6, 0.01, 170.1)))
    us = work_cells(work, RunFormats("us", "USD", 396.893, 19.0509, ""))
    assert us[1][-4:] == ["60", "1.0", "6.0", "112"]
    assert us[1][1] == "1.2"  # three tasks of one hour a hectare: 3 / 2.471054
    metric = work_cells(work, RunFormats("metric", "EUR", 300.0, 13.0, ""))
    assert metric[0][-2:] == ["fruit, g", "fruit per box"]
    assert metric[1][-2:] == ["170", "76"]


class _Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.outside, self.ids, self.open = [], [], []

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        for name in ("src", "href", "xlink:href"):
            if attrs.get(name) and not attrs[name].startswith("#"):
                self.outside.append(attrs[name])
        if "id" in attrs:
            self.ids.append(attrs["id"])


@pytest.mark.parametrize(
    "run",
    ["two blocks, US units", "short run, planted late, old block beside", "planted after the run"],
    indirect=True,
)
def test_page_stands_alone_and_pictures_are_there(run, tmp_path):
    write_run(tmp_path, run, summary_document(run))
    text = write_report(tmp_path).read_text(encoding="utf-8")
    page = _Page()
    page.feed(text)
    assert all((tmp_path / name).is_file() for name in page.outside)  # the pictures' own files, beside the page
    assert len(page.ids) == len(set(page.ids))
    drawn = [name for name in FIGURES if name != "land"]  # the invented run keeps no single trees
    assert text.count("<svg") == len(drawn)
    for name in drawn:
        ElementTree.parse(tmp_path / "figures" / f"{name}.svg")
        assert (tmp_path / "figures" / f"{name}.csv").read_text(encoding="utf-8").startswith("panel,series,x,")


def test_page_says_what_it_must(run):
    text = re.sub("</?button[^>]*>", "", report_html(SavedRun.of(run), {}))
    for sentence in plain_sentences(run):
        assert sentence.replace("'", "&#39;") in text
    assert "Money by block and row group" in text
    assert "Payback counts the interest" in text
    assert "licensed" in text and "local code" in text
    assert "Apple scab, codling moth, mites and nutrition" in text
    assert "assumption: invented for the tests" in text
    assert text.index("The land") < text.index("<table")  # pictures first, tables folded beneath
    assert "<table" not in re.sub(r"<details.*?</details>", "", text, flags=re.S)


def test_a_word_of_the_glossary_opens_its_meaning_and_text_stays_text():
    shown = str(explained("NPV <b>of NPV</b>, payback year"))
    assert shown.count('popovertarget="open-word-npv"') == 1 and "&lt;b&gt;of NPV&lt;/b&gt;" in shown
    assert 'popovertarget="open-word-payback-year"' in shown
    assert {row.name for row in RESULTS.values() if row.headline == "trial"} <= WORDS.keys()
    page = report_html(SavedRun.of(invented_dataset(trials=10, years=6)), {})
    ids = re.findall(r'popover id="([^"]+)"', page)
    assert len(ids) == len(set(ids)) == len(WORDS) and set(re.findall(r'popovertarget="([^"]+)"', page)) <= set(ids)


def test_text_of_a_plan_is_escaped():
    dataset = invented_dataset(trials=10, years=6, attrs={"title": "<script>alert(1)</script>"})
    assert "<script>" not in report_html(SavedRun.of(dataset), {})


def test_a_folder_without_a_run_is_refused(tmp_path):
    with pytest.raises(InputError, match="no run"):
        write_report(tmp_path)


def test_report_command_rebuilds_the_same_report(tmp_path, capsys):
    from orchardsim.cli.main import main

    dataset = invented_dataset(trials=10, years=6)
    write_run(tmp_path, dataset, summary_document(dataset))
    first = write_report(tmp_path).read_bytes()
    (tmp_path / "report.html").unlink()
    assert main(["report", str(tmp_path)]) == 0
    assert "payback year" in capsys.readouterr().out
    assert (tmp_path / "report.html").read_bytes() == first
    assert main(["report", str(tmp_path / "nowhere")]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "nowhere" in error


def test_importing_the_room_is_quick_and_draws_nothing_in():
    code = (
        "import sys, orchardsim.report, orchardsim.results; "
        "print([m for m in ('matplotlib', 'jinja2', 'xarray', 'netCDF4', 'scipy', 'numba') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_ledger_table_adds_up():
    """Means add up: items to the net in every column, and columns over their years to all years."""
    dataset = invented_dataset(trials=30, years=15)
    head, *rows = ledger_cells(dataset)
    assert head[1] == "year 0"
    assert head[-2:] == ["a year of 12-14", "all years"]
    numbers = np.array([[float(text.replace(",", "").replace("–", "0")) for text in row[1:]] for row in rows[:-1]])
    *items, net = numbers
    assert np.abs(np.sum(items, axis=0) - net).max() <= 0.5 * len(items) + 0.5
    years = np.array([last - first + 1 for first, last in spans(15)])
    assert np.abs((numbers[:, :-1] * years).sum(axis=1) - numbers[:, -1]).max() <= 0.5 * 15 + 0.5
    assert rows[-1][0] == "± of the net"


def test_the_accounts_quarters_stand_with_the_middle_trial_and_the_low_one():
    dataset = invented_dataset(trials=30, years=15)
    head, *rows = balance_cells(dataset)
    assert head == ["year", *(text for quarter in QUARTERS for text in (quarter, "low"))]
    assert len(rows) == BALANCE_YEARS
    amounts = np.array([[float(text.replace(",", "")) for text in row[1:]] for row in rows]).reshape(
        BALANCE_YEARS, 4, 2
    )
    assert (amounts[:, :, 1] <= amounts[:, :, 0]).all()
    assert amounts[3, 2, 0] == pytest.approx(
        float(dataset["account_balance"].sel(quarter="summer")[:, 3].median()), abs=0.5
    )


def test_the_familys_work_is_told_priced_and_unpaid():
    dataset = invented_dataset({"discount_rate": 0.0, "family_paid": True}, trials=20)
    line = family_lines(dataset, RunFormats.of(dataset.attrs))[0]
    npv = float(dataset["npv_without_remaining_value"].mean())
    formats = RunFormats.of(dataset.attrs)
    assert "120 hours" in line
    # 20 years of 2,400 at no discount.
    assert formats.money(npv) in line
    assert formats.money(npv + 48_000) in line
    dataset["family_hours"][:] = 0.0
    assert family_lines(dataset, formats) == []


def test_nothing_on_the_page_is_wider_than_a_telephone():
    """Outside scrolling boxes text wraps, no fingerprint stands in full, every table scrolls or wraps in print."""
    dataset = invented_dataset({"plan_hash": "0123456789abcdef" * 4}, trials=10, years=12)
    text = report_html(SavedRun.of(dataset), {})
    assert "0123456789abcdef." in text and "0123456789abcdef0" not in text
    assert "overflow-wrap: anywhere" in text
    assert text.count("<table") == len(re.findall(r'<div class="scroll"[^>]*><table', text)) > 5
    printed = text[text.index("@media print") : text.index("</style>")]
    assert "white-space: normal" in printed and "overflow: visible" in printed


def test_no_number_is_a_negative_zero():
    dataset = invented_dataset(trials=10, years=12)
    dataset["net_cash_flow"][:] = -0.3
    dataset["ledger"][:] = -0.2
    dataset["account_balance"][:] = -0.4
    for text in (headline_table(dataset), report_html(SavedRun.of(dataset), {})):
        assert not re.search(r"(?<![\d.,])-0(?![\d.,])", text)
        assert not re.search(r"\d%", re.sub(r"<style>.*?</style>|style=\S+", "", text, flags=re.S))


def test_the_handbook_holds_the_words_of_the_pages():
    """The list in the repository is the one that pages open a word from."""
    text = (Path(__file__).parents[2] / "orchardsim" / "handbook" / "words.md").read_text(encoding="utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| ")]
    assert rows[1:] == [f"| {word.name} | {word.meaning} |" for word in WORDS.values()]
