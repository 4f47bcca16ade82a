"""A comparison in words and shown units: what the terminal, the page and the pictures say."""

from __future__ import annotations

import json
from typing import Final

import numpy as np

from orchardsim.core.units import HECTARE, POUND
from orchardsim.report.show import Show, round_figures, years_text
from orchardsim.results.comparison import LEVEL, Comparison, Difference, Measure, Pair

SURE: Final = 1.96
"""Standard errors on either side of an estimate that leave out zero at 95 % (normal distribution)."""


def show_of(found: Comparison) -> Show:
    """Units and money in which a comparison is shown."""
    import xarray

    return Show.of(xarray.Dataset(attrs=dict(found.attrs)))


def shown(measure: Measure, value: float, show: Show) -> float:
    """A number of a measure, or a difference of two, in the shown unit."""
    unit = measure.unit
    if unit in ("money/ha", "hour/ha"):
        return value / HECTARE * show.area_size
    if unit == "kg/ha":
        return float(show.yield_value(value))
    if unit == "kg/hour":
        return value / POUND if show.us else value
    if unit == "money/money":
        return 1000 * value
    if unit in ("1/year", "1"):
        return 100 * value
    return value


def unit_text(measure: Measure, show: Show) -> str:
    """The shown unit in words."""
    return {
        "money": show.currency,
        "money/ha": f"{show.currency}/{show.area_name}",
        "money/money": f"{show.currency} per 1,000 invested",
        "money/hour": f"{show.currency}/hour",
        "kg/ha": show.yield_unit,
        "kg/hour": "lb/hour" if show.us else "kg/hour",
        "hour/ha": f"hours/{show.area_name}",
        "year": "year",
        "1/year": "%",
        "1": "%",
    }[measure.unit]


def value_text(measure: Measure, value: float, show: Show, *, signed: bool = False) -> str:
    """A number as tables write it; ``signed`` for differences."""
    if np.isnan(value):
        return "–"
    if np.isinf(value):
        if signed:
            # One of the two never pays back, or has no rate of return.
            return "first only" if (value < 0) == (measure.better == "low") else "second only"
        return {"payback_year": "never", "irr": "none"}.get(measure.key, "unbounded")
    amount = shown(measure, value, show)
    sign = "+" if signed else ""
    if measure.unit in ("money", "money/ha"):
        return f"{round_figures(amount):{sign},.0f}"
    if measure.unit in ("year", "kg/hour", "hour/ha", "money/money"):
        return f"{amount:{sign},.0f}"
    return f"{amount:{sign},.1f}"


def money_text(measure: Measure, value: float, show: Show) -> str:
    """Money of a measure with its currency, per area where it is that."""
    text = show.money(shown(measure, value, show))
    return f"{text} an {show.area_name}" if measure.unit == "money/ha" and show.us else (
        f"{text} a hectare" if measure.unit == "money/ha" else text
    )  # fmt: skip


def plan_name(found: Comparison, place: int) -> str:
    """Letter and name of a plan."""
    plan = found.plans[place]
    return f"{plan.label} ({plan.name})"


def land_text(found: Comparison, place: int, show: Show) -> str:
    """What a plan plants, on how much land."""
    plan = found.plans[place]
    trees = f"{plan.trees:,} trees" + (", standing" if plan.established else "")
    return f"{trees}; {show.area(plan.planted_area)} planted, {show.area(plan.gross_area)} with headlands"


def footer_text(found: Comparison) -> str:
    """How many trials, which seasons."""
    return (
        f"n = {found.trials:,} trials of {found.years} years for each plan, seed {found.seed}; seasons: "
        f"{found.attrs['weather_method']}; baseline {years_text(json.loads(str(found.attrs['baseline_years'])))}"
    )


def too_short_record(pair: Pair, one: Difference) -> bool:
    """Whether a difference that the trials tell apart is within the doubt that the weather record leaves."""
    return bool(one.told_apart and SURE * pair.record_error > abs(one.centre))


def verdict_text(found: Comparison, pair: Pair) -> str:
    """Which of two plans is better, or that they cannot be told apart."""
    one = pair.differences[found.deciding]
    first, second = found.plans[pair.first].label, found.plans[pair.second].label
    if not one.told_apart:
        return f"cannot be told apart with {found.trials:,} trials"
    better = first if one.centre > 0 else second
    if too_short_record(pair, one):
        return f"{better} ahead, but the weather record is too short to be sure"
    return f"{better} is better"


def dominance_text(found: Comparison, pair: Pair) -> str:
    """Which plan dominates, and in which order; empty where neither does."""
    for place, side in ((pair.first, pair.dominance), (pair.second, pair.reverse)):
        label = found.plans[place].label
        if side.first_order_claimed:
            return f"{label} 1st order"
        if side.second_order_claimed:
            return f"{label} 2nd order"
    return "none"


