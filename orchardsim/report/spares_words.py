"""The answer to "how many spares, how many to order, and when" in words."""

from __future__ import annotations

import json
from typing import Final

from orchardsim.report.show import Show, round_figures, years_text
from orchardsim.results.spares import Clustering, LabelPolicy, PolicyOutcome, RefillWorth, SparesAnswer

PLACE: Final = {"nursery_row": "in a nursery row", "pots": "in pots", "none": "nowhere"}
SURE: Final = 2.0
"""Standard errors beyond which a difference is spoken of as one."""
PLAINER: Final = ("none", "rule_2", "rule_3", "rule_5", "spares", "orders", "farm")
"""Policies that are simpler than one with its own numbers for each row group, the simplest first."""
NEAR: Final = 0.05
"""Share of the cheapest policy's cost within which a simpler one is recommended, if it cannot be told apart."""


def show_of(found: SparesAnswer) -> Show:
    """Units and money in which the answer is shown."""
    import xarray

    return Show.of(xarray.Dataset(attrs=dict(found.attrs)))


def footer_text(found: SparesAnswer) -> str:
    """How many trials stand behind a number, and which seasons."""
    baseline = years_text(json.loads(str(found.attrs["baseline_years"])))
    return (
        f"chosen on {found.choosing_trials:,} trials, told from {found.reporting_trials:,} fresh ones; seed "
        f"{found.seed}; {found.years} years; seasons: {found.attrs['weather_method']}; baseline {baseline}"
    )


def counted(number: float, thing: str, things: str = "") -> str:
    """A number with its noun.

    Examples
    --------
    >>> counted(1, "spare"), counted(0, "spare"), counted(1200, "gap")
    ('1 spare', 'no spares', '1,200 gaps')
    """
    if number == 0:
        return f"no {things or thing + 's'}"
    return f"{number:,.0f} {thing if number == 1 else things or thing + 's'}"


def recommended(found: SparesAnswer) -> PolicyOutcome:
    """The simplest policy that is not worse than the chosen one, as far as the trials say; else the chosen one."""
    if not found.chosen.cost.mean:
        return found.chosen
    near = [
        one
        for key in PLAINER
        if (one := found.outcome(key)) is not None
        and differs(one)
        and not one.told_apart
        and one.dearer.mean <= NEAR * abs(found.chosen.cost.mean)
    ]
    return near[0] if near else found.chosen


def spares_sentences(found: SparesAnswer) -> list[str]:
    """The answer, plain: one recommendation and its cost, why, what else would cost, how sure that is."""
    show = show_of(found)
    advised = recommended(found)
    filling = [policy_text(policy, found) for policy in advised.policies if policy.fills]
    idle = [policy.label for policy in advised.policies if not policy.fills]
    if idle:
        filling.append(
            f"{_listed(idle)}: buy no spares and fill no gaps; the tree, its planting and its care cost more than a "
            "replant there brings."
        )
    lines = [f"Recommendation: {' '.join(filling)}", _cost_text(advised, found, show), _why_text(advised, found, show)]
    if any(policy.fills for policy in advised.policies):
        lines.append(_gaps_text(advised))
    lines.append(_rules_text(found, show))
    last = {policy.label: policy.last_leaf for policy in advised.policies if policy.fills}
    lines += [worth_text(one, last.get(one.label)) for one in found.worth if one.leaf.size]
    lines += [
        clustering_text(one, _policy_of(found, one.label), show) for one in found.clustering if one.lost.mean() > 0
    ]
    return [line for line in lines if line]


def _policy_of(found: SparesAnswer, label: str) -> LabelPolicy:
    return next(policy for policy in found.chosen.policies if policy.label == label)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def policy_text(policy: LabelPolicy, found: SparesAnswer) -> str:
    """What to do, for one row group."""
    share = f" ({100 * policy.spares / policy.trees:.1f} % of {policy.trees:,})" if policy.spares else ""
    buy = f"buy {counted(policy.spares, 'spare')} with the planting{share}"
    keep = f", keep spares {PLACE[policy.place]}" if policy.place != "none" else ", keep none from year to year"
    text = f"{policy.label}: {buy}{keep}, and fill gaps each spring to leaf {policy.last_leaf}."
    if policy.order_up_to is None:
        return f"{text} Order nothing later; what is left then is thrown out."
    lead = counted(found.lead_time, "year")
    return (
        f"{text} Each summer count spares on hand and on order, less open gaps: when that is "
        f"{policy.reorder_point} or fewer, order it back up to {policy.order_up_to} (at least {found.minimum_order}, "
        f"in lots of {found.order_multiple}; they come {lead} later), as long as they come by leaf {policy.last_leaf}."
    )


def _cost_text(one: PolicyOutcome, found: SparesAnswer, show: Show) -> str:
    if not any(policy.fills for policy in one.policies):
        return f"No replacement tree is bought; empty places add up to {one.tree_years_lost.mean:,.0f} tree-years."
    parts = (
        f"trees {show.money(one.trees)}, their keep {show.money(one.keep)}, planting them {show.money(one.replanting)}"
        f", and the fruit missed in empty places {show.money(one.margin_lost)}"
    )
    return (
        f"With that, losses cost {show.money(one.cost.mean)} ± {show.money(one.cost.error)} over {found.years} years "
        f"(worth at year 0): {parts}. It takes {one.bought.mean:,.0f} replacement trees; {one.left_over.mean:.0f} of "
        f"them are never planted ({one.left_over_high:.0f} or fewer in 19 of 20 futures)."
    )


