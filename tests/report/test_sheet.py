"""The sheet for a partner or lender: its numbers are those of the summary, and it is one page."""

from __future__ import annotations

import csv
import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray

from orchardsim.plan import load_plan
from orchardsim.report.run.bad_years import worst_lines
from orchardsim.report.run.page import write_report
from orchardsim.report.run.sheet import answer_lines, bill_cells, gap_line, rests_lines, sheet_page, sheet_pdf
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import summary_document, write_run
from orchardsim.results.farm import of_farm
from orchardsim.results.sheet import _packing
from orchardsim.simulation import simulate
from tests.plan.examples import changed


@pytest.fixture(scope="module")
def dataset() -> xarray.Dataset:
    plan = load_plan(changed(("block.net_area", "0.05 ha"), ("block.row_length", "20 m"), ("title", "<b>Hill & $x$")))
    return simulate(plan, trials=16, years=9)


@pytest.fixture(scope="module")
def summary(dataset: xarray.Dataset) -> dict[str, Any]:
    return json.loads(json.dumps(summary_document(dataset)))


def test_cash_and_payback_are_those_of_the_trials(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    summed = of_farm(dataset, "net_cash_flow").values.cumsum(axis=1)
    for year in (0, 4, 8):
        row = summary["sheet"]["cash_summed_by_year"][str(year)]
        # Definition 7 of Hyndman & Fan 1996, as everywhere: of 16 trials the 50 % point lies halfway between the
        # eighth and the ninth, the 95 % point a quarter of the way from the fifteenth on (15 x 0.95 = 14.25).
        ordered = np.sort(summed[:, year])
        assert row["p50"] == pytest.approx((ordered[7] + ordered[8]) / 2, rel=1e-5)
        assert row["p95"] == pytest.approx(ordered[14] + 0.25 * (ordered[15] - ordered[14]), rel=1e-5)
        share = (dataset["payback_year"].values <= year).mean()
        assert summary["sheet"]["paid_back_by_year"][str(year)] == pytest.approx(share, rel=1e-5)


def test_the_bill_is_the_ledger(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    # What is paid in a year, less sales, is the net cash flow with its sign turned.
    sales = of_farm(dataset, "ledger").sel(ledger_item=["fresh_sales", "direct_sales", "processing_sales"])
    for year in (0, 1, 5):
        paid = sum(summary["sheet"]["bill_by_year"][str(year)].values())
        net = of_farm(dataset, "net_cash_flow").sel(year=year).mean("trial")
        income = sales.sel(year=year).sum("ledger_item").mean("trial")
        assert paid == pytest.approx(float(income - net), rel=1e-4, abs=0.1)
    assert bill_cells(summary, RunFormats.of(dataset.attrs))[-1][0] == "together"


def test_what_a_frost_costs_is_a_regression_with_constants_for_trials_and_years(
    dataset: xarray.Dataset, summary: dict[str, Any]
) -> None:
    found = {one["what"]: one for one in summary["sheet"]["worst"]}["frost in bloom"]
    bearing = of_farm(dataset, "harvested_mass").values.mean(axis=0) > 0
    cash = of_farm(dataset, "net_cash_flow").values.astype(float)[:, bearing]
    killed = dataset["frost_kill"].isel(block=0).values[:, bearing][:, :-1]
    hard = killed >= np.quantile(killed, 0.95)
    trials, years = hard.shape
    trial, year = np.divmod(np.arange(hard.size), years)
    columns = [hard.ravel(), *(trial == one for one in range(trials)), *(year == one for one in range(1, years))]
    # The whole regression by numpy, and the error of its clusters by the sandwich of Liang & Zeger (1986, from memory).
    design, y = np.column_stack(columns).astype(float), (cash[:, :-1] + cash[:, 1:]).ravel()
    slopes = np.linalg.lstsq(design, y, rcond=None)[0]
    bread = np.linalg.inv(design.T @ design)
    scores = (design * (y - design @ slopes)[:, None]).reshape(trials, years, -1).sum(axis=1)
    assert found["costs"] == pytest.approx(-slopes[0], rel=1e-4)
    assert found["standard_error"] == pytest.approx(np.sqrt((bread @ scores.T @ scores @ bread)[0, 0]), rel=1e-4)
    assert found["at_least"] == pytest.approx(killed[hard].min(), rel=1e-4)


def test_sentences_hold_the_headline(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    formats = RunFormats.of(dataset.attrs)
    text = " ".join(answer_lines(summary, formats))
    assert formats.money(summary["headline"]["peak_borrowing"]["p50"]) in text
    assert formats.money(summary["headline"]["npv"]["p5"]) in text
    assert all(len(line.split()) < 30 for line in worst_lines(summary, formats))
    one = {"what": "hail", "at_least": 0.031, "share_of_years": 0.012, "costs": 510.0, "standard_error": 260.0}
    rare = {**summary, "sheet": {**summary["sheet"], "worst": [one, {**one, "costs": 530.0}]}}
    assert worst_lines(rare, formats)[0].startswith("Hail (3.1 % or more of the fruit marked, in 1.2 % of years): too")
    assert worst_lines(rare, formats)[1].endswith("530 ± 260")


def test_the_gap_to_published_budgets_is_one_sentence(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    middle = {"margin": -9000.0, "margin_at_budget_yield": 0.0, "rate": "none", "payback": "never", "bushels": 751.0,
              "cost": 300.0, "cost_at_budget_yield": 200.0, "net_price": 250.0}  # fmt: skip
    said = {**summary, "sheet": {**summary["sheet"], "published": middle}}
    formats = dataclasses.replace(RunFormats.of(dataset.attrs), system="us")
    assert gap_line(said, formats).endswith("an acre; here a typical future picks 751.")
    falling = {**middle, "price_change": -0.15, "first_mature_year": 9.0}
    falling_said = gap_line({**said, "sheet": {**said["sheet"], "published": falling}}, formats)
    assert falling_said.endswith("its fresh price ends 15 % below year 9's.")
    assert gap_line({**said, "sheet": {**said["sheet"], "published": None}}, formats) == ""


def test_the_paper_is_one_page_and_the_same_each_time(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    formats = RunFormats.of(dataset.attrs)
    pdf = sheet_pdf(summary, formats)
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    assert pdf == sheet_pdf(summary, formats)


def test_a_title_stays_text(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    text = sheet_page(summary, RunFormats.of(dataset.attrs))[0]
    assert "&lt;b&gt;Hill &amp; $x$" in text
    assert "<b>Hill" not in text
    assert not re.search(r"""(src|href)=["']https?:""", text)


def test_a_price_whose_premium_falls_says_so(dataset: xarray.Dataset) -> None:
    row = {"what": "Gala, best grade, packed", "value": 2.0, "unit": "money/kg", "status": "stated"}
    falling, steady = rests_lines(
        {"sheet": {"rests_on": [row | {"premium_falls": 0.06}, row | {"premium_falls": 0.0}]}},
        RunFormats.of(dataset.attrs),
    )
    assert falling.endswith("(stated in the plan), its premium over common fruit falling 6 % a year")
    assert steady.endswith("(stated in the plan)")


def test_charges_of_packing_are_those_of_the_cultivars() -> None:
    fruit = {"Gala": {"packing": None}, "Honeycrisp": {"packing": 0.7}}
    plan = {"market": {"fruit": fruit}}
    assert [row[:2] for row in _packing(plan, ["Honeycrisp"])] == [
        ("packing and selling, Honeycrisp", ("market", "fruit", "Honeycrisp", "packing"))
    ]
    both = [row[1] for row in _packing(plan, ["Gala", "Honeycrisp"])]
    assert both == [("market", "fruit", "Honeycrisp", "packing"), ("costs", "packing")]


def test_fruit_left_unpicked_stands_on_the_sheet(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    formats = RunFormats.of(dataset.attrs)
    few = {**summary, "sheet": {**summary["sheet"], "undone": {"picking": 0.59}, "unpicked": 0.62}}
    told = set(answer_lines(few, formats)) - set(answer_lines(summary, formats))
    assert any("picking 59 %" in line for line in told) and any("unpicked: 62 %" in line for line in told)


def test_a_saved_run_has_its_sheet(dataset: xarray.Dataset, tmp_path: Path) -> None:
    write_run(tmp_path / "out", dataset, summary_document(dataset))
    write_report(tmp_path / "out")
    assert (tmp_path / "out" / "sheet.pdf").read_bytes().startswith(b"%PDF")
    assert "What it rests on" in (tmp_path / "out" / "sheet.html").read_text()
    rows = list(csv.DictReader((tmp_path / "out" / "figures" / "sheet_cash.csv").open(encoding="utf-8")))
    known = summary_document(dataset)["sheet"]["cash_summed_by_year"]
    middle = {row["x"]: float(row["value"]) for row in rows if row["series"] == "middle"}
    assert middle == pytest.approx({str(year): row["p50"] for year, row in known.items()}, rel=1e-5)
    assert {"sheet_land.csv", "sheet_yield.csv", "sheet_payback.csv"} <= {
        path.name for path in (tmp_path / "out" / "figures").iterdir()
    }
