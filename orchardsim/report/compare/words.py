"""A comparison in words, tables and shown units: what the terminal, the page and the pictures say."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np

from orchardsim.core.glossary import term
from orchardsim.core.units import HECTARE
from orchardsim.report.columns import SCREEN_WIDTH, one_screen, sentence_pieces, table_pieces, text_columns
from orchardsim.report.run.published import published_gap
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import PAYBACK_AND_NPV, RunFormats, round_figures, years_text
from orchardsim.results.comparison import LEVEL, POINTS, Comparison, Measure, Pair
from orchardsim.results.study import MeasureFacts

TABLES: Final[dict[str, tuple[tuple[str, tuple[int, ...]], ...]]] = {
    "Money of the whole farm": (
        ("npv", (5, 50, 95)),
        ("npv_without_remaining_value", (50,)),
        ("peak_borrowing", (50, 95)),
        ("payback_year", (50, 95)),
        ("irr", (50,)),
        ("outlay", (50,)),
    ),
    "Per area, per money invested and per hour": (
        ("npv_per_area", (5, 50, 95)),
        ("borrowing_per_area", (50,)),
        ("npv_per_money", (50,)),
        ("npv_per_hour", (50,)),
    ),
    "Fruit, trees and work": (
        ("cumulative_yield_to_leaf_5", (50,)),
        ("cumulative_yield_to_leaf_10", (50,)),
        ("picked_early", (50,)),
        ("picked_per_area", (50,)),
        ("trees_lost_share", (50,)),
        ("hours_per_area", (50,)),
        ("picked_per_hour", (50,)),
    ),
}
"""Heading -> measures with their percent points; the tables stand in this order."""

MIDDLE: Final = POINTS.index(50)
POINT_NAMES: Final = {5: term("low"), 50: term("middle"), 95: term("high")}
"""Percent points in words."""
PAIR_ROWS: Final = ("peak_borrowing", "payback_year", "picked_early", "picked_per_area")
"""Measures whose differences stand beside the deciding one."""
MOST_PLANS: Final = 6
"""Plans that the first screen names."""


def formats_of(found: Comparison) -> RunFormats:
    """Units and money in which a comparison is shown."""
    return RunFormats.of(found.attrs)


def shown(measure: MeasureFacts, value: float, formats: RunFormats) -> float:
    """A number of a measure, or a difference of two, in the shown unit."""
    unit = measure.unit
    if unit in ("money/ha", "hour/ha"):
        return value / HECTARE * formats.area_size
    if unit == "kg/ha":
        return float(formats.yield_value(value))
    if unit == "kg/hour":
        return float(formats.display.mass.of(value))
    if unit == "money/money":
        return 1000 * value
    if unit in ("1/year", "1"):
        return 100 * value
    return value


def unit_text(measure: MeasureFacts, formats: RunFormats) -> str:
    """The shown unit in words."""
    return {
        "money": formats.currency,
        "money/ha": f"{formats.currency}/{formats.area_name}",
        "money/money": f"{formats.currency} per 1,000 invested",
        "money/hour": f"{formats.currency}/hour",
        "kg/ha": formats.yield_unit,
        "kg/hour": "lb/hour" if formats.us else "kg/hour",
        "hour/ha": f"hours/{formats.area_name}",
        "year": "year",
        "1/year": "%",
        "1": "%",
        "g": "g",
        "hour": "hours",
    }[measure.unit]


def value_text(measure: MeasureFacts, value: float, formats: RunFormats, *, signed: bool = False) -> str:
    """A number as tables write it; ``signed`` for differences."""
    if np.isnan(value):
        return "–"
    if np.isinf(value):
        if signed:
            # One of the two never pays back, or has no rate of return.
            return "first only" if (value < 0) == (measure.better == "low") else "second only"
        return {"payback_year": "never", "irr": "none"}.get(measure.key, "unbounded")
    amount = shown(measure, value, formats)
    sign = "+" if signed else ""
    if measure.unit in ("money", "money/ha"):
        return f"{round_figures(amount):{sign},.0f}"
    if measure.unit in ("year", "kg/hour", "hour/ha", "money/money"):
        return f"{amount:{sign},.0f}"
    return f"{amount:{sign},.1f}"


def money_text(measure: Measure, value: float, formats: RunFormats) -> str:
    """Money of a measure with its currency, per area where it is that."""
    text = formats.money(shown(measure, value, formats))
    return f"{text} an {formats.area_name}" if measure.unit == "money/ha" and formats.us else (
        f"{text} a hectare" if measure.unit == "money/ha" else text
    )  # fmt: skip


def plan_name(found: Comparison, place: int) -> str:
    """Letter and name of a plan."""
    plan = found.plans[place]
    return f"{plan.label} ({plan.name})"


def land_text(found: Comparison, place: int, formats: RunFormats) -> str:
    """What a plan plants, on how much land."""
    plan = found.plans[place]
    trees = f"{plan.trees:,} trees" + ("" if plan.plants or not plan.trees else ", standing")
    return f"{trees}; {formats.area(plan.planted_area)} planted, {formats.area(plan.gross_area)} with headlands"


def footer_text(found: Comparison) -> str:
    """How many trials, which seasons."""
    return (
        f"n = {found.trials:,} futures of {found.years} years for each plan, seed {found.seed}; seasons: "
        f"{found.attrs['weather_words']}; baseline {years_text(json.loads(str(found.attrs['baseline_years'])))}"
    )


def verdict_text(found: Comparison, pair: Pair) -> str:
    """Which of two plans is better, or that they cannot be told apart."""
    if pair.ahead is None:
        return "same results" if pair.outcome == "same" else f"cannot be told apart with {found.trials:,} futures"
    ahead = found.plans[pair.ahead].label
    return {
        "short record": f"{ahead} ahead, but the weather record is too short to be sure",
        "better": f"{ahead} is better",
    }[pair.outcome]


def luck_text(found: Comparison, pair: Pair) -> str:
    """Which plan brought no less at any luck in the trials."""
    for place, side in ((pair.first, pair.luck), (pair.second, pair.reverse)):
        label = found.plans[place].label
        if side.first_order:
            return f"{label} throughout"
        if side.second_order:
            return f"{label} at the worst"
    return "none"


def luck_caution(found: Comparison) -> str:
    """What an order of luck means, and that rare disasters may be missing from it."""
    rare = round(1 / found.pairs[0].luck.unseen)
    return (
        "Any luck: 'A throughout' brought no less from the worst luck to the best. 'A at the worst' brought no less in "
        "its worst futures on average, however many are counted. "
        f"Both hold in these {found.trials:,} futures only: disasters rarer than 1 in {rare} may be missing from them."
    )


def same_numbers_text(found: Comparison) -> str:
    """Which run of a single plan gives the same numbers."""
    return (
        f"Each plan's numbers are those of 'orchardsim run' with --trials {found.trials} --years {found.years} --seed "
        f"{found.seed}; with other futures they differ by chance."
    )


def contrast_lines(found: Comparison) -> list[str]:
    """What differs between the plans besides their results, with the plans that have each value."""
    lines = []
    for one in found.contrasts:
        held: dict[str, list[str]] = {}
        for plan, value in zip(found.plans, one.values, strict=True):
            held.setdefault(value, []).append(plan.label)
        told = "; ".join(f"{', '.join(labels)} {value}" for value, labels in held.items())
        lines.append(f"{one.name}: {told}")
    return lines or ["nothing but the title"]


def measure_name(found: Comparison, measure: Measure) -> str:
    """Name of a measure in tables; what is summed over the years of the run says over how many."""
    return f"{measure.name} over {found.years} years" if measure.key == "hours_per_area" else measure.name


def interval_words(found: Comparison) -> str:
    """What the intervals of the differences mean."""
    if len(found.pairs) == 1:
        return f"low to high: {100 * LEVEL:.0f} % confidence interval of the mean difference"
    return (
        f"low to high: interval of the mean difference, wide enough that all {len(found.pairs)} pairs hold together "
        f"with {100 * LEVEL:.0f} % confidence"
    )


def needed_lines(found: Comparison) -> list[str]:
    """For pairs that cannot be told apart: how many trials would tell a difference of the size seen."""
    lines = []
    for pair in found.pairs:
        if pair.trials_needed is None:
            continue
        names = f"{found.plans[pair.first].label} and {found.plans[pair.second].label}"
        count = pair.trials_needed
        many = "more than a million" if count > 1_000_000 else f"about {round_figures(count, 2):,.0f}"
        lines.append(f"{names}: a gap of the size seen would need {many} futures to be told from none.")
    return lines


def comparison_sentences(found: Comparison) -> list[str]:
    """Without terms of statistics: which plan, by how much, what it owes, how sure that is."""
    formats = formats_of(found)
    lines = [*best_sentences(found, formats), *_debt(found, formats), *sure_sentences(found)]
    gap = published_gap({plan.label: plan.beside for plan in found.plans}, formats)
    return [*lines, *([gap] if gap else []), "No answer is surer than the plans' prices, costs and weather record."]


def listed(names: Sequence[str]) -> str:
    """Names in a row.

    Examples
    --------
    >>> listed(["A"]), listed(["A", "B", "C"])
    ('A', 'A, B and C')
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def best_sentences(found: Comparison, formats: RunFormats) -> list[str]:
    """Which plan is best and by how much, or that none is."""
    decision = found.decision
    first, second = (plan_name(found, plan) for plan in (decision.leader, decision.runner_up))
    words = {2: "two", 3: "three", 4: "four", 5: "five"}
    count = words.get(len(found.plans), str(len(found.plans)))
    if decision.outcome == "same":
        return [f"{first} and {second} give the same results in all {found.trials:,} futures.", *_loss(found, formats)]
    labels = [found.plans[plan].label for plan in (decision.leader, decision.runner_up)]
    if decision.outcome == "better":
        lines = [f"Of the {count} plans {first} is best."]
    elif decision.outcome == "short record":
        lines = [f"No plan is surely best: {first} leads {second}, but the weather record is too short to be sure."]
    else:
        rivals = [
            plan_name(found, plan) for plan in decision.rivals if found.pair(decision.leader, plan).outcome == "unsure"
        ]
        lines = [
            f"No plan is best: {found.trials:,} futures cannot tell {first} from {listed(rivals)}."
            if len(rivals) < 4
            else f"No plan is best: {found.trials:,} futures cannot tell {first} from {len(rivals)} others."
        ]
    behind = [plan for plan in range(len(found.plans)) if plan not in (decision.leader, *decision.rivals)]
    if decision.best is None and behind:
        lines.append(f"{labels[0]} is better than {listed([plan_name(found, plan) for plan in behind])}.")
    return [*lines, _lead(found, formats, labels), *_loss(found, formats)]


