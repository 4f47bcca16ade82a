"""The sheet for a partner or lender: its numbers are those of the summary, and it is one page."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray

from orchardsim.plan import load_plan
from orchardsim.report.run.page import write_report
from orchardsim.report.run.sheet import answer_lines, bill_cells, sheet_page, sheet_pdf, worst_lines
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import summary_document, write_run
from orchardsim.results.farm import of_farm
from orchardsim.simulation import simulate
from tests.plan.examples import changed


@pytest.fixture(scope="module")
def dataset() -> xarray.Dataset:
    plan = load_plan(changed(("block.net_area", "0.05 ha"), ("block.row_length", "20 m"), ("title", "<b>Hill & $x$")))
    return simulate(plan, trials=12, years=9)


@pytest.fixture(scope="module")
def summary(dataset: xarray.Dataset) -> dict[str, Any]:
    return json.loads(json.dumps(summary_document(dataset)))


def test_cash_and_payback_are_those_of_the_trials(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    summed = of_farm(dataset, "net_cash_flow").values.cumsum(axis=1)
    for year in (0, 4, 8):
        row = summary["sheet"]["cash_summed_by_year"][str(year)]
        # Definition 7 of Hyndman & Fan 1996, as everywhere: of 12 trials the 50 % point lies halfway between the sixth
        # and the seventh, the 95 % point 0.45 of the way from the eleventh to the twelfth (11 x 0.95 = 10.45).
        ordered = np.sort(summed[:, year])
        assert row["p50"] == pytest.approx((ordered[5] + ordered[6]) / 2, rel=1e-5)
        assert row["p95"] == pytest.approx(ordered[10] + 0.45 * (ordered[11] - ordered[10]), rel=1e-5)
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


def test_a_year_of_poorest_prices_is_counted_by_hand(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    named = {one["what"]: one for one in summary["sheet"]["worst"]}
    found = named.get("a year of the poorest prices")
    assert found is not None
    cash = of_farm(dataset, "net_cash_flow").values
    luck = dataset["price_luck"].values
    bearing = of_farm(dataset, "harvested_mass").values.mean(axis=0) > 0
    poor = (luck <= np.quantile(luck, 0.1)) & bearing
    short = (np.median(cash, axis=0) - cash)[poor]
    assert found["costs"] == pytest.approx(short.mean(), rel=1e-5)
    assert found["share_of_futures"] == pytest.approx(poor.any(axis=1).mean(), rel=1e-5)


def test_sentences_hold_the_headline(dataset: xarray.Dataset, summary: dict[str, Any]) -> None:
    formats = RunFormats.of(dataset.attrs)
    text = " ".join(answer_lines(summary, formats))
    assert formats.money(summary["headline"]["peak_borrowing"]["p50"]) in text
    assert formats.money(summary["headline"]["npv"]["p5"]) in text
    assert all(len(line.split()) < 30 for line in worst_lines(summary, formats))
    few = {**summary, "sheet": {**summary["sheet"], "worst": summary["sheet"]["worst"][:1]}}
    assert "orchardsim stress" in worst_lines(few, formats)[-1]


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
