"""The answer to "how many spares, how many to order, and when" in words."""

from __future__ import annotations

import json
from typing import Final

from orchardsim.report.show import Show, round_figures, years_text
from orchardsim.results.spares import Clustering, LabelPolicy, PolicyOutcome, RefillWorth, SparesAnswer

PLACE: Final = {"nursery_row": "in a nursery row", "pots": "in pots", "none": "nowhere"}
SURE: Final = 2.0
"""Standard errors beyond which a difference is spoken of as one."""
PLAINER: Final = ("none", "orders", "spares", "rule_2", "rule_3", "rule_5", "farm", "elsewhere", "plan")
"""Policies in the order in which they are named as just as good: simpler ones first."""


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


def spares_sentences(found: SparesAnswer) -> list[str]:
    """The answer, plain: what to buy and order, what it costs, what else would cost, how sure that is."""
    show = show_of(found)
    lines = []
    idle = [policy.label for policy in found.chosen.policies if not policy.fills]
    for policy in found.chosen.policies:
        if policy.fills:
            lines.append(policy_text(policy, found))
    if idle:
        lines.append(
            f"{_listed(idle)}: buy no spares and fill no gaps; the tree, its planting and its care cost more than a "
            "replant there brings."
        )
    lines.append(_cost_text(found, show))
    lines += _ties_text(found, show)
    if any(policy.fills for policy in found.chosen.policies):
        lines.append(_gaps_text(found))
    lines.append(_rules_text(found, show))
    lines += [worth_text(one) for one in found.worth if one.leaf.size]
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


def _cost_text(found: SparesAnswer, show: Show) -> str:
    one = found.chosen
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


def _gaps_text(found: SparesAnswer) -> str:
    one = found.chosen
    assert one.filled is not None and one.filled_gaps is not None and one.filled_seasons is not None
    return (
        f"Every gap is filled within a year, in all years in which gaps are to be filled, in {100 * one.filled:.0f} % "
        f"of futures ({100 * one.filled_low:.0f} to {100 * one.filled_high:.0f} %). Of single planting seasons "
        f"{100 * one.filled_seasons:.0f} % leave no gap open, and of single gaps {100 * one.filled_gaps:.0f} % are "
        f"filled in the first season. Empty places add up to {one.tree_years_lost.mean:,.0f} ± "
        f"{one.tree_years_lost.error:,.0f} tree-years, those left empty on purpose included."
    )


def difference_text(one: PolicyOutcome, show: Show) -> str:
    """How much dearer a policy is than the chosen one."""
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
        f"A fixed share of spares at planting and nothing later would have cost: {'; '.join(parts)}." if parts else ""
    )
    if own is not None:
        text += f" The plan's own rule: {difference_text(own, show)}."
    if none is not None and differs(none):
        text += f" Filling no gap at all: {difference_text(none, show)}."
    return text.strip()


def _ties_text(found: SparesAnswer, show: Show) -> list[str]:
    ties = [one for one in found.outcomes[1:] if not one.told_apart and differs(one)]
    trials = found.reporting_trials
    if not any(differs(one) for one in found.outcomes):
        return ["All policies come to the same: none of them fills a gap."]
    if not ties:
        return [f"{trials} trials tell the chosen policy apart from all others in the table."]
    ties.sort(key=lambda one: PLAINER.index(one.key) if one.key in PLAINER else len(PLAINER))
    names = "; ".join(f"{one.name} ({difference_text(one, show)})" for one in ties)
    lines = [f"{trials} trials cannot tell the chosen policy apart from: {names}."]
    if ties[0].key in ("none", "orders", "spares", "rule_2", "rule_3", "rule_5"):
        ways = [policy_text(policy, found) for policy in ties[0].policies if policy.fills]
        plain = " ".join(ways) if ways else "fill no gap."
        lines.append(f"So this, which is simpler, does as well as far as these trials say: {plain}")
    return lines


def worth_text(one: RefillWorth) -> str:
    """To which leaf filling a gap pays."""
    if one.break_even_leaf is None:
        return f"{one.label}: a filled gap does not bring back its cost in any leaf."
    sure = "" if one.sure_leaf == one.break_even_leaf else _sure_text(one)
    share = 100 * float(one.crop_share[0])
    return (
        f"{one.label}: filling a gap pays to leaf {one.break_even_leaf}{sure} (break-even; worth of the fruit over the "
        f"years left, crowding included, against tree, planting and care). A gap filled in leaf {one.leaf[0]} adds "
        f"{share:.0f} % of a mean tree's crop over the run."
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
        return f"{text} The answer is the same without that."
    if other == chosen:
        return f"{text} If every tree died by itself the answer would be the same."
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
    return f"{text} If every tree died by itself the answer would be: {rule}; {verdict}."


def money_cell(amount: float) -> str:
    """Money in a table, rounded to three figures."""
    return f"{round_figures(amount):,.0f}"
