"""The report of a saved run: pictures as files, and one page that holds everything."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from orchardsim.core.labels import FARM
from orchardsim.core.parameters import STATUSES
from orchardsim.core.pool import pool_at_hand
from orchardsim.plan.formats import PlanFormats
from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.pages import Pictures, drawn, keep_picture, picture_names, picture_parts, render
from orchardsim.report.run.block_tables import block_part
from orchardsim.report.run.first_screen import plain_sentences
from orchardsim.report.run.headline_rows import WEAK_NOTE, weak, yield_rows
from orchardsim.report.run.ledger_table import ledger_part
from orchardsim.report.run.published import published_lines
from orchardsim.report.run.risk import risk_part
from orchardsim.report.run.saved import SavedRun
from orchardsim.report.run.second_opinion import second_opinion_part
from orchardsim.report.run.sheet import sheet_files, sheet_page, sheet_pdf
from orchardsim.report.run.table import (
    COVER_NOTE,
    doubts_lines,
    flow_cells,
    money_cells,
    notes_lines,
    shares_lines,
    yield_cells,
)
from orchardsim.report.run_formats import (
    LEFT_OUT,
    PAYBACK_AND_NPV,
    RunFormats,
    areas_text,
    footer,
    frost_sentences,
    years_text,
)
from orchardsim.results import attribute, block_labels
from orchardsim.results.folder import OutputFolder, opened
from orchardsim.results.store import REPORT_FILE, RUN, SHEET_FILE, SHEET_PAPER, open_results

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
"""What each status means; the weakest come first, for they are what a reader should doubt."""


def report_files() -> list[str]:
    """Files that :func:`write_report` writes."""
    from orchardsim.report.run.figures import FIGURES

    return [REPORT_FILE, SHEET_FILE, SHEET_PAPER, *picture_names(FIGURES), *sheet_files()]


def write_report(place: str | Path | OutputFolder) -> Path:
    """Draw the pictures and write the page of a saved run.

    Parameters
    ----------
    place : path or OutputFolder
        Folder that holds ``results.nc``.

    Returns
    -------
    pathlib.Path
        ``report.html``; the pictures stand in ``figures/`` as SVG, with their numbers as CSV.

    Raises
    ------
    InputError
        If the folder holds no run, or somebody else's file stands in the way.
    """
    from orchardsim.report.run.figures import figures_of

    saved = place.place if isinstance(place, OutputFolder) else Path(place)
    target = saved.parent if saved.is_file() else place
    with open_results(saved) as dataset, opened(target, RUN, report_files()) as folder:
        run = SavedRun.of(dataset, saved.parent if saved.is_file() else saved)
        drawings = _drawings(saved, run)
        pictures = {}
        for name in figures_of(run):
            pictures[name], numbers = drawings[name]
            keep_picture(folder, name, pictures[name], numbers)
        path = folder.write_text(REPORT_FILE, report_html(run, pictures))
        page, numbers_of = drawings[SHEET_FILE]
        folder.write_text(SHEET_FILE, page)
        for name, numbers in zip(sheet_files(), numbers_of.values(), strict=True):
            folder.write_text(name, numbers)
        folder.write_bytes(SHEET_PAPER, drawings[SHEET_PAPER])
        if folder.update:
            folder.finish()
    return path


def _drawings(saved: Path, run: SavedRun) -> dict[str, Any]:
    """Pictures with their numbers, and both sheets, by name; the processes of an open pool share the work."""
    from orchardsim.report.run.figures import figures_of

    names = [SHEET_PAPER, SHEET_FILE, *figures_of(run)]
    draw = functools.partial(_drawing, saved.resolve())
    with SavedRun.at_hand(saved.resolve(), run):
        done = dict(pool_at_hand().finished([(draw, (name,)) for name in names]))
    return {name: done[place] for place, name in enumerate(names)}


def _drawing(saved: Path, name: str) -> Any:
    from orchardsim.report.run.figures import FIGURES

    run = SavedRun.opened(saved)
    if name == SHEET_FILE:
        return sheet_page(run.summary, run.formats)
    if name == SHEET_PAPER:
        return sheet_pdf(run.summary, run.formats)
    return drawn(*FIGURES[name], run)


def report_html(run: SavedRun, pictures: Pictures) -> str:
    """The page as text, with the pictures that were drawn."""
    from orchardsim.report.run.figures import FIGURES

    dataset, formats = run.dataset, run.formats
    attrs, money = dataset.attrs, money_cells(dataset, formats)
    known_by_luck = len(money[0]) > 6
    return render(
        "report.html",
        title=str(attrs["title"]),
        areas=areas_text(dataset, formats),
        footer=footer(dataset),
        sentences=[*plain_sentences(dataset), *published_lines(dataset, formats)],
        two_doubts=doubts_lines(dataset),
        pictures={one["name"]: one for one in picture_parts(FIGURES, pictures)},
        yields=_yield_groups(dataset, formats),
        weather_words=str(attrs["weather_words"]),
        baseline=years_text(attribute(dataset, "baseline_years")),
        frost=frost_sentences(dataset),
        notes=notes_lines(dataset),
        trials=f"{dataset.sizes['trial']:,}",
        seed=attrs["seed"],
        version=attrs["version"],
        plan_hash=attrs["plan_hash"],
        assumptions=_assumptions(dataset),
        risk=risk_part(dataset, formats),
        left_out=LEFT_OUT,
        cautions=CAUTIONS,
        second=second_opinion_part(dataset, formats),
        area_name=formats.area_name,
        containers=f"{formats.bin_text}, {formats.box_text}",
        currency=formats.currency,
        money_basis=formats.money_basis,
        money_cells=money,
        money_words=(0, 6, 7) if known_by_luck else (0, 5),
        known_by_luck=known_by_luck,
        shares=shares_lines(dataset),
        payback_and_npv=PAYBACK_AND_NPV,
        flows=flow_cells(dataset),
        cover_note=COVER_NOTE,
        **block_part(dataset, formats),
        **ledger_part(dataset, formats),
    )


def _yield_groups(dataset: xarray.Dataset, formats: RunFormats) -> list[dict[str, Any]]:
    labels = block_labels(dataset)
    aligned = "Blocks are aligned by leaf; a leaf counts the blocks that reach it within the run."
    named = [("whole farm", FARM, aligned)] if len(labels) > 1 else []
    groups = []
    for name, label, note in [*named, *((label, label, "") for label in labels)]:
        rows = yield_rows(dataset, label, formats)
        notes = [note, WEAK_NOTE if any(weak(row.band) for row in rows) else ""]
        groups.append({"name": name, "cells": yield_cells(rows, formats), "note": " ".join(filter(None, notes))})
    return groups


def _assumptions(dataset: xarray.Dataset) -> list[dict[str, Any]]:
    found = attribute(dataset, "plan")["assumed"]
    attrs = dataset.attrs
    formats = PlanFormats(
        str(attrs["display_units"]), str(attrs["currency"]), float(attrs["latitude"]), float(attrs["box_mass"])
    )
    by_status: dict[str, list[list[str]]] = {}
    for entry in found:
        value, unit = formats.parts(entry["key"], entry["value"], entry["unit"])
        by_status.setdefault(entry["status"], []).append([str(entry["key"]), value, unit, str(entry["source"])])
    order = [*STATUS_MEANING, *(status for status in by_status if status not in STATUSES)]
    return [
        {
            "status": status,
            "meaning": STATUS_MEANING.get(status, ""),
            "cells": [["key", "value", "unit", "source"], *by_status[status]],
        }
        for status in order
        if status in by_status
    ]
