"""One page on two plans: what you gain and what you risk by choosing the second, as PDF and as HTML."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.compare.words import (
    contrast_lines,
    footer_text,
    formats_of,
    land_text,
    money_text,
    shown,
    unit_text,
    value_text,
)
from orchardsim.report.pages import SmallPictures, render, small_pictures
from orchardsim.report.run.sheet import PAPER
from orchardsim.report.style import BRICK, INK, LEAF, OCHRE, QUIET, pdf_bytes, picture_settings, thousands, whole_ticks
from orchardsim.results.comparison import Comparison
from orchardsim.results.store import FIGURES_FOLDER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MEASURES: Final = ("npv", "npv_per_area", "peak_borrowing", "payback_year", "irr", "picked_per_area", "hours_per_area")
"""Rows of the sheet's table, as far as the comparison has them."""
MOST_CONTRASTS: Final = 8
CAUTIONS_AT: Final = 0.155
"""Height of the paper, as a share, at which its cautions begin."""


@dataclass(frozen=True)
class Choice:
    """The two plans of the sheet: what one has, and what one might choose instead."""

    held: int
    chosen: int


def choice(found: Comparison) -> Choice:
    """The first plan named, and the one to choose instead: the leader, or the runner-up where the first leads."""
    decision = found.decision
    return Choice(0, decision.leader if decision.leader != 0 else decision.runner_up)


def choice_title(found: Comparison) -> str:
    """Both plans by letter and name."""
    one = choice(found)
    held, chosen = found.plans[one.held], found.plans[one.chosen]
    return f"{chosen.label} ({chosen.name}) in place of {held.label} ({held.name})"


def gain_lines(found: Comparison) -> list[str]:
    """What choosing brings on average, and how sure that is."""
    one, formats = choice(found), formats_of(found)
    measure, gap = found.measures[found.deciding], found.difference(found.deciding, one.chosen, one.held)
    held, chosen = found.plans[one.held].label, found.plans[one.chosen].label
    assert gap is not None  # every plan has the deciding measure
    low, high, centre = (money_text(measure, value, formats) for value in (gap.low, gap.high, gap.centre))
    chance = gap.chance_better
    lines = [
        f"{chosen} brings {centre} more than {held} on average, in money of year 0 ({low} to {high})."
        if gap.told_apart and gap.centre > 0
        else f"{chosen} brings {money_text(measure, -gap.centre, formats)} less than {held} on average "
        f"({low} to {high})."
        if gap.told_apart
        else f"Whether {chosen} brings more than {held} on average cannot be told: anything from {low} to {high}.",
        f"In {chance.count:,} of {chance.trials:,} futures {chosen} does better (in the long run "
        f"{100 * chance.low:.0f} to {100 * chance.high:.0f} of 100).",
    ]
    if found.pair(one.held, one.chosen).outcome == "short record":
        lines.append("The weather record is too short to be sure of that.")
    return lines


def risk_lines(found: Comparison) -> list[str]:
    """What can go wrong by choosing: the bad futures of the difference, the debt, the bad futures of each plan."""
    one, formats = choice(found), formats_of(found)
    measure, gap = found.measures[found.deciding], found.difference(found.deciding, one.chosen, one.held)
    held, chosen = found.plans[one.held].label, found.plans[one.chosen].label
    assert gap is not None
    worst = (
        f"In 1 future of 20 {chosen} ends {money_text(measure, -gap.spread_low, formats)} or more behind {held}."
        if gap.spread_low < 0
        else f"In 19 futures of 20 {chosen} ends at least "
        f"{money_text(measure, gap.spread_low, formats)} ahead of {held}."
    )
    debt = found.measures["peak_borrowing"]
    owed = [debt.points(plan) for plan in (one.chosen, one.held)]
    bad = [float(measure.points(plan)[0]) for plan in (one.chosen, one.held)]
    return [
        worst,
        f"Deepest debt: {formats.money(owed[0][2])} in a typical future under {chosen}, "
        f"{formats.money(owed[0][4])} in 1 of "
        f"20; under {held} {formats.money(owed[1][2])} and {formats.money(owed[1][4])}.",
        f"A bad future (1 of 20) is worth {money_text(measure, bad[0], formats)} under {chosen}, "
        f"{money_text(measure, bad[1], formats)} under {held}.",
    ]


def choice_cells(found: Comparison) -> list[list[str]]:
    """Middle of each plan in a few measures, and in how many futures the chosen one is better; the head first."""
    one, formats = choice(found), formats_of(found)
    held, chosen = found.plans[one.held].label, found.plans[one.chosen].label
    cells = [["middle future", held, chosen, f"{chosen} better in"]]
    for key in MEASURES:
        measure = found.measures.get(key)
        if measure is None:
            continue
        gap = found.difference(key, one.chosen, one.held)
        values = [value_text(measure, float(measure.points(plan)[2]), formats) for plan in (one.held, one.chosen)]
        better = "–" if gap is None else f"{100 * gap.chance_better.value:.0f} % of futures"
        unit = "" if measure.unit == "year" else f", {unit_text(measure, formats)}"
        cells.append([f"{measure.name}{unit}", *values, better])
    return cells