def _gaps_text(one: PolicyOutcome) -> str:
    assert one.filled is not None and one.filled_gaps is not None and one.filled_seasons is not None
    return (
        f"Every gap is filled within a year, in all years in which gaps are to be filled, in {100 * one.filled:.0f} % "
        f"of futures ({100 * one.filled_low:.0f} to {100 * one.filled_high:.0f} %). Of single planting seasons "
        f"{100 * one.filled_seasons:.0f} % leave no gap open, and of single gaps {100 * one.filled_gaps:.0f} % are "
        f"filled in the first season. Empty places add up to {one.tree_years_lost.mean:,.0f} ± "
        f"{one.tree_years_lost.error:,.0f} tree-years, those left empty on purpose included."
    )


def difference_text(one: PolicyOutcome, show: Show) -> str:
    """How much dearer a policy is than the chosen one, the cheapest found."""
    word = "more" if one.dearer.mean >= 0 else "less"
    return f"{show.money(abs(one.dearer.mean), 2)} ± {show.money(one.dearer.error, 2)} {word}"


def differs(one: PolicyOutcome) -> bool:
    """Whether a policy does anything else than the chosen one, in any trial."""
    return one.dearer.mean != 0 or one.dearer.error != 0


def _rules_text(found: SparesAnswer, show: Show) -> str:
    if not any(differs(one) for one in found.outcomes):
        return ""
    rules = [one for one in found.outcomes if one.key.startswith("rule_")]
    none, own = found.outcome("none"), found.outcome("plan")
    parts = [f"{one.name.split(' spare')[0]}: {difference_text(one, show)}" for one in rules]
    text = (
        f"Against the cheapest policy, a fixed share of spares at planting and nothing later costs: {'; '.join(parts)}."
        if parts
        else ""
    )
    if own is not None:
        text += f" The plan's own rule: {difference_text(own, show)}."
    if none is not None and differs(none):
        text += f" Filling no gap at all: {difference_text(none, show)}."
    return text.strip()


def _why_text(advised: PolicyOutcome, found: SparesAnswer, show: Show) -> str:
    """Why this policy: the cheapest, or a simpler one that the trials cannot tell from the cheapest."""
    if not any(differs(one) for one in found.outcomes):
        return "All policies come to the same: none of them fills a gap."
    trials = found.reporting_trials
    ties = [one for one in found.outcomes[1:] if not one.told_apart and differs(one) and one is not advised]
    names = "; ".join(f"{one.name} ({difference_text(one, show)})" for one in ties)
    if advised is found.chosen:
        text = "Why: of all policies in the table it costs least"
        if not names:
            return f"{text}, and {trials} trials tell it apart from every other."
        return f"{text}; {trials} trials cannot tell it apart from: {names}."
    text = (
        f"Why: it is simpler than the cheapest policy found (the chosen one of the table) and, as far as {trials} "
        f"trials say, as good: {difference_text(advised, show)}, which may be chance."
    )
    return f"{text} Nor can they tell the cheapest apart from: {names}." if names else text


def worth_text(one: RefillWorth, last_leaf: int | None = None) -> str:
    """To which leaf filling a gap pays; ``last_leaf``: to which the recommended rule fills."""
    if one.break_even_leaf is None:
        return f"{one.label}: a filled gap does not bring back its cost in any leaf."
    sure = "" if one.sure_leaf == one.break_even_leaf else _sure_text(one)
    share = 100 * float(one.crop_share[0])
    return (
        f"{one.label}: filling a gap pays to leaf {one.break_even_leaf}{sure} (break-even; worth of the fruit over the "
        f"years left, crowding included, against tree, planting and care). A gap filled in leaf {one.leaf[0]} adds "
        f"{share:.0f} % of a mean tree's crop over the run."
        + (
            f" That is one gap by itself; the rule fills to leaf {last_leaf}, for it counts the stock of trees as well."
            if last_leaf is not None and last_leaf != one.break_even_leaf
            else ""
        )
    )


def _sure_text(one: RefillWorth) -> str:
    if one.sure_leaf is None:
        return ", which is not sure even there"
    return f", surely to leaf {one.sure_leaf}"


def clustering_text(one: Clustering, chosen: LabelPolicy, show: Show) -> str:
    """How clustered losses are, and what that does to the answer."""
    # the standard error of a variance ratio of n trials is about sqrt(2 / n) of it
    clustered = one.dispersion > one.dispersion_alone * (1 + SURE * (2 / one.lost.size) ** 0.5)
    why = "bad years and bad patches strike many at once" if clustered else "no clear sign of clusters"
    text = (
        f"{one.label}: {one.lost.mean():.0f} trees of the first planting die by leaf {one.leaf} on average. Between "
        f"futures the variance is {one.dispersion:.1f} times the mean ({one.dispersion_alone:.1f} if every tree died "
        f"by itself): {why}."
    )
    other = one.policy
    if not chosen.fills and not other.fills:
        return f"{text} The cheapest policy is the same without that."
    if other == chosen:
        return f"{text} If every tree died by itself the cheapest policy would be the same."
    rule = f"{counted(other.spares, 'spare')} at planting"
    if other.order_up_to is not None:
        rule += f", orders at {other.reorder_point} up to {other.order_up_to}"
    else:
        rule += ", no orders"
    rule += f", gaps filled to leaf {other.last_leaf}" if other.fills else ", no gap filled"
    cost = f"{show.money(abs(one.dearer.mean), 2)} ± {show.money(one.dearer.error, 2)}"
    if one.dearer.mean > SURE * one.dearer.error:
        verdict = f"with losses as they are, that would cost {cost} more"
    else:
        verdict = f"with losses as they are, that costs about the same (a difference of {cost})"
    return f"{text} If every tree died by itself the cheapest policy would be: {rule}; {verdict}."


def money_cell(amount: float) -> str:
    """Money in a table, rounded to three figures."""
    return f"{round_figures(amount):,.0f}"
