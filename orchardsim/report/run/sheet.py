"""One page to hand to a partner or a lender, as PDF and as HTML; every number on it comes from ``summary.json``."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.numbers import number, percent
from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.pages import SmallPictures, render, small_pictures
from orchardsim.report.run.bad_years import WORST_HEAD, WORST_NOTE, worst_lines
from orchardsim.report.run.block_tables import alternate_lines, undone_lines
from orchardsim.report.run.published import published_gap
from orchardsim.report.run.saved import bands
from orchardsim.report.run_formats import RunFormats
from orchardsim.report.style import (
    BRICK,
    FILLS,
    HATCHES,
    INK,
    LEAF,
    OCHRE,
    QUIET,
    draw_doubts,
    pdf_bytes,
    picture_settings,
    thousands,
    whole_ticks,
)
from orchardsim.results.published import Beside
from orchardsim.results.store import FIGURES_FOLDER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BESIDE: Final[dict[str, Any]] = {"textcoords": "offset points", "va": "center", "fontsize": 7.5}
"""How words stand beside a point of the land's picture."""
PAPER: Final = {"us": (8.5, 11.0), "metric": (8.27, 11.69)}
"""Letter and A4, inches."""
MOST_BLOCKS: Final = 6
LEFT, MIDDLE, RIGHT = 0.06, 0.52, 0.95
"""Edges of the paper's columns, as shares of its width."""
LONG_ANSWER: Final = 700
"""Characters from which the answer is set smaller, or it would run into the land."""
MOST_LINES: Final = 5
"""Row groups that the paper names."""


def land_lines(summary: Mapping[str, Any], formats: RunFormats) -> list[str]:
    """What stands on the land, a line a row group."""
    length = formats.display.length
    lines = []
    for block in summary["sheet"]["land"][:MOST_BLOCKS]:
        when = f"planted in year {block['year_planted']}" if block["year_planted"] >= 0 else "stands already"
        spacing = " x ".join(
            f"{length.of(block[key]):.1f} {length.unit}" for key in ("tree_spacing_m", "row_spacing_m")
        )
        for group in block["groups"]:
            lines.append(
                f"{block['name']}: {group['trees']:,} {group['cultivar']} on {group['rootstock']}, {spacing}, "
                f"{group['training'].replace('_', ' ')}, {when}"
            )
    return lines


def answer_lines(summary: Mapping[str, Any], formats: RunFormats) -> list[str]:
    """The answer in a few sentences: money in, money back, and how often it fails."""
    headline, shares = summary["headline"], summary["shares"]
    debt, payback, npv = headline["peak_borrowing"], headline.get("payback_year"), headline["npv"]
    lines = [
        f"Deepest debt: {formats.money(debt['p50'])} in a typical future, {formats.money(debt['p95'])} in 1 of 20.",
    ]
    parts = summary["sheet"].get("npv_of_parts")
    what = "the new planting" if parts else "it"
    if payback is None:
        lines.append("Nothing is invested, so there is nothing to pay back.")
    elif isinstance(payback["p50"], str):
        lines.append(f"In a typical future {what} does not pay back within {summary['years']} years.")
    else:
        late = payback["p95"]
        end = f"not within {summary['years']} years" if isinstance(late, str) else f"in year {late} or later"
        paid = "New planting paid" if parts else "Paid"
        lines.append(f"{paid} back by year {payback['p50']:.0f} in a typical future; 1 of 20 pays back {end}.")
    lost = shares.get("npv_below_zero")
    lines.append(
        f"All cash flows in money of year 0, with what the blocks are worth at the end (NPV): "
        f"{formats.money(npv['p50'])} in a typical future, {formats.money(npv['p5'])} in 1 of 20."
    )
    if parts:
        told = "; ".join(
            f"{name} {formats.money(one['p50'])} ({formats.money(one['p5'])} in 1 of 20)" for name, one in parts.items()
        )
        lines.append(f"Each by itself, before tax and what only the whole farm pays: {told}.")
    lines += alternate_lines(summary["sheet"].get("alternating", {}))
    lines += undone_lines(summary["sheet"].get("undone", {}), summary["sheet"].get("unpicked", 0.0))
    if lost is not None:
        lines.append(
            f"{100 * lost['share']:.0f} % of {summary['trials']} futures end worth less than nothing "
            f"(between {100 * lost['low_95']:.0f} and {100 * lost['high_95']:.0f} %)."
        )
    return lines


def gap_line(summary: Mapping[str, Any], formats: RunFormats) -> str:
    """How far the middle lies from published budgets, in one sentence; empty where they say nothing of such a plan."""
    found = summary["sheet"]["published"]
    words = {"never": np.inf, "none": -np.inf}
    beside = found and Beside(**{name: float(words.get(value, value)) for name, value in found.items()})
    return published_gap({"a typical future": beside}, formats)


