"""What ``check`` says of a plan: the short answer, and everything as numbers."""

from __future__ import annotations

import math
import textwrap
from typing import Any, Final

from orchardsim.core.numbers import percent, with_error
from orchardsim.plan.describe import area_lines, assumption_lines, head_lines, idle_lines, remarks, schedule
from orchardsim.plan.formats import PlanFormats
from orchardsim.plan.plan import Plan, readable
from orchardsim.report.columns import SCREEN_LINES, cells_of, one_screen, sentence_pieces, table_pieces, text_columns
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import round_figures
from orchardsim.results.first_numbers import FirstNumber, FirstNumbers

LONG_MEANING: Final = 58
"""Characters of a meaning in the long table (wording only)."""
MEANING: Final = 46
"""Characters of a meaning on the first screen (wording only)."""
LEAST_MEANING: Final = 24
"""Characters below which it is not cut (wording only)."""
TABLE_LINES: Final = 13
"""Lines of the table of ten numbers with its heads and the blank line before it."""


def opening_text(plan: Plan) -> str:
    """The short answer before anything is simulated: place, trees, bill, what looks wrong."""
    weather = " ".join(head_lines(plan)[2].split()[1:]).partition(";")[0]
    land = (line for line in [*area_lines(plan), *idle_lines(plan)] if line)
    said = [plan.title, f"Weather: {weather}", *land, _bill(plan)]
    doubtful = remarks(plan)
    if doubtful:
        more = f" And {len(doubtful) - 1} more: --all." if len(doubtful) > 1 else ""
        first = doubtful[0][0].upper() + doubtful[0][1:]
        said.append(f"Worth a second look: {first.removesuffix('.')}.{more}")
    said.append(assumption_lines(plan)[0].partition(" A plan may")[0])
    return one_screen(sentence_pieces(said, indent="  ")[: SCREEN_LINES - TABLE_LINES])


def state_first_text(found: FirstNumbers, formats: PlanFormats) -> str:
    """The numbers to state first as a table below the opening, a blank line between."""
    head = ["State first; a tenth more of each", "now", f"changes NPV by, {formats.currency}"]
    rows = [(one.meaning, now_text(one, formats), with_error(one.change, one.error)) for one in found.numbers]
    # Meanings are cut until the table fits a screen: long units take their room.
    for most in range(MEANING, LEAST_MEANING, -1):
        pieces = table_pieces([head, *([short_meaning(meaning, most), *rest] for meaning, *rest in rows)])
        if pieces:
            break
    return "\n" + one_screen(pieces)


def state_first_lines(found: FirstNumbers, formats: PlanFormats) -> list[str]:
    """The numbers to state first, a line each."""
    return [
        f"{one.meaning[0].upper()}{one.meaning[1:]}: {now_text(one, formats)} ({one.status}). A tenth more changes NPV "
        f"by {with_error(one.change, one.error, f'{formats.currency} ')}."
        for one in found.numbers
    ]


def first_number_lines(found: FirstNumbers, formats: PlanFormats) -> list[str]:
    """The numbers to state first, with their keys."""
    currency = formats.currency
    cells = cells_of(
        enumerate(found.numbers, start=1),
        ("", lambda row: str(row[0])),
        ("number", lambda row: short_meaning(row[1].meaning)),
        ("now", lambda row: now_text(row[1], formats)),
        ("from", lambda row: row[1].status),
        (f"NPV, {currency}", lambda row: with_error(row[1].change, row[1].error)),
    )
    heading = (
        f"The {len(found.numbers)} numbers to state first, of {found.looked_at} that the plan leaves open: what a "
        "tenth more of each does to NPV"
    )
    keys = [f"  {place:>2}  {one.key}" for place, one in enumerate(found.numbers, start=1)]
    note = (
        f"NPV {currency} {round_figures(found.npv):,.0f}, mean of {found.trials} futures of {found.years} years with "
        f"all levels at their middle; ± standard error. Found in {found.seconds:.1f} s."
    )
    return [
        *textwrap.wrap(heading, WIDTH),
        *(f"  {line}" for line in text_columns(cells, left=(1, 3))),
        *textwrap.wrap(note, WIDTH),
        "Under these keys a plan states them:",
        *keys,
    ]


def short_meaning(meaning: str, most: int = LONG_MEANING) -> str:
    """A meaning cut to so many characters; a name behind its last comma is kept.

    Examples
    --------
    >>> short_meaning("packed price, best grade and the second with it, Gala", 34)
    'packed price, best grade..., Gala'
    """
    if len(meaning) <= most:
        return meaning
    rest, comma, name = meaning.rpartition(", ")
    end = f"...{comma}{name}" if comma and len(name) < most // 2 else "..."
    return (rest if len(end) > len("...") else meaning)[: most - len(end)].rstrip(" ,") + end


def now_text(one: FirstNumber, formats: PlanFormats) -> str:
    """What the number is now."""
    if one.value is None:
        return "as the catalogue"
    if one.key == "futures.pack_out":
        return percent(float(one.value))
    value = one.value[-1] if isinstance(one.value, tuple) else one.value
    return formats.text(one.key, value, one.unit).partition(" (")[0]


def _bill(plan: Plan) -> str:
    outlays = schedule(plan)
    if not outlays:
        return "Nothing is planted or built."
    total = math.fsum(one.amount for one in outlays)
    years = sorted({one.year for one in outlays})
    return (
        f"Planting and building cost {round_figures(total):,.0f} {plan.currency} of {plan.price_year}, paid in years "
        f"{years[0]} to {years[-1]}."
    )


def check_document(plan: Plan, found: FirstNumbers | None) -> dict[str, Any]:
    """All numbers: the plan as read and completed, its bill, what looks wrong, the numbers to state first."""
    document = {
        "title": plan.title,
        "plan_hash": plan.hash,
        "remarks": remarks(plan),
        "outlays": readable(schedule(plan)),
    }
    if found is not None:
        document["first_numbers"] = readable(found)
    return document | {"plan": plan.document()}