def draw_choice_cash(axes: Axes, found: Comparison) -> None:
    """Cash since year 0 under both plans: middle and 18 futures in 20."""
    one, formats = choice(found), formats_of(found)
    year = np.arange(found.years)
    for plan, colour, line, hatch in ((one.held, OCHRE, "--", "//"), (one.chosen, LEAF, "-", "")):
        low, middle, high = np.quantile(found.cash[plan] / 1000, (0.05, 0.5, 0.95), axis=0)
        label = found.plans[plan].label
        axes.fill_between(year, low, high, facecolor=colour, alpha=0.18, linewidth=0, hatch=hatch,
                          label=f"_{label}, 18 futures in 20")  # fmt: skip
        axes.plot(year, middle, color=colour, linestyle=line, linewidth=2, label=f"{label}, middle")
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.set_title(f"Cash since year 0, thousand {formats.currency}")
    axes.set_xlabel("year (shade: 18 futures in 20)")
    axes.legend(fontsize=7.5, loc="best")
    thousands(axes.yaxis)
    whole_ticks(axes)


def draw_choice_gap(axes: Axes, found: Comparison) -> None:
    """Chosen less held in every future: how often it is how much."""
    one, formats = choice(found), formats_of(found)
    measure = found.measures[found.deciding]
    values = measure.values[one.chosen] - measure.values[one.held]
    gap = np.array([shown(measure, float(value), formats) for value in values]) / 1000
    width = max(float(np.ptp(gap)) / 24, 1e-6)
    edges = width * np.arange(np.floor(gap.min() / width), np.floor(gap.max() / width) + 2)
    counts, edges = np.histogram(gap, bins=edges)
    behind = edges[:-1] < -1e-9
    for minus, colour, hatch, name in ((True, BRICK, "//", "behind"), (False, LEAF, "", "ahead")):
        here = behind == minus
        axes.bar(
            edges[:-1][here], 100 * counts[here] / gap.size, 0.94 * width, align="edge", color=colour, hatch=hatch,
            edgecolor="white", linewidth=0, label=f"_{name}",
        )  # fmt: skip
    axes.axvline(0, color=INK, linewidth=1)
    held, chosen = found.plans[one.held].label, found.plans[one.chosen].label
    axes.set_title(f"{chosen} less {held} in each future, %")
    axes.set_xlabel(f"thousand {unit_text(measure, formats)}")
    thousands(axes.xaxis)


def choice_sheet_pdf(found: Comparison) -> bytes:
    """The sheet as PDF; it holds no time of writing."""
    with picture_settings():
        return pdf_bytes(_paper(found))


def _paper(found: Comparison) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAPER[formats_of(found).system])
    place = 0.965

    def say(heading: str, lines: list[str], size: float = 9.0, wide: int = 108) -> None:
        nonlocal place
        if heading:
            figure.text(0.06, place, heading, fontsize=10.5, fontweight="bold", va="top")
            place -= 0.021
        for line in lines:
            for part in textwrap.wrap(line, wide):
                figure.text(0.06, place, part, fontsize=size, va="top")
                place -= 0.0165 * size / 9
        place -= 0.008

    figure.text(0.06, place, textwrap.shorten(choice_title(found), 70), fontsize=15, fontweight="bold", va="top")
    place -= 0.034
    say("", _plan_lines(found))
    say("What you gain", gain_lines(found))
    say("What you risk", risk_lines(found))
    height = 0.22
    for number, draw in enumerate((draw_choice_cash, draw_choice_gap)):
        draw(figure.add_axes((0.09 + 0.46 * number, place - height - 0.03, 0.39, height)), found)
    place -= height + 0.085
    cells = choice_cells(found)
    for row, texts in enumerate(cells):
        for column, text in enumerate(texts):
            figure.text(
                (0.06, 0.58, 0.74, 0.95)[column], place, text, fontsize=8.5, va="top",
                ha="left" if column == 0 else "right", fontweight="bold" if row == 0 else "normal",
            )  # fmt: skip
        place -= 0.0165
    place -= 0.012
    room = max(int((place - CAUTIONS_AT - 0.04) / 0.0155), 1)
    say("What differs", _contrasts(found, room), 8.0, 122)
    place = CAUTIONS_AT
    say("Cautions", list(CAUTIONS[:3]), 7.0, 140)
    figure.text(0.06, 0.03, textwrap.fill(footer_text(found), 130), fontsize=7.2, color=QUIET)
    return figure


def _plan_lines(found: Comparison) -> list[str]:
    one, formats = choice(found), formats_of(found)
    return [
        f"{found.plans[plan].label}: {found.plans[plan].title} ({land_text(found, plan, formats)})"
        for plan in (one.held, one.chosen)
    ]


def _contrasts(found: Comparison, room: int = MOST_CONTRASTS) -> list[str]:
    """What differs, as many lines as there is room for."""
    lines = [textwrap.shorten(line, 120, placeholder=" ...") for line in contrast_lines(found)]
    if len(lines) <= min(room, MOST_CONTRASTS):
        return lines
    most = min(room - 1, MOST_CONTRASTS)
    return [*lines[:most], f"and {len(lines) - most} more, on the page of the comparison"]


def choice_sheet_page(found: Comparison) -> tuple[str, dict[str, str]]:
    """The sheet as a page that reads on a phone and prints on one sheet, and the numbers of its pictures as CSV."""
    pictures, numbers = small_pictures(PICTURES, found=found)
    page = render(
        "compare_sheet.html",
        title=choice_title(found),
        plans=_plan_lines(found),
        gains=gain_lines(found),
        risks=risk_lines(found),
        cells=choice_cells(found),
        contrasts=_contrasts(found),
        pictures=pictures,
        files=FIGURES_FOLDER,
        cautions=CAUTIONS[:4],
        footer=footer_text(found),
    )
    return page, numbers


PICTURES: Final[SmallPictures] = {
    "compare_sheet_cash": ("Cash since year 0 under both plans", (3.9, 2.8), draw_choice_cash),
    "compare_sheet_gap": ("How often one plan ends ahead of the other, and by how much", (3.9, 2.8), draw_choice_gap),
}
"""Pictures of the page: name -> heading, size [inch], drawing."""
