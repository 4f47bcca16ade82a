"""One page on two plans: what you gain and what you risk by choosing the better one, as PDF and as HTML."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.report.cautions import CAUTIONS
from orchardsim.report.compare.words import (
    best_sentences,
    contrast_lines,
    footer_text,
    formats_of,
    land_text,
    money_text,
    shown,
    sure_sentences,
    unit_text,
    value_text,
)
from orchardsim.report.pages import SmallPictures, render, small_pictures
from orchardsim.report.run.sheet import PAPER
from orchardsim.report.style import (
    INK,
    LEAF,
    OCHRE,
    QUIET,
    draw_outcomes,
    pdf_bytes,
    picture_settings,
    thousands,
    whole_ticks,
)
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


class Choice:
    """The two plans of the sheet, those that the first screen weighs: the leader, and the runner-up in its place."""

    def __init__(self, found: Comparison) -> None:
        decision = found.decision
        self.found, self.formats, self.gap = found, formats_of(found), decision.lead
        self.places = (decision.runner_up, decision.leader)
        self.plans = tuple(found.plans[place] for place in self.places)
        self.held, self.chosen = (plan.label for plan in self.plans)
        self.measure = found.measures[found.deciding]

    def money(self, value: float) -> str:
        """An amount of the deciding measure."""
        return money_text(self.measure, value, self.formats)

    @property
    def title(self) -> str:
        """Both plans by letter and name."""
        held, chosen = (f"{plan.label} ({plan.name})" for plan in self.plans)
        return f"{chosen} in place of {held}"

    def gain_lines(self) -> list[str]:
        """What choosing brings on average, and how sure that is: as on the first screen."""
        return [*best_sentences(self.found, self.formats), *sure_sentences(self.found)]

    def risk_lines(self) -> list[str]:
        """What can go wrong by choosing: the bad futures of the difference, the debt, the bad futures of each plan."""
        held, chosen, bad = self.held, self.chosen, self.gap.spread_low
        debt = self.found.measures["peak_borrowing"]
        had, would = ([self.formats.money(debt.points(plan)[point]) for point in (2, 4)] for plan in self.places)
        worst = [self.money(float(self.measure.points(plan)[0])) for plan in self.places]
        return [
            f"In 1 future of 20 {chosen} ends {self.money(-bad)} or more behind {held}."
            if bad < 0
            else f"In 19 futures of 20 {chosen} ends at least {self.money(bad)} ahead of {held}.",
            f"Deepest debt: {would[0]} in a typical future under {chosen}, {would[1]} in 1 of 20; under {held} "
            f"{had[0]} and {had[1]}.",
            f"A bad future (1 of 20) is worth {worst[1]} under {chosen}, {worst[0]} under {held}.",
        ]

    def cells(self) -> list[list[str]]:
        """Middle of each plan in a few measures, and in how many futures the chosen one is better; the head first."""
        cells = [["middle future", self.held, self.chosen, f"{self.chosen} better in"]]
        for measure in (self.found.measures[key] for key in MEASURES if key in self.found.measures):
            gap = self.found.difference(measure.key, self.places[1], self.places[0])
            values = [value_text(measure, float(measure.points(plan)[2]), self.formats) for plan in self.places]
            better = "–" if gap is None else f"{100 * gap.chance_better.value:.0f} % of futures"
            unit = "" if measure.unit == "year" else f", {unit_text(measure, self.formats)}"
            cells.append([f"{measure.name}{unit}", *values, better])
        return cells

    def plan_lines(self) -> list[str]:
        """What each plan plants."""
        return [
            f"{plan.label}: {plan.title} ({land_text(self.found, place, self.formats)})"
            for place, plan in zip(self.places, self.plans, strict=True)
        ]

    def contrasts(self, room: int = MOST_CONTRASTS) -> list[str]:
        """What differs, as many lines as there is room for."""
        lines = [textwrap.shorten(line, 120, placeholder=" ...") for line in contrast_lines(self.found)]
        if len(lines) <= min(room, MOST_CONTRASTS):
            return lines
        most = min(room - 1, MOST_CONTRASTS)
        return [*lines[:most], f"and {len(lines) - most} more, on the page of the comparison"]


def draw_choice_cash(axes: Axes, choice: Choice) -> None:
    """Cash since year 0 under both plans: middle and 18 futures in 20."""
    year = np.arange(choice.found.years)
    looks = ((OCHRE, "--", "//"), (LEAF, "-", ""))
    for place, label, (colour, line, hatch) in zip(choice.places, (choice.held, choice.chosen), looks, strict=True):
        low, middle, high = np.quantile(choice.found.cash[place] / 1000, (0.05, 0.5, 0.95), axis=0)
        axes.fill_between(year, low, high, facecolor=colour, alpha=0.18, linewidth=0, hatch=hatch,
                          label=f"_{label}, 18 futures in 20")  # fmt: skip
        axes.plot(year, middle, color=colour, linestyle=line, linewidth=2, label=f"{label}, middle")
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.set_title(f"Cash since year 0, thousand {choice.formats.currency}")
    axes.set_xlabel("year (shade: 18 futures in 20)")
    axes.legend(fontsize=7.5, loc="best")
    thousands(axes.yaxis)
    whole_ticks(axes)


def draw_choice_gap(axes: Axes, choice: Choice) -> None:
    """Chosen less held in every future: how often it is how much."""
    measure, (held, chosen) = choice.measure, choice.places
    values = measure.values[chosen] - measure.values[held]
    gap = np.array([shown(measure, float(value), choice.formats) for value in values]) / 1000
    draw_outcomes(axes, gap, 24, ("behind", "ahead"))
    axes.axvline(0, color=INK, linewidth=1)
    axes.set_title(f"{choice.chosen} less {choice.held} in each future, %")
    axes.set_xlabel(f"thousand {unit_text(measure, choice.formats)}")
    thousands(axes.xaxis)


def choice_sheet_pdf(found: Comparison) -> bytes:
    """The sheet as PDF; it holds no time of writing."""
    with picture_settings():
        return pdf_bytes(_paper(Choice(found)))


def _paper(choice: Choice) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=PAPER[choice.formats.system])
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

    figure.text(0.06, place, textwrap.shorten(choice.title, 70), fontsize=15, fontweight="bold", va="top")
    place -= 0.034
    say("", choice.plan_lines())
    say("What you gain", choice.gain_lines())
    say("What you risk", choice.risk_lines())
    cells = choice.cells()
    below = 0.0165 * len(cells) + 0.0155 * len(choice.contrasts()) + 0.053
    height = float(np.clip(place - 0.085 - below - CAUTIONS_AT, 0.13, 0.22))
    for number, draw in enumerate((draw_choice_cash, draw_choice_gap)):
        draw(figure.add_axes((0.09 + 0.46 * number, place - height - 0.03, 0.39, height)), choice)
    place -= height + 0.085
    for row, texts in enumerate(cells):
        for column, text in enumerate(texts):
            figure.text(
                (0.06, 0.58, 0.74, 0.95)[column], place, text, fontsize=8.5, va="top",
                ha="left" if column == 0 else "right", fontweight="bold" if row == 0 else "normal",
            )  # fmt: skip
        place -= 0.0165
    place -= 0.012
    room = max(int((place - CAUTIONS_AT - 0.04) / 0.0155), 1)
    say("What differs", choice.contrasts(room), 8.0, 122)
    place = CAUTIONS_AT
    say("Cautions", list(CAUTIONS[:3]), 7.0, 140)
    figure.text(0.06, 0.03, textwrap.fill(footer_text(choice.found), 130), fontsize=7.2, color=QUIET)
    return figure


def choice_sheet_page(found: Comparison) -> tuple[str, dict[str, str]]:
    """The sheet as a page that reads on a phone and prints on one sheet, and the numbers of its pictures as CSV."""
    choice = Choice(found)
    pictures, numbers = small_pictures(PICTURES, choice=choice)
    page = render(
        "compare_sheet.html",
        title=choice.title,
        plans=choice.plan_lines(),
        gains=choice.gain_lines(),
        risks=choice.risk_lines(),
        cells=choice.cells(),
        contrasts=choice.contrasts(),
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