def rests_lines(summary: Mapping[str, Any], formats: RunFormats) -> list[str]:
    """The few numbers that all this rests on."""
    lines = []
    for one in summary["sheet"]["rests_on"]:
        value, unit = one["value"], one["unit"]
        if unit == "money/kg":
            text = f"{value * formats.display.mass.size:.2f} {formats.currency}/{formats.display.mass.unit}"
        elif unit == "1/year":
            text = f"{100 * value:.1f} % a year"
        else:
            text = f"{value:.2f} {formats.currency}/hour"
        said = "stated in the plan" if one["status"] == "stated" else f"the program's, {one['status']}"
        falls = one.get("premium_falls", 0.0)
        erosion = f", its premium over common fruit falling {percent(falls)} a year" if falls else ""
        lines.append(f"{one['what']}: {text} ({said}){erosion}")
    learned = [name.replace("_", " ") for name in summary["sheet"].get("learned", [])]
    if learned:
        lines.append(f"measured trees, by futures.learned, for {', '.join(learned)}")
    return lines


def bill_cells(summary: Mapping[str, Any], formats: RunFormats) -> list[list[str]]:
    """Thousands of money paid in the first years by group, mean over futures."""
    bill = summary["sheet"]["bill_by_year"]
    groups = [name for name in next(iter(bill.values())) if any(year[name] for year in bill.values())]
    cells = [["paid in year", *bill]]
    for name in groups:
        cells.append([name, *(number(float(bill[year][name]) / 1000, 1) for year in bill)])
    cells.append(["together", *(number(sum(map(float, bill[year].values())) / 1000, 1) for year in bill)])
    return cells


def draw_land(axes: Axes, summary: Mapping[str, Any], formats: RunFormats) -> None:
    """Blocks to one scale, one above the other; rows run across, with headlands at their ends."""
    fills: dict[str, int] = {}
    top, longest = 0.0, 0.0
    blocks = summary["sheet"]["land"][:MOST_BLOCKS]
    gap = max(4.0, 0.06 * sum(block["rows"] * block["row_spacing_m"] for block in blocks))
    for block in blocks:
        length = block["trees_per_row"] * block["tree_spacing_m"]
        width, head = block["rows"] * block["row_spacing_m"], block["headland_m"]
        axes.add_patch(_box(0, top - width, length + 2 * head, width, "#f1f0e6", QUIET))
        place = top
        for group in block["groups"]:
            kind = fills.setdefault(group["cultivar"], len(fills)) % len(FILLS)
            for _ in range(group["rows"]):
                place -= block["row_spacing_m"]
                strip = _box(
                    head,
                    place + 0.275 * block["row_spacing_m"],
                    length,
                    0.45 * block["row_spacing_m"],
                    FILLS[kind],
                    None,
                )
                strip.set_hatch(HATCHES[kind])
                axes.add_patch(strip)
        name = textwrap.shorten(block["name"], 24)
        axes.annotate(name, (length + 2 * head, top - width / 2), (4, 0), **BESIDE)
        longest = max(longest, length + 2 * head)
        top -= width + gap
    bar = 30.48 if formats.us else 20.0
    axes.plot([0, bar], [top, top], color=INK, linewidth=2)
    axes.annotate("100 ft" if formats.us else "20 m", (bar, top), (4, 0), **BESIDE)
    axes.set_xlim(-1, max(1.15 * longest, bar + 20))
    axes.set_ylim(top - 3, 2)
    axes.set_aspect("equal", anchor="NW")
    axes.axis("off")
    handles = [_box(0, 0, 1, 1, FILLS[kind % 4], None) for kind in fills.values()]
    for handle, kind in zip(handles, fills.values(), strict=True):
        handle.set_hatch(HATCHES[kind % 4])
    if handles:
        axes.legend(handles, list(fills), loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, fontsize=7.5)


def _box(x: float, y: float, width: float, height: float, fill: str, edge: str | None) -> Any:
    from matplotlib.patches import Rectangle

    # Without an edge white is the colour of the hatch alone; a white edge would cover thin rows.
    return Rectangle((x, y), width, height, facecolor=fill, edgecolor=edge or "white", linewidth=0.6 if edge else 0.0)


