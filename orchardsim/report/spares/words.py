"""The answer to "how many spares, how many to order, and when" in words and tables."""

from __future__ import annotations

import json
import textwrap
from typing import Final

from orchardsim.core.glossary import term
from orchardsim.core.numbers import with_error
from orchardsim.report.columns import above_table, sentence_pieces, table_pieces, text_columns
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import RunFormats, amount_text, years_text
from orchardsim.report.spares.plan_lines import HOW_TO_USE, policy_lines
from orchardsim.results.spares import (
    Clustering,
    CostCurve,
    LabelPolicy,
    PolicyOutcome,
    RefillWorth,
    SparesAnswer,
    SparesDecision,
)

PLACE: Final = {"nursery_row": "in a nursery row", "pots": "in pots", "none": "nowhere"}
HEAD: Final = "Recommendation:"
"""Above the sentences, in text."""
MAYBE: Final = " ?"
"""Behind a cost that may lie above the cheapest by chance alone."""
SURE: Final = 2.0
"""Standard errors beyond which a difference is spoken of as one."""


def formats_of(found: SparesAnswer) -> RunFormats:
    """Units and money in which the answer is shown."""
    return RunFormats.of(found.attrs)


def footer_text(found: SparesAnswer) -> str:
    """How many trials stand behind a number, and which seasons."""
    baseline = years_text(json.loads(str(found.attrs["baseline_years"])))
    return (
        f"searched on {found.choosing_trials:,} futures, told from {found.reporting_trials:,} fresh ones; seed "
        f"{found.seed}; {found.years} years; seasons: {found.attrs['weather_words']}; baseline {baseline}"
    )


def counted(number: float, thing: str) -> str:
    """A number with its noun.

    Examples
    --------
    >>> counted(1, "spare"), counted(0, "spare"), counted(1200, "gap")
    ('1 spare', 'no spares', '1,200 gaps')
    """
    return f"{f'{number:,.0f}' if number else 'no'} {thing}{'' if number == 1 else 's'}"


def spares_sentences(found: SparesAnswer) -> list[str]:
    """The answer, plain: one recommendation and its cost, why, what else would cost, how sure that is."""
    formats, decision = formats_of(found), found.decision
    advised = decision.advised
    # What fills no gap takes a line: it stands before the longer rules, so that a first screen holds every row group.
    lines = [_idle_text(policy.label, found) for policy in advised.policies if not policy.fills]
    filled = [(policy.label, *policy_text(policy, found)) for policy in advised.policies if policy.fills]
    lines += [first for _, first, *_ in filled]
    for label, _, *orders in filled:
        lines += [f"{label}: {orders[0][0].lower()}{orders[0][1:]}" if len(filled) > 1 else orders[0], *orders[1:]]
    curves = {one.label: one for one in found.curves}
    for policy in advised.policies:
        if policy.fills and policy.label in curves:
            lines += flat_text(curves[policy.label], formats)
    lines += [*_cost_text(advised, found, formats), *_why_text(decision, found, formats)]
    if any(policy.fills for policy in advised.policies):
        lines += _gaps_text(advised)
    lines += _rules_text(decision, found, formats)
    last = {policy.label: policy.last_leaf for policy in advised.policies if policy.fills}
    for one in found.worth:
        if one.leaf.size:
            lines += worth_text(one, found.worth_trials, formats, last.get(one.label))
    for cluster in found.clustering:
        if cluster.lost.mean() > 0:
            told = next(policy for policy in advised.policies if policy.label == cluster.label)
            lines += clustering_text(cluster, told, formats)
    return lines


def _idle_text(label: str, found: SparesAnswer) -> str:
    """Why no gap of a row group is filled."""
    text = f"{label}: buy no spares and fill no gaps"
    if _never_pays(label, found):
        return f"{text}; a replant there does not bring back its tree, planting and care."
    return f"{text}; whether filling some would be cheaper cannot be told."


def _never_pays(label: str, found: SparesAnswer) -> bool:
    """Whether filling a gap of a row group surely costs more than it brings."""
    return any(one.never for one in found.worth if one.label == label)


def flat_text(one: CostCurve, formats: RunFormats) -> list[str]:
    """Numbers of spares that cost the same, and why to lean to either end."""
    if one.low == one.high:
        return []
    lines = [f"{one.label}: anything from {one.low} to {one.high} spares at planting costs the same, within noise."]
    if one.spent_more > 0:
        shorter = one.waiting_low - one.waiting_high
        lines.append(
            f"Towards {one.low}: {formats.money(one.spent_more)} less is spent on trees that may not be needed."
        )
        if shorter >= 1:
            lines.append(f"Towards {one.high}: open gaps wait {counted(round(shorter), 'tree-year')} less.")
    return lines