def _lead(found: Comparison, formats: RunFormats, labels: list[str]) -> str:
    measure, lead = found.measures[found.deciding], found.decision.lead
    low, high = (money_text(measure, value, formats) for value in (lead.low, lead.high))
    whose = "the whole farm's cash flows" if measure.key == "npv" else "cash flows"
    if lead.told_apart:
        return (
            f"In the same futures {labels[0]} brings {money_text(measure, lead.centre, formats)} more than {labels[1]} "
            f"({low} to {high}): {whose}, discounted to year 0."
        )
    return f"{labels[0]} less {labels[1]} is anything from {low} to {high}: {whose}, discounted to year 0."


def _loss(found: Comparison, formats: RunFormats) -> list[str]:
    """That even the leader loses money on average."""
    measure, leader = found.measures[found.deciding], found.decision.leader
    mean = float(measure.values[leader].mean())
    if mean >= 0:
        return []
    return [f"Even {found.plans[leader].label} loses {money_text(measure, -mean, formats)} on average."]


def _debt(found: Comparison, formats: RunFormats) -> list[str]:
    """Debts of the whole farm."""
    debt = found.measures["peak_borrowing"]
    owed = [float(debt.points(plan)[2]) for plan in range(len(found.plans))]
    leader, least = found.decision.leader, int(np.argmin(owed))
    label, high = found.plans[leader].label, float(debt.points(leader)[4])
    if high <= 0:
        return [f"Under {label} the farm need not borrow in nineteen of twenty futures."]
    text = (
        f"At its deepest the farm owes about {formats.money(owed[leader])} under {label}, in one future of twenty more "
        f"than {formats.money(high)}."
    )
    if least == leader or owed[least] == owed[leader]:
        return [text, "No plan owes less."]
    if owed[least] <= 0:
        return [text, f"Under {plan_name(found, least)} it need not borrow in most futures."]
    return [text, f"{plan_name(found, least)} owes the least, about {formats.money(owed[least])}."]