def draw_yield(axes: Axes, summary: Mapping[str, Any], formats: RunFormats) -> None:
    """Picked fruit by leaf: bad, typical and good futures."""
    rows = summary["headline"].get("yield_per_area_by_leaf", {}).get("farm", {})
    new = any(block["year_planted"] >= 0 for block in summary["sheet"]["land"])
    cut = new and len(rows) > 0 and int(list(rows)[-1]) >= summary["years"]
    if cut:  # leaves that standing blocks alone reach would be told as the new planting's
        rows = {leaf: row for leaf, row in rows.items() if int(leaf) < summary["years"]}
    axes.set_title(f"Fruit {'of the new planting' if cut else 'by leaf'}, {formats.yield_unit}")
    if not rows:
        axes.text(0.5, 0.5, "no new planting bears within the run", ha="center", transform=axes.transAxes)
        return
    found = bands(rows, formats.yield_value)
    draw_doubts(axes, found.at, (found.low, found.middle, found.high), (found.known_low, found.known_high))
    axes.plot(found.at, found.low, color=LEAF, linewidth=0.8, linestyle="--", label="bad (1 in 20)")
    axes.set_xlabel("leaf (growing season after planting)")
    whole_ticks(axes)
    axes.set_ylim(bottom=0, top=1.45 * max(found.high))  # room for the key
    thousands(axes.yaxis)
    axes.legend(fontsize=7, loc="upper right", ncols=2)


def draw_cash(axes: Axes, summary: Mapping[str, Any], formats: RunFormats) -> None:
    """Summed cash of the farm, below and above zero."""
    rows = summary["sheet"]["cash_summed_by_year"]
    found = bands(rows, float)
    years, low = found.at, found.low
    draw_doubts(axes, years, (low, found.middle, found.high), (found.known_low, found.known_high), colour=OCHRE)
    axes.plot(years, low, color=BRICK, linewidth=0.8, linestyle="--", label="bad (1 in 20)")
    axes.axhline(0, color=INK, linewidth=0.8)
    deepest = min(range(len(years)), key=lambda place: low[place])
    if low[deepest] < 0:
        axes.annotate(
            f"{formats.money(low[deepest])}",
            (years[deepest], low[deepest]),
            xytext=(0, -3),
            textcoords="offset points",
            fontsize=7.5,
            color=BRICK,
            ha="right",
            va="top",
        )
    axes.set_title(f"Cash summed since year 0, {formats.currency}")
    axes.set_xlabel("year")
    whole_ticks(axes)
    floor, top = axes.get_ylim()
    axes.set_ylim(floor - 0.16 * (top - floor), top + 0.4 * (top - floor))  # room for the debt and the key
    thousands(axes.yaxis)
    axes.legend(fontsize=7, loc="upper left", ncols=2)


def draw_payback(axes: Axes, summary: Mapping[str, Any], formats: RunFormats) -> None:
    """Chance of having paid back by each year."""
    rows = summary["sheet"]["paid_back_by_year"]
    of_new = "New planting paid back, % of futures"
    axes.set_title(of_new if summary["sheet"].get("npv_of_parts") else "Chance of having paid back, %")
    if summary["headline"].get("payback_year") is None:
        axes.text(
            0.5, 0.5, "nothing is invested,\nso nothing is to be paid back", ha="center", transform=axes.transAxes
        )
        axes.set_axis_off()
        return
    axes.bar(
        [int(year) for year in rows], [100 * float(share) for share in rows.values()], color=LEAF, width=0.7,
        label="_paid back",
    )  # fmt: skip
    axes.set_ylim(0, 108)
    axes.set_xlabel("year of the plan")
    whole_ticks(axes)
    if rows:
        last, share = list(rows.items())[-1]
        axes.annotate(
            f"{100 * float(share):.0f} %", (int(last), 100 * float(share)), ha="center", va="bottom", fontsize=8
        )


def footer_line(summary: Mapping[str, Any]) -> str:
    """What the sheet was made from."""
    return (
        f"{summary['trials']} simulated futures, seed {summary['seed']}, plan {summary['plan_name']} "
        f"({str(summary['plan_hash'])[:12]}), orchardsim {summary['version']}. Estimates for planning, not advice."
    )