def policy_text(policy: LabelPolicy, found: SparesAnswer) -> list[str]:
    """What to do, for one row group."""
    share = f" ({100 * policy.spares / policy.trees:.1f} % of {policy.trees:,})" if policy.spares else ""
    keep = f"keep them {PLACE[policy.place]}" if policy.spares else f"keep spares {PLACE[policy.place]}"
    if policy.place == "none":
        keep = "keep none from year to year"
    buy = f"buy {counted(policy.spares, 'spare')} with the planting{share}, {keep}"
    if policy.first_leaf > 2:
        buy = keep
    lines = [f"{policy.label}: {buy}, and fill gaps each spring to leaf {policy.last_leaf}."]
    if policy.order_up_to is None or policy.reorder_point is None:
        return [*lines, "Order nothing later; what is left then is thrown out."]
    least = f"at least {found.minimum_order}, " if found.minimum_order > found.order_multiple else ""
    lots = f"{least}in lots of {found.order_multiple}" if found.order_multiple > 1 else f"{least}as many as it takes"
    level = f"it is {policy.order_up_to} or more" if policy.order_up_to > 0 else "all gaps are covered"
    short = f"is {policy.reorder_point} or fewer" if policy.reorder_point >= 0 else "is below 0"
    lead = counted(found.lead_time, "year")
    return [
        *lines,
        "Each summer count spares on hand and on order, less open gaps.",
        f"When that {short}, order {lots} until {level}; they come {lead} later.",
        f"Order only what comes by leaf {policy.last_leaf}.",
    ]


def _cost_text(one: PolicyOutcome, found: SparesAnswer, formats: RunFormats) -> list[str]:
    if not any(policy.fills for policy in one.policies):
        return [f"No replacement tree is bought; empty places add up to {one.tree_years_lost.mean:,.0f} tree-years."]
    missed = formats.money(one.margin_lost) if one.margin_lost > 0 else "without measurable effect"
    return [
        f"Lost trees then cost {with_error(one.cost.mean, one.cost.error, f'{formats.currency} ')} over "
        f"{found.years} years, at year 0.",
        f"Of that: trees {formats.money(one.trees)}, their keep {formats.money(one.keep)}, planting "
        f"{formats.money(one.replanting)}, fruit missed in empty places {missed}.",
        f"It takes {one.bought.mean:,.0f} replacement trees; {one.left_over.mean:.0f} are never planted "
        f"({one.left_over_high:.0f} or fewer in 19 of 20 futures).",
    ]


def _gaps_text(one: PolicyOutcome) -> list[str]:
    assert one.filled is not None and one.filled_gaps is not None and one.filled_seasons is not None
    return [
        f"In {100 * one.filled:.0f} % of futures ({100 * one.filled_low:.0f} to {100 * one.filled_high:.0f} %) every "
        "gap that the rule means to fill is filled within a year.",
        f"{100 * one.filled_seasons:.0f} % of planting seasons leave none open; {100 * one.filled_gaps:.0f} % of "
        "gaps are filled in their first season.",
        f"Empty places add up to {one.tree_years_lost.mean:,.0f} ± {one.tree_years_lost.error:,.0f} tree-years, those "
        "left empty on purpose included.",
    ]


def difference_text(one: PolicyOutcome, formats: RunFormats) -> str:
    """How much dearer a policy is than the cheapest."""
    if not one.differs:
        return "the same"
    return f"{with_error(abs(one.dearer.mean), one.dearer.error, f'{formats.currency} ')} more"


def _rules_text(decision: SparesDecision, found: SparesAnswer, formats: RunFormats) -> list[str]:
    """What simple rules cost above the cheapest policy, which costs least of all in the table."""
    if not any(one.differs for one in found.outcomes):
        return []
    told = [one for one in found.outcomes if one.key.startswith("rule_") or one.key in ("plan", "none")]
    told = [one for one in told if one is not decision.cheapest and one not in decision.ties[:3]]
    if not told:
        return []
    names = {"plan": "the plan's own rule", "none": "filling no gap"}
    return [
        f"Against the cheapest policy, {names.get(one.key, f'{one.name!r}')} costs {difference_text(one, formats)}"
        + ("." if one.told_apart or not one.differs else ", which may be chance.")
        for one in told
    ]