def sure_sentences(found: Comparison) -> list[str]:
    """In how many futures the leader beats the runner-up, and when both have paid back."""
    decision = found.decision
    if decision.outcome == "same":
        return []
    labels = [found.plans[plan].label for plan in (decision.leader, decision.runner_up)]
    chance = decision.lead.chance_better
    lines = [
        f"{labels[0]} beats {labels[1]} in {chance.count:,} of {chance.trials:,} futures (in the long run "
        f"{100 * chance.low:.0f} to {100 * chance.high:.0f} of 100)."
    ]
    planted = [plan for plan in (decision.leader, decision.runner_up) if found.plans[plan].plants]
    return lines + _payback(found, planted)


def _payback(found: Comparison, plans: list[int]) -> list[str]:
    years = {plan: float(found.measures["payback_year"].points(plan)[2]) for plan in plans}
    never = [found.plans[plan].label for plan, year in years.items() if np.isinf(year)]
    lines = [
        f"Under {found.plans[plan].label} half of the futures have paid the planting back by year {year:.0f}."
        for plan, year in years.items()
        if not np.isinf(year)
    ]
    if never:
        lines.append(f"Under {listed(never)} most futures do not pay the planting back within {found.years} years.")
    return lines


def plan_tables(found: Comparison, formats: RunFormats) -> dict[str, list[list[str]]]:
    """What each plan brings: heading -> a head, then a row for each number, a column for each plan."""
    tables = {}
    for heading, rows in TABLES.items():
        cells = [["", "", *(plan.label for plan in found.plans)]]
        for key, points in rows:
            measure = found.measures.get(key)
            if measure is not None:
                cells += _measure_rows(found, measure, points, formats)
        if len(cells) > 1:
            tables[heading] = cells
    return tables


