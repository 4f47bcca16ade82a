"""The short table that ``run`` prints."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.glossary import term
from orchardsim.core.labels import FARM
from orchardsim.core.numbers import number
from orchardsim.core.units import display
from orchardsim.report.columns import cells_of, text_columns
from orchardsim.report.run.block_tables import swing_line, work_line
from orchardsim.report.run.headline_rows import (
    WEAK_NOTE,
    YieldRow,
    flow_bands,
    low_text,
    money_rows,
    weak,
    yield_rows,
)
from orchardsim.report.run.risk import (
    RUIN,
    aversion_cells,
    aversion_line,
    bank_lines,
    cover_cells,
    errors_cells,
    errors_lines,
)
from orchardsim.report.run_formats import (
    PAYBACK_AND_NPV,
    RunFormats,
    areas_text,
    footer,
    frost_sentences,
    in_shown_units,
)
from orchardsim.results import attribute, shares
from orchardsim.results.doubts import OpenLevelsOfRun
from orchardsim.results.risk_numbers import trials_for_chance

if TYPE_CHECKING:
    import xarray


WIDTH: Final = 130
"""Columns of text at most."""
COVER_NOTE: Final = (
    "Debt-service cover: cash flow before interest over the interest and principal due in the year, in the futures in "
    "which something is due; below 1 the year does not earn what its debts ask for."
)


def headline_table(dataset: xarray.Dataset) -> str:
    """The headline numbers of a run as text, in the plan's own units; lines of at most :data:`WIDTH` characters."""
    formats = RunFormats.of(dataset.attrs)
    lines = [str(dataset.attrs["title"]), areas_text(dataset, formats), footer(dataset)]
    lines += frost_sentences(dataset)
    lines += [
        "low (1 in 20), middle, high (1 in 20): of twenty futures one falls below low, ten below the middle, one above "
        "high;",
        "± is the standard error of the middle from the number of futures.",
        "",
    ]
    lines += _year_table(dataset, formats)
    if any(weak(row.band) for row in yield_rows(dataset, FARM, formats)):
        lines.append(WEAK_NOTE)
    lines += ["", *_money_lines(dataset, formats)]
    lines += doubts_lines(dataset)
    lines += [f"{formats.currency}: {formats.money_basis}", PAYBACK_AND_NPV, *shares_lines(dataset)]
    lines += ["", "How sure the numbers are, and the worst tenth of the futures", *risk_table(dataset, formats)]
    lines += [line for line in (work_line(dataset, formats), swing_line(dataset)) if line]
    wrapped = [part for line in lines for part in (textwrap.wrap(line, WIDTH) if len(line) > WIDTH else [line])]
    return "\n".join(line.rstrip() for line in wrapped)


