"""The report of a saved run: pictures as files, and one page that holds everything."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from orchardsim.core.labels import FARM
from orchardsim.core.numbers import number
from orchardsim.core.parameters import STATUSES
from orchardsim.plan.showing import Showing
from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.pages import Pictures, picture_names, picture_parts, render, save_pictures
from orchardsim.report.run.block_tables import (
    MONEY_NOTE,
    WORK_NOTE,
    label_cells,
    label_lines,
    mature_text,
    work_groups,
    work_line,
)
from orchardsim.report.run.boxes import box_cells, box_note
from orchardsim.report.run.ledger_table import (
    LEDGER_NOTE,
    SALES_NOTE,
    balance_cells,
    balance_note,
    ledger_cells,
    sales_cells,
)
from orchardsim.report.run.risk import cover_cells, risk_part
from orchardsim.report.run.rows import WEAK_NOTE, YieldRow, flow_bands, low_text, money_rows, weak, yield_rows
from orchardsim.report.run.second_opinion import second_opinion_part
from orchardsim.report.run.sentences import plain_sentences
from orchardsim.report.run.sheet import sheet_html, sheet_pdf
from orchardsim.report.run.table import doubts_lines, notes_lines, shares_lines
from orchardsim.report.run.tree_table import TREE_NOTE, swing_line, tree_groups
from orchardsim.report.show import (
    LEFT_OUT,
    PAYBACK_AND_NPV,
    Show,
    areas_text,
    footer,
    frost_sentences,
    years_text,
)
from orchardsim.results import attribute, block_labels, summary_document
from orchardsim.results.folder import OutputFolder, opened
from orchardsim.results.store import REPORT_FILE, RUN, SHEET_FILE, SHEET_PAPER, SUMMARY_FILE, open_results

if TYPE_CHECKING:
    import xarray

STATUS_MEANING: Final = {
    "assumption": "No source: chosen by whoever wrote the plan or the catalogue, with the reason given.",
    "common practice": "What growers and advisers usually do; no source.",
    "memory": "Recalled from the literature, not looked up again.",
    "derived": "Worked out from numbers that were read.",
    "computed": "Worked out by a program from data.",
    "read": "Read in the source named.",
}
STATUS_ORDER: Final = ("assumption", "common practice", "memory", "derived", "computed", "read")
"""The weakest come first, for they are what a reader should doubt."""


def report_files() -> list[str]:
    """Files that :func:`write_report` writes."""
    from orchardsim.report.run.figures import FIGURES

    return [REPORT_FILE, SHEET_FILE, SHEET_PAPER, *picture_names(FIGURES)]


def write_report(place: str | Path | OutputFolder) -> Path:
    """Draw the pictures and write the page of a saved run.

    Parameters
    ----------
    place : path or OutputFolder
        Folder that holds ``results.nc``.

    Returns
    -------
    pathlib.Path
        ``report.html``; the pictures stand in ``figures/`` as SVG and PNG.

    Raises
    ------
    InputError
        If the folder holds no run, or somebody else's file stands in the way.
    """
    from orchardsim.report.run.figures import figures_of

    saved = place.place if isinstance(place, OutputFolder) else Path(place)
    target = saved.parent if saved.is_file() else place
    with open_results(saved) as dataset, opened(target, RUN, report_files()) as folder:
        pictures = save_pictures(folder, dataset, figures_of(dataset))
        path = folder.write_text(REPORT_FILE, report_html(dataset, pictures))
        summary, show = _summary(saved, dataset), Show.of(dataset)
        folder.write_text(SHEET_FILE, sheet_html(summary, show))
        folder.write_bytes(SHEET_PAPER, sheet_pdf(summary, show))
        if folder.update:
            folder.finish()
    return path


def _summary(saved: Path, dataset: xarray.Dataset) -> Mapping[str, Any]:
    """The summary that stands beside the results, or the same made anew."""
    path = (saved if saved.is_dir() else saved.parent) / SUMMARY_FILE
    found: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}
    return found if "sheet" in found else summary_document(dataset)


def report_html(dataset: xarray.Dataset, pictures: Pictures) -> str:
    """The page as text.

    Parameters
    ----------
    dataset : xarray.Dataset
        Result of a run.
    pictures : mapping
        From :func:`orchardsim.report.pages.save_pictures`.
    """
    from orchardsim.report.run.figures import FIGURES

    show = Show.of(dataset)
    attrs = dataset.attrs
    cover = cover_cells(dataset)
    return render(
        "report.html",
        title=str(attrs["title"]),
        areas=areas_text(dataset, show),
        footer=footer(dataset),
        sentences=plain_sentences(dataset),
        money_rows=money_rows(dataset, show),
        two_doubts=doubts_lines(dataset),
        currency=show.currency,
        money_basis=show.money_basis,
        shares=shares_lines(dataset),
        yields=_yield_groups(dataset, show),
        yield_unit=show.yield_unit,
        other_unit=f"{'boxes' if show.us else 'bins'}/{show.area_name}",
        area_name=show.area_name,
        containers=f"{show.bin_text}, {show.box_text}",
        flows=[
            {
                "year": year,
                "low": number(flow.low),
                "middle": number(flow.middle),
                "minus": flow.middle < 0,
                "error": number(flow.middle_error),
                "high": number(flow.high),
                "summed": number(summed),
                "cover": cover[year],
            }
            for year, flow, summed in flow_bands(dataset)
        ],
        pictures=picture_parts(FIGURES, pictures),
        weather_words=str(attrs["weather_words"]),
        baseline=years_text(attribute(dataset, "baseline_years")),
        frost=frost_sentences(dataset),
        notes=notes_lines(dataset),
        trials=f"{dataset.sizes['trial']:,}",
        seed=attrs["seed"],
        version=attrs["version"],
        plan_hash=attrs["plan_hash"],
        assumptions=_assumptions(dataset),
        payback_and_npv=PAYBACK_AND_NPV,
        risk=risk_part(dataset, show),
        ledger=ledger_cells(dataset),
        ledger_note=LEDGER_NOTE,
        balance=balance_cells(dataset),
        balance_note=balance_note(dataset),
        sales=sales_cells(dataset, show),
        sales_note=SALES_NOTE,
        label_cells=label_cells(dataset, show),
        label_lines=label_lines(dataset, show),
        label_notes=[mature_text(), MONEY_NOTE],
        work=work_groups(dataset, show),
        work_line=work_line(dataset, show),
        work_note=WORK_NOTE,
        box_cells=box_cells(dataset, show),
        box_note=box_note(dataset, show),
        tree_groups=tree_groups(dataset, show),
        tree_note=TREE_NOTE,
        swing_line=swing_line(dataset),
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
        second=second_opinion_part(dataset, show),
    )


def _yield_groups(dataset: xarray.Dataset, show: Show) -> list[dict[str, Any]]:
    labels = block_labels(dataset)
    aligned = "Blocks are aligned by leaf; a leaf counts the blocks that reach it within the run."
    named = [("whole farm", FARM, aligned)] if len(labels) > 1 else []
    groups = []
    for name, label, note in [*named, *((label, label, "") for label in labels)]:
        rows = yield_rows(dataset, label, show)
        notes = [note, WEAK_NOTE if any(weak(row.band) for row in rows) else ""]
        groups.append({"name": name, "rows": _yield_cells(rows, show.us), "note": " ".join(filter(None, notes))})
    return groups


def _yield_cells(rows: list[YieldRow], us: bool) -> list[dict[str, str]]:
    return [
        {
            "leaf": str(row.leaf),
            "years": str(row.years[0]) if len(row.years) == 1 else f"{row.years[0]}-{row.years[-1]}",
            "low": low_text(row.band, 1),
            "low_error": f"{row.band.low_error:,.1f}",
            "middle": f"{row.band.middle:,.1f}",
            "error": f"{row.band.middle_error:,.1f}",
            "high": f"{row.band.high:,.1f}",
            "other": f"{row.boxes:,.0f}" if us else f"{row.bins:,.1f}",
        }
        for row in rows
    ]


def _assumptions(dataset: xarray.Dataset) -> list[dict[str, Any]]:
    found = attribute(dataset, "plan")["assumed"]
    attrs = dataset.attrs
    show = Showing(
        str(attrs["display_units"]), str(attrs["currency"]), float(attrs["latitude"]), float(attrs["box_mass"])
    )
    by_status: dict[str, list[dict[str, str]]] = {}
    for entry in found:
        value, unit = show.parts(entry["key"], entry["value"], entry["unit"])
        by_status.setdefault(entry["status"], []).append(
            {"key": entry["key"], "value": value, "unit": unit, "source": entry["source"]}
        )
    order = [*STATUS_ORDER, *(status for status in by_status if status not in STATUSES)]
    return [
        {
            "status": status,
            "meaning": STATUS_MEANING.get(status, ""),
            "rows": by_status[status],
            "open": len(by_status[status]) <= 12,
        }
        for status in order
        if status in by_status
    ]