def _measure_rows(found: Comparison, measure: Measure, points: tuple[int, ...], formats: RunFormats) -> list[list[str]]:
    name = measure_name(found, measure)
    if measure.unit != "year":
        name += f", {unit_text(measure, formats)}"
    rows = []
    for row, point in enumerate(points):
        values = [measure.points(plan)[POINTS.index(point)] for plan in range(len(found.plans))]
        texts = (value_text(measure, float(value), formats) for value in values)
        rows.append([name if row == 0 else "", POINT_NAMES[point], *texts])
    return rows


def pair_cells(found: Comparison, formats: RunFormats) -> list[list[str]]:
    """Differences of every pair: a head, then a row for each pair."""
    deciding = found.measures[found.deciding]
    others = [found.measures[key] for key in PAIR_ROWS if key in found.measures]
    head = [
        "pair",
        f"{deciding.name}, {unit_text(deciding, formats)}",
        "low",
        "high",
        "± record",
        "first wins",
        *(one.name if one.unit == "year" else f"{one.name}, {unit_text(one, formats)}" for one in others),
        "any luck",
        "verdict",
    ]
    cells = [head]
    for pair in found.pairs:
        one = pair.differences[found.deciding]
        row = [
            f"{found.plans[pair.first].label} - {found.plans[pair.second].label}",
            *(value_text(deciding, value, formats, signed=True) for value in (one.centre, one.low, one.high)),
            "unseen" if pair.record_error == 0 else value_text(deciding, pair.record_error, formats),
            f"{one.chance_better.count:,} of {one.chance_better.trials:,}",
        ]
        for measure in others:
            other = pair.differences.get(measure.key)
            both = all(np.isinf(measure.points(plan)[MIDDLE]) for plan in (pair.first, pair.second))
            row.append(value_text(measure, other.centre, formats, signed=True) if other and not both else "–")
        cells.append([*row, luck_text(found, pair), verdict_text(found, pair)])
    return cells