def choice_text(found: Comparison) -> str:
    """Which trials chose the plan, and which the sentences speak of."""
    choice = found.choice
    return (
        f"The best plan was chosen on the first {choice.choosing_trials:,} trials; the three sentences speak of its "
        f"lead in the other {choice.reporting_trials:,}, which had no part in the choice. The tables use all trials."
    )


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
        lines.append(
            f"{names} cannot be told apart with {found.trials:,} trials; a gap of the size seen would need {many}."
        )
    return lines


def comparison_sentences(found: Comparison) -> list[str]:
    """Three sentences without terms of statistics: which plan, what it costs first, how sure that is."""
    show = show_of(found)
    chosen = found.choice.chosen
    rival = max(found.choice.leads, key=lambda plan: -found.choice.leads[plan].centre)
    return [_best(found, show, chosen, rival), _debt(found, show, chosen, rival), _sure(found, chosen, rival)]


def _best(found: Comparison, show: Show, chosen: int, rival: int) -> str:
    measure = found.measures[found.deciding]
    lead = found.choice.leads[rival]
    words = {2: "two", 3: "three", 4: "four", 5: "five"}
    among = f"Of the {words.get(len(found.plans), str(len(found.plans)))} plans"
    best = "that" if lead.told_apart else "the first"
    loses = ""
    if found.choice.mean < 0:
        loses = (
            f", though even {best} loses {money_text(measure, -found.choice.mean, show)} in today's money on average"
        )
    if not lead.told_apart:
        both = f"{plan_name(found, chosen)} and {plan_name(found, rival)}"
        start = f"The plans {both}" if len(found.plans) == 2 else f"{among}, {both} lead and"
        return (
            f"{start} cannot be told apart with {found.choice.reporting_trials:,} trials: the first less the second is "
            f"anything from {money_text(measure, lead.low, show)} to {money_text(measure, lead.high, show)} in today's "
            f"money{loses}."
        )
    next_best = "the other" if len(found.plans) == 2 else "the next best"
    return (
        f"{among}, {plan_name(found, chosen)} is best{loses}: in the same seasons and prices it is worth about "
        f"{money_text(measure, lead.centre, show)} more in today's money than {next_best}, {plan_name(found, rival)} "
        f"(between {money_text(measure, lead.low, show)} and {money_text(measure, lead.high, show)})."
    )


def _debt(found: Comparison, show: Show, chosen: int, rival: int) -> str:
    debt = found.measures["peak_borrowing" if found.deciding == "npv" else "borrowing_per_area"]

    def text_of(amount: float) -> str:
        return money_text(debt, amount, show)

    def owed(plan: int) -> float:
        return float(debt.points(plan)[2])

    least = min(range(len(found.plans)), key=owed)
    high = debt.points(chosen)[4]
    text = (
        f"At its deepest {found.plans[chosen].label} owes about {text_of(owed(chosen))}, in one future of twenty "
        f"more than {text_of(float(high))}"
    )
    if high <= 0:
        text = f"{found.plans[chosen].label} never has to borrow in nineteen of twenty futures"
    if least == chosen:
        return f"{text}, which is the least of all; {found.plans[rival].label} owes about {text_of(owed(rival))}."
    if owed(least) <= 0:
        return f"{text}, while {plan_name(found, least)} need not borrow in most futures."
    return f"{text}, while {plan_name(found, least)} owes the least, about {text_of(owed(least))}."


def _sure(found: Comparison, chosen: int, rival: int) -> str:
    lead = found.choice.leads[rival]
    chance = lead.chance_better
    years = [found.measures["payback_year"].points(plan)[2] for plan in (chosen, rival)]
    labels = [found.plans[plan].label for plan in (chosen, rival)]
    when = ["from the first year on" if year <= 0 else f"by year {year:.0f}" for year in years]
    if np.isinf(years).all():
        paid = f"in most futures neither has paid for itself within {found.years} years"
    elif np.isinf(years).any():
        early, late = (0, 1) if np.isinf(years[1]) else (1, 0)
        paid = (
            f"in half of the futures {labels[early]} has paid for itself {when[early]}, while {labels[late]} mostly "
            f"has not within {found.years} years"
        )
    else:
        paid = f"in half of the futures it has paid for itself {when[0]} ({labels[1]}: {when[1]})"
    return (
        f"{labels[0]} beats {labels[1]} in {chance.count:,} of {chance.trials:,} futures tried (in the long run "
        f"between {100 * chance.low:.0f} and {100 * chance.high:.0f} of 100), and {paid}; no answer is surer than the "
        "plans' prices, costs and weather record."
    )