def _why_text(decision: SparesDecision, found: SparesAnswer, formats: RunFormats) -> list[str]:
    """Why this policy: the cheapest, or a simpler one that the trials cannot tell from the cheapest."""
    if not any(one.differs for one in found.outcomes):
        return ["All policies in the table cost the same."]
    trials = found.reporting_trials
    advised = decision.advised
    ties = [one for one in decision.ties if one is not advised]
    lines = []
    if not advised.differs:
        lines.append(f"Why: of {len(found.outcomes)} policies in the table none costs less over {trials} futures.")
        if not ties:
            lines.append("The futures tell it apart from every dearer one.")
    else:
        lines.append(
            f"Why: it is simpler than the cheapest policy ({decision.cheapest.name}) and costs "
            f"{difference_text(advised, formats)}, which may be chance."
        )
    searched = next((one for one in found.outcomes if one.key == "best"), None)
    if searched is not None and searched is not decision.cheapest and searched.differs:
        lines.append(
            f"The search chose its best on {found.choosing_trials:,} other futures; on these fresh ones it costs "
            f"{difference_text(searched, formats)}: luck of the draw."
        )
    if ties:
        names = "; ".join(f"{one.name} ({difference_text(one, formats)})" for one in ties[:3])
        more = f"; {len(ties) - 3} more, marked ? in the table" if len(ties) > 3 else ""
        lines.append(f"{trials} futures cannot tell the cheapest from: {names}{more}.")
    return lines


def worth_text(one: RefillWorth, trials: int, formats: RunFormats, last_leaf: int | None = None) -> list[str]:
    """To which leaf replanting pays, as far as the twin trials tell; ``last_leaf``: to which the rule fills."""
    if one.never:
        return [f"{one.label}: replanting pays in no leaf."]
    if one.sure_leaf is None:
        return [
            f"{one.label}: {trials} twin futures cannot tell whether replanting pays.",
            f"In leaf {one.leaf[0]} a replant brings {with_error(one.worth[0], one.error[0], f'{formats.currency} ')} "
            f"and costs {formats.money(one.cost[0])}.",
        ]
    lines = [f"{one.label}: replanting pays through leaf {one.sure_leaf}."]
    if one.break_even_leaf is not None and one.break_even_leaf > one.sure_leaf:
        lines.append(f"Up to leaf {one.break_even_leaf} it may pay; {trials} twin futures cannot tell.")
    if last_leaf is not None and not one.sure_leaf <= last_leaf <= (one.break_even_leaf or one.sure_leaf):
        lines.append(f"That is one gap by itself; the rule fills to leaf {last_leaf}, for it counts the stock as well.")
    lines.append(
        f"A replant of leaf {one.leaf[0]} adds {100 * float(one.crop_share[0]):.0f} % of a mean tree's crop in the "
        "years left, what its neighbours lose taken off."
    )
    return lines


def clustering_text(one: Clustering, advised: LabelPolicy, formats: RunFormats) -> list[str]:
    """How clustered losses are, and what that does to the answer."""
    # the standard error of a variance ratio of n trials is about sqrt(2 / n) of it
    clustered = one.dispersion > one.dispersion_alone * (1 + SURE * (2 / one.lost.size) ** 0.5)
    why = "bad years and bad patches strike many at once" if clustered else "no clear sign of clusters"
    lines = [
        f"{one.label}: {one.lost.mean():.0f} trees of the first planting die by leaf {one.leaf} on average.",
        f"Between futures the variance is {one.dispersion:.1f} times the mean ({one.dispersion_alone:.1f} if each tree "
        f"died by itself): {why}.",
    ]
    other = one.policy
    if other == advised or not (advised.fills or other.fills):
        return [*lines, "If every tree died by itself the advice would be the same."]
    if one.dearer.mean <= SURE * one.dearer.error:
        return [*lines, "Advice that takes every tree to die by itself would cost about the same."]
    rule = f"{counted(other.spares, 'spare')} at planting"
    if other.order_up_to is not None:
        rule += f", orders at {other.reorder_point} or fewer to {other.order_up_to} or more"
    else:
        rule += ", no orders"
    rule += f", gaps filled to leaf {other.last_leaf}" if other.fills else ", no gap filled"
    cost = with_error(one.dearer.mean, one.dearer.error, f"{formats.currency} ")
    return [
        *lines,
        f"If every tree died by itself the cheapest policy would be: {rule}.",
        f"With losses as they are, that would cost {cost} more.",
    ]


