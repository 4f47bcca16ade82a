"""What open numbers and levels do to a plan's money, in sentences and tables of text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from orchardsim.core.glossary import term
from orchardsim.core.numbers import percent, with_error
from orchardsim.core.units import CARTON, Display
from orchardsim.report.columns import cells_of, one_screen, sentence_pieces, table_pieces, text_columns
from orchardsim.report.run_formats import RunFormats, amount_text
from orchardsim.results.levels import LevelsFound, Swing

COMMON: Final = 0.5
"""Chance from which an outcome is told in the first sentence (wording only)."""
MOST_OUTCOMES: Final = 3
"""Outcomes that the sentence names (wording only)."""


def formats_of(found: LevelsFound) -> RunFormats:
    """Units and money in which the findings are shown."""
    return RunFormats.of(found.attributes)


def footer_text(found: LevelsFound) -> str:
    """How many trials."""
    return f"n = {found.trials:,} futures of {found.years} years, seed {found.seed}"


def _level_text(value: float, unit: str, units: Display) -> str:
    """A level: a difference of temperature in the shown degrees, a yearly rate in percent."""
    if unit == "K":
        return f"{units.temperature_difference(value):+.1f} {units.temperature_unit}"
    if unit == "1/year":
        return f"{100 * value:+.1f} % a year"
    return f"{value:.3g}" if unit == "1" else f"{value:.3g} {unit}"


def swing_cells(found: LevelsFound) -> list[list[str]]:
    """Open levels with NPV at their ends, widest first."""
    units = formats_of(found).display
    return cells_of(
        found.swings,
        ("open level", lambda one: term(one.name)),
        ("low", lambda one: _level_text(one.low, one.unit, units)),
        ("high", lambda one: _level_text(one.high, one.unit, units)),
        (f"NPV at low, {found.attributes['currency']}", lambda one: amount_text(one.npv_low)),
        ("NPV at high", lambda one: amount_text(one.npv_high)),
        ("apart", lambda one: with_error(one.width, one.error)),
    )


def price_cells(found: LevelsFound) -> list[list[str]]:
    """Mean NPV in thousands by yield and price, with the price that breaks even, per carton and per box or kilogram."""
    table, formats = found.price_by_yield, formats_of(found)
    heads = [f"price x {price:g}" for price in table.prices]
    cells = [["fruit picked", *heads, f"break-even {formats.price_unit}", f"{formats.currency}/carton"]]
    for share, row, even in zip(table.yields, table.npv, table.break_even, strict=True):
        prices = [formats.price(even), f"{even * CARTON:,.2f}"] if math.isfinite(even) else ["none", "none"]
        cells.append([f"x {share:g}", *(f"{value / 1000:,.0f}" for value in row), *prices])
    return cells


def losing_cells(found: LevelsFound) -> list[list[str]]:
    """Outcomes that lose with their chance, the range that the trials leave open."""
    from orchardsim.risk.bands import wilson_interval

    cells = [["outcome", "chance", "19 times in 20 within"]]
    for one in found.losing:
        if one.of:
            chance = wilson_interval(one.trials, one.of)
            cells.append([one.name, percent(one.chance), f"{percent(chance.low)} to {percent(chance.high)}"])
        else:
            cells.append([one.name, "not asked", "nothing is due or invested"])
    return cells


def debt_cells(found: LevelsFound) -> list[list[str]]:
    """By year: chance that the cash flow before interest does not cover interest and principal."""
    cells = [["year", "futures with debt service due", "chance it is not covered"]]
    for year, (missed, due) in enumerate(found.debt_not_covered):
        cells.append([str(year), f"{percent(due / found.trials)}", percent(missed / due) if due else "nothing due"])
    return cells


def levels_sentences(found: LevelsFound) -> list[str]:
    """What a lender reads first."""
    currency, table = found.attributes["currency"], found.price_by_yield
    formats = formats_of(found)
    said = [
        "With every level at its middle the plan's mean NPV is "
        f"{with_error(found.npv, found.npv_error, f'{currency} ')} ({found.trials} futures)."
    ]
    if found.swings:
        widest: Swing = found.swings[0]
        ends = sorted((widest.npv_low, widest.npv_high))
        said.append(
            f"Of what nobody knows, {term(widest.name)} moves it most: from {formats.money(ends[0])} to "
            f"{formats.money(ends[1])}. What narrows it: {widest.narrowed_by}."
        )
    even = dict(zip(table.yields, table.break_even, strict=True))[1.0]
    if math.isfinite(even):
        said.append(
            f"At the plan's yield fruit must bring {formats.price(even)} {formats.price_unit} before packing to "
            "break even "
            f"({even * CARTON:,.2f} a carton of {formats.mass(CARTON)}). It brings {formats.price(table.fresh_price)}."
        )
    likely_ones = [one for one in found.losing if one.of and one.chance >= COMMON]
    if likely_ones:
        named = [one.name for one in sorted(likely_ones, key=lambda one: -one.chance)]
        more = f"; and {len(named) - MOST_OUTCOMES} more" if len(named) > MOST_OUTCOMES else ""
        said.append(f"More likely than not: {'; '.join(named[:MOST_OUTCOMES])}{more}.")
    due = [missed / count for missed, count in found.debt_not_covered if count]
    if due:
        said.append(
            f"Debt service is not covered in {percent(sum(due) / len(due))} of the years in which any is due. "
            + worst_words(found.debt_not_covered)
        )
    return said


def worst_words(not_covered: Sequence[tuple[int, int]]) -> str:
    """The worst year for debt service; years before the trees bear, in which no future covers it, are told apart.

    Examples
    --------
    >>> worst_words([(8, 8), (8, 8), (2, 8), (4, 8)])
    'To year 1 no future covers it; the worst year after is year 3, in 50 % of futures.'
    """
    shares = [_share(pair) for pair in not_covered]
    first = next((year for year, share in enumerate(shares) if 0 <= share < 1), len(shares))
    later = shares[first:]
    if not later:
        return "No future covers it in any such year."
    worst = first + later.index(max(later))
    start = f"To year {first - 1} no future covers it; the worst year after is" if 1.0 in shares[:first] else "Worst is"
    return f"{start} year {worst}, in {percent(later[worst - first])} of futures."


def _share(pair: tuple[int, int]) -> float:
    return pair[0] / pair[1] if pair[1] else -1.0


def levels_screen(found: LevelsFound) -> str:
    """The short answer: the sentences, and the levels that move NPV most."""
    cells = [[row[0], *row[3:]] for row in swing_cells(found)]
    return one_screen(sentence_pieces(levels_sentences(found)), table_pieces(cells))


def levels_tables(found: LevelsFound) -> list[tuple[str, list[list[str]]]]:
    """All tables, with what each shows."""
    return [
        ("One open level at a time, the others at their middle", swing_cells(found)),
        (f"NPV in 1,000 {found.attributes['currency']} by price and yield", price_cells(found)),
        ("How the plan loses, all levels open", losing_cells(found)),
        ("Debt service by year", debt_cells(found)),
    ]


def levels_text(found: LevelsFound) -> str:
    """All sentences and tables as text."""
    tables = [
        line for title, cells in levels_tables(found) for line in (title, *text_columns(cells, fold_heads=True), "")
    ]
    return "\n".join([*levels_sentences(found), "", *tables, footer_text(found)])
