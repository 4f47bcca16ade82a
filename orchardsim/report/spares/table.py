"""The table of replacement policies."""

from __future__ import annotations

import textwrap

from orchardsim.core.glossary import term
from orchardsim.core.numbers import with_error
from orchardsim.report.columns import SCREEN_LINES, one_screen, sentence_pieces, table_pieces, text_columns
from orchardsim.report.run.table import WIDTH
from orchardsim.report.run_formats import RunFormats
from orchardsim.report.spares.plan_lines import HOW_TO_USE, policy_lines
from orchardsim.report.spares.words import footer_text, formats_of, money_cell, spares_sentences
from orchardsim.results.spares import PolicyOutcome, SparesAnswer


def outcome_cells(found: SparesAnswer, formats: RunFormats) -> list[list[str]]:
    """A head, then a row for each policy."""
    head = [
        "policy", f"cost, {formats.currency}", "±", "more than cheapest", "±", "trees", "keep", "planting",
        "fruit missed",
        "bought", "left over", "all filled", "gaps filled", "tree-years lost",
    ]  # fmt: skip
    decision = found.decision
    return [
        head,
        *(
            _row(one, advised=one.key == decision.advised.key, cheapest=one.key == decision.cheapest.key)
            for one in found.outcomes
        ),
    ]


def _row(one: PolicyOutcome, *, advised: bool, cheapest: bool) -> list[str]:
    dearer, dearer_error = with_error(one.dearer.mean, one.dearer.error).split(" ± ")
    mark = " ?" if one.differs and not one.told_apart else ""
    return [
        f"{one.name} (recommended)" if advised else one.name,
        *with_error(one.cost.mean, one.cost.error).split(" ± "),
        *(("", "") if cheapest else (dearer + mark, dearer_error)),
        money_cell(one.trees),
        money_cell(one.keep),
        money_cell(one.replanting),
        money_cell(one.margin_lost),
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
    tall = sum(len(piece) for piece in table[: len(found.outcomes)]) + 1
    said: list[list[str]] = []
    for piece in sentence_pieces(spares_sentences(found)):
        if sum(map(len, said)) + len(piece) + tall > SCREEN_LINES:
            break
        said.append(piece)
    return one_screen(said, table)


def spares_text(found: SparesAnswer) -> str:
    """Everything: sentences, tables, lines for the plan, and what the answer rests on."""
    lines = [*spares_sentences(found), "", spares_table(found), "", f"{HOW_TO_USE}:"]
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