def outcome_cells(found: SparesAnswer, formats: RunFormats) -> list[list[str]]:
    """A head, then a row for each policy."""
    head = [
        "policy", f"cost, {formats.currency}", "±", "more than cheapest", "±", "trees", "keep",
        "planting", "fruit missed",
        "bought", "left over", "all filled", "gaps filled", "tree-years lost",
    ]  # fmt: skip
    decision = found.decision
    idle = decision.advised.policies
    unsure = not any(one.fills for one in idle) and not all(_never_pays(one.label, found) for one in idle)
    advised = " (recommended, unsure)" if unsure else " (recommended)"
    return [
        head,
        *(
            _row(one, advised if one.key == decision.advised.key else "", cheapest=one.key == decision.cheapest.key)
            for one in found.outcomes
        ),
    ]


def _row(one: PolicyOutcome, advised: str, *, cheapest: bool) -> list[str]:
    dearer, dearer_error = with_error(one.dearer.mean, one.dearer.error).split(" ± ")
    mark = MAYBE if one.differs and not one.told_apart else ""
    return [
        one.name + advised,
        *with_error(one.cost.mean, one.cost.error).split(" ± "),
        *(("", "") if cheapest else (dearer + mark, dearer_error)),
        amount_text(one.trees),
        amount_text(one.keep),
        amount_text(one.replanting),
        amount_text(one.margin_lost),
        f"{one.bought.mean:.0f}",
        f"{one.left_over.mean:.0f}",
        "–" if one.filled_seasons is None else f"{100 * one.filled_seasons:.0f} %",
        "–" if one.filled_gaps is None else f"{100 * one.filled_gaps:.0f} %",
        f"{one.tree_years_lost.mean:,.0f}",
    ]


def rule_cells(found: SparesAnswer) -> list[list[str]]:
    """What each policy is, by row group: a head, then a row for each."""
    cells = [
        ["policy", "row group", "spares at planting", "kept in", "order at or below", "to at least", "fills to leaf"]
    ]
    for one in found.outcomes:
        for place, policy in enumerate(one.policies):
            orders = policy.fills and policy.order_up_to is not None
            cells.append(
                [
                    one.name if place == 0 else "",
                    policy.label,
                    f"{policy.spares} of {policy.trees:,}" if policy.first_leaf <= 2 else "–",
                    term(policy.place) if policy.fills else "–",
                    str(policy.reorder_point) if orders else "–",
                    str(policy.order_up_to) if orders else "–",
                    str(policy.last_leaf) if policy.fills else "none",
                ]
            )
    return cells


def table_notes(found: SparesAnswer, formats: RunFormats) -> list[str]:
    """How to read the table."""
    return [
        f"Money is present value at year 0 ({formats.money_basis}; discounted at "
        f"{100 * float(found.attrs['discount_rate']):g} % a year). Cost: trees, keep, planting, and fruit missed in "
        "empty places, gaps that are not worth filling left out.",
        "More than cheapest: in the same futures; ± is one standard error; ?: could be chance (limits at 95 % for all "
        "pairs of policies together).",
        "All filled: planting seasons that leave no gap open. Gaps filled: gaps filled in the first planting season "
        "after they open. Both count gaps that the policy means to fill.",
        f"{footer_text(found)}.",
    ]


def spares_screen(found: SparesAnswer) -> str:
    """The short answer: what to do, what it costs and why, and the policies beside it."""
    cells = [[row[0], row[1], row[3], row[9], row[13]] for row in outcome_cells(found, formats_of(found))]
    table = table_pieces(cells)
    if table and any(row[2].endswith(MAYBE) for row in cells):
        table.append(
            [f"{MAYBE.strip()}: may be chance; {found.reporting_trials:,} futures cannot tell it from the cheapest."]
        )
    return above_table([[HEAD], *sentence_pieces(spares_sentences(found))], table)


def spares_text(found: SparesAnswer) -> str:
    """Everything: sentences, tables, lines for the plan, and what the answer rests on."""
    lines = [HEAD, *spares_sentences(found), "", spares_table(found), "", f"{HOW_TO_USE}:"]
    lines += [f"  {line}".rstrip() for line in policy_lines(found)]
    return "\n".join([*lines, "", *(f"- {note}" for note in found.notes), ""])


def spares_table(found: SparesAnswer) -> str:
    """The policies as text, at most some 150 characters wide."""
    formats = formats_of(found)
    lines = [*text_columns(outcome_cells(found, formats), fold_heads=True), ""]
    for note in table_notes(found, formats):
        lines += textwrap.wrap(note, WIDTH)
    lines += ["", "What each policy is (trees):", *text_columns(rule_cells(found), left=(0, 1, 3), fold_heads=True)]
    return "\n".join(lines)