def _year_table(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    containers = f"{formats.bin_text}, {formats.box_text}"
    return [
        f"Picked fruit per planted {formats.area_name} ({containers}), blocks aligned by leaf",
        *text_columns(yield_cells(yield_rows(dataset, FARM, formats), formats), left=(), fold_heads=True),
        "",
        "Net cash flow of the farm",
        *text_columns(flow_cells(dataset), left=(), fold_heads=True),
        COVER_NOTE,
    ]


def yield_cells(rows: list[YieldRow], formats: RunFormats) -> list[list[str]]:
    """Yields by leaf: a head, then a row for each leaf."""
    other = f"{'boxes' if formats.us else 'bins'}/{formats.area_name}, middle"
    return cells_of(
        rows,
        ("leaf", lambda row: str(row.leaf)),
        ("year", lambda row: row.year_text),
        (f"{formats.yield_unit}: low (1 in 20)", lambda row: low_text(row.band, 1)),
        ("±", lambda row: f"{row.band.low_error:,.1f}"),
        ("middle", lambda row: f"{row.band.middle:,.1f}"),
        ("±", lambda row: f"{row.band.middle_error:,.1f}"),
        ("high (1 in 20)", lambda row: f"{row.band.high:,.1f}"),
        (other, lambda row: f"{row.boxes:,.0f}" if formats.us else f"{row.bins:,.1f}"),
        (f"on {formats.area_name}", lambda row: f"{row.land / formats.area_size:,.1f}"),
    )


def flow_cells(dataset: xarray.Dataset) -> list[list[str]]:
    """Net cash flow and debt-service cover by year: a head, then a row for each year."""
    cover = cover_cells(dataset)
    head = ["year", "low (1 in 20)", "middle", "±", "high (1 in 20)", "summed, middle"]
    cells = [[*head, "debt-service cover: low (1 in 20)", "middle", "futures with debt service"]]
    for year, flow, summed in flow_bands(dataset):
        numbers = (flow.low, flow.middle, flow.middle_error, flow.high, summed)
        cells.append([str(year), *(number(one) for one in numbers), *cover[year]])
    return cells


def _money_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """The money table; meanings that do not fit go on below themselves."""
    cells = money_cells(dataset, formats)
    lines = text_columns(cells, left=(0, len(cells[0]) - 2, len(cells[0]) - 1) if len(cells[0]) > 6 else (0, 5))
    place = max(len(line) for line in lines) - max(len(row[-1]) for row in cells)
    return [part for line in lines for part in textwrap.wrap(line, WIDTH, subsequent_indent=" " * place)]


def money_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """The money table with its head: by luck alone too where levels are open."""
    rows = money_rows(dataset, formats)
    if not any(row.known for row in rows):
        cells = [["", "low (1 in 20)", "middle", "±", "high (1 in 20)", ""]]
        return cells + [[row.name, *row.band[:2], row.error, row.band[2], row.meaning] for row in rows]
    cells = [["", "low (1 in 20)", "middle", "high (1 in 20)", "luck alone: low", "high", "larger doubt", ""]]
    for row in rows:
        cells.append([row.name, *row.band, *(row.known or ("", "")), row.larger, row.meaning])
    return cells


def doubts_lines(dataset: xarray.Dataset) -> list[str]:
    """What the two doubts are, and what would narrow the band of the present value most; nothing where all is known."""
    levels = OpenLevelsOfRun.of(dataset)
    found = None if levels is None else levels.doubts(dataset["npv"].values)
    if found is None:
        return []
    lines = [
        "Two doubts: luck (seasons, yearly prices, which trees die) and not knowing (the ground, the levels of prices "
        "and costs). Luck alone: were the levels known. "
        f"Of the spread of NPV {100 * found.not_knowing:.0f} % is not knowing."
    ]
    if found.narrowed_by is not None:
        lines.append(
            f"What would narrow NPV most: {OPEN_LEVELS[found.narrowed_by].narrowed_by} would take away "
            f"{100 * found.by_level[found.narrowed_by]:.0f} % of its band ({term(found.narrowed_by)})."
        )
    return lines


def shares_lines(dataset: xarray.Dataset) -> list[str]:
    """Shares of trials that never pay back, have no rate of return, or end with an NPV below zero."""
    names = {
        "never_pays_back": f"never pay back within {dataset.sizes['year']} years",
        "no_irr": "have no IRR",
        "npv_below_zero": "end with an NPV below zero",
    }
    lines = []
    for name, chance in shares(dataset).items():
        wanted = trials_for_chance(chance)
        needs = f"; {wanted:,} futures would bring its error to 2 points" if wanted > chance.trials else ""
        lines.append(
            f"{100 * chance.value:.1f} % of futures {names[name]} (95 % interval {100 * chance.low:.1f} to "
            f"{100 * chance.high:.1f} %{needs})"
        )
    return lines


def risk_table(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """Both errors, the worst tenth, the bank and the household, and the sure amounts, as lines."""
    rows = aversion_cells(dataset, formats)[1:]
    equivalents = "; ".join(f"{row[0]} {row[2]}" + (f" (± {row[3]})" if row[2] != RUIN else "") for row in rows)
    return [
        *text_columns(errors_cells(dataset, formats), left=(0, 1, 5)),
        *errors_lines(dataset),
        *bank_lines(dataset, formats),
        f"Certainty equivalent of NPV, the sure amount worth as much, by aversion to risk: {equivalents}.",
        aversion_line(dataset, formats),
    ]


def notes_lines(dataset: xarray.Dataset) -> list[str]:
    """What was dropped, filled or assumed, one line each."""
    found = attribute(dataset, "notes") or []
    units = display(str(dataset.attrs["display_units"]))
    return [in_shown_units(str(note), units) for note in (found if isinstance(found, list) else [found])]
