"""What ``check`` says of a plan: the short answer, and everything as numbers."""

from __future__ import annotations

import itertools
import math
import textwrap
from collections.abc import Sequence
from typing import Any, Final

from orchardsim.core.numbers import percent, with_error
from orchardsim.plan.describe import area_lines, head_lines, idle_lines, remarks, schedule
from orchardsim.plan.formats import PlanFormats
from orchardsim.plan.plan import Plan, readable
from orchardsim.report.columns import SCREEN_LINES, SCREEN_WIDTH, cells_of, one_screen, sentence_pieces, text_columns
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import round_figures
from orchardsim.results.first_numbers import FirstNumber, FirstNumbers

LONG_MEANING: Final = 58
"""Characters of a line of a meaning in the long table (wording only)."""
CLOSING_LINES: Final = 1
"""Lines below opening and table."""


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
    said.append(f"What the plan does not state: {len(plan.assumptions)} values; --all gives each with its source.")
    return one_screen(sentence_pieces(said, indent="  "))


def state_first_text(found: FirstNumbers, plan: Plan) -> str:
    """The numbers to state first as a table below the opening, a blank line between, as far as a screen holds them."""
    formats = plan.formats
    head = ["State first; what a tenth more of each does", "now", f"NPV, {formats.currency}"]
    rows = [
        [short_meaning(one.meaning), now_text(one, formats), with_error(one.change, one.error)] for one in found.numbers
    ]
    others = sum(max(len(row[at]) for row in [head, *rows]) + 2 for at in (1, 2))
    lines = SCREEN_LINES + 2 - CLOSING_LINES - 1 - len(opening_text(plan).splitlines())
    short = sentence_pieces(crew_lines(found), indent="  ")
    return "\n" + one_screen(short, _wrapped_pieces([head, *rows], SCREEN_WIDTH - others), lines=lines)


def crew_lines(found: FirstNumbers) -> list[str]:
    """That the crews stated or assumed cannot do the work, task by task; nothing where they can."""
    if not found.lacking:
        return []
    told = ", ".join(f"{task.replace('_', ' ')} {done:,.0f} of {asked:,.0f}" for task, asked, done in found.lacking)
    hangs = f" {percent(found.unpicked)} of all fruit hangs unpicked." if found.unpicked > 0 else ""
    return [f"The crews are too few. Hours they do of those asked in the busiest year: {told}.{hangs} State [[crews]]."]


def _wrapped_pieces(cells: list[list[str]], width: int, at: int = 0, left: Sequence[int] = (0,)) -> list[list[str]]:
    """Lines of each row of a table whose words at one place are broken at a width; the head stands with the first."""
    broken = [textwrap.wrap(row[at], width, subsequent_indent="  ") for row in cells]
    lines = text_columns(
        [
            [*(cell if first else "" for cell in row[:at]), part, *(cell if first else "" for cell in row[at + 1 :])]
            for row, parts in zip(cells, broken, strict=True)
            for first, part in ((number == 0, part) for number, part in enumerate(parts))
        ],
        left,
    )
    ends = list(itertools.accumulate(len(parts) for parts in broken))
    starts = [0, *ends[1:-1]]
    return [lines[start:end] for start, end in zip(starts, ends[1:], strict=True)]


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
        *(line for said in crew_lines(found) for line in textwrap.wrap(said, WIDTH)),
        *textwrap.wrap(heading, WIDTH),
        *(f"  {line}" for piece in _wrapped_pieces(cells, LONG_MEANING, at=1, left=(1, 3)) for line in piece),
        *textwrap.wrap(note, WIDTH),
        "Under these keys a plan states them:",
        *keys,
    ]


def short_meaning(meaning: str) -> str:
    """A meaning without what it adds after a semicolon; a name behind its last comma is kept.

    Examples
    --------
    >>> short_meaning("packing; in place of costs.packing, Gala"), short_meaning("wage of pruning, training")
    ('packing, Gala', 'wage of pruning, training')
    """
    main, more, rest = meaning.partition(";")
    return main + "".join(rest.rpartition(",")[1:]) if more and "," in rest else main


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