def sheet_figure(summary: Mapping[str, Any], formats: RunFormats) -> Figure:
    """The whole sheet on one page of paper."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAPER[formats.system])
    figure.text(LEFT, 0.965, textwrap.shorten(str(summary["title"]), 88, placeholder=" ..."), fontsize=12.5,
                fontweight="bold", va="top")  # fmt: skip
    answers = [*answer_lines(summary, formats), *filter(None, [gap_line(summary, formats)])]
    long = sum(map(len, answers)) > LONG_ANSWER
    _say(figure, LEFT, 0.937, "", answers, 7.8 if long else 9.0)
    draw_land(figure.add_axes((LEFT, 0.69, 0.44, 0.11)), summary, formats)
    lines = [textwrap.shorten(line, 150, placeholder=" ...") for line in land_lines(summary, formats)[:MOST_LINES]]
    _say(figure, MIDDLE, 0.82, "The land, to scale", lines, 8.2)
    figure.text(LEFT, 0.682, f"What it costs, and when, thousand {formats.currency} (mean over futures)", fontsize=10.5,
                fontweight="bold", va="top")  # fmt: skip
    table = figure.add_axes((LEFT, 0.565, RIGHT - LEFT, 0.1))
    table.axis("off")
    _table(table, bill_cells(summary, formats))
    draw_yield(figure.add_axes((LEFT + 0.04, 0.405, 0.38, 0.125)), summary, formats)
    draw_cash(figure.add_axes((MIDDLE + 0.06, 0.405, RIGHT - MIDDLE - 0.06, 0.125)), summary, formats)
    draw_payback(figure.add_axes((LEFT + 0.04, 0.24, 0.38, 0.1)), summary, formats)
    _say(figure, MIDDLE, 0.358, WORST_HEAD, [WORST_NOTE, *worst_lines(summary, formats)], 8.2)
    _say(figure, LEFT, 0.19, "What it rests on", rests_lines(summary, formats), 8.2)
    _say(figure, MIDDLE, 0.19, "Cautions", CAUTIONS[:3], 7.4)
    figure.text(LEFT, 0.025, textwrap.fill(footer_line(summary), 130), fontsize=7.2, color=QUIET)
    return figure


def _say(figure: Figure, x: float, top: float, heading: str, lines: Sequence[str], size: float) -> None:
    """A heading and lines below it, as wide as there is room to the right."""
    room = (MIDDLE - 0.02 if x < MIDDLE and heading else RIGHT) - x
    figure.text(x, top, heading, fontsize=10.5, fontweight="bold", va="top")
    broad = int(room * 1200 / size)  # characters of the pages' type
    text = "\n".join(textwrap.fill(line, broad) for line in lines)
    figure.text(x, top - (0.02 if heading else 0), text, fontsize=size, va="top", linespacing=1.35)


def _table(axes: Axes, cells: list[list[str]]) -> None:
    """A small table at the foot of a text panel."""
    top, step = 0.95, 0.14
    for row, texts in enumerate(cells):
        y = top - step * row
        for column, text in enumerate(texts):
            x = 0.0 if column == 0 else 0.36 + 0.64 * column / (len(texts) - 1)
            weight = "bold" if row in (0, len(cells) - 1) else "normal"
            axes.text(
                x, y, text, fontsize=8, va="top", ha="left" if column == 0 else "right", fontweight=weight,
                transform=axes.transAxes,
            )  # fmt: skip


def sheet_pdf(summary: Mapping[str, Any], formats: RunFormats) -> bytes:
    """The sheet as PDF; it holds no time of writing."""
    with picture_settings():
        return pdf_bytes(sheet_figure(summary, formats))


def sheet_page(summary: Mapping[str, Any], formats: RunFormats) -> tuple[str, dict[str, str]]:
    """The sheet as a page that reads on a phone and prints on one sheet, and the numbers of its pictures as CSV."""
    pictures, numbers = small_pictures(PICTURES, summary=summary, formats=formats)
    numbers["sheet_land"] = land_csv(summary)
    page = render(
        "sheet.html",
        title=str(summary["title"]),
        answers=[*answer_lines(summary, formats), *filter(None, [gap_line(summary, formats)])],
        land=land_lines(summary, formats),
        bill=bill_cells(summary, formats),
        worst=worst_lines(summary, formats),
        worst_note=WORST_NOTE,
        rests=rests_lines(summary, formats),
        cautions=CAUTIONS,
        footer=footer_line(summary),
        pictures=pictures,
        files=FIGURES_FOLDER,
        currency=formats.currency,
        money_basis=formats.money_basis,
    )
    return page, numbers


def land_csv(summary: Mapping[str, Any]) -> str:
    """What stands on the land, a row a row group, lengths in metres."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(
        ["block", "cultivar", "rootstock", "training", "rows", "trees", "tree_spacing_m", "row_spacing_m",
         "trees_per_row", "headland_m", "year_planted"]
    )  # fmt: skip
    for block in summary["sheet"]["land"]:
        for group in block["groups"]:
            writer.writerow(
                [block["name"], *(group[key] for key in ("cultivar", "rootstock", "training", "rows", "trees")),
                 *(block[key] for key in ("tree_spacing_m", "row_spacing_m", "trees_per_row", "headland_m",
                                          "year_planted"))]
            )  # fmt: skip
    return held.getvalue()


PICTURES: Final[SmallPictures] = {
    "sheet_land": ("The land, to scale", (6.4, 2.2), draw_land),
    "sheet_yield": ("Picked fruit by leaf: bad, typical and good futures", (3.9, 2.6), draw_yield),
    "sheet_cash": ("Cash summed since year 0: bad, typical and good futures", (3.9, 2.6), draw_cash),
    "sheet_payback": ("Chance of having paid back by each year", (3.9, 2.4), draw_payback),
}
"""Pictures of the page: name -> heading, size [inch], drawing."""


def sheet_files() -> list[str]:
    """Files of the numbers of the sheet's pictures."""
    return [f"{FIGURES_FOLDER}/{name}.csv" for name in PICTURES]
