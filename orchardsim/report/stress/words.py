"""A stress test in plain sentences and in tables of text."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable
from typing import Final

from orchardsim.core.numbers import with_error
from orchardsim.report.columns import one_screen, sentence_pieces, table_pieces, text_columns
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import RunFormats, years_text
from orchardsim.results.stress import Estimate, Moment, Stress, Stressed

CHOSEN: Final = (
    "Costs are means over futures, each future with the bad season less the same future without it; ± is the standard "
    "error. The worst leaf was picked from the same futures that give its cost, so its cost is stated a little high."
)
NO_CHANCE: Final = (
    "These are stresses, not forecasts: nothing here says how often they come. The rest of the trade is taken to have "
    "its usual crop and prices, except in a price slump and in replayed years of the record."
)
END: Final = (
    "Cash is the present value at year 0 before interest. Nothing is counted for trees that still stand at the end, so "
    "losses that reach beyond the run are not in it."
)


TABLES: Final = ((0, 1, 2, 3, 4, 5), (0, 1, 6, 7, 8, 9))
"""Columns of the two tables, for ten do not fit beside each other: money, then fruit and trees."""


def formats_of(found: Stress) -> RunFormats:
    """Units and money in which a stress test is shown."""
    names = ("display_units", "currency", "price_year", "real_or_nominal", "bin_mass", "box_mass")
    return RunFormats.of({name: getattr(found, name) for name in names})


def footer_text(found: Stress) -> str:
    """How many trials, which seasons."""
    return (
        f"n = {found.trials:,} futures of {found.years} years, seed {found.seed}; seasons: {found.weather_words}; "
        f"baseline {years_text(found.baseline_years)}"
    )


def fruit(found: Stress, formats: RunFormats, kilograms: float) -> float:
    """Fruit of the whole farm as a yield in the shown unit."""
    return float(formats.yield_value(kilograms / found.planted_area * 10_000))


def leaves_text(leaves: tuple[int, ...]) -> str:
    """Leaves as ranges.

    Examples
    --------
    >>> leaves_text((4, 5, 6, 9)), leaves_text((7,))
    ('4-6, 9', '7')
    """
    parts: list[list[int]] = []
    for leaf in sorted(leaves):
        if parts and leaf == parts[-1][-1] + 1:
            parts[-1].append(leaf)
        else:
            parts.append([leaf])
    return ", ".join(str(part[0]) if len(part) == 1 else f"{part[0]}-{part[-1]}" for part in parts)


def when(moment: Moment) -> str:
    """Leaf of the leading block in the first bad year, or the year where it is not planted yet."""
    return f"leaf {moment.leaf}" if moment.leaf >= 1 else f"year {moment.year}"


def _both(value: Estimate, text: Callable[[float], str]) -> str:
    return f"{text(value.value)} ± {text(value.standard_error)}"


def told_text(value: Estimate, text: Callable[[float], str]) -> str:
    """A loss with its error; a dash where it cannot be told from none, "fewer" where it is a gain."""
    if not value.told:
        return "–"
    if value.value < 0:
        return f"{_both(Estimate(-value.value, value.standard_error), text)} fewer"
    return _both(value, text)


def payback_text(year: float) -> str:
    """Payback year in words."""
    if math.isnan(year):
        return "nothing invested"
    return f"year {year:.0f}" if math.isfinite(year) else "not in half of the futures"


def recovery_text(moment: Moment) -> str:
    """Years until the crop is back, with the interval over resampled trials where it is wider than a point."""

    def word(years: float) -> str:
        return f"{years:.0f}" if math.isfinite(years) else "to the end"

    if math.isnan(moment.recovery):
        return "no year left"
    text = word(moment.recovery)
    if moment.recovery_low == moment.recovery_high:
        return text
    if math.isinf(moment.recovery_high):
        return f"{text} ({word(moment.recovery_low)} or more)"
    return f"{text} ({word(moment.recovery_low)} to {word(moment.recovery_high)})"


def money_error(value: Estimate, lead: str = "") -> str:
    """Amount and standard error, rounded to the error; ``lead``: before the amount."""
    return with_error(value.value, value.standard_error, lead)


def costs_nothing(season: Stressed) -> bool:
    """Whether a bad season costs no cash, fruit or trees that can be told from none, whenever it comes."""
    return not any(
        value.told and value.value > 0
        for moment in season.moments
        for value in (moment.cash_lost, moment.fresh_lost, moment.trees_lost)
    )


def stress_cells(found: Stress, formats: RunFormats) -> list[list[str]]:
    """A head, then a row for each bad season at its worst leaf, the dearest first.

    Money stands first, for it is what the bad seasons are ranked by, then fruit and trees.
    """
    rows = [
        [
            "bad season", "worst leaf", f"cash lost, {formats.currency}", "as bad in leaf", "pays back",
            f"reserve that survives, {formats.currency}", "fresh fruit lost, %",
            f"fresh lost in all, {formats.yield_unit}", "more trees lost", "crop short, years after",
        ]
    ]  # fmt: skip
    for season in ranked(found):
        if costs_nothing(season):
            rows.append([season.title, "none", "–", "", payback_text(found.usual.payback_year), "", "–", "–", "–", "0"])
            continue
        moment = season.worst_moment
        dearest = max(season.moments, key=lambda one: one.reserve.value)
        rows.append(
            [
                season.title,
                when(moment).removeprefix("leaf "),
                money_error(moment.cash_lost),
                leaves_text(season.close),
                payback_text(moment.payback_year),
                f"{money_error(dearest.reserve)} ({when(dearest)})",
                told_text(moment.fresh_share, lambda value: f"{100 * value:.1f}"),
                told_text(moment.fresh_lost, lambda value: f"{fruit(found, formats, value):.1f}"),
                told_text(moment.trees_lost, lambda value: f"{value:.1f}"),
                recovery_text(moment),
            ]
        )
    return rows


def ranked(found: Stress) -> list[Stressed]:
    """Bad seasons, the one that costs most cash at its worst leaf first."""
    return sorted(found.seasons, key=lambda one: -one.worst_moment.cash_lost.value)


def hardest_reserve(found: Stress) -> tuple[Stressed, Moment]:
    """Bad season and leaf that ask for the largest reserve."""
    pairs = [(season, moment) for season in found.seasons for moment in season.moments]
    return max(pairs, key=lambda pair: pair[1].reserve.value)


def stress_sentences(found: Stress) -> list[str]:
    """What a grower should take away."""
    formats = formats_of(found)
    costly = [season for season in ranked(found) if not costs_nothing(season)]
    idle = [season for season in found.seasons if costs_nothing(season)]
    usual = found.usual
    sentences = []
    if costly:
        first = costly[0]
        moment = first.worst_moment
        late = _payback_words(found, moment)
        sentences.append(
            f"What hurts most is {_named(first)}, starting in {when(moment)}. It costs "
            f"{money_error(moment.cash_lost, f'{formats.currency} ')} and "
            f"{100 * moment.fresh_share.value:.0f} % of the fresh fruit of the struck "
            f"{'year' if first.years == 1 else 'years'}; without it "
            f"mean NPV, nothing counted at the end, is {formats.money(usual.present_cash.value)}. "
            f"{late[0].upper()}{late[1:]}."
        )
        if usual.present_cash.told and usual.present_cash.value < 0:
            sentences.append(LOSING)
        if len(costly) > 1:
            rest = ", ".join(
                f"{_named(season)} ({formats.money(season.worst_moment.cash_lost.value)}, {when(season.worst_moment)})"
                for season in costly[1:4]
            )
            sentences.append(f"Next {'come' if len(costly) > 2 else 'comes'} {rest}.")
    deadly = max(found.seasons, key=lambda one: max(moment.trees_lost.value for moment in one.moments))
    killing = max(deadly.moments, key=lambda moment: moment.trees_lost.value)
    if killing.trees_lost.told and killing.trees_lost.value > 0:
        share = 100 * killing.trees_lost.value / max(usual.trees_planted, 1)
        sentences.append(
            f"Most trees are lost to {_named(deadly)} in {when(killing)}: {killing.trees_lost.value:.0f} more than "
            f"without it (± {killing.trees_lost.standard_error:.0f}), {share:.0f} % of the trees planted."
        )
    sentences.append(_reserve_sentence(found, formats))
    if idle:
        names = ", ".join(season.title for season in idle)
        spare = any(change["target"] == "crew_share" for season in idle for change in season.changes)
        reason = " (the plan's crews have hands to spare)" if spare else ""
        sentences.append(f"No measurable effect, whenever it comes: {names}{reason}.")
    return sentences


def _reserve_sentence(found: Stress, formats: RunFormats) -> str:
    line = (
        f"With the credit line of {formats.money(found.credit_line)}"
        if 0 < found.credit_line < math.inf
        else "Without credit"
    )
    usual = found.usual.reserve
    season, moment = hardest_reserve(found)
    text = (
        f"{line}, own cash of {money_error(usual, f'{formats.currency} ')} at the start "
        "carries nine futures of ten through without any of these"
    )
    if moment.reserve_more.told and moment.reserve_more.value > 0:
        text += (
            f". To survive the hardest of them, {_named(season)} from {when(moment)} on, takes "
            f"{money_error(moment.reserve, f'{formats.currency} ')}"
        )
    else:
        text += ". None of them, one at a time, asks for more, as the deepest debt comes before it"
    if found.opening_cash > 0:
        text += f". The plan starts with {formats.money(found.opening_cash)}"
    return text + "."


def _payback_words(found: Stress, moment: Moment) -> str:
    usual = found.usual.payback_year
    if math.isnan(moment.payback_year):
        return "nothing is invested, so nothing is to be paid back"
    if not math.isfinite(moment.payback_year):
        if not math.isfinite(usual):
            return "with or without it, half of the futures do not pay back within the run"
        return "half of the futures then do not pay back within the run"
    share = 100 * moment.paid_back.value
    tail = "" if share > 99.9 else f", and {share:.0f} % of the futures pay back within the run"
    if not math.isfinite(usual) or moment.payback_year == usual:
        return f"payback stays in year {moment.payback_year:.0f} in the typical future{tail}"
    return f"payback moves from year {usual:.0f} to year {moment.payback_year:.0f} in the typical future{tail}"


LOSING: Final = (
    "This plan loses money without any bad season: a dead tree saves it cost, so a plan that pays would lose more."
)
ARTICLES: Final = {"worst_spell": "the"} | dict.fromkeys(
    ("late_frost", "fire_blight", "hard_winter", "price_slump", "short_crew", "nursery_failure", "drought"), "a"
)
"""Bad seasons whose titles take an article within a sentence."""


def _named(season: Stressed) -> str:
    """Title of a bad season within a sentence."""
    return f"{ARTICLES.get(season.name, '')} {season.title}".strip()


def explanation_lines(found: Stress) -> list[str]:
    """What the columns mean."""
    credit = (
        "within the credit line"
        if math.isfinite(found.credit_line)
        else "solvent without credit (no credit line is stated)"
    )
    return [
        CHOSEN,
        END,
        "–: no measurable effect (within two standard errors). Fewer trees lost: fewer stand, or fewer are at risk.",
        "Fresh fruit lost, %: of the bad years. Crop short: years after the last bad one in which the mean fresh "
        "crop is still more than 5 % short (and the 5 to 95 % range over resampled futures). Pays back: typical "
        f"future; without any bad season, {payback_text(found.usual.payback_year)}.",
        f"Reserve that survives: own cash at the start with which nine futures of ten stay {credit}, for the leaf that "
        f"asks for most; without any bad season {money_error(found.usual.reserve)}.",
        NO_CHANCE,
    ]


def stress_screen(found: Stress) -> str:
    """The short answer: what hurts most, the own cash that carries through, and each bad season at its worst leaf."""
    cells = [[*row[:3], row[6]] for row in stress_cells(found, formats_of(found))]
    said = sentence_pieces(stress_sentences(found))
    how = f"{found.trials:,} futures of {found.years} years; means ± standard error, money at year 0. How often bad " \
          "seasons come is not told here."  # fmt: skip
    return one_screen(sentence_pieces([found.title]), said[:1],
                      table_pieces(cells), [*said[1:], *sentence_pieces([how])])  # fmt: skip


def stress_table(found: Stress) -> str:
    """All tables and sentences, lines of at most 130 characters."""
    formats = formats_of(found)
    cells = stress_cells(found, formats)
    lines = [found.title, footer_text(found), f"leaf: that of block {found.leaf_of}; {formats.money_basis}", ""]
    for columns in TABLES:
        part = [[row[column] for column in columns] for row in cells]
        lines += [*text_columns(part), ""]
    for note in (f"{season.title}: {season.note}" for season in found.seasons if season.note):
        lines += textwrap.wrap(note, WIDTH)
    for line in explanation_lines(found):
        lines += textwrap.wrap(line, WIDTH)
    lines.append("")
    for line in stress_sentences(found):
        lines += textwrap.wrap(line, WIDTH)
    return "\n".join(lines)