def pair_explanations(found: Comparison) -> list[str]:
    """How to read the table of differences."""
    lines = [
        "First plan less second in the same futures: means, and for the payback year the median difference.",
        "'first only': in more than half of the futures the other never pays back. –: in most futures neither does, or "
        "one plan invests nothing.",
        f"{interval_words(found).capitalize()}.",
        "± record: standard error that the finite weather record adds. It is no part of the interval, and more futures "
        "do not remove it. 'unseen': the noise of these futures hides it.",
        luck_caution(found),
    ]
    return lines + needed_lines(found)


def comparison_screen(found: Comparison) -> str:
    """The short answer: the plans, what is best and how sure that is, and the money of the whole farm."""
    formats = formats_of(found)
    named = [
        [textwrap.shorten(f"{plan.label}  {plan.name}: {plan.title}", SCREEN_WIDTH, placeholder=" ...")]
        for plan in found.plans
    ]
    more = [[f"and {len(named) - MOST_PLANS} more plans"]] if len(named) > MOST_PLANS else []
    cells = next(iter(plan_tables(found, formats).values()))
    return one_screen(
        [*named[:MOST_PLANS], *more], sentence_pieces(comparison_sentences(found)), table_pieces(cells, left=(0, 1))
    )


def comparison_table(found: Comparison) -> str:
    """The comparison as text, in the plans' own units, lines of at most :data:`WIDTH` characters where it can be.

    Sentences first, then the money of the whole farm and its differences, then what is told per area, then the rest.
    """
    formats = formats_of(found)
    lines = []
    for place, plan in enumerate(found.plans):
        lines.append(f"{plan.label}  {plan.name}: {plan.title}")
        lines.append(f"   {land_text(found, place, formats)}")
    lines += ["", *comparison_sentences(found), ""]
    tables = plan_tables(found, formats)
    money = next(iter(tables))
    lines += [f"{money} (low, middle, high: of twenty futures one, ten, nineteen fall below)"]
    lines += [
        *text_columns(tables.pop(money), left=(0,)),
        f"{formats.currency}: {formats.money_basis}",
        PAYBACK_AND_NPV,
        "",
    ]
    lines.append("Differences in the same futures")
    lines += [*_narrow(pair_cells(found, formats)), *pair_explanations(found), ""]
    for heading, cells in tables.items():
        lines += [heading, *text_columns(cells, left=(0,)), ""]
    lines += ["What differs between the plans", *(f"  {line}" for line in contrast_lines(found)), ""]
    lines += [f"{formats.bin_text}, {formats.box_text}", footer_text(found), same_numbers_text(found), *found.notes]
    wrapped = [part for line in lines for part in (textwrap.wrap(line, WIDTH) if len(line) > WIDTH else [line])]
    return "\n".join(line.rstrip() for line in wrapped)


def _narrow(cells: list[list[str]]) -> list[str]:
    """Two tables, so that a line fits a terminal: the deciding measure with its verdict, then the other measures."""
    count = len(cells[0])
    main = [[row[0], *row[1:6], row[count - 2], row[count - 1]] for row in cells]
    others = [[row[0], *row[6 : count - 2]] for row in cells]
    return [*text_columns(main, left=(6, 7)), "", *text_columns(others, left=())]
